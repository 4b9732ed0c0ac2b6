"""Complex gains of paths, and how turning a loudspeaker changes them."""

from __future__ import annotations

import numpy as np
import pytest

from sim.acoustics.air import attenuation_db_per_m
from sim.acoustics.bands import octave_bands
from sim.placement.built_scene import BuiltScene
from sim.propagation.mirrors.image_sources import trace_paths
from sim.propagation.surfaces.factors import path_gains, turned_by
from sim.propagation.surfaces.gain_kernels import product_along
from tests.built_scenes import box, built_scene_of, loudspeaker

ROOM = box(6.0, 5.0, 2.8, {"floor": "carpet", "left wall": "foam"})
ABSORPTION = {
    "carpet": [0.02, 0.04, 0.08, 0.2, 0.35, 0.4, 0.5, 0.55],
    "foam": [0.1, 0.2, 0.4, 0.8, 0.9, 1.1, 1.2, 1.2],
}
EAR = (3.2, 2.5, 1.2)
FREQUENCIES = np.geomspace(70.0, 16000.0, 60)


def built_from(model: str, **more: object) -> BuiltScene:
    record = loudspeaker((1.2, 1.4, 1.15), "left", model=model, **more)
    return built_scene_of(ROOM, [record], EAR, absorption=ABSORPTION)


@pytest.mark.parametrize("model", ["point", "two-way", "three-way", "coaxial"])
def test_gain_is_directivity_times_surfaces_over_distance(model: str) -> None:
    """One path at a time, one frequency at a time, as the formula reads."""
    built = built_from(model, roll="on its left side", tilt_deg=7.0)
    paths = trace_paths(built, 2)
    gains = path_gains(built, paths, FREQUENCIES)
    undelayed = path_gains(built, paths, FREQUENCIES, delayed=False)
    assert gains.shape == (len(paths), len(FREQUENCIES))
    speed = built.air.speed_of_sound_m_s
    one = built.loudspeakers[0]
    centres = np.log(octave_bands(63, 8000).exact_hz)
    for row in range(0, len(paths), 3):
        for k in range(0, len(FREQUENCIES), 7):
            frequency = FREQUENCIES[k]
            local = one.rotation.T @ paths.departure[row]
            expected = one.model.driver_radiation(int(paths.driver[row]), local[None], [frequency], speed)[0, 0]
            for f in paths.facets[row]:
                if f >= 0:
                    alphas = np.minimum(built.absorption[f], 0.99)
                    expected *= np.sqrt(1.0 - np.interp(np.log(frequency), centres, alphas))
            length = paths.length_m[row]
            expected *= 10.0 ** (-attenuation_db_per_m(frequency, built.air) * length / 20.0) / length
            assert undelayed[row, k] == pytest.approx(expected, rel=1e-9, abs=1e-15)
            expected *= np.exp(-2j * np.pi * frequency * length / speed)
            assert gains[row, k] == pytest.approx(expected, rel=1e-9, abs=1e-15)


def summed(built: BuiltScene, order: int = 1) -> dict[tuple[str, ...], np.ndarray]:
    """Pressure at the ear for each way, the drivers added, without the own box in the way."""
    paths = trace_paths(built, order)
    gains = path_gains(built, paths, FREQUENCIES)
    ways: dict[tuple[str, ...], np.ndarray] = {}
    for row in range(len(paths)):
        way = tuple(built.room.facets[f].name for f in paths.facets[row] if f >= 0)
        ways[way] = ways.get(way, 0.0) + gains[row]
    return ways


ROLLS = ["upright", "on its right side", "inverted", "on its left side"]


def test_a_coaxial_loudspeaker_notices_its_roll_only_by_the_edges_of_its_box() -> None:
    """A square box about the axis: half a turn changes nothing, a quarter nothing but the error of its table.

    Points inside the box, which the boundary elements need, lie in no pattern: a quarter turn finds another error of
    the same solution, of 0.4 dB rms at most against other elements (`test_box_directivity`).  Turned by 33 degrees the
    edges themselves lie otherwise; in a wall there are none, and roll changes nothing (`test_catalogue`).
    """
    model = {"models": {"round": {"kind": "coaxial", "width": 0.3, "height": 0.3, "depth": 0.3}}}
    results = {}
    for roll in [*ROLLS, 33.0]:
        record = loudspeaker((1.2, 1.4, 1.15), "left", model="round", roll=roll)
        results[roll] = summed(built_scene_of(ROOM, [record], EAR, absorption=ABSORPTION, **model))
    upright = results["upright"]
    shared = set.intersection(*(set(each) for each in results.values()))
    assert {(), ("floor",), ("ceiling",), ("left wall",), ("right wall",), ("rear wall",)} <= shared
    for way in shared:
        assert results["inverted"][way] == pytest.approx(upright[way], rel=1e-9, abs=1e-12)
        loud = np.abs(upright[way]) > 0.25 * np.abs(upright[way]).max()  # down to -12 dB
        for roll in ("on its right side", "on its left side"):
            away_db = 20.0 * np.log10(np.abs(results[roll][way] / upright[way]))[loud]
            assert np.sqrt(np.mean(away_db**2)) < 0.1, (roll, way)
            assert np.abs(away_db).max() < 0.4, (roll, way)
    turned = 20.0 * np.log10(np.abs(results[33.0][("floor",)] / upright[("floor",)]))
    assert np.abs(turned).max() > 1.0


def test_a_two_way_on_its_side_sounds_different_off_its_plane() -> None:
    """By 9.6, 1.8 and 2.4 dB; a cap on a sphere, which knows no sides, had 2 dB and more to the left wall too."""
    upright, lying = (summed(built_from("two-way", roll=roll)) for roll in ("upright", "on its right side"))
    near_crossover = (FREQUENCIES > 1500.0) & (FREQUENCIES < 3500.0)
    for way in (("floor",), ("left wall",), ("ceiling",)):
        ratio = 20.0 * np.log10(np.abs(upright[way][near_crossover]) / np.abs(lying[way][near_crossover]))
        assert np.abs(ratio).max() > 1.5, way


def test_four_quarter_turns_return_the_start() -> None:
    base = summed(built_from("two-way", roll=0.0))
    turns = [summed(built_from("two-way", roll=angle)) for angle in (90.0, 180.0, 270.0, 360.0)]
    for way, pressure in base.items():
        assert turns[3][way] == pytest.approx(pressure, rel=1e-9, abs=1e-12)
    assert turns[0][("floor",)] != pytest.approx(base[("floor",)], rel=1e-3)
    # 270 is the other side, told as -90
    other = summed(built_from("two-way", roll="on its left side"))
    assert turns[2][("floor",)] == pytest.approx(other[("floor",)], rel=1e-9)


def test_an_upright_two_way_lobes_up_and_down_and_one_on_its_side_left_and_right() -> None:
    """Off the axis in the plane of both drivers their path difference cancels; across it there is none.

    Woofer and tweeter 0.15 m apart at a crossover of 2000 Hz cancel at asin(c/(2 d f)) = 34.89 degrees (far away,
    equal levels; Linkwitz, J. Audio Eng. Soc. 24 (1976) 2-8).
    """
    model = {"models": {"pair": {"kind": "two-way", "crossovers_hz": [2000], "spacing": 0.15, "axis": "between"}}}
    dip = {}
    for roll in ("upright", "on its right side"):
        record = loudspeaker((1.0, 20.0, 20.0), "left", model="pair", roll=roll, toe_in_deg=0.0)
        for plane in ("up", "across"):
            reach = 15.0 * np.array([np.cos(np.radians(34.89)), np.sin(np.radians(34.89))])
            ear = (1.0 + reach[0], 20.0, 20.0 + reach[1]) if plane == "up" else (1.0 + reach[0], 20.0 + reach[1], 20.0)
            built = built_scene_of(box(40.0, 40.0, 40.0), [record], ear, **model)
            paths = trace_paths(built, 1)
            direct = np.flatnonzero(paths.order == 0)
            gains = path_gains(built, paths, np.array([2000.0]))[direct, 0]
            dip[roll, plane] = 20.0 * np.log10(abs(gains.sum()) / np.abs(gains).sum())
    assert dip["upright", "up"] < -15.0
    assert dip["upright", "across"] > -0.1
    assert dip["on its right side", "across"] < -15.0
    assert dip["on its right side", "up"] > -0.1


def test_phases_are_those_of_sine_and_cosine() -> None:
    rng = np.random.default_rng(3)
    frequencies, delays = np.sort(rng.uniform(0.0, 20_000.0, 37)), np.concatenate([[0.0], rng.uniform(0.0, 0.5, 9)])
    expected = np.exp(-2j * np.pi * frequencies * delays[:, None])
    assert turned_by(frequencies, delays) == pytest.approx(expected, abs=1e-10)


def test_factors_are_multiplied_along_each_path() -> None:
    """Facets without a row among the factors, and negative ones, leave a path as it is."""
    rng = np.random.default_rng(8)
    facets = rng.integers(-1, 6, (20, 3))
    row, factors = np.array([0, -1, 1, 2, -1, 3]), rng.random((4, 5))
    slow = np.ones((20, 5))
    for p in range(20):
        for facet in facets[p]:
            if facet >= 0 and row[facet] >= 0:
                slow[p] *= factors[row[facet]]
    assert product_along(facets, row, factors, 5) == pytest.approx(slow, abs=1e-15)
