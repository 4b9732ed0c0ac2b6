"""AES69 files, written by an independent library (see `sofa_writing`)."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest

from sim.errors import SceneError
from sim.loudspeakers.sofa_file import read_sofa_file
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
    assert data.notes == ()
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
        tmp_path / "a.sofa", 1.5 * WAYS @ axes, values=pattern(WAYS, FREQUENCIES)[None], frequencies_hz=FREQUENCIES,
        position_type="cartesian", position_units="metre", source_view=front[None], source_up=up[None],
    )  # fmt: skip
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
        tmp_path / "a.sofa", np.array([[0.0, 0.0, 2.0]]), convention="GeneralFIR", responses=impulses(seen)[:, None],
        source_view=views, delays=np.zeros((1, 1)),
    )  # fmt: skip
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
    assert any("2 measurements" in note for note in data.notes)
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
)  # fmt: skip
def test_what_cannot_be_used_is_refused_in_one_sentence(tmp_path: Path, more: dict[str, Any], words: str) -> None:
    receiver = more.pop("receiver", SPHERICAL)
    path = transfer(tmp_path / "box.sofa", receiver, **more)
    with pytest.raises(SceneError, match=words) as told:
        read_sofa_file(path, "models.mine.file")
    assert str(told.value).startswith("models.mine.file, box.sofa: ")
    assert "\n" not in str(told.value)


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
