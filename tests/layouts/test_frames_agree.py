"""Frames of random layouts against the slow way: records of arrivals one by one, unions of triangles, loops in Python.

`BOUNCEPLAN_FRAMES=1000` looks at so many layouts of each demo room.
"""

from __future__ import annotations

import os
from pathlib import Path

import numpy as np
import pytest

from sim.acoustics.bands import octave_bands
from sim.blueprint.reader import read_scene
from sim.blueprint.schema import Blueprint
from sim.errors import SceneError
from sim.layouts.fields import find_field
from sim.layouts.frames import Frames
from sim.layouts.values import value_of, with_value
from sim.responses.arrivals import in_window, list_arrivals

SCENES = Path(__file__).resolve().parents[2] / "scenes"
LAYOUTS = int(os.environ.get("BOUNCEPLAN_FRAMES", "3"))
KEYS = ("tilt", "toe_in", "height", "from_front", "from_left", "roll")
DESK_KEYS = ("tilt", "height", "far_edge", "depth", "turn")


def random_layout(blueprint: Blueprint, rng: np.random.Generator) -> Blueprint:
    """A layout with one to three numbers changed; SceneError where a number cannot be."""
    names = [f"{blueprint.loudspeakers[0].name}.{key}" for key in KEYS]
    names += [f"{item.name}.{key}" for item in blueprint.furniture for key in DESK_KEYS]
    for name in rng.choice(names, size=rng.integers(1, 4), replace=False):
        try:
            field = find_field(blueprint, str(name))
        except SceneError:
            continue
        now, step = value_of(blueprint, field), 6.0 if field.kind == "degrees" else 0.06
        now = now if np.isfinite(now) else {"degrees": 0.0}.get(field.kind, 1.1)
        blueprint = with_value(blueprint, field, now + step * rng.normal())
    return blueprint


@pytest.mark.parametrize("room", sorted(place.parent.name for place in SCENES.glob("*/scene.toml")))
def test_arrays_are_what_the_list_of_arrivals_says(room: str) -> None:
    scene, rng = read_scene(SCENES / room), np.random.default_rng(17)
    frames, bands, seen = Frames(scene), octave_bands(), 0
    for _ in range(LAYOUTS):
        try:
            blueprint = random_layout(scene.blueprint, rng)
        except SceneError:
            continue
        frame = frames.frame(blueprint, maps=False, candidates=False)
        if frame.built is None or frame.paths is None or frame.arrivals is None:
            assert frame.impossible
            continue
        seen += 1
        told = list_arrivals(frame.built, frame.paths, bands, blueprint.target, notches=False)
        shown, names = frame.arrivals, [one.name for one in frame.built.loudspeakers]
        assert [names.index(one.loudspeaker) for one in told] == shown.loudspeaker.tolist()
        assert [one.number for one in told] == shown.number.tolist()
        assert [one.surfaces[:1] for one in told] == [(name,) if name else () for name in shown.surface]
        assert [one.main.path for one in told] == shown.path.tolist()
        assert [one.blocked for one in told] == shown.blocked.tolist()
        assert [in_window(one, blueprint.target) for one in told] == shown.in_window.tolist()
        assert [one.worst_band_hz for one in told] == shown.worst_band_hz.tolist()
        np.testing.assert_allclose(shown.level_db, np.array([one.level_db for one in told]), atol=1e-9, rtol=0)
        np.testing.assert_allclose(shown.worst_db, [one.worst_db for one in told], atol=1e-9, rtol=0)
        np.testing.assert_allclose(shown.delay_ms, [one.main.delay_ms for one in told], atol=1e-9, rtol=0)
        np.testing.assert_allclose(shown.margin_m, [one.main.margin_m for one in told], atol=1e-9, rtol=0)
        nowhere = np.full(3, np.nan)
        points = np.array([one.main.points[0] if one.order else nowhere for one in told])
        np.testing.assert_allclose(shown.point_m, points, atol=1e-9, rtol=0)
    assert seen
