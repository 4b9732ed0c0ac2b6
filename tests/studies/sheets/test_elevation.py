"""What a builder reads off a wall, a slope and the ceiling, against the room and the mirror formula."""

from __future__ import annotations

import numpy as np
import pytest

from sim.responses.records import Results
from sim.studies.sheets.layout import drawings_of
from sim.studies.sheets.records import Drawing
from tests.studies.sheets.treated_rooms import lopsided, sloping


def titled(results: Results, title: str) -> Drawing:
    return next(drawing for drawing in drawings_of(results) if drawing.title == title)


def labels(drawing: Drawing, side: str, row: int) -> list[str]:
    return [one.label for one in drawing.dimensions if (one.side, one.row) == (side, row)]


def panel_box(drawing: Drawing) -> list[list[float]]:
    (ring,) = [outline.points for outline in drawing.outlines if outline.layer == "PANELS"]
    return [ring.min(axis=0).tolist(), ring.max(axis=0).tolist()]


def test_a_panel_on_the_left_wall_is_measured_from_the_front_corner() -> None:
    wall = titled(lopsided(), "Wall elevation: left wall")
    assert wall.ends == ("rear left corner", "front left corner")
    assert wall.front == "right"
    (low, high) = panel_box(wall)
    assert 5.20 - high[0] == pytest.approx(0.70)
    assert (low[1], high[1]) == pytest.approx((0.61, 1.81))
    assert labels(wall, "below", 1)[-1] == "700"  # at the front corner, the right end of the paper
    assert labels(wall, "left", 1) == ["610", "1200", "690"]


def test_a_panel_on_the_right_wall_is_measured_from_its_left_end() -> None:
    wall = titled(lopsided(), "Wall elevation: right wall")
    assert wall.front == "left"
    assert labels(wall, "below", 1) == ["1000", "1200", "3000"]
    assert panel_box(wall) == [pytest.approx([1.00, 0.80]), pytest.approx([2.20, 1.40])]


def test_left_stays_left_on_the_ceiling() -> None:
    ceiling = titled(lopsided(), "Reflected ceiling plan")
    assert ceiling.front == "up"
    assert panel_box(ceiling) == [pytest.approx([0.50, 5.20 - 2.10]), pytest.approx([1.10, 5.20 - 0.90])]
    assert labels(ceiling, "below", 1) == ["500", "600", "2900"]
    assert labels(ceiling, "left", 1) == ["3100", "1200", "900"]


def test_marks_stand_where_the_mirror_formula_puts_them() -> None:
    """Mirror the tweeter in the wall and cut the line to the ear with it (similar triangles)."""
    wall = titled(lopsided(), "Wall elevation: right wall")
    marks = {mark.letter: mark for mark in wall.marks if mark.letter}
    tweeters = {"L": (0.60, 1.00, 1.25), "R": (0.70, 2.50, 1.25)}
    ear = np.array([2.10, 1.70, 1.20])
    drawn = [mark.place for mark in wall.marks]
    for letter, place in tweeters.items():
        source = np.array(place)
        fraction = (4.0 - source[1]) / ((4.0 - source[1]) + (4.0 - ear[1]))
        expected = (source + fraction * (ear - source))[[0, 2]]
        assert min(float(np.linalg.norm(spot - expected)) for spot in drawn) < 1e-6
        assert marks[letter].shape == {"L": "circle", "R": "square"}[letter]


def test_points_are_listed_as_they_are_drawn() -> None:
    wall = titled(lopsided(), "Wall elevation: right wall")
    table = next(table for table in wall.tables if table.title.startswith("Reflection points"))
    assert "L left, R right" in table.title
    assert table.headings[2:4] == ("from the front wall", "up from the floor")
    rows = [(float(row[2]) / 1000.0, float(row[3]) / 1000.0) for row in table.rows]
    for mark in wall.marks:
        assert min(np.hypot(*(np.array(row) - mark.place)) for row in rows) < 1e-3


def test_openings_zones_and_near_furniture_are_drawn() -> None:
    left = titled(lopsided(), "Wall elevation: left wall")
    words = {label.words for label in left.labels}
    assert {"window: must open", "cupboard", "P1"} <= words
    assert "desk" not in words  # it stands 0.8 m away
    rear = titled(lopsided(), "Wall elevation: rear wall")
    assert "door: way out, never block" in {label.words for label in rear.labels}
    ceiling = titled(lopsided(), "Reflected ceiling plan")
    (zone,) = [outline for outline in ceiling.outlines if outline.layer == "KEEP-CLEAR"]
    assert zone.points.min(axis=0) == pytest.approx([1.50, 5.20 - 2.90])  # with its clearance
    assert zone.points.max(axis=0) == pytest.approx([1.90, 5.20 - 2.50])


def test_the_slope_is_measured_along_itself_in_feet() -> None:
    slope = titled(sloping(), "Unrolled slope: left slope")
    assert labels(slope, "left", 1) == ["2'-9 7/16\"", "3'-8 9/16\"", '8 3/8"']
    assert labels(slope, "below", 1)[-1] == "3'-0 1/4\""
    assert "45 degrees" in slope.words


def test_dimensions_measure_what_they_say_on_every_drawing() -> None:
    for results in (lopsided(), sloping()):
        for drawing in drawings_of(results):
            for one in drawing.dimensions:
                assert np.linalg.norm(one.end - one.start) == pytest.approx(one.value_m, abs=1e-9)


def test_mirrored_outlines_keep_the_room_size() -> None:
    for title, size in (("Wall elevation: left wall", (5.2, 2.5)), ("Wall elevation: front wall", (4.0, 2.5))):
        drawing = titled(lopsided(), title)
        assert drawing.high - drawing.low == pytest.approx(size)
