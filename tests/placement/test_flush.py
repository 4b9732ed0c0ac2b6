"""Loudspeakers built into a wall."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from sim.errors import SceneError
from sim.placement.poses import PROUD_M
from sim.placement.stage import Stage
from sim.propagation.mirrors.image_sources import trace_paths
from tests.staged import block, box, loudspeaker, stage_of

EAR = (2.8, 2.0, 1.2)
WALL = block((0.0, 0.33), (0.0, 4.0), (0.0, 2.6), name="false wall")


def built_in(depth: float, into: str = "false wall listener side", **more: Any) -> Stage:
    record = loudspeaker((depth, 1.0, 1.5), "left", model="two-way", standing="built in", built_into=[into], **more)
    return stage_of(box(5.0, 4.0, 2.6), [record], EAR, furniture=[WALL])


def test_drivers_in_front_of_the_wall_stay() -> None:
    stage = built_in(0.35, toe_in_deg=0.0)
    (one,) = stage.loudspeakers
    assert one.driver_points[:, 0] == pytest.approx(0.35)
    assert one.body == "false wall"
    assert not any("flush" in note for note in stage.notes)


def test_drivers_behind_it_come_forward_and_a_note_says_so() -> None:
    """Tilted by 10 degrees the woofer, 0.15 m below the axis, lies 26 mm behind; turning adds nothing there."""
    stage = built_in(0.33, toe_in_deg=0.0, tilt_deg=10.0)
    (one,) = stage.loudspeakers
    assert one.driver_points[:, 0].min() == pytest.approx(0.33 + PROUD_M)
    names = [driver.name for driver in one.model.drivers]
    woofer = one.driver_points[names.index("woofer")]
    assert woofer[2] == pytest.approx(1.5 - 0.15 * np.cos(np.radians(10.0)))
    moved = 1000.0 * (0.15 * np.sin(np.radians(10.0)) + PROUD_M)
    assert any(f"{moved:.0f} mm" in note for note in stage.notes)
    paths = trace_paths(stage, 1)
    assert not paths.blocked.any()
    assert "false wall listener side" not in {stage.room.facets[f].name for f in paths.facets[:, 0] if f >= 0}


def test_a_surface_that_is_not_there_is_told() -> None:
    with pytest.raises(SceneError, match="false wall listener side") as raised:
        built_in(0.35, "baffle")
    assert raised.value.where == "loudspeakers[0].built_into"
