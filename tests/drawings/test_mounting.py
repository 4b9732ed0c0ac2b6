from __future__ import annotations

import numpy as np
import pytest

from sim.drawings.mounting import kinds_of, mounting_drawings
from sim.drawings.panel_readings import read_panels
from tests.drawings.treated_rooms import lopsided


def test_each_kind_is_drawn_once_with_both_diagonals() -> None:
    readings = read_panels(lopsided().stage)
    drawings = mounting_drawings(readings, "m")
    assert [drawing.title.partition(": ")[2] for drawing in drawings] == ["P1", "P2", "P3", "P4"]
    along = [one for one in drawings[0].dimensions if one.side == "along"]
    assert [one.label for one in along] == ["1342", "1342"]
    assert all(one.value_m == pytest.approx(np.hypot(0.6, 1.2)) for one in along)
    assert "1342 / 1342" in drawings[0].tables[0].rows[0]
    labels = {one.label for one in drawings[0].dimensions}
    assert {"600", "1200", "50", "100"} <= labels  # sides, air behind, thickness


def test_equal_panels_share_a_drawing() -> None:
    readings = read_panels(lopsided().stage)
    assert [len(kind) for kind in kinds_of([readings[0], readings[0], readings[1]])] == [2, 1]
