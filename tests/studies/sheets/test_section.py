from __future__ import annotations

import numpy as np
import pytest

from sim.studies.sheets.layout import drawings_of
from tests.studies.sheets.treated_rooms import lopsided, sloping


def test_the_way_over_the_desk_is_that_of_the_mirror() -> None:
    """Mirror the driver in the desk top: depth of the point by similar triangles, extra path by Pythagoras."""
    section = drawings_of(lopsided())[1]
    assert section.title == "Section through desk and ears"
    assert section.front == "left"
    (table,) = section.tables
    row = next(
        row for row in table.rows if row[0].startswith("L: left, tweeter") or row[0].startswith("L: left, woofer")
    )
    built = lopsided().built
    driver = row[0].rpartition(" ")[2]
    number = [d.name for d in built.loudspeakers[0].model.drivers].index(driver)
    source, ear, top = built.loudspeakers[0].driver_points[number], built.ears[0], 0.74
    fraction = (source[2] - top) / (source[2] - top + ear[2] - top)
    point = source + fraction * (ear - source)
    assert [float(cell) / 1000.0 for cell in row[2:5]] == pytest.approx([point[0], point[1], top], abs=6e-4)
    mirrored = source * np.array([1.0, 1.0, -1.0]) + np.array([0.0, 0.0, 2.0 * top])
    extra = np.linalg.norm(mirrored - ear) - np.linalg.norm(source - ear)
    assert float(row[5]) / 1000.0 == pytest.approx(extra, abs=6e-4)
    places = [mark.place for mark in section.marks if mark.letter]
    assert min(abs(place[0] - point[0]) + abs(place[1] - top) for place in places) < 1e-6


def test_heights_and_depths_are_dimensioned() -> None:
    section = drawings_of(lopsided())[1]
    rows: dict[tuple[str, int], list[str]] = {}
    for one in section.dimensions:
        rows.setdefault((one.side, one.row), []).append(one.label)
    assert rows["left", 1] == ["1250", "1250"]  # acoustic axis
    assert rows["left", 2] == ["1200", "1300"]  # ear
    assert rows["right", 1] == ["740", "1760"]  # desk top
    assert rows["right", 2] == ["2300", "200"]  # face of the cloud: 100 mm of wool, 100 mm below the ceiling
    assert rows["above", 1] == ["900", "1200", "3100"]
    assert rows["below", 1] == ["600", "100", "200", "700", "500", "3100"]


def test_side_wall_panels_are_left_out_and_others_dashed() -> None:
    section = drawings_of(lopsided())[1]
    names = {label.words for label in section.labels if label.layer == "PANELS"}
    assert names == {"P3", "P4"}
    assert all(outline.dash == "dashed" for outline in section.outlines if outline.layer == "PANELS")


def test_the_cut_goes_round_the_room() -> None:
    section = drawings_of(lopsided())[1]
    walls = np.concatenate([outline.points for outline in section.outlines if outline.layer == "WALLS"])
    assert walls.min(axis=0) == pytest.approx([0.0, 0.0], abs=1e-6)
    assert walls.max(axis=0) == pytest.approx([5.2, 2.5], abs=1e-6)


def test_without_a_desk_there_is_no_way_over_it() -> None:
    section = drawings_of(sloping())[1]
    (table,) = section.tables
    assert table.rows == ()
    assert table.headings == ()
