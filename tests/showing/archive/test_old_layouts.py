"""Files of older layouts, written by the program as it was then, are read by the program as it is."""

from __future__ import annotations

import gzip
import re
from pathlib import Path

import h5py
import numpy as np
import pytest

from sim.responses.records import Results
from sim.showing.archive.old_layouts import LACKING, MISSED, OLD_NAMES
from sim.showing.archive.results import LAYOUT, read_results, write_results
from sim.showing.tables import write_traced
from sim.showing.words import assumptions, window_sentence
from tests.showing.archive.test_archive import assert_equal
from tests.showing.archive.test_results_layout import GOLDEN, entries

OLD = Path(__file__).parent / "old_results"
FILES = ["layout-1-first", "layout-1-last", "layout-2-first", "layout-2-last"]
"""An invented shed as each of these wrote it; large arrays were rounded before, to keep the files small."""


def unpacked(name: str, folder: Path) -> Path:
    path = folder / f"{name}.h5"
    path.write_bytes(gzip.decompress((OLD / f"{name}.h5.gz").read_bytes()))
    return path


@pytest.fixture(scope="module", params=FILES)
def old(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Results]:
    path = unpacked(request.param, tmp_path_factory.mktemp("old"))
    return path, read_results(path)


def test_what_is_read_is_what_the_file_holds(old: tuple[Path, Results]) -> None:
    path, results = old
    with h5py.File(path) as file:
        assert int(file.attrs["layout"]) == int(path.stem.split("-")[1])
        responses, ours = file["responses"], results.responses
        assert [arrival.kind for arrival in ours.arrivals] == list(responses["arrivals/kind"].asstr()[()])
        assert [arrival.worst_db for arrival in ours.arrivals] == responses["arrivals/worst_db"][()].tolist()
        assert np.array_equal(ours.response.total, responses["response/total"][()])
        assert np.array_equal(ours.response.by_surface, responses["response/by_surface"][()])
        assert np.array_equal(ours.energy_time.flight_ms, responses["energy_time/flight_ms"][()])
        assert np.array_equal(ours.energy_time.impulse, responses["energy_time/impulse"][()])
        assert np.array_equal(ours.maps[0].both_db, responses["maps/0000/both_db"][()], equal_nan=True)
        assert np.array_equal(ours.maps[0].mirror_points, responses["maps/0000/mirror_points"][()], equal_nan=True)
        offenders = [number for verdict in ours.verdicts for number in verdict.offenders]
        assert offenders == responses["verdicts/offenders/items"][()].tolist()
        assert [each.shade_m for each in results.candidates] == pytest.approx(
            file["candidates/shade_m"][()], abs=0.0, nan_ok=True
        )
        assert np.array_equal(results.paths.points, file["paths/points"][()], equal_nan=True)
        assert [each.body for each in results.built.loudspeakers] == [
            file[f"stage/loudspeakers/{number:04d}/body"].asstr()[()] for number in range(2)
        ]
        assert np.array_equal(results.built.room.arrays.offset, file["stage/room/arrays/offset"][()])
        if "stage/panels" in file:
            assert [panel.name for panel in results.built.panels] == ["side panel"]
            (finish,) = results.built.finishes
            assert len(finish.layers) == len(file["stage/finishes/layers/items/kind"]) == 2
            assert np.array_equal(finish.behind, file["stage/finishes/behind"][0])
            assert len(finish.scattering) == 8
            if "stage/finishes/scattering" in file:
                assert list(finish.scattering) == file["stage/finishes/scattering/items"][()].tolist()
        if "bends" in file:
            assert len(results.edge_paths) == len(file["bends/edge"]) > 0
            assert np.array_equal(results.edge_paths.gains, file["bends/gains"][()])
        assert results.scene.blueprint.title == "demo shed"


def test_old_results_are_written_anew_in_the_layout_of_today(
    old: tuple[Path, Results], traced_attic: Results, tmp_path: Path
) -> None:
    path, read = old
    write_results(read, tmp_path / "results.h5")
    assert_equal(read, read_results(tmp_path / "results.h5"))
    write_results(traced_attic, tmp_path / "today.h5")
    ours, today = (
        {line.partition(" |")[0] for line in entries(tmp_path / f"{name}.h5")} for name in ("results", "today")
    )
    assert today == ours, path


def test_what_an_old_file_lacks_is_said_in_one_sentence(old: tuple[Path, Results], tmp_path: Path) -> None:
    path, results = old
    said = [note for note in assumptions(results) if note.startswith("Read from a file of layout")]
    if path.stem == "layout-1-first":
        assert said == [
            "Read from a file of layout 1, without edge diffraction, notches and what makes them, the response of each "
            "driver, the response without each piece of furniture, third-octave levels at the ear, what has to be "
            "settled first (STOP); trace the scene again for these."
        ]
        assert len(results.edge_paths) == 0
        assert results.responses.notches == ()
        assert results.responses.response.by_driver.shape[:3] == (2, 2, 1)
        assert np.isnan(results.responses.response.by_driver).all()
        assert [len(arrival.panels) for arrival in results.responses.arrivals] == [
            len(arrival.surfaces) for arrival in results.responses.arrivals
        ]
    else:
        assert said == []
    write_traced(results, tmp_path)
    assert all(
        " ".join(note.split()) in " ".join((tmp_path / "README.txt").read_text("utf-8").split()) for note in said
    )


def test_every_old_name_and_every_filled_entry_is_one_of_today(traced_attic: Results, tmp_path: Path) -> None:
    write_results(traced_attic, tmp_path / "results.h5")
    today = {
        line.partition(" |")[0].replace("/NNNN", "").replace("/items", "") for line in entries(tmp_path / "results.h5")
    }
    assert set(OLD_NAMES) <= today
    assert set(LACKING) <= today


def test_every_old_file_that_lacks_something_was_found(tmp_path: Path) -> None:
    """What is filled in and can be said is lacking in the first file, and nothing of it in the last."""
    with h5py.File(unpacked("layout-1-first", tmp_path)) as file:
        assert [name for name in MISSED if name in file] == []
    with h5py.File(unpacked("layout-2-last", tmp_path)) as file:
        assert [name for name in MISSED if name not in file] == []


def test_layout_3_lacks_which_way_walls_face(tmp_path: Path) -> None:
    """A loudspeaker built into a wall was taken to face as its wall does."""
    results = read_results(unpacked("layout-3", tmp_path))
    assert [one.model.wall_normal for one in results.built.loudspeakers] == [(1.0, 0.0, 0.0)] * 2
    assert results.scene.blueprint.title == "demo shed"
    assert not any(note.startswith("Read from a file") for note in assumptions(results))


@pytest.mark.parametrize("name", ["layout-3", "layout-4"])
def test_sealed_files_lack_the_window_and_are_written_anew_with_one(name: str, tmp_path: Path) -> None:
    """Their response held the paths of the trace's order, to 60 ms; what came after it nobody had worked out."""
    results = read_results(unpacked(name, tmp_path))
    window = results.responses.response.window
    assert (window.window_ms, window.complete, window.octave_hz.size) == (60.0, False, 0)
    assert np.isnan(window.with_room_db).all()
    assert window.with_room_db.shape == (2, 1, len(results.responses.response.levels.bands))
    write_results(results, tmp_path / "again.h5")
    assert_equal(results, read_results(tmp_path / "again.h5"))
    names = {line.partition(" |")[0] for line in entries(tmp_path / "again.h5")}
    assert names == {line.partition(" |")[0] for line in GOLDEN.read_text("utf-8").splitlines()}
    with h5py.File(tmp_path / "again.h5") as file:
        assert file.attrs["layout"] == LAYOUT
    write_traced(results, tmp_path)
    said = " ".join((tmp_path / "README.txt").read_text("utf-8").split())
    assert window_sentence(window) in said
    assert not re.search(r"\bnan\b", said)
