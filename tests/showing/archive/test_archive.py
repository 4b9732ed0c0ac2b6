from __future__ import annotations

import errno
import gzip
import struct
from dataclasses import fields, is_dataclass, replace
from pathlib import Path
from typing import Any

import h5py
import numpy as np
import pytest

import sim
from sim.blueprint.reader import parse_scene
from sim.errors import OutputError
from sim.pipeline import trace, trace_scene
from sim.responses.records import Results
from sim.showing.archive import results as archive
from sim.showing.archive.results import is_results, read_results, write_results
from sim.showing.words import assumptions
from sim.studies.decay.tables import write_decay_file
from tests.studies.decay.decay_studies import traced
from tests.studies.traced_attic import ATTIC

SCENES = Path(__file__).parents[3] / "scenes"
OLD = Path(__file__).parent / "old_results"


def assert_equal(one: Any, other: Any, where: str = "results") -> None:
    assert type(one) is type(other), where
    if is_dataclass(one):
        for field in (each for each in fields(one) if each.compare):
            assert_equal(getattr(one, field.name), getattr(other, field.name), f"{where}.{field.name}")
    elif isinstance(one, tuple):
        assert len(one) == len(other), where
        for number, (a, b) in enumerate(zip(one, other, strict=True)):
            assert_equal(a, b, f"{where}[{number}]")
    elif isinstance(one, np.ndarray):
        assert one.dtype == other.dtype, where
        assert one.shape == other.shape, where
        assert one.tobytes() == other.tobytes(), where  # bit for bit: also -0.0 and not a number
    elif isinstance(one, float):
        assert struct.pack("<d", one) == struct.pack("<d", other), where
    else:
        assert one == other, where


@pytest.fixture(scope="module")
def written(traced_attic: Results, tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("archive") / "results.h5"
    write_results(traced_attic, path)
    return path


def test_what_is_read_equals_what_was_written(traced_attic: Results, written: Path) -> None:
    assert_equal(traced_attic, read_results(written))


@pytest.mark.parametrize("name", ["bedroom-on-desk", "control-room-built-in"])
def test_demo_rooms_round_trip_bit_for_bit(name: str, tmp_path: Path) -> None:
    results = trace(SCENES / name, order=1)
    write_results(results, tmp_path / "results.h5")
    assert_equal(results, read_results(tmp_path / "results.h5"))


PANELS = """
[materials.wool]
build_up = "100 mm wool, 50 mm gap"
behind = "brick"
[materials.board]
layers = [{ perforated = 0.009, hole = 0.006, pitch = 0.02 }, { porous = 0.05, of = "foam", divided = true }]
[[panels]]
name = "side panel"
surface = "left knee wall"
from_front = ["1.2 m", "2.2 m"]
up = ["0.2 m", "1.0 m"]
material = "wool"
[[panels]]
name = "slope panel"
surface = "right slope"
from_front = ["1.2 m", "2.2 m"]
up = ["1.3 m", "2.0 m"]
material = "100 mm wool"
movable = true
note = "hangs on two hooks"
"""


def test_layers_and_panels_round_trip_in_the_same_layout(written: Path, tmp_path: Path) -> None:
    scene = ATTIC.replace("[listener]", '[room.materials]\n"rear gable" = "board"\n[listener]')
    results = trace_scene(parse_scene(scene + PANELS, Path("demo")), order=1)
    assert [panel.name for panel in results.built.panels] == ["side panel", "slope panel"]
    assert {finish.name for finish in results.built.finishes} == {"wool", "board", "100 mm wool"}
    reported = " ".join(assumptions(results))
    assert "save those given in layers" in reported
    assert "Panels take part" in reported
    write_results(results, tmp_path / "results.h5")
    assert_equal(results, read_results(tmp_path / "results.h5"))
    found: list[set[str]] = []
    for path in (written, tmp_path / "results.h5"):
        names: list[str] = []
        with h5py.File(path) as file:
            file["built_scene"].visit(names.append)
            assert file["built_scene/panels/corners_m"].attrs["units"] == "m"
        found.append(set(names))
    assert found[0] == found[1]


def test_arrays_come_back_read_only(written: Path) -> None:
    again = read_results(written)
    with pytest.raises(ValueError, match="read-only"):
        again.responses.response.total[0, 0, 0] = 0.0
    with pytest.raises(ValueError, match="read-only"):
        again.responses.arrivals[0].level_db[0] = 0.0


def test_results_without_arrivals_maps_or_candidates_round_trip(traced_attic: Results, tmp_path: Path) -> None:
    bare = replace(
        traced_attic, candidates=(), responses=replace(traced_attic.responses, arrivals=(), maps=(), verdicts=())
    )
    write_results(bare, tmp_path / "bare.h5")
    assert_equal(bare, read_results(tmp_path / "bare.h5"))


def test_the_file_says_where_it_comes_from(traced_attic: Results, written: Path) -> None:
    with h5py.File(written) as file:
        assert file.attrs["program"] == "bounceplan"
        assert file.attrs["scene_hash"] == traced_attic.scene.digest
        assert file.attrs["seed"] == traced_attic.scene.blueprint.method.seed
        assert "The hatch is closed." in file.attrs["assumptions"]
        assert "Bass" in file.attrs["not_judged"]
        assert "tether" in file.attrs["cautions"]
        assert "room.materials" in file.attrs["defaulted"].splitlines()


def test_principal_arrays_carry_names_scales_and_units(traced_attic: Results, written: Path) -> None:
    with h5py.File(written) as file:
        octaves = file["responses/energy_time/octave_db"]
        labels = [dimension.label for dimension in octaves.dims]
        assert labels == ["loudspeaker", "listener", "octave in Hz", "time after direct sound in ms"]
        assert octaves.attrs["units"] == "dB"
        assert list(octaves.dims[0][0].asstr()[()]) == ["left", "right"]
        assert list(octaves.dims[1][0].asstr()[()]) == ["ear", "client"]
        assert np.array_equal(octaves.dims[2][0][()], traced_attic.responses.bands.nominal_hz)
        assert np.array_equal(octaves.dims[3][0][()], traced_attic.responses.energy_time.time_ms)
        # HDF5 Dimension Scales specification: a scale says so in its attribute CLASS.
        assert octaves.dims[3][0].attrs["CLASS"] == b"DIMENSION_SCALE"
        by_surface = file["responses/frequency_response/by_surface"]
        assert tuple(by_surface.dims[2][0].asstr()[()]) == traced_attic.responses.response.surfaces
        assert by_surface.dtype.names is None  # h5py maps the compound {r, i} to complex
        assert file["responses/arrivals/parts/items/delay_ms"].attrs["units"] == "ms"
        assert file["responses/arrivals/notches_hz"].attrs["units"] == "Hz"
        assert file["built_scene/ears"].attrs["units"] == "m"
        assert file["built_scene/volume_m3"].attrs["units"] == "m3"


def test_an_interrupted_write_leaves_the_old_file(
    traced_attic: Results, written: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    before = written.read_bytes()

    def interrupt(*_: Any) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(archive, "make_scales", interrupt)
    with pytest.raises(KeyboardInterrupt):
        write_results(traced_attic, written)
    assert written.read_bytes() == before
    assert [entry.name for entry in written.parent.iterdir()] == [written.name]


def test_a_folder_that_is_not_there_is_told(traced_attic: Results, tmp_path: Path) -> None:
    with pytest.raises(OutputError, match="No such file or directory"):
        write_results(traced_attic, tmp_path / "nowhere" / "results.h5")


def refusal(path: Path | str) -> str:
    with pytest.raises(OutputError) as caught:
        read_results(path)
    assert "\n" not in str(caught.value)
    return str(caught.value)


def test_results_are_read_by_text_or_path_of_the_file_or_its_folder(traced_attic: Results, written: Path) -> None:
    for source in (written, str(written), written.parent, str(written.parent)):
        assert sim.read_results(source).scene == traced_attic.scene


def test_files_that_are_not_results_are_refused_in_one_sentence(written: Path, tmp_path: Path) -> None:
    assert "there is no such file" in refusal(tmp_path / "none.h5")
    assert "this folder holds no results.h5" in refusal(str(tmp_path))

    text = tmp_path / "text.h5"
    text.write_text("not a file of results")
    assert "not a file of results of bounceplan" in refusal(text)
    text.write_bytes(b"")
    assert "not a file of results of bounceplan" in refusal(text)

    cut = tmp_path / "cut.h5"
    whole = written.read_bytes()
    cut.write_bytes(whole[: len(whole) // 2])
    assert f"cut short ({len(whole) // 2 - 512} of {len(whole) - 512} bytes" in refusal(cut)

    foreign = tmp_path / "foreign.h5"
    with h5py.File(foreign, "w") as file:
        file["data"] = 1.0
    assert "not written by bounceplan" in refusal(foreign)
    assert not is_results(foreign)
    assert is_results(written)

    newer = tmp_path / "newer.h5"
    newer.write_bytes(whole.replace(b"layout 5\n", b"layout 9\n", 1))
    assert "layout 9, written by a newer bounceplan" in refusal(newer)

    other = tmp_path / "decay.h5"
    write_decay_file(traced(), other)
    assert "holds a decay, not results" in refusal(other)


def test_a_file_that_may_not_be_read_is_told(written: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(*_: Any) -> None:
        raise PermissionError(errno.EACCES, "Permission denied")

    monkeypatch.setattr(Path, "open", refuse)
    assert "the file cannot be read (Permission denied)" in refusal(written)


@pytest.mark.parametrize(
    ("damage", "message"),
    [
        (lambda file: file.__delitem__("responses/transition_hz"), "transition_hz"),
        (lambda file: file.__delitem__("responses/arrivals/parts/start"), "start"),
        (lambda file: shorten(file, "responses/verdicts/met"), "not a whole file"),
        (lambda file: file.attrs.__setitem__("layout", 7), "layout 7, written by a newer"),
        (lambda file: file.attrs.__setitem__("layout", 3), "lacks its seal"),
        (lambda file: file.attrs.__setitem__("layout", 0), "lacks its seal"),
    ],
)
def test_files_without_a_seal_that_hold_something_else_are_refused(tmp_path: Path, damage: Any, message: str) -> None:
    copy = tmp_path / "copy.h5"
    copy.write_bytes(gzip.decompress((OLD / "layout-2-last.h5.gz").read_bytes()))
    with h5py.File(copy, "r+") as file:
        damage(file)
    assert message in refusal(copy)


def shorten(file: h5py.File, name: str) -> None:
    kept = file[name][:1]
    del file[name]
    file[name] = kept
