"""Drawings and mounting tables of a lopsided room against those of its mirror image, and against a tape."""

from __future__ import annotations

import csv
import datetime
from pathlib import Path
from typing import Any

import ezdxf
import numpy as np
import pytest
import shapely

from sim.studies.sheets.dxf import write_dxf
from sim.studies.sheets.layout import drawings_of
from sim.studies.sheets.panel_tables import write_panels
from sim.studies.sheets.records import Drawing
from tests.rooms.lopsided import SCENE, WIDTH, sorted_edges, swapped, traced

CLOUD, SIDE = SCENE["panels"][1], SCENE["panels"][0]


def drawings(mirror: bool) -> dict[str, Drawing]:
    found = {
        swapped(each.title) if mirror else each.title: each
        for each in drawings_of(traced(mirror))
        if not each.title.startswith("Setting-out")  # one panel by itself, which has no sides
    }
    assert len(found) >= 6
    return found


def turned_back(drawing: Drawing, points: np.ndarray, mirror: bool) -> np.ndarray:
    """Corners of a line; those of a mirrored drawing are turned back."""
    flat = np.array(points, dtype=float)
    if mirror and not drawing.title.startswith("Section"):  # a cut along the depth has no sides
        flat[:, 0] = drawing.low[0] + drawing.high[0] - flat[:, 0]
    return flat


def lines_of(drawing: Drawing, layer: str, mirror: bool) -> list[Any]:
    """Lines of a layer as shapes: whatever order their corners have, the same line is the same shape."""
    found: list[Any] = []
    for one in drawing.outlines:
        if one.layer == layer:
            corners = turned_back(drawing, one.points, mirror)
            found.append(shapely.Polygon(corners) if one.closed else shapely.LineString(corners))
    return found


@pytest.mark.parametrize("layer", ["WALLS", "OPENINGS", "KEEP-CLEAR", "FURNITURE", "LOUDSPEAKERS", "PANELS"])
def test_lines_of_every_drawing_are_mirrored(layer: str) -> None:
    ours, theirs = drawings(False), drawings(True)
    assert ours.keys() == theirs.keys()
    lines = 0
    for title, drawing in ours.items():
        mine, others = lines_of(drawing, layer, False), lines_of(theirs[title], layer, True)
        assert len(mine) == len(others), title
        for line in mine:
            assert min(line.hausdorff_distance(other) for other in others) < 3e-3, (title, line)
        lines += len(mine)
    assert lines >= 2


def test_marks_and_words_of_every_drawing_are_mirrored() -> None:
    ours, theirs = drawings(False), drawings(True)
    sides = {"L": "R", "R": "L"}

    def letters(text: str) -> str:
        return "".join(sorted(sides.get(letter, letter) for letter in text))

    for title, drawing in ours.items():
        other = theirs[title]
        mine = sorted(("".join(sorted(one.letter)), one.shape == "cross") for one in drawing.marks)
        assert mine == sorted((letters(one.letter), one.shape == "cross") for one in other.marks), title
        places = [turned_back(drawing, one.place[None], False)[0] for one in drawing.marks]
        turned = [turned_back(other, one.place[None], True)[0] for one in other.marks]
        for place in places:
            assert min(np.linalg.norm(place - each) for each in turned) < 3e-3, (title, place)
        words = sorted(label.words for label in drawing.labels)
        assert words == sorted(sides.get(label.words, swapped(label.words)) for label in other.labels), title


def test_plan_shows_things_where_a_tape_finds_them() -> None:
    plan = drawings(False)["Plan"]
    assert plan.ends == ("left side", "right side") and plan.front == "up"
    (left,) = (one for one in plan.dimensions if one.side == "above" and one.start[0] == 0.0)
    assert left.value_m == pytest.approx(1.0)  # left wall to the axis of the left loudspeaker
    cloud = [one for one in plan.outlines if one.layer == "PANELS"]
    low = min(float(one.points[:, 0].min()) for one in cloud)
    assert low == pytest.approx(CLOUD["from_left"][0])
    rack = SCENE["furniture"][1]["from_left"]
    boxes = [(one.points[:, 0].min(), one.points[:, 0].max()) for one in plan.outlines if one.layer == "FURNITURE"]
    assert any(np.allclose(box, rack) for box in boxes)


def test_elevations_look_at_a_wall_from_inside() -> None:
    """Facing the right wall the front is at one's left hand; facing the left wall, at the right one."""
    right, left = (drawings(False)[f"Wall elevation: {side} wall"] for side in ("right", "left"))
    assert right.ends == ("front right corner", "rear right corner") and right.front == "left"
    assert left.ends == ("rear left corner", "front left corner") and left.front == "right"
    (panel,) = (one for one in right.outlines if one.layer == "PANELS")
    assert [panel.points[:, 0].min(), panel.points[:, 0].max()] == pytest.approx(SIDE["from_front"])
    depth = float(left.high[0])
    (window,) = (one for one in left.outlines if one.layer == "OPENINGS")
    assert [window.points[:, 0].min(), window.points[:, 0].max()] == pytest.approx([depth - 1.9, depth - 1.1])


def test_file_for_cad_has_the_plan_in_true_millimetres(tmp_path: Path) -> None:
    write_dxf(traced(False), tmp_path / "plan.dxf", datetime.date(2025, 3, 1))
    document = ezdxf.readfile(tmp_path / "plan.dxf")  # type: ignore[attr-defined]
    space = document.modelspace()
    (title,) = [text for text in space.query("TEXT") if text.dxf.text.startswith("Plan")]
    start = float(title.dxf.insert[0])
    expected = [WIDTH * 1000.0 * fraction for fraction in (0.0, 1.0)]
    walls = [
        [point[0] - start for point in line.get_points("xy")]
        for line in space.query("LWPOLYLINE")
        if line.dxf.layer == "WALLS"
    ]
    assert [min(walls[0]), max(walls[0])] == pytest.approx(expected, abs=1e-6)
    panels = [
        [point[0] - start for point in line.get_points("xy")]
        for line in space.query("LWPOLYLINE")
        if line.dxf.layer == "PANELS"
    ]
    spans = [(min(xs), max(xs)) for xs in panels if max(xs) <= expected[1] + 1.0]
    assert any(np.allclose(span, 1000.0 * np.array(CLOUD["from_left"])) for span in spans)


def test_panel_table_measures_from_the_named_side(tmp_path: Path) -> None:
    rows = []
    for mirror in (False, True):
        path = tmp_path / f"panels-{mirror}.csv"
        write_panels(traced(mirror), path)
        with path.open(encoding="utf-8", newline="") as file:
            rows.append(list(csv.DictReader(file)))
    for ours, theirs in zip(*rows, strict=True):
        from_left = "left" in ours["tape_2_from"]
        for key, cell in ours.items():
            other = theirs[key]
            if key.endswith("_text"):
                assert float(cell.removesuffix(" mm")) == pytest.approx(1000.0 * float(ours[f"{key[:-5]}_m"]), abs=0.6)
            elif key.startswith("from_left_") or (from_left and key in ("tape_2_start_m", "tape_2_end_m")):
                far = key.replace("low", "#").replace("high", "low").replace("#", "high")
                far = far.replace("start", "#").replace("end", "start").replace("#", "end")
                assert float(cell) == pytest.approx(WIDTH - float(theirs[far]), abs=1e-4), key
            elif from_left and key == "tape_2_centre_m":
                assert float(cell) == pytest.approx(WIDTH - float(other), abs=1e-4)
            elif key == "tape_2_from":
                assert cell == other
            else:
                assert sorted_edges(swapped(other)) == cell, key
    side, cloud = rows[0]
    assert side["surface"] == "right wall" and float(side["from_left_low_m"]) == pytest.approx(WIDTH)
    assert [float(cloud[f"tape_2_{end}_m"]) for end in ("start", "end")] == pytest.approx(CLOUD["from_left"])
    corner = np.hypot(0.5 * sum(CLOUD["from_front"]), 0.5 * sum(CLOUD["from_left"]))
    assert cloud["corner_1"] == "front left ceiling"
    assert float(cloud["corner_1_to_centre_m"]) == pytest.approx(corner, abs=1e-4)
