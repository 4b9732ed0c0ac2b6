"""Findings are tested with the study in test_orientation.py; here what they leave open."""

from __future__ import annotations

import math

from sim.studies.orient.drivers import read_orientations
from sim.studies.orient.findings import find
from sim.studies.orient.study import study_orientation
from tests.studies.orient.orientation_scenes import pair


def test_a_point_is_looked_at_round_2_khz_and_never_changes() -> None:
    (left, _) = find(study_orientation(pair("point"), read_orientations("upright,left")))
    assert left.near_hz == 2000.0
    assert left.unchanged
    assert math.isnan(left.stacking_db)
    assert left.equal_up_to_hz == 16000.0
