"""Loudspeakers built into a wall."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from sim.errors import SceneError
from sim.placement.built_scene import BuiltScene
from sim.placement.poses import PROUD_M
from sim.propagation.energy.image_energy import octave_energy
from sim.propagation.mirrors.image_sources import trace_paths
from sim.propagation.surfaces.factors import path_gains
from tests.built_scenes import block, box, built_scene_of, loudspeaker

EAR = (2.8, 2.0, 1.2)
WALL = block((0.0, 0.33), (0.0, 4.0), (0.0, 2.6), name="false wall")


def built_in(depth: float, into: str = "false wall listener side", **more: Any) -> BuiltScene:
    record = loudspeaker((depth, 1.0, 1.5), "left", model="two-way", standing="built in", built_into=[into], **more)
    return built_scene_of(box(5.0, 4.0, 2.6), [record], EAR, furniture=[WALL])


def test_drivers_in_front_of_the_wall_stay() -> None:
    built = built_in(0.35, toe_in_deg=0.0)
    (one,) = built.loudspeakers
    assert one.driver_points[:, 0] == pytest.approx(0.35)
    assert one.body == "false wall"
    assert not any("flush" in note for note in built.notes)


def test_drivers_behind_it_come_forward_and_a_note_says_so() -> None:
    """Tilted by 10 degrees the woofer, 0.15 m below the axis, lies 26 mm behind; turning adds nothing there."""
    built = built_in(0.33, toe_in_deg=0.0, tilt_deg=10.0)
    (one,) = built.loudspeakers
    assert one.driver_points[:, 0].min() == pytest.approx(0.33 + PROUD_M)
    names = [driver.name for driver in one.model.drivers]
    woofer = one.driver_points[names.index("woofer")]
    assert woofer[2] == pytest.approx(1.5 - 0.15 * np.cos(np.radians(10.0)))
    moved = 1000.0 * (0.15 * np.sin(np.radians(10.0)) + PROUD_M)
    assert any(f"{moved:.0f} mm" in note for note in built.notes)
    paths = trace_paths(built, 1)
    assert not paths.blocked.any()
    assert "false wall listener side" not in {built.room.facets[f].name for f in paths.facets[:, 0] if f >= 0}


def test_a_surface_that_is_not_there_is_told() -> None:
    with pytest.raises(SceneError, match="false wall listener side") as raised:
        built_in(0.35, "baffle")
    assert raised.value.where == "loudspeakers[0].built_into"


def near_side_db(toe_in_deg: float) -> float:
    """Level of the reflection in the near side wall, 500 Hz, re 1 m on the axis."""
    built = built_in(0.35, toe_in_deg=toe_in_deg)
    paths = trace_paths(built, 1)
    facets = [built.room.facets[f].name if f >= 0 else "" for f in paths.facets[:, 0]]
    mine = np.flatnonzero((np.array(facets) == "left wall") & (paths.driver == 0))
    assert len(mine) == 1
    return float(20.0 * np.log10(np.abs(path_gains(built, paths, np.array([500.0]))[mine[0], 0]) + 1e-12))


def test_toe_in_never_silences_the_side_wall_before_its_own_wall() -> None:
    """It radiates into the half space of its wall, wherever its axis points: no step where that lies 90 degrees away.

    The reflection leaves (2.45, -3) m along and across: 50.8 degrees from the normal of the wall.
    """
    levels = np.array([near_side_db(toe_in) for toe_in in (0.0, 20.0, 30.0, 35.0, 38.0, 39.0, 39.3, 40.0, 45.0, 60.0)])
    assert levels.min() > levels[0] - 3.0
    assert np.abs(np.diff(levels)).max() < 1.0


def test_nothing_is_sent_behind_the_wall_it_is_built_into() -> None:
    built = built_in(0.35, toe_in_deg=30.0)
    (one,) = built.loudspeakers
    assert np.array(one.model.wall_normal) @ one.rotation.T == pytest.approx([1.0, 0.0, 0.0])
    ways = np.array([[0.01, -1.0, 0.0], [-0.01, -1.0, 0.0], [-0.01, 1.0, 0.0], [0.01, 1.0, 0.0]])
    energy = octave_energy(one.model, one.to_box(ways), 343.0)
    assert (energy[[1, 2]] == 0.0).all()
    assert (energy[[0, 3]][:, :4] > 0.0).all()
