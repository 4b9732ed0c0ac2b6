"""Gaps that open: nothing steps, whether a thin one is told rightly, and what is said between closed and open."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sim.arrays import FloatArray
from sim.blueprint.reader import parse_scene
from sim.pipeline import trace_scene
from sim.propagation.waves.mesher import mesh_solids
from sim.propagation.waves.thin_gaps import BLENDED_M, narrowest_gap_m
from tests.builders import near_scenes

BEHIND = ((4.0, 4.0, 1.18), (4.05, 4.1, 0.9))


def block(low: tuple[float, float, float], high: tuple[float, float, float]) -> FloatArray:
    """Corners (8, 3) as scenes have them."""
    (x, y, z), (a, b, c) = low, high
    return np.array([(x, y, z), (a, y, z), (a, b, z), (x, b, z), (x, y, c), (a, y, c), (a, b, c), (x, b, c)])


LOW = block((0.0, 0.0, 0.0), (1.0, 0.6, 0.03))


@given(gap=st.floats(1e-4, 0.02), aside=st.floats(-0.3, 1.3))
def test_a_gap_between_what_lies_over_each_other_is_found(gap: float, aside: float) -> None:
    over = block((aside, 0.1, 0.03 + gap), (aside + 0.2, 0.3, 0.4))
    found = narrowest_gap_m([LOW, over])
    beside = aside > 1.0 - 1e-6 or aside < -0.2 + 1e-6
    if gap >= BLENDED_M or beside:
        assert found is None
    else:
        assert found == pytest.approx(gap, abs=1e-9)


def test_what_touches_has_no_gap_and_a_wall_may_be_its_other_side() -> None:
    assert narrowest_gap_m([LOW, block((0.2, 0.1, 0.03), (0.4, 0.3, 0.4))]) is None
    floor = (np.array([0.0, 0.0, 1.0]), -0.0004)
    assert narrowest_gap_m([LOW], [floor]) == pytest.approx(0.0004)
    assert narrowest_gap_m([LOW], [(floor[0], -0.02)]) is None


def test_a_gap_is_closed_or_open_as_asked() -> None:
    """Closed, what lies over each other loses both faces; open, both stay."""
    solids = [LOW, block((0.2, 0.1, 0.0303), (0.4, 0.3, 0.4))]
    whole = 2 * (0.6 + 0.03 + 0.018) + 2 * (0.04 + 2 * 0.2 * 0.3697)
    opened, closed = mesh_solids(solids, 0.1), mesh_solids(solids, 0.1, closed_m=0.0004)
    assert opened.areas_m2.sum() == pytest.approx(whole)
    assert closed.areas_m2.sum() == pytest.approx(whole - 2 * 0.04)


def levels_db(gap: float) -> FloatArray:
    """Level (row, f) below 1.2 kHz in the open and behind a screen that stands so far over a desk."""
    scene = near_scenes.SCENES["desk, screen touching"]
    scene = replace(scene, pieces=near_scenes._with_screen(gap), sources=scene.sources[1:])
    response = trace_scene(parse_scene(scene.text(BEHIND), Path("nowhere")), maps=False, edges=False).responses.response
    heard = (response.frequencies_hz > 150.0) & (response.frequencies_hz < 1200.0)
    return np.asarray(20.0 * np.log10(np.abs(response.total[..., heard]))).reshape(2, -1)


@pytest.mark.parametrize("places", [(0.0009, 0.001, 0.0011), (0.0019, 0.002, 0.0021)])
def test_no_gap_switches_the_waves(places: tuple[float, float, float]) -> None:
    """A step of a tenth of a millimetre is like that beside it, within 0.2 dB; at 2 mm it used to be 2.4 dB."""
    before, here, after = (levels_db(gap) for gap in places)
    heard = np.minimum(np.minimum(before, here), after) > -15.0
    steps = np.abs(here - before)[heard], np.abs(after - here)[heard]
    assert np.abs(steps[0] - steps[1]).max() < 0.2
    assert max(step.max() for step in steps) < 0.5
