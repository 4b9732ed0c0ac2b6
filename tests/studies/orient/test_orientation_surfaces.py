"""Which surfaces an orientation is told of."""

from __future__ import annotations

import numpy as np

from sim.acoustics.bands import octave_bands
from sim.blueprint.treatment import Target
from sim.placement.built_scene import build_scene
from sim.studies.orient.field import loudest, reflections
from tests.built_scenes import NOWHERE
from tests.studies.orient.orientation_scenes import pair


def test_boxes_are_left_out_and_faces_are_told_apart() -> None:
    built = build_scene(pair("two-way").blueprint, NOWHERE)
    left, right = reflections(built, Target(), octave_bands(125, 16000))
    names = {one.surface: one.facing for one in left}
    assert names["desk top"] == names["floor"] == "up"
    assert names["ceiling"] == "down"
    assert names["left wall"] == "side"
    assert not any("loudspeaker" in name for name in names)
    assert {one.surface for one in right} == set(names) | {one.surface for one in right}
    for one in left:
        if np.isfinite(one.worst_db):
            assert one.low_db <= one.worst_db <= one.high_db


def test_nothing_faces_down_under_an_open_sky_of_reflections() -> None:
    assert loudest([], "down") is None
