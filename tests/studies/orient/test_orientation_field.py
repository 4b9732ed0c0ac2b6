"""Direct sound over the head box against a loop, against traced paths, and against what is known."""

from __future__ import annotations

import cmath
import math

import numpy as np
import pytest

from sim.acoustics.bands import octave_bands, third_octave_bands
from sim.placement.built_scene import BuiltScene, build_scene
from sim.placement.poses import PlacedLoudspeaker
from sim.propagation.mirrors.image_sources import trace_paths
from sim.propagation.surfaces.factors import path_gains
from sim.studies.orient.field import direct_pressure, evenness, head_points
from tests.built_scenes import NOWHERE
from tests.studies.orient.orientation_scenes import EAR, pair

BOX = np.array([0.3, 0.3, 0.1])


def built_scene_of(kind: str, **more: object) -> BuiltScene:
    return build_scene(pair(kind, **more).blueprint, NOWHERE)  # type: ignore[arg-type]


def by_loops(placed: PlacedLoudspeaker, point: np.ndarray, frequency: float, speed: float) -> complex:
    total = 0j
    for number, source in enumerate(placed.driver_points):
        length = math.dist(point, source)
        way = placed.rotation.T @ ((point - source) / length)
        radiated = placed.model.driver_radiation(number, way[None], [frequency], speed)[0, 0]
        total += complex(radiated) * cmath.exp(-2j * math.pi * frequency * length / speed) / length
    return total


@pytest.mark.parametrize("kind", ["two-way", "three-way", "coaxial"])
def test_the_sum_of_drivers_is_that_of_a_loop(kind: str) -> None:
    one = built_scene_of(kind, roll=35.0).loudspeakers[0]
    points = head_points(np.array(EAR), BOX, (3, 3, 3)).reshape(-1, 3)
    frequencies = np.array([200.0, 2200.0, 5000.0])
    reported = direct_pressure(one, points, frequencies, 343.0)
    for row, point in zip(reported, points, strict=True):
        for value, frequency in zip(row, frequencies, strict=True):
            assert value == pytest.approx(by_loops(one, point, float(frequency), 343.0), rel=1e-9)


def test_it_is_the_direct_sound_of_traced_paths() -> None:
    """Save for what the air takes: under 0.2 dB at 8 kHz over a metre."""
    built = built_scene_of("two-way", roll=-90.0)
    paths = trace_paths(built, 1)
    frequencies = np.array([500.0, 2000.0, 8000.0])
    gains = path_gains(built, paths, frequencies)
    rows = np.flatnonzero((paths.order == 0) & (paths.loudspeaker == 1))
    reported = direct_pressure(built.loudspeakers[1], built.ears[:1], frequencies, built.air.speed_of_sound_m_s)[0]
    assert reported == pytest.approx(gains[rows].sum(axis=0), rel=0.02)


def test_a_point_is_even_everywhere() -> None:
    reported = evenness(built_scene_of("point").loudspeakers[0], np.array(EAR), BOX, octave_bands(), 343.0)
    assert reported.pattern_db == pytest.approx(0.0, abs=1e-9)
    near, far = math.dist((0.5, 1.1, 1.2), (1.45, 1.55, 1.2)), math.dist((0.5, 1.1, 1.2), (1.75, 1.85, 1.25))
    assert reported.heard_db == pytest.approx(20.0 * math.log10(far / near), abs=1e-9)


def test_a_two_way_on_its_side_is_uneven_across_and_upright_it_is_not() -> None:
    bands = third_octave_bands(100, 16000)
    spreads = {}
    for roll in (0.0, 90.0, -90.0):
        reported = evenness(built_scene_of("two-way", roll=roll).loudspeakers[0], np.array(EAR), BOX, bands, 343.0)
        spreads[roll] = reported
    near = list(bands.nominal_hz).index(2000)
    for side in (90.0, -90.0):
        assert spreads[side].across_db[near] > spreads[0.0].across_db[near] + 0.5
        assert spreads[side].up_db[near] < spreads[0.0].up_db[near]


def test_a_head_box_without_size_is_one_point() -> None:
    reported = evenness(built_scene_of("two-way").loudspeakers[0], np.array(EAR), np.zeros(3), octave_bands(), 343.0)
    assert reported.heard_db == pytest.approx(0.0, abs=1e-9)
