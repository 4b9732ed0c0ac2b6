from __future__ import annotations

import numpy as np
import pytest

from sim.studies.sheets.layout import drawings_of
from tests.studies.sheets.treated_rooms import lopsided, sloping


def test_the_plan_sets_up_loudspeakers_and_ear() -> None:
    plan = drawings_of(lopsided())[0]
    assert (plan.title, plan.front) == ("Plan", "up")
    rows = {(one.side, one.row): [] for one in plan.dimensions}
    for one in plan.dimensions:
        rows[one.side, one.row].append(one.label)
    assert rows["above", 1] == ["1000", "700", "800", "1500"]  # left wall, left, ear, right, right wall
    assert rows["left", 1] == ["3100", "1400", "100", "600"]  # rear wall, ear, right, left, front wall
    assert rows["below", 1] == ["800", "1800", "1400"]  # the desk
    assert rows["right", 1] == ["3600", "700", "900"]
    assert rows["below", 2] == ["4000"] and rows["right", 2] == ["5200"]


def test_straight_distances_are_those_in_space() -> None:
    plan = drawings_of(lopsided())[0]
    (table,) = plan.tables
    left = np.linalg.norm(np.array([0.60, 1.00, 1.25]) - np.array([2.10, 1.70, 1.20]))
    assert table.rows[0][4] == str(round(1000.0 * left))
    assert str(round(1000.0 * left)) in {label.words for label in plan.labels}
    assert table.rows[0][1:4] == ("600", "1000", "1250")


def test_panels_stand_in_front_of_their_walls() -> None:
    plan = drawings_of(lopsided())[0]
    boxes = [outline.points for outline in plan.outlines if outline.layer == "PANELS"]
    left = boxes[0]  # 100 mm of wool, 50 mm off the left wall, 0.70 to 1.30 from the front wall
    assert left.min(axis=0) == pytest.approx([0.05, 5.20 - 1.30])
    assert left.max(axis=0) == pytest.approx([0.15, 5.20 - 0.70])
    right = boxes[1]
    assert right.min(axis=0) == pytest.approx([3.90, 5.20 - 2.20])


def test_the_swing_of_a_door_is_kept_clear() -> None:
    plan = drawings_of(lopsided())[0]
    swings = [outline.points for outline in plan.outlines if outline.layer == "KEEP-CLEAR"]
    assert any(
        ring.min(axis=0) == pytest.approx([2.80, 0.0]) and ring.max(axis=0) == pytest.approx([3.60, 0.80])
        for ring in swings
    )


def test_a_room_without_desk_has_fewer_rows() -> None:
    plan = drawings_of(sloping())[0]
    assert plan.rows("below") == plan.rows("right") == 0
    assert plan.rows("above") == 2
