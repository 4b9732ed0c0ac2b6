"""Panels are placed anew when they, what they hang on or what they are made of changes, and only then."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from sim.blueprint.reader import parse_scene
from sim.errors import SceneError
from sim.layouts.fields import find_field
from sim.layouts.frames import Frames
from sim.layouts.values import value_of, with_value
from sim.placement.panels import PlacedPanel

FOLDER = Path(__file__).resolve().parents[2] / "scenes" / "bedroom-on-stands"
PANELS = """
[[panels]]
name = "side"
surface = "right wall"
from_front = [0.7, 1.3]
up = [0.6, 1.8]
material = "100 mm wool"

[[panels]]
name = "cloud"
surface = "ceiling"
from_front = [0.5, 1.1]
from_left = [0.4, 1.6]
material = "50 mm wool, 50 mm gap"
fixings = "four anchors into joists, second tether"
"""
SCENE = parse_scene((FOLDER / "scene.toml").read_text(encoding="utf-8") + PANELS, FOLDER)
FRAMES = Frames(SCENE)


def panels_with(**values: float) -> tuple[PlacedPanel, ...]:
    changed = SCENE.blueprint
    for name, value in values.items():
        changed = with_value(changed, find_field(changed, name.replace("__", ".")), value)
    return FRAMES.build(changed).panels


def test_the_same_while_something_else_moves() -> None:
    before = panels_with()
    for moved in (panels_with(left__tilt=3.0), panels_with(desk__height=0.72), panels_with(ear__from_front=1.65)):
        assert all(one is other for one, other in zip(before, moved, strict=True))


def test_anew_when_moved_and_as_before_when_moved_back() -> None:
    before, field = panels_with(), find_field(SCENE.blueprint, "side.from_front")
    now = value_of(SCENE.blueprint, field)
    moved = panels_with(side__from_front=now + 0.1)
    assert moved[0].corners_m[:, 0] == pytest.approx(before[0].corners_m[:, 0] + 0.1)
    assert (panels_with(side__from_front=now)[0].corners_m == before[0].corners_m).all()


def test_anew_when_the_wall_moves() -> None:
    before = panels_with()
    changed = SCENE.blueprint.model_copy(
        update={
            "room": SCENE.blueprint.room.model_copy(
                update={"box": SCENE.blueprint.room.box.model_copy(update={"width": 3.5})}
            )
        }
    )
    moved = FRAMES.build(changed).panels
    assert moved[0].corners_m[:, 1] == pytest.approx(before[0].corners_m[:, 1] + 0.1)
    assert moved[0].plane == before[0].plane


def test_refused_as_often_as_asked() -> None:
    panels_with()
    for _ in range(2):
        with pytest.raises(SceneError):
            panels_with(side__from_front=3.9)
    assert np.isfinite(panels_with()[0].corners_m).all()


def test_another_material_is_another_finish() -> None:
    before, thicker = panels_with(), panels_with(side__thickness=0.08)
    assert thicker[0].depth_m == pytest.approx(0.08) and before[0].depth_m == pytest.approx(0.1)
    assert thicker[1].depth_m == before[1].depth_m
