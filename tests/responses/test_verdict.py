"""Arrivals against the target."""

from __future__ import annotations

import numpy as np
import pytest

from sim.blueprint.schema import Target
from sim.responses.arrivals import judge
from sim.responses.records import Arrival, Part
from sim.responses.transition import judged_from_hz, nominal_reverberation_s
from tests.built_scenes import NOWHERE, blueprint_of, box


def arrival(number: int, delay_ms: float, worst_db: float, order: int = 1, loudspeaker: str = "left") -> Arrival:
    part = Part(
        0,
        "tweeter",
        np.zeros((order, 3)),
        1.0,
        0.0,
        delay_ms,
        5.0 + delay_ms,
        0.0,
        0.0,
        0.0,
        1.0,
        "",
        np.full(9, worst_db),
    )
    return Arrival(
        loudspeaker,
        "ear",
        number,
        "mirrored" if order else "direct",
        order,
        ("floor",) * order,
        ("room",) * order,
        ("hard",) * order,
        (part,),
        np.full(9, worst_db),
        worst_db,
        1000.0,
        (np.inf,) * 3,
    )


def test_offenders_are_above_the_level_inside_the_window_worst_first() -> None:
    target = Target(level_db=-15.0, window_ms=(1.0, 20.0))
    arrivals = [
        arrival(0, 0.0, 0.0, order=0),
        arrival(1, 5.0, -14.9),
        arrival(2, 6.0, -3.0),
        arrival(3, 7.0, -15.0),  # just on the line is not above it
        arrival(4, 25.0, -8.0),  # loud but late
        arrival(5, 0.5, -1.0),  # loud but before the window opens
        arrival(6, 30.0, -40.0),
    ]
    (verdict,) = judge(arrivals, target)
    assert verdict.offenders == (2, 1)
    assert verdict.outside_window == (5, 4)
    assert not verdict.met


def test_direct_sound_never_offends() -> None:
    (verdict,) = judge([arrival(0, 0.0, 0.0, order=0), arrival(1, 5.0, -30.0)], Target())
    assert verdict.met and verdict.offenders == () and verdict.outside_window == ()


def test_each_loudspeaker_has_its_own_verdict() -> None:
    both = [arrival(1, 5.0, -3.0), arrival(1, 5.0, -30.0, loudspeaker="right")]
    left, right = judge(both, Target())
    assert (left.loudspeaker, left.met, right.loudspeaker, right.met) == ("left", False, "right", True)


def test_decay_time_of_the_scene_rules_the_transition_frequency() -> None:
    """2000 sqrt(T/V): 0.4 s in 60 m3 is 163.3 Hz; without a measured time the nominal one of 60 m3 is taken."""
    from sim.placement.built_scene import build_scene

    room = box(5.0, 4.0, 3.0)
    for more, expected in (
        ({"reverberation_time_s": 0.4}, 163.30),
        ({}, 2000.0 * np.sqrt(nominal_reverberation_s(60.0) / 60.0)),
    ):
        blueprint = blueprint_of({**room, **more}, [(1.0, 1.5, 1.2)], (3.0, 2.0, 1.2))
        assert judged_from_hz(blueprint, build_scene(blueprint, NOWHERE)) == pytest.approx(expected, abs=0.01)
