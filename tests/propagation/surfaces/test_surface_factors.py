"""What layers and panels leave of a path: at the real angle, by their size, and without a jump."""

from __future__ import annotations

import itertools
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from sim.acoustics.bands import octave_bands, sample_frequencies
from sim.acoustics.buildups import find_build_up
from sim.acoustics.layered_reflection import reflection_factor_at
from sim.acoustics.layers import AirGap, Backing, BuildUp, Cloth
from sim.placement.built_scene import BuiltScene
from sim.propagation.edges.table import edge_path_gains
from sim.propagation.edges.tracing import trace_edges
from sim.propagation.mirrors.image_sources import trace_paths
from sim.propagation.paths import PathTable
from sim.propagation.surfaces import factors as module
from sim.propagation.surfaces.factors import surface_factors
from sim.responses.surface_map import surface_maps
from tests.built_scenes import HARD, box, built_scene_of
from tests.propagation.surfaces.slow_patch import Wall, first_iterate

FREQUENCIES = np.geomspace(63.0, 16000.0, 40)
BANDS_HZ = octave_bands().exact_hz
TAPPED = np.arange(0.0, 22000.0, 11.71875)
WOOL = "100 mm wool, 100 mm gap"
SOURCE, EAR = (0.8, 0.9, 1.25), (2.1, 1.6, 1.2)
STILL = {"head_box": {"depth": 0.0, "across": 0.0, "up": 0.0}}
BEDROOM = box(4.2, 3.4, 2.4)
SIDE_POINT = 0.8 + 1.3 * 0.9 / 2.5  # where the left wall mirrors: 0.9 m and 1.6 m off it
SIDE_UP = 1.25 - 0.05 * 0.9 / 2.5


def reported(**materials: Any) -> dict[str, Any]:
    """Materials of a scene, "hard" among them."""
    return {"hard": {"absorption": HARD, "source": "made up for a test"}, **materials}


def panel(
    depth: tuple[float, float], up: tuple[float, float], name: str = "side", material: str = WOOL, **more: Any
) -> dict[str, Any]:
    return {"name": name, "surface": "left wall", "from_front": depth, "up": up, "material": material, **more}


def centred(offset: float, width: float = 0.6, height: float = 1.2, **more: Any) -> dict[str, Any]:
    """A panel whose middle is `offset` behind the mirror point in the left wall."""
    middle = SIDE_POINT + offset
    low = SIDE_UP - height / 2.0
    return panel((middle - width / 2.0, middle + width / 2.0), (low, low + height), **more)


def bedroom(*panels: dict[str, Any], room: dict[str, Any] = BEDROOM, **more: Any) -> BuiltScene:
    return built_scene_of(room, [SOURCE], EAR, panels=list(panels), materials=reported(**more))


def row_of(built: BuiltScene, paths: PathTable, *names: str) -> int:
    """The path of these surfaces in turn."""
    ways = [tuple(built.room.facets[f].name for f in facets if f >= 0) for facets in paths.facets]
    return ways.index(names)


def side_factor(built: BuiltScene, frequencies: np.ndarray = FREQUENCIES) -> np.ndarray:
    paths = trace_paths(built, 1)
    return surface_factors(built, paths, frequencies)[row_of(built, paths, "left wall")]


def octave_levels(built: BuiltScene) -> np.ndarray:
    """Level of the reflection off the left wall re a hard wall, energy mean in each octave from 63 Hz."""
    frequencies = sample_frequencies(octave_bands(), 24)
    energy = np.abs(side_factor(built, frequencies.ravel())) ** 2
    return 10.0 * np.log10(energy.reshape(frequencies.shape).mean(axis=1))


def test_no_surface_takes_nothing_and_negative_numbers_are_none() -> None:
    built = bedroom(centred(0.0))
    paths = trace_paths(built, 2)
    direct = row_of(built, paths)
    assert surface_factors(built, paths, FREQUENCIES)[direct] == pytest.approx(np.ones(len(FREQUENCIES)), abs=0.0)
    row = row_of(built, paths, "left wall", "rear wall")
    facets = paths.facets.copy()
    facets[row, 1] = -2  # an edge where the second surface was: its point still ends the leg
    with_edge = surface_factors(built, replace(paths, facets=facets), FREQUENCIES)[row]
    assert with_edge == pytest.approx(surface_factors(built, paths, FREQUENCIES)[row], abs=1e-12)  # the rear is hard


def test_layers_are_met_at_the_real_angle() -> None:
    """Mirrors of a box by hand: image source, angle of the straight line to the wall, one exact factor each."""
    materials = reported(
        wool={"build_up": WOOL, "behind": "brick"},
        screen={"layers": [{"cloth": 400.0}, {"gap": 0.35}]},
    )
    room = box(4.2, 3.4, 2.4, {"left wall": "wool", "ceiling": "screen"})
    built = built_scene_of(room, [SOURCE], EAR, materials=materials)
    paths = trace_paths(built, 2)
    factors = surface_factors(built, paths, FREQUENCIES)
    brick = (0.03, 0.03, 0.03, 0.03, 0.04, 0.05, 0.07, 0.07)
    wool = replace(find_build_up(WOOL), backing=Backing("brick", absorption=brick))
    screen = BuildUp("screen", (Cloth(400.0), AirGap(0.35)))
    source, ear = np.array(SOURCE), np.array(EAR)

    def expected(image: np.ndarray, axis: int, build_up: BuildUp) -> np.ndarray:
        way = ear - image
        angle = np.arccos(abs(way[axis]) / np.linalg.norm(way))
        return reflection_factor_at(build_up, FREQUENCIES, angle, built.air)[0]

    left = source * np.array([1.0, -1.0, 1.0])
    top = np.array([source[0], source[1], 4.8 - source[2]])
    both = left * np.array([1.0, 1.0, -1.0]) + np.array([0.0, 0.0, 4.8])
    for names, factor in (
        (("left wall",), expected(left, 1, wool)),
        (("ceiling",), expected(top, 2, screen)),
        (("floor",), np.ones(len(FREQUENCIES))),
        (("left wall", "ceiling"), expected(both, 1, wool) * expected(both, 2, screen)),
    ):
        assert factors[row_of(built, paths, *names)] == pytest.approx(factor, rel=1e-6, abs=1e-9), names


def test_a_panel_is_blended_into_its_wall_by_its_share() -> None:
    """Also for a path of two surfaces, whose whole length before and after counts; worked out for one path alone."""
    built = bedroom(centred(0.15), room=box(4.2, 3.4, 2.4, {"left wall": "brick"}))
    paths = trace_paths(built, 2)
    speed = built.air.speed_of_sound_m_s
    factors = surface_factors(built, paths, FREQUENCIES)
    x0, z0 = built.panels[0].corners_m[:, [0, 2]].min(axis=0)
    x1, z1 = built.panels[0].corners_m[:, [0, 2]].max(axis=0)
    some = np.array([10, 18, 22])
    few = FREQUENCIES[some]
    brick = np.sqrt(
        1.0
        - np.interp(
            np.log(few), np.log(octave_bands(63, 8000).exact_hz), [0.03, 0.03, 0.03, 0.03, 0.04, 0.05, 0.07, 0.07]
        )
    )
    for names in (("left wall",), ("left wall", "rear wall"), ("right wall", "left wall")):
        row = row_of(built, paths, *names)
        places = np.vstack([SOURCE, paths.points[row][: len(names)], EAR])
        at = names.index("left wall") + 1
        steps = np.linalg.norm(np.diff(places, axis=0), axis=1)
        ray = (places[at] - places[at - 1]) / steps[at - 1]
        # both ends unfolded on the room's side of the wall, whose plane is (from_front, up)
        ends = [
            places[at] - steps[:at].sum() * ray,
            places[at] + steps[at:].sum() * ray * np.array([1.0, -1.0, 1.0]),
        ]
        wall = Wall(*(end[[0, 2, 1]] for end in ends))
        own = reflection_factor_at(find_build_up(WOOL), few, np.arccos(wall.cosine), built.air)[0]
        expected = []
        for frequency, bare, face in zip(few, brick, own, strict=True):
            b0, mutual = first_iterate(wall, (x0, x1, z0, z1), frequency)
            back = wall.cosine * mutual
            share = -0.5 * wall.cosine * b0 * ((1 + bare) + back * (1 - bare)) / ((1 + face) + back * (1 - face))
            ahead = np.exp(4j * np.pi * frequency * 0.2 * wall.cosine / speed)
            expected.append(bare + (face * ahead - bare) * share)
        # where the waves of source and ear cancel over the panel the coupling is not the plain quotient: over the rear
        # wall at 1.4 kHz, by half a decibel
        within = [0.015, 0.015, 0.08 if names == ("left wall", "rear wall") else 0.015]
        assert (np.abs(factors[row][some] - np.array(expected)) < within).all(), names


def test_a_large_panel_is_its_material_and_a_far_one_is_nothing() -> None:
    wide = built_scene_of(
        box(40.0, 40.0, 40.0),
        [(18.0, 1.2, 20.0)],
        (20.0, 1.5, 20.0),
        panels=[panel((1.0, 39.0), (1.0, 39.0))],
        materials=reported(),
    )
    angle = np.arctan2(2.0, 2.7)
    high = FREQUENCIES[FREQUENCIES > 250.0]
    alone = reflection_factor_at(find_build_up(WOOL), high, angle, wide.air)[0]
    # so large a panel has too many cells for the sums; Fresnel's approximation, which then stands for them, ripples by
    # a few percent at rims 17 m away, where an integral equation over all of it is within 0.02 to 0.05 of plane waves
    found = np.abs(side_factor(wide, high))
    assert found == pytest.approx(np.abs(alone), abs=0.07)
    assert found[high > 1000.0] == pytest.approx(np.abs(alone[high > 1000.0]), abs=0.035)
    assert side_factor(bedroom(panel((3.5, 4.1), (0.1, 0.7))), high) == pytest.approx(np.ones(len(high)), abs=0.1)


def test_half_a_wall_of_panel_gives_the_mean_pressure() -> None:
    """Mirror point on the border of two half planes: each has half the pressure (Sommerfeld)."""
    opened = {"open wall": {"layers": [{"cloth": 411.8}, {"gap": 1.0}]}}
    for depth in ((20.0, 39.0), (1.0, 20.0)):
        built = built_scene_of(
            box(40.0, 40.0, 40.0),
            [(19.0, 1.2, 20.0)],
            (21.0, 1.2, 20.0),
            panels=[panel(depth, (1.0, 39.0), material="open wall")],
            materials=reported(**opened),
        )
        frequencies = FREQUENCIES[FREQUENCIES > 250.0]
        cosine = 1.2 / np.hypot(1.2, 1.0)
        own = reflection_factor_at(BuildUp("o", (Cloth(411.8), AirGap(1.0))), frequencies, np.arccos(cosine), built.air)
        own = own[0] * np.exp(4j * np.pi * frequencies * cosine / built.air.speed_of_sound_m_s)
        # the far rim ripples by a few percent, as in the test before
        found, high = side_factor(built, frequencies), frequencies > 1000.0
        assert found == pytest.approx(0.5 + 0.5 * own, abs=0.05)
        assert found[high] == pytest.approx(0.5 + 0.5 * own[high], abs=0.03)


@pytest.mark.parametrize("edge", [-0.3, 0.0, 0.3])
def test_a_panel_that_slides_across_the_mirror_point_switches_nothing(edge: float) -> None:
    """Ten times the step, ten times the change: nothing jumps where a rim passes the mirror point.

    The slope is physical: where a rim lies at the mirror point, |dF/dx| = sqrt((1/d1 + 1/d2)/lambda) cos(t), here
    half a percent per millimetre at 8 kHz.
    """

    def change(step_m: float) -> np.ndarray:
        ends = [bedroom(centred(edge + shift, material="100 mm wool")) for shift in (-step_m / 2, step_m / 2)]
        first, last = (10.0 ** (octave_levels(end) / 20.0) for end in ends)
        return np.asarray(last - first)

    millimetre, tenth = change(1e-3), change(1e-4)
    places = [np.array(SOURCE), np.array([SIDE_POINT, 0.0, SIDE_UP]), np.array(EAR)]
    legs = [float(np.linalg.norm(b - a)) for a, b in itertools.pairwise(places)]
    cosine = places[0][1] / legs[0]
    slope = np.sqrt((1.0 / legs[0] + 1.0 / legs[1]) * BANDS_HZ / 343.2) * cosine
    # its own sound, which acts back on the panel, adds up to two thirds at 1 kHz
    assert (np.abs(millimetre) < 1.8e-3 * slope).all()
    assert (np.abs(millimetre) < 1.1e-3 * slope)[6:].all()
    assert tenth == pytest.approx(0.1 * millimetre, abs=2e-5)


def test_a_side_panel_at_the_mirror_point_works_at_4_khz_more_than_at_500_hz() -> None:
    """0.6 m by 1.2 m of 100 mm wool: at 500 Hz the first Fresnel zone is larger than the panel.

    Which draws sound from beside it there, so that it takes 1 dB more than its area says.
    """
    with_panel = octave_levels(bedroom(centred(0.0, material="100 mm wool")))
    at_500, at_4000 = with_panel[3], with_panel[6]
    assert at_4000 < at_500 - 2.0
    assert at_4000 < -8.0
    assert -7.0 < at_500 < -3.0
    assert abs(with_panel[0]) < 0.5


def test_a_smaller_panel_works_less() -> None:
    at_4000 = [
        octave_levels(bedroom(centred(0.0, width, 2.0 * width, material="100 mm wool")))[6]
        for width in (0.1, 0.15, 0.3, 1.0)
    ]
    assert np.all(np.diff(at_4000) < -0.5)
    assert at_4000[0] > -0.5
    assert at_4000[-1] < -12.0


def test_panels_of_two_facets_in_one_plane() -> None:
    """A window next to the panel lies in the same plane; its reflection feels the panel's edge."""
    window = {
        "name": "window",
        "kind": "window",
        "surface": "left wall",
        "from_front": (1.2, 1.6),
        "up": (1.0, 1.6),
        "material": "hard",
    }
    bare, besides = (
        built_scene_of(BEDROOM, [SOURCE], EAR, openings=[window], panels=panels, materials=reported())
        for panels in ([], [panel((1.61, 2.4), (0.6, 1.8))])
    )
    factors = []
    for built in (bare, besides):
        paths = trace_paths(built, 1)
        factors.append(surface_factors(built, paths, FREQUENCIES)[row_of(built, paths, "window")])
    assert np.abs(factors[0]) == pytest.approx(np.ones(len(FREQUENCIES)), abs=0.0)
    assert np.abs(np.abs(factors[1]) - 1.0).max() > 0.05


def test_maps_see_panels() -> None:
    levels = []
    for panels in ([], [centred(0.0)]):
        built = built_scene_of(BEDROOM, [SOURCE], EAR, panels=panels, materials=reported(), listener=STILL)
        (side,) = (m for m in surface_maps(built, octave_bands(), 0.1, 0.0) if m.surface == "left wall")
        levels.append(side.level_db[0].max(axis=1))
    lower = levels[0] - levels[1]
    # sixteen octaves of the map hold 4 points each, and the response 24
    assert lower[4:8] == pytest.approx(-octave_levels(bedroom(centred(0.0)))[4:8], abs=1.5)


def test_many_tapped_frequencies_agree_with_few() -> None:
    built = bedroom(centred(0.2), panel((2.5, 3.1), (0.6, 1.8), name="second"))
    dense, places = side_factor(built, TAPPED), np.arange(20, len(TAPPED), 90)
    assert dense[places] == pytest.approx(side_factor(built, TAPPED[places]), abs=3e-3)
    assert np.isfinite(dense).all()
    assert dense[0] == pytest.approx(1.0, abs=0.05)


def test_no_frequencies_are_no_factors_and_no_fault() -> None:
    """Those who ask for no dips give no frequencies."""
    built = bedroom(centred(0.0))
    paths = trace_paths(built, 1)
    assert surface_factors(built, paths, np.zeros(0)).shape == (len(paths), 0)
    edge_paths = trace_edges(built, 1)
    assert edge_path_gains(built, edge_paths, np.zeros(0)).shape == (len(edge_paths), 0)


def test_without_layers_no_angle_is_worked_out(monkeypatch: pytest.MonkeyPatch) -> None:
    """The usual scene is a product of a table and no more."""

    def refuse(*_: object) -> None:
        raise AssertionError("meetings are asked for")

    built = built_scene_of(BEDROOM, [SOURCE], EAR)
    monkeypatch.setattr(module, "incidences_with", refuse)
    assert np.all(surface_factors(built, trace_paths(built, 3), FREQUENCIES) == 1.0)
    with pytest.raises(AssertionError, match="asked for"):
        side_factor(bedroom(centred(0.0)))
