from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from sim.studies.sheets.dimensions import kinds_of, mounting_drawings
from sim.studies.sheets.parts import parts_list
from sim.studies.sheets.readings import read_panels
from tests.studies.sheets.treated_rooms import lopsided


def test_each_kind_is_drawn_once_with_both_diagonals() -> None:
    readings = read_panels(lopsided().built)
    drawings = mounting_drawings(readings, "m")
    assert [drawing.title.partition(": ")[2] for drawing in drawings] == ["P1", "P2", "P3", "P4"]
    along = [one for one in drawings[0].dimensions if one.side == "along"]
    assert [one.label for one in along] == ["1342", "1342"]
    assert all(one.value_m == pytest.approx(np.hypot(0.6, 1.2)) for one in along)
    assert "1342 / 1342" in drawings[0].tables[0].rows[0]
    labels = {one.label for one in drawings[0].dimensions}
    assert {"600", "1200", "50", "100"} <= labels  # sides, air behind, thickness


def test_a_panel_overhead_is_of_another_kind_than_its_twin_on_a_wall() -> None:
    """Together they would be listed with the fixings of one of them: the cloud with those of a wall, no tether."""
    wall = read_panels(lopsided().built)[0]
    cloud = replace(wall, number="P9", panel=replace(wall.panel, normal=np.array([0.0, 0.0, -1.0])))
    assert [len(kind) for kind in kinds_of([wall, cloud])] == [1, 1]
    kinds = {part.kind for part in parts_list([wall, cloud]) if part.panels == ("P9",)}
    assert kinds == {"panel", "fixings", "tether"}


def test_equal_panels_share_a_drawing() -> None:
    readings = read_panels(lopsided().built)
    assert [len(kind) for kind in kinds_of([readings[0], readings[0], readings[1]])] == [2, 1]
