"""Thresholds against the mirror formula by hand, and false position against plain halving."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest

from sim.blueprint.reader import parse_scene
from sim.studies.sweep.findings import Threshold, thresholds
from tests.studies.sweep.sweep_scenes import BRIDGE, STANDS, TABLE, planned, swept


def of(found: tuple[Threshold, ...], surface: str, driver: str) -> list[Threshold]:
    return [one for one in found if (one.surface, one.driver) == (surface, driver)]


def test_the_depth_at_which_the_point_leaves_the_desk_is_that_of_the_mirror_formula() -> None:
    """Tweeter and ear are 0.48 m and 0.46 m over the top: the point divides the 1.18 m between them as 48 to 46."""
    point = 0.42 + (1.60 - 0.42) * (1.22 - 0.74) / ((1.22 - 0.74) + (1.20 - 0.74))
    task = planned(STANDS, {"desk.depth": "0.2:0.4:5cm"})
    found = of(thresholds(swept(task), task), "desk top", "tweeter")
    assert [one.loudspeaker for one in found] == ["left", "right"]
    for one in found:
        assert one.value == pytest.approx(1.30 - point, abs=1.0e-3)
        assert one.low < 1.30 - point < one.high
        assert one.high - one.low <= 2.0e-4
        assert one.appears


def test_the_listener_edge_is_found_as_well() -> None:
    point = 0.42 + (1.60 - 0.42) * (1.22 - 0.74) / ((1.22 - 0.74) + (1.20 - 0.74))
    task = planned(STANDS, {"desk.listener_edge": "0.8:1.3:10cm"})
    found = of(thresholds(swept(task), task), "desk top", "tweeter")
    assert len(found) == 2
    for one in found:
        assert one.value == pytest.approx(point, abs=1.0e-3)


def test_the_depth_of_the_sloping_console_is_that_of_the_mirror_formula() -> None:
    """Two-ways on the bridge over a top of 14.036 degrees whose hinge, the listener's edge, stays at (2.35, 0.78)."""
    slope = math.radians(14.036)
    normal = np.array([math.sin(slope), math.cos(slope)])  # depth, up
    tweeter, ear, hinge = np.array([1.45, 1.25]), np.array([2.75, 1.22]), np.array([2.35, 0.78])
    over, under = (tweeter - hinge) @ normal, (ear - hinge) @ normal
    feet = tweeter - over * normal, ear - under * normal
    point = feet[0] + (feet[1] - feet[0]) * over / (over + under)
    assert point[0] == pytest.approx(1.78, abs=0.01)  # the table of this scene
    task = planned(BRIDGE, {"console.depth": "0.4:0.8:5cm"})
    found = of(thresholds(swept(task), task), "console top", "tweeter")
    assert [one.loudspeaker for one in found] == ["left", "right"]
    for one in found:
        assert one.value == pytest.approx(2.35 - point[0], abs=1.0e-3)


def test_the_tilt_at_which_the_far_edge_meets_the_point_is_found_to_a_tenth_of_a_degree() -> None:
    """A short table, hinged at its listener's edge: halving the mirror formula in the upright plane by hand."""

    def past_far_edge(tilt_deg: float) -> float:
        slope = math.radians(tilt_deg)
        normal = np.array([math.sin(slope), math.cos(slope)])
        hinge = np.array([1.8, 0.7])
        over, under = ((np.array(p) - hinge) @ normal for p in ((1.0, 1.1), (2.0, 1.2)))
        feet = np.array([1.0, 1.1]) - over * normal, np.array([2.0, 1.2]) - under * normal
        point = feet[0] + (feet[1] - feet[0]) * over / (over + under)
        return float(point[0]) - 1.35  # far edge in plan

    low, high = -20.0, 20.0
    assert past_far_edge(low) * past_far_edge(high) < 0.0
    while high - low > 1e-6:
        middle = 0.5 * (low + high)
        low, high = (middle, high) if past_far_edge(low) * past_far_edge(middle) > 0.0 else (low, middle)
    shorter = TABLE.replace("from_front = [0.9, 1.8]", "from_front = [1.35, 1.8]")
    task = planned(parse_scene(shorter, Path("nowhere")), {"desk.tilt": "-20:20:5"})
    found = [one for one in thresholds(swept(task), task) if one.surface == "desk top"]
    assert len(found) == 2
    for one in found:
        assert one.value == pytest.approx(low, abs=0.05)


def test_what_comes_out_of_hiding_is_narrowed_down_too() -> None:
    """The floor behind the desk: plain halving on the real layouts agrees."""
    task = planned(STANDS, {"desk.tilt": "8:10:1"})
    (one, *_) = of(thresholds(swept(task), task), "floor", "woofer")
    plan = task.plan
    f, d = plan.surfaces.index("floor"), plan.drivers[0].index("woofer")

    def there(tilt: float) -> bool:
        figures = swept(planned(STANDS, {"desk.tilt": str(tilt)})).figures
        return bool(figures.clear_m[0, 0, d, f] > 0 and not figures.hidden[0, 0, d, f])

    assert one.high - one.low <= 0.02
    assert there(one.high) == one.appears
    assert there(one.low) != one.appears


def test_two_fields_are_looked_at_along_lines_through_the_best() -> None:
    task = planned(STANDS, {"left.tilt": "0,5", "desk.depth": "0.2:0.4:0.1"})
    found = of(thresholds(swept(task), task), "desk top", "tweeter")
    assert {one.axis for one in found} == {1}


def test_fields_side_by_side_have_no_settings_in_between() -> None:
    task = planned(STANDS, {"left.tilt": "0,5", "desk.depth": "0.2,0.4"}, together=True)
    assert thresholds(swept(task), task) == ()
