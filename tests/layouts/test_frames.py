"""A frame is what trace says of the same scene, as far as first reflections go."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from sim.blueprint.reader import read_scene
from sim.layouts.fields import find_field
from sim.layouts.frames import Frame, Frames
from sim.layouts.values import with_value
from sim.pipeline import trace_scene
from sim.responses.arrivals import in_window

SCENES = Path(__file__).resolve().parents[2] / "scenes"


@pytest.fixture(scope="module")
def frames() -> Frames:
    return Frames(read_scene(SCENES / "bedroom-on-stands"), grid_m=0.1, error_m=0.0)


@pytest.fixture(scope="module")
def tilted(frames: Frames) -> Frame:
    blueprint = frames.scene.blueprint
    return frames.frame(with_value(blueprint, find_field(blueprint, "left.tilt"), 3.0))


def test_frame_is_what_trace_says_without_edges(frames: Frames, tilted: Frame) -> None:
    scene = read_scene(tilted.blueprint)
    whole = trace_scene(scene, order=1, edges=False, maps=False, waves_to_hz=0.0)
    told = whole.responses.arrivals
    assert tilted.built is not None and tilted.arrivals is not None
    assert not tilted.impossible
    shown = tilted.arrivals
    assert [one.loudspeaker for one in told] == [tilted.built.loudspeakers[n].name for n in shown.loudspeaker]
    assert [one.via for one in told] == [name or "direct" for name in shown.surface]
    assert [one.number for one in told] == shown.number.tolist()
    assert [in_window(one, frames.scene.blueprint.target) for one in told] == shown.in_window.tolist()
    np.testing.assert_allclose(np.array([one.level_db for one in told]), shown.level_db, atol=1e-9)
    np.testing.assert_allclose([one.main.delay_ms for one in told], shown.delay_ms, atol=1e-9)
    np.testing.assert_allclose([one.main.margin_m for one in told], shown.margin_m, atol=1e-9)
    for one, point in zip(told, shown.point_m, strict=True):
        np.testing.assert_allclose(one.main.points[0] if one.order else np.full(3, np.nan), point, atol=1e-9)
    assert [one.met for one in whole.responses.verdicts] == [one.met for one in tilted.verdicts]
    assert [(c.surface, c.driver, c.status) for c in whole.candidates] == [
        (c.surface, c.driver, c.status) for c in tilted.candidates
    ]


def test_frame_maps_the_top_of_the_desk(tilted: Frame) -> None:
    assert [one.surface for one in tilted.maps] == ["desk top"]
    assert np.isfinite(tilted.maps[0].both_db).any()


def test_impossible_frame_says_the_sentence_of_the_program(frames: Frames) -> None:
    blueprint = frames.scene.blueprint
    lost = frames.frame(with_value(blueprint, find_field(blueprint, "left.from_front", tied=False), 30.0))
    assert lost.impossible.startswith("loudspeakers[0].acoustic_axis: ")
    assert lost.where == "loudspeakers[0].acoustic_axis"
    assert lost.built is None and lost.arrivals is None and lost.maps == ()
