"""A scene written out and read back: the plan to the same outline, the model with its names, every tape distance."""

from __future__ import annotations

import datetime
from pathlib import Path

import ezdxf
import numpy as np
import pypdf
import pytest
import trimesh

import sim
from sim.__main__ import main
from sim.errors import SceneError
from sim.pipeline import build
from sim.studies.sheets import empty_room
from sim.studies.sheets.empty_room import diagonals, emptied, room_book, room_corners, room_plan
from sim.studies.sheets.page_layout import area_mm
from sim.studies.sheets.plan_dxf import plan_document
from tests.surveying.drawing.plan_files import L_ROOM

SCENES = Path(__file__).resolve().parents[3] / "scenes"
DAY = datetime.date(2026, 1, 2)
L_SCENE = f"""
title = "An invented L"
units = "{{unit}}"
[room]
outline = [{", ".join(f'{{{{ from_front = "{4.4 - y} m", from_left = "{x} m" }}}}' for x, y in L_ROOM[::-1])}]
height = "2.5 m"
[listener]
ear = {{{{ from_front = "2.6 m", from_left = "1.8 m", up = "1.2 m" }}}}
[[loudspeakers]]
name = "left"
model = "two-way"
acoustic_axis = {{{{ from_front = "1.2 m", from_left = "1.2 m", up = "1.2 m" }}}}
[[openings]]
name = "door"
kind = "door"
surface = "rear wall"
from_left = ["1.0 m", "1.9 m"]
up = ["0 m", "2.0 m"]
[[panels]]
name = "side panel"
surface = "left wall"
from_front = ["1.0 m", "1.6 m"]
up = ["0.8 m", "1.8 m"]
material = "100 mm wool"
"""


@pytest.fixture(scope="module", params=["bedroom-on-desk", "attic-lying", "L-shape"])
def scene(request: pytest.FixtureRequest) -> tuple:
    return build(L_SCENE.format(unit="m") if request.param == "L-shape" else SCENES / request.param)


def test_the_plan_reads_back_to_the_same_outline(scene: tuple, tmp_path: Path) -> None:
    read, built = scene
    place = tmp_path / "plan.dxf"
    plan_document(read, built).saveas(place)
    plan = sim.floorplan(place, layers=["ROOM"])
    assert plan.unit == "mm"
    assert plan.room is not None
    corners = room_corners(read, built.room)
    away = np.linalg.norm(plan.room.corners[:, None] - (corners - corners.min(axis=0))[None], axis=2)
    assert len(plan.room.walls) == len(corners)
    assert away.min(axis=1).max() < 1e-6
    assert len(set(away.argmin(axis=1).tolist())) == len(corners)


def test_the_plan_has_a_layer_for_each_kind_of_thing(scene: tuple) -> None:
    read, built = scene
    space = plan_document(read, built).modelspace()
    by_layer = {layer: [e for e in space if e.dxf.layer == layer] for layer in {e.dxf.layer for e in space}}
    monitors = [e for e in by_layer["MONITORS"] if e.dxftype() == "POINT"]
    for one, point in zip(built.loudspeakers, monitors, strict=True):
        expected = (1000.0 * one.axis_point[1], -1000.0 * one.axis_point[0])
        assert (point.dxf.location.x, point.dxf.location.y) == pytest.approx(expected)
    assert len(by_layer["SEATS"]) == len(built.ears)
    names = {e.dxf.text for e in by_layer["NAMES"]}
    assert {opening.name for opening in read.blueprint.openings} <= names
    assert {panel.name for panel in built.panels} | {item.name for item in read.blueprint.furniture} <= names
    assert ("PANELS" in by_layer) == bool(built.panels)


def test_the_command_writes_all_three(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out = tmp_path / "out"
    command = ["export", str(SCENES / "bedroom-on-desk"), "-o", str(out)]
    assert main(command) == 0
    assert {each.name for each in out.iterdir()} == {"room.glb", "plan.dxf", "empty_room.pdf", "contents.txt"}
    assert "to check on paper" in capsys.readouterr().out
    model = trimesh.load(out / "room.glb")
    built = build(SCENES / "bedroom-on-desk")[1]
    assert {"room: left wall", "room: ceiling", "furniture: desk", "loudspeaker: left", "seat: ear"} <= set(
        model.geometry
    )
    assert not any(name.startswith("hotspots") for name in model.geometry)
    ceiling = model.geometry["room: ceiling"].bounds
    # glTF has up as y and ours as the third (Khronos Group, glTF 2.0, 3.4)
    assert ceiling[:, 1] == pytest.approx(built.room.triangles[..., 2].max())
    paints = {
        model.geometry[name].visual.material.main_color.tobytes() for name in ("room: ceiling", "furniture: desk")
    }
    assert len(paints) == 2
    assert ezdxf.readfile(out / "plan.dxf").header["$INSUNITS"] == 4
    text = "".join(page.extract_text() for page in pypdf.PdfReader(out / "empty_room.pdf").pages)
    for length in ("4200", "3400", "2400", "5404"):  # depth, width, height, and 5.404 m: the hypotenuse of 3.4 and 4.2
        assert length in text
    assert "Nothing is worked out yet" in text
    assert main(command) == 2
    assert main([*command, "--replace", "--paper", "letter"]) == 0


def lengths_of(scene: tuple) -> dict[str, str]:
    """What the table of the plan says: number and name to length."""
    (table,) = room_plan(emptied(*scene)).tables
    return {f"{row[0]} {row[1]}": row[2] for row in table.rows}


def test_every_wall_diagonal_and_height_of_an_l_is_on_the_plan() -> None:
    """Lengths by hand: sides of the L, and by Pythagoras diagonals between corners that see each other."""
    found = lengths_of(build(L_SCENE.format(unit="m")))
    walls = {name.split(" ", 1)[1]: length for name, length in found.items() if name.startswith("W")}
    assert walls == {
        "left wall": "4400",
        "rear wall": "5200",
        "right wall": "2600",
        "front wall 2": "1600",
        "right wall 2": "1800",
        "front wall": "3600",
    }
    pairs = [(3.6, 1.8), (3.6, 2.6), (5.2, 2.6), (3.6, 4.4), (1.6, 2.6), (5.2, 4.4)]
    expected = sorted(round(1000.0 * float(np.hypot(*pair))) for pair in pairs)
    assert sorted(int(length) for name, length in found.items() if name.startswith("D")) == expected
    assert found["A overall width"] == "5200"
    assert found["B overall depth"] == "4400"
    assert found["H height in the middle"] == "2500"


def test_lengths_of_an_inch_scene_are_in_feet_and_inches() -> None:
    found = lengths_of(build(L_SCENE.format(unit="ft")))
    assert found["B overall depth"] == "14'-5 1/4\""


def test_walls_have_heights_diagonals_and_openings_to_tick(scene: tuple) -> None:
    empty = emptied(*scene)
    _, sheets = room_book(empty, "a4", DAY)
    drawings = [placed.drawing for sheet in sheets for placed in sheet.drawings]
    assert drawings[0].title == "Plan of the empty room"
    for drawing in drawings[1:]:
        (table,) = drawing.tables
        assert table.headings == ("No", "Measure", "Drawing", "On site", "Same")
        assert all(row[3].startswith("____") and row[4] == "[    ]" for row in table.rows)
        rows = {row[1]: row[2] for row in table.rows}
        if {"height at the left end", "rising diagonal"} <= set(rows) and "height at its highest" not in rows:
            width, left, right = (
                float(rows[f"{each}"]) for each in ("length", "height at the left end", "height at the right end")
            )
            if left == right:
                assert float(rows["rising diagonal"]) == pytest.approx(np.hypot(width, left), abs=1.0)
        assert not any(line.layer in ("FURNITURE", "LOUDSPEAKERS", "PANELS") for line in drawing.outlines)
    names = {row[1] for drawing in drawings for row in drawing.tables[0].rows}
    for opening in empty.scene.blueprint.openings:
        assert any(name.startswith(f"{opening.name}, width") for name in names)


@pytest.mark.parametrize("paper", ["a4", "a3", "letter"])
def test_drawings_stay_on_the_paper(scene: tuple, paper: str) -> None:
    _, sheets = room_book(emptied(*scene), paper, DAY)
    for sheet in sheets:
        left, low, right, high = area_mm(paper, upright=sheet.upright)
        for placed in sheet.drawings:
            corners = placed.on_paper(np.stack([placed.drawing.low, placed.drawing.high]))
            assert corners[0, 0] >= left and corners[1, 0] <= right
            assert corners[0, 1] >= low and corners[1, 1] <= high


def test_a_room_of_very_many_pieces_has_its_plan_alone(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(empty_room, "MOST_FACETS", 3)
    _, (sheet,) = room_book(emptied(*build(SCENES / "bedroom-on-desk")), "a4", DAY)
    (placed,) = sheet.drawings
    assert placed.drawing.tables[0].notes[-1].startswith("Walls have no drawings of their own: the room is made of ")


def test_diagonals_are_those_inside() -> None:
    """Of the six corners of the L nine pairs are no sides; the hollow corner hides some of them from each other."""
    ring = np.array(L_ROOM)
    found = diagonals(ring)
    assert (2, 5) not in found and (2, 4) not in found  # outside, or through the hollow corner's missing part
    assert (1, 4) not in found
    assert (0, 3) in found and (0, 2) in found
    many = np.array([[np.cos(t), np.sin(t)] for t in np.linspace(0.0, 2.0 * np.pi, 9)[:-1]])
    assert diagonals(many) == [(0, 4), (1, 5), (2, 6), (3, 7)]


def test_a_paper_that_is_none() -> None:
    with pytest.raises(SceneError, match='--paper: it is "a5"'):
        sim.export(SCENES / "bedroom-on-desk", paper="a5")
