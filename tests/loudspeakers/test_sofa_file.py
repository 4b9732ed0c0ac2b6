"""AES69 files, written by an independent library (see `sofa_writing`)."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import h5py
import numpy as np
import pytest

from sim.errors import SceneError
from sim.loudspeakers import sofa_contents
from sim.loudspeakers.sofa_file import read_sofa_file
from tests.fuzz.sofa_server import SofaServer
from tests.loudspeakers.sofa_writing import sphere_grid, unit_vectors, write_sofa

SPEED = 343.2
FREQUENCIES = np.array([200.0, 500.0, 1000.0, 2000.0])
GRID = sphere_grid(10.0)
SPHERICAL = np.column_stack([GRID, np.full(len(GRID), 2.0)])
WAYS = unit_vectors(GRID)


def pattern(ways: np.ndarray, frequencies: np.ndarray) -> np.ndarray:
    """A lopsided source: louder to the right and above, with a phase that grows to the right."""
    forward, right, up = ways.T
    size = 0.5 + 0.35 * forward + 0.1 * right + 0.05 * up
    return size[:, None] * np.exp(2j * np.pi / SPEED * 0.05 * right[:, None] * frequencies)


def expected(ways: np.ndarray, frequencies: np.ndarray) -> np.ndarray:
    return pattern(ways, frequencies) / 0.85


SOME = np.array(
    [[1.0, 0.0, 0.0], [0.3, 0.9, 0.2], [0.3, -0.9, 0.2], [-0.8, 0.1, 0.5], [0.0, 0.0, 1.0], [0.2, 0.1, -0.9]]
)
SOME /= np.linalg.norm(SOME, axis=1)[:, None]


def transfer(path: Path, receiver: np.ndarray = SPHERICAL, ways: np.ndarray = WAYS, **more: Any) -> Path:
    """Write the pattern as a transfer-function file."""
    return write_sofa(path, receiver, values=pattern(ways, FREQUENCIES)[None], frequencies_hz=FREQUENCIES, **more)


def close(found: np.ndarray, wanted: np.ndarray) -> None:
    """Within what ten-degree steps allow."""
    assert np.abs(found / wanted - 1.0).max() < 0.03


def test_a_transfer_function_file_is_read_as_it_was_meant(tmp_path: Path) -> None:
    path = write_sofa(
        tmp_path / "a.sofa", SPHERICAL, values=7.0j * pattern(WAYS, FREQUENCIES)[None], frequencies_hz=FREQUENCIES
    )
    data = read_sofa_file(path, "file")
    assert data.layout == "sphere"
    assert data.has_phase
    assert data.notes == (
        "nothing was measured below 200 Hz and above 2000 Hz: the last values are held",
        "its frequencies are up to 1.3 octaves apart: straight lines are drawn in between",
    )
    assert data.frequencies_hz == pytest.approx(FREQUENCIES)
    # at a measured direction it is what was measured, whatever the level and phase on the axis
    assert data.pressure(WAYS, FREQUENCIES) == pytest.approx(expected(WAYS, FREQUENCIES), abs=1e-9)
    close(data.pressure(SOME, FREQUENCIES), expected(SOME, FREQUENCIES))


def test_right_is_the_left_hand_of_the_source(tmp_path: Path) -> None:
    """AES69 counts azimuth from the front to the source's left, which is the right of someone who faces it."""
    path = transfer(tmp_path / "a.sofa")
    data = read_sofa_file(path, "file")
    right, left = np.abs(data.pressure([[0.0, 1.0, 0.0], [0.0, -1.0, 0.0]], [1000.0]))[:, 0]
    assert right == pytest.approx(0.6 / 0.85)
    assert left == pytest.approx(0.4 / 0.85)


def test_cartesian_places_and_a_source_that_looks_elsewhere(tmp_path: Path) -> None:
    front, up = np.array([0.0, 1.0, 0.0]), np.array([1.0, 0.0, 0.0])
    axes = np.stack([front, np.cross(up, front), up])
    path = write_sofa(
        tmp_path / "a.sofa",
        1.5 * WAYS @ axes,
        values=pattern(WAYS, FREQUENCIES)[None],
        frequencies_hz=FREQUENCIES,
        position_type="cartesian",
        position_units="metre",
        source_view=front[None],
        source_up=up[None],
    )
    close(read_sofa_file(path, "file").pressure(SOME, FREQUENCIES), expected(SOME, FREQUENCIES))


def impulses(ways: np.ndarray, shift: int = 40) -> np.ndarray:
    """Pulses of the pattern's size, late by whole samples so that they are exact."""
    sizes = np.abs(pattern(ways, np.array([100.0])))[:, 0]
    responses = np.zeros((len(ways), 480))
    responses[np.arange(len(ways)), shift + np.round(5.0 * (1.0 - ways[:, 0])).astype(int)] = sizes
    return responses


@pytest.mark.parametrize("convention", ["GeneralFIR", "FreeFieldDirectivityFIR"])
def test_impulse_responses_of_receivers_around_it(tmp_path: Path, convention: str) -> None:
    path = write_sofa(tmp_path / "a.sofa", SPHERICAL, convention=convention, responses=impulses(WAYS)[None])
    data = read_sofa_file(path, "file")
    found = data.pressure(WAYS, [300.0, 3000.0])
    assert np.abs(found) == pytest.approx(np.repeat(np.abs(expected(WAYS, np.array([100.0]))), 2, axis=1), rel=0.01)
    late = np.round(5.0 * (1.0 - WAYS[:, 0])) / 48000.0
    assert np.angle(found[:, 1] * np.exp(2j * np.pi * 3000.0 * late)) == pytest.approx(0.0, abs=0.05)
    assert any("100 Hz" in note for note in data.notes)  # ten milliseconds


def test_delays_beside_the_responses_count(tmp_path: Path) -> None:
    delays = np.arange(len(WAYS))[None] * 0.01
    path = write_sofa(
        tmp_path / "a.sofa", SPHERICAL, convention="GeneralFIR", responses=impulses(WAYS)[None], delays=delays
    )
    plain = write_sofa(tmp_path / "b.sofa", SPHERICAL, convention="GeneralFIR", responses=impulses(WAYS)[None])
    ahead = int(np.argmax(WAYS[:, 0]))
    one, other = (read_sofa_file(each, "file").pressure(WAYS, [2000.0])[:, 0] for each in (path, plain))
    turned = np.angle(one / other)
    assert turned == pytest.approx(-2.0 * np.pi * 2000.0 * (delays[0] - delays[0, ahead]) / 48000.0, abs=0.02)


def test_one_microphone_and_a_loudspeaker_that_is_turned(tmp_path: Path) -> None:
    """The view of the source in each measurement; the microphone stays in front of its first one."""
    turns = np.radians(np.arange(0.0, 360.0, 10.0))
    views = np.column_stack([np.cos(turns), np.sin(turns), 0.0 * turns])
    seen = np.column_stack([np.cos(turns), -np.sin(turns), 0.0 * turns])  # where the microphone is from the box
    path = write_sofa(
        tmp_path / "a.sofa",
        np.array([[0.0, 0.0, 2.0]]),
        convention="GeneralFIR",
        responses=impulses(seen)[:, None],
        source_view=views,
        delays=np.zeros((1, 1)),
    )
    data = read_sofa_file(path, "file")
    found = np.abs(data.pressure(seen, [1000.0]))[:, 0]
    assert found == pytest.approx(np.abs(expected(seen, np.array([100.0])))[:, 0], rel=0.01)


def test_without_phase_it_says_so(tmp_path: Path) -> None:
    values = np.abs(pattern(WAYS, FREQUENCIES))[None].astype(complex)
    path = write_sofa(tmp_path / "a.sofa", SPHERICAL, values=values, frequencies_hz=FREQUENCIES)
    data = read_sofa_file(path, "file")
    assert not data.has_phase
    assert any("no phase" in note for note in data.notes)


def test_half_a_sphere_is_held_behind_and_said(tmp_path: Path) -> None:
    grid = sphere_grid(10.0, farthest_deg=90.0)
    ways = unit_vectors(grid)
    receiver = np.column_stack([grid, np.full(len(grid), 2.0)])
    path = transfer(tmp_path / "a.sofa", receiver, ways)
    data = read_sofa_file(path, "file")
    assert any("beyond 90 degrees" in note for note in data.notes)
    close(data.pressure(SOME[[1, 2]], FREQUENCIES), expected(SOME[[1, 2]], FREQUENCIES))
    back = np.abs(data.pressure([[-1.0, 0.0, 0.0], [-0.9, 0.43, 0.0]], [1000.0]))[:, 0]
    rim = np.abs(expected(np.array([[0.0, 1.0, 0.0], [0.0, -1.0, 0.0]]), np.array([1000.0])))[:, 0]
    assert back.max() <= rim.max() + 1e-9
    assert back.min() >= rim.min() - 1e-9


def test_several_measurements_of_one_grid_use_the_first(tmp_path: Path) -> None:
    values = np.stack([pattern(WAYS, FREQUENCIES), np.ones((len(WAYS), 4), complex)])
    path = write_sofa(tmp_path / "a.sofa", SPHERICAL, values=values, frequencies_hz=FREQUENCIES)
    data = read_sofa_file(path, "file")
    assert any("2 measurements in the same directions: the first is used" in note for note in data.notes)
    close(data.pressure(SOME, FREQUENCIES), expected(SOME, FREQUENCIES))


@pytest.mark.parametrize(
    ("more", "words"),
    [
        ({"convention": "SimpleFreeFieldHRIR"}, "ears of a listener"),
        ({"convention": "FreeFieldHRTF"}, "ears of a listener"),
        ({"convention": "SingleRoomSRIR"}, "measured in a room"),
        ({"convention": "Something"}, 'its convention is "Something"'),
        ({"position_units": "radian, radian, metre"}, "radian"),
        ({"position_type": "cylindrical"}, "cylindrical"),
        ({"frequency_units": "kilohertz"}, "write N in hertz"),
        ({"leave_out": ("ReceiverPosition",)}, "has no ReceiverPosition"),
        ({"leave_out": ("Data.Imag",)}, "has no Data.Imag"),
        ({"receiver": np.zeros_like(SPHERICAL)}, "where the source is"),
        ({"receiver": np.tile(SPHERICAL[:1], (len(SPHERICAL), 1))}, "one direction"),
    ],
)
def test_what_cannot_be_used_is_refused_in_one_sentence(tmp_path: Path, more: dict[str, Any], words: str) -> None:
    receiver = more.pop("receiver", SPHERICAL)
    path = transfer(tmp_path / "box.sofa", receiver, **more)
    with pytest.raises(SceneError, match=words) as raised:
        read_sofa_file(path, "models.mine.file")
    assert str(raised.value).startswith("models.mine.file, box.sofa: ")
    assert "\n" not in str(raised.value)


def test_nothing_on_the_axis_and_no_such_file_kind(tmp_path: Path) -> None:
    keep = WAYS[:, 0] < 0.9
    path = write_sofa(
        tmp_path / "a.sofa", SPHERICAL[keep], values=pattern(WAYS[keep], FREQUENCIES)[None], frequencies_hz=FREQUENCIES
    )
    with pytest.raises(SceneError, match="nothing was measured on the axis, the nearest direction is 28 degrees off"):
        read_sofa_file(path, "file")
    text = tmp_path / "b.sofa"
    text.write_text("not a netCDF file", encoding="utf-8")
    with pytest.raises(SceneError, match="not an AES69"):
        read_sofa_file(text, "file")


def test_frequencies_far_too_low_are_thought_to_be_kilohertz(tmp_path: Path) -> None:
    path = write_sofa(
        tmp_path / "a.sofa", SPHERICAL, values=pattern(WAYS, FREQUENCIES)[None], frequencies_hz=FREQUENCIES / 1000.0
    )
    with pytest.raises(SceneError, match="write N in hertz"):
        read_sofa_file(path, "file")


def edited(path: Path, change: Callable[[h5py.File], None]) -> Path:
    """A file whose contents were changed by hand after it was written."""
    with h5py.File(path, "r+") as file:
        change(file)
    return path


def put(name: str, rows: Any) -> Callable[[h5py.File], None]:
    """Replace a variable; its attributes are lost."""

    def change(file: h5py.File) -> None:
        del file[name]
        if rows is not None:
            file.create_dataset(name, data=rows)

    return change


COUNT = len(WAYS)
NOT_A_NUMBER = np.where(np.arange(COUNT)[:, None] == 5, np.nan, SPHERICAL)
COLATITUDE = SPHERICAL * [1.0, -1.0, 1.0] + [0.0, 90.0, 0.0]


@pytest.mark.parametrize(
    ("more", "words"),
    [
        ({"receiver": SPHERICAL * [np.pi / 180.0, np.pi / 180.0, 1.0]}, "within 6.3 degrees of the axis"),
        ({"receiver": COLATITUDE}, "elevations of its ReceiverPosition run from 0 to 180 degrees; count them from"),
        ({"receiver": 1.5 * WAYS}, "distances of its ReceiverPosition are below zero; write cartesian"),
        ({"position_type": "cartesian", "position_units": "metre"}, "stand 2 to 359 m from the source; check Type"),
        ({"position_units": "degree, degree, furlong"}, "degree degree furlong"),
        ({"receiver": NOT_A_NUMBER}, "its ReceiverPosition holds numbers that are not finite or"),
        ({"source_view": np.zeros((1, 3))}, "its SourceView is zero"),
        ({"source_view": np.array([[0.0, 0.0, 1.0]])}, "SourceUp points where SourceView does"),
        ({"source_view": np.full((1, 3), np.nan)}, "its SourceView holds numbers"),
        ({"leave_out": ("N",)}, "frequencies end at 0"),
        ({"change": put("N", [100.0, 200.0, 400.0])}, "its N has 3 frequencies, its data 4"),
        ({"change": put("N", [100.0, 200.0, 200.0, 400.0])}, "the frequency 200 Hz is there twice"),
        ({"change": put("N", [100.0, np.nan, 300.0, 400.0])}, "its N holds numbers that are not finite or"),
        ({"change": put("N", [b"a", b"b", b"c", b"d"])}, "its N holds no numbers"),
        ({"change": put("Data.Real", None)}, "it has no Data.Real"),
        ({"change": put("Data.Real", np.ones((COUNT, 4)))}, "its data have the shape"),
        ({"change": put("Data.Imag", np.ones((1, COUNT, 3)))}, "its Data.Imag has the shape"),
        ({"change": put("Data.Real", np.full((1, COUNT, 4), np.nan))}, "its Data.Real holds numbers that are not"),
        ({"change": lambda file: file.attrs.__setitem__("DataType", "SOS")}, 'its data are of the type "SOS"'),
        ({"change": lambda file: file.attrs.__delitem__("SOFAConventions")}, "it names no convention"),
        ({"change": lambda file: file["ReceiverPosition"].attrs.__delitem__("Type")}, "ReceiverPosition has no Type"),
        ({"change": put("ReceiverPosition", np.ones((3, 3)))}, "its ReceiverPosition has the shape"),
        ({"change": put("SourcePosition", np.ones((7, 3)))}, "its SourcePosition has the shape"),
    ],
)
def test_what_is_wrong_inside_is_refused_in_one_sentence(tmp_path: Path, more: dict[str, Any], words: str) -> None:
    receiver, change = more.pop("receiver", SPHERICAL), more.pop("change", None)
    path = transfer(tmp_path / "box.sofa", receiver, **more)
    if change is not None:
        edited(path, change)
    with pytest.raises(SceneError, match=words) as raised:
        read_sofa_file(path, "models.mine.file")
    assert str(raised.value).startswith("models.mine.file, box.sofa: ")
    assert "\n" not in str(raised.value)


@pytest.mark.parametrize(
    ("more", "words"),
    [
        ({"sampling_rate_hz": 48.0}, "its sampling rate is 48 hertz; write it in hertz"),
        ({"sampling_rate_hz": np.nan}, "its Data.SamplingRate holds numbers that are not finite or"),
        ({"leave_out": ("Data.SamplingRate",)}, "it has no Data.SamplingRate"),
        ({"leave_out": ("Data.IR",)}, "it has no Data.IR"),
        ({"change": put("Data.SamplingRate", [44100.0, 48000.0])}, "sampled at 44100 to 48000 Hz; give one rate"),
        ({"delays": np.full((1, COUNT), np.nan)}, "its Data.Delay holds numbers that are not finite or"),
        ({"change": put("Data.Delay", np.zeros((3, 7)))}, r"Data.Delay has the shape \(3, 7\)"),
        ({"responses": np.ones((1, COUNT, 40))}, "last 0.83 ms, too short"),
        ({"responses": np.zeros((1, COUNT, 480))}, "the response on the axis is silent"),
        ({"change": put("Data.IR", np.ones((1, COUNT, 480, 2)))}, "it holds 2 emitters measured apart"),
    ],
)
def test_impulse_responses_that_cannot_be_used(tmp_path: Path, more: dict[str, Any], words: str) -> None:
    change, responses = more.pop("change", None), more.pop("responses", impulses(WAYS)[None])
    path = write_sofa(tmp_path / "a.sofa", SPHERICAL, convention="GeneralFIR", responses=responses, **more)
    if change is not None:
        edited(path, change)
    with pytest.raises(SceneError, match=words) as raised:
        read_sofa_file(path, "file")
    assert "\n" not in str(raised.value)


@pytest.mark.parametrize("fraction", [0.0, 0.1, 0.5, 0.9, 0.99])
def test_a_file_that_was_cut_off_is_refused(tmp_path: Path, fraction: float) -> None:
    path = transfer(tmp_path / "a.sofa")
    whole = path.read_bytes()
    path.write_bytes(whole[: int(fraction * len(whole))])
    with pytest.raises(SceneError, match=r"not an AES69 .* or cut off; copy or export it again"):
        read_sofa_file(path, "file")


@pytest.mark.parametrize(
    ("more", "said"),
    [
        ({"receiver": SPHERICAL * [1.0, 1.0, 1000.0]}, "stand 2000 m away, which looks like another unit"),
        ({"position_units": ""}, "its ReceiverPosition tells no units: they are taken to be degrees and metres"),
        ({"leave_out": ("SourceView", "SourceUp")}, "no SourceView: the source is taken to face along x"),
        ({"change": lambda file: file.attrs.__setitem__("RoomType", "reverberant")}, 'RoomType is "reverberant": what'),
        ({"change": put("EmitterPosition", np.zeros((2, 3)))}, "lists 2 emitters that were measured together"),
    ],
)
def test_what_is_doubtful_is_read_and_said(tmp_path: Path, more: dict[str, Any], said: str) -> None:
    receiver, change = more.pop("receiver", SPHERICAL), more.pop("change", None)
    path = transfer(tmp_path / "a.sofa", receiver, **more)
    data = read_sofa_file(edited(path, change) if change is not None else path, "file")
    assert any(said in note for note in data.notes)
    assert data.pressure(WAYS, FREQUENCIES) == pytest.approx(expected(WAYS, FREQUENCIES), abs=1e-9)


def test_millimetres_are_read_as_such(tmp_path: Path) -> None:
    path = transfer(tmp_path / "a.sofa", 1500.0 * WAYS, position_type="cartesian", position_units="millimetre")
    data = read_sofa_file(path, "file")
    assert data.pressure(WAYS, FREQUENCIES) == pytest.approx(expected(WAYS, FREQUENCIES), abs=1e-9)
    assert not any("metre" in note or " m " in note for note in data.notes)


def test_receivers_at_several_distances_are_brought_to_one(tmp_path: Path) -> None:
    """Sound falls with distance: 1/r in a free field."""
    distance = np.where(WAYS[:, 1] > 0.0, 1.0, 2.0)
    values = pattern(WAYS, FREQUENCIES) / distance[:, None]
    path = write_sofa(
        tmp_path / "a.sofa", np.column_stack([GRID, distance]), values=values[None], frequencies_hz=FREQUENCIES
    )
    data = read_sofa_file(path, "file")
    assert np.abs(data.pressure(WAYS, FREQUENCIES)) == pytest.approx(np.abs(expected(WAYS, FREQUENCIES)), abs=1e-9)
    assert "its receivers stand 1 to 2 m from the source: levels are brought to one distance" in data.notes


def test_levels_where_ratios_belong(tmp_path: Path) -> None:
    level_db = 20.0 * np.log10(np.abs(expected(WAYS, FREQUENCIES)))[None] + 0j
    path = write_sofa(tmp_path / "a.sofa", SPHERICAL, values=level_db, frequencies_hz=FREQUENCIES)
    with pytest.raises(SceneError, match=r"without Data\.Imag, which looks like dB; write ratios"):
        read_sofa_file(path, "file")
    path = write_sofa(tmp_path / "b.sofa", SPHERICAL, values=90.0 + level_db, frequencies_hz=FREQUENCIES)
    assert any("taken to be ratios, not dB" in note for note in read_sofa_file(path, "file").notes)


def test_two_orbits_in_an_aes69_file_are_completed_like_a_table(tmp_path: Path) -> None:
    mine = np.minimum(np.abs(WAYS[:, 1]), np.abs(WAYS[:, 2])) < 1e-9
    path = transfer(tmp_path / "a.sofa", SPHERICAL[mine], WAYS[mine])
    data = read_sofa_file(path, "file")
    assert data.layout == "two orbits"
    assert data.pressure(WAYS[mine], FREQUENCIES) == pytest.approx(expected(WAYS[mine], FREQUENCIES), abs=1e-9)


def test_compressed_data_are_read_and_damaged_ones_refused(tmp_path: Path) -> None:
    values = np.real(pattern(WAYS, FREQUENCIES))[None]

    def squeeze(file: h5py.File) -> None:
        del file["Data.Real"]
        file.create_dataset("Data.Real", data=values, chunks=(1, 50, 4), compression="gzip", fletcher32=True)

    path = edited(transfer(tmp_path / "a.sofa"), squeeze)
    close(read_sofa_file(path, "file").pressure(SOME, FREQUENCIES), expected(SOME, FREQUENCIES))
    with h5py.File(path) as file:
        place = file["Data.Real"].id.get_chunk_info(1).byte_offset
    damaged = bytearray(path.read_bytes())
    damaged[place : place + 8] = b"\xff" * 8
    path.write_bytes(bytes(damaged))
    with pytest.raises(SceneError, match="some of its data cannot be read; copy or export it again"):
        read_sofa_file(path, "file")


def test_damaged_anywhere_it_is_read_or_refused_in_a_sentence(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Bytes turned at random: a reader of files that people send never fails in another way."""
    grid = sphere_grid(30.0)
    path = transfer(tmp_path / "a.sofa", np.column_stack([grid, np.full(len(grid), 2.0)]), unit_vectors(grid))
    whole = path.read_bytes()
    random = np.random.default_rng(7)
    refused = 0
    with SofaServer(tmp_path) as answer:
        monkeypatch.setattr(sofa_contents, "_answer", answer)
        for _ in range(60):
            damaged = bytearray(whole)
            for place in random.integers(0, len(whole), 5):
                damaged[place] ^= int(random.integers(1, 256))
            path.write_bytes(bytes(damaged))
            try:
                assert np.isfinite(read_sofa_file(path, "file").pressure(SOME, FREQUENCIES)).all()
            except SceneError as fault:
                refused += 1
                assert "\n" not in str(fault)
    assert refused > 0
