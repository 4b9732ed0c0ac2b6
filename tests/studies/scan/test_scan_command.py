"""The command that makes a scene of a scan: its words, its files, its picture, and what is left of a failure."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pytest
from matplotlib.image import imread

import sim
from sim.__main__ import main
from sim.studies.scan.picture import scan_figure
from tests.builders.flat_scans import box_room, box_squares, room_squares, write_shaken


@pytest.fixture(scope="module")
def furnished(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A box with a chest in it and a window that gives no depth."""
    triangles = room_squares(box_room(4.4, 3.6, 2.5))
    middle = triangles.mean(axis=1)
    window = (middle[:, 1] < 0.001) & (abs(middle[:, 0] - 1.5) < 0.5) & (abs(middle[:, 2] - 1.4) < 0.5)
    chest = box_squares(np.array([3.2, 2.4, 0.0]), np.array([4.38, 3.0, 0.7]))
    path = tmp_path_factory.mktemp("furnished") / "office.ply"
    return write_shaken(np.concatenate([triangles[~window], chest]), path)


@pytest.fixture(scope="module")
def found(furnished: Path) -> sim.ScannedRoom:
    return sim.scan(furnished)


def test_it_writes_a_scene_that_can_be_checked(
    furnished: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    place = tmp_path / "office"
    assert main(["scan", str(furnished), "-o", str(place), "--tape", "width=3.6 m"]) == 0
    said = capsys.readouterr().out
    assert said.startswith("Box of 4 walls, 3.60 m wide, 4.40 m deep, 2.50 m high; 95 % of the scan within")
    assert "confirmed by tape." in said.splitlines()[0]
    assert "window, door or mirror? not seen." in said
    assert "behind block 1" in said or "block 1: " in said
    assert {file.name for file in place.iterdir()} == {
        "contents.txt",
        "scan.png",
        "scan.txt",
        "scene.toml",
        "walls.csv",
    }
    assert imread(place / "scan.png").shape[1] == 1650
    assert main(["check", str(place)]) == 0
    assert main(["scan", str(furnished), "-o", str(place)]) == 2, "a scene that somebody corrected is never replaced"


def test_nothing_is_left_when_it_is_no_room(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    chest = write_shaken(box_squares(np.zeros(3), np.array([1.2, 0.6, 0.9])), tmp_path / "chest.ply")
    assert main(["scan", str(chest), "-o", str(tmp_path / "office")]) == 2
    assert "an object" in capsys.readouterr().err
    assert [file.name for file in tmp_path.iterdir()] == ["chest.ply"]


def test_words_in_feet_have_no_metres(furnished: Path) -> None:
    text = sim.words(sim.scan(furnished, units="ft", tape=[("width", "11 ft 10 in")]))
    assert " ft " in text
    assert re.findall(r"\d (?:m|cm|mm|m2)\b", text) == []


def test_the_picture_names_walls_blocks_and_holes(found: sim.ScannedRoom) -> None:
    figure = scan_figure(found)
    words = " ".join(text.get_text() for text in [*figure.texts, *(t for ax in figure.axes for t in ax.texts)])
    for wall in found.walls:
        assert wall.name in words
    assert "block 1" in words and "?" in words
    assert "not confirmed by tape" in words


def test_the_map_shows_how_far_the_scan_is(found: sim.ScannedRoom) -> None:
    """The scan was shaken by 5 mm, squares of 10 cm hold a few corners each, and the window is a hole in the map."""
    holes = {}
    for surface in found.maps:
        assert np.abs(surface.distance_m[np.isfinite(surface.distance_m)]).max() < 0.03
        holes[surface.name] = float((np.isnan(surface.distance_m) & surface.inside).sum()) * surface.square_m**2
    window = max(holes, key=lambda name: holes[name])
    assert window in ("left wall", "right wall")  # nobody said which wall is in front
    assert holes.pop(window) == pytest.approx(1.0, abs=0.25)
    assert max(holes.values()) < 0.05
    assert found.away_95_m < 0.02


def test_its_table_has_a_row_for_each_wall(found: sim.ScannedRoom) -> None:
    assert [row["wall"] for row in found.rows()] == [wall.name for wall in found.walls]
    assert repr(found).startswith("<ScannedRoom: box of 4 walls")
