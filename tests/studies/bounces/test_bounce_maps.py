"""Maps by rays agree with image sources and with the map of mirror points where both apply."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache
from pathlib import Path

import numpy as np
import pytest

from sim.acoustics.bands import octave_bands
from sim.blueprint.reader import SceneFile, parse_scene
from sim.blueprint.treatment import Target
from sim.errors import SceneError
from sim.placement.built_scene import BuiltScene, build_scene
from sim.propagation.energy.boundaries import boundaries_of
from sim.propagation.energy.image_energy import air_per_m, from_axis_points, octave_energy
from sim.propagation.mirrors.image_sources import trace_paths
from sim.responses.surface_map import grid_of, surface_maps
from sim.studies.bounces.maps import (
    DISC_M,
    Early,
    disc_sums,
    early_arrivals,
    flat_groups,
    judged_octaves,
    study_bounces,
)
from sim.studies.bounces.records import BounceStudy

SCENE = """
title = "plain room"
[room]
box = { width = 3.4, depth = 4.6, height = 2.5 }
materials = { walls = "plasterboard on studs", ceiling = "plaster on lath", floor = "wood floor" }
[listener]
ear = { from_front = 2.0, from_left = 1.6, up = 1.2 }
[[loudspeakers]]
name = "left"
acoustic_axis = { from_front = 0.8, from_left = 0.9, up = 1.2 }
[[loudspeakers]]
name = "right"
acoustic_axis = { from_front = 0.8, from_left = 2.3, up = 1.2 }
[target]
window_ms = [0, 14]
"""


@lru_cache(maxsize=2)
def studied(scattering: float) -> tuple[SceneFile, BuiltScene, BounceStudy]:
    scene = parse_scene(SCENE, Path("no-folder"))
    built = build_scene(scene.blueprint, scene.folder)
    built = replace(built, scattering=np.full_like(built.scattering, scattering))
    return scene, built, study_bounces(scene, built, lambda _: None, rays=400_000, seed=4)


def image_levels(built: BuiltScene, s: int, octaves: np.ndarray) -> list[tuple[int, np.ndarray, float]]:
    """Facet, mirror point and energy re direct sound of each first-order path, by hand from image sources."""
    paths = trace_paths(from_axis_points(built), 1)
    one, kept, air = built.loudspeakers[s], boundaries_of(built).kept, air_per_m(built)
    energies = []
    mine = np.flatnonzero((paths.loudspeaker == s) & (paths.listener == 0))
    for row in mine:
        sent = octave_energy(one.model, one.to_box(paths.departure[row][None]), 343.2)[0]
        energy = sent * np.exp(-air * paths.length_m[row]) / paths.length_m[row] ** 2
        energies.append(energy * (kept[paths.facets[row, 0]] if paths.order[row] else 1.0))
    late_ms = 1e3 * (paths.length_m[mine] - paths.length_m[mine[0]]) / 343.2
    assert not np.any((late_ms > 13.5) & (late_ms < 14.5))  # nothing lies on the border of the window
    return [
        (int(paths.facets[row, 0]), paths.points[row, 0], float((energies[n] / energies[0])[octaves].mean()))
        for n, row in enumerate(mine)
        if paths.order[row] == 1 and late_ms[n] < 14.0
    ]


@lru_cache(maxsize=2)
def once_bounced(s: int) -> tuple[Early, np.ndarray]:
    """Early arrivals of a loudspeaker, and the rows of those that bounced once."""
    scene, built, _ = studied(0.0)
    octaves = judged_octaves(scene.blueprint.target)
    early = early_arrivals(built, s, scene.blueprint.target, octaves, rays=400_000, seed=4)
    return early, np.flatnonzero(early.rays.bounces[early.rows] == 1)


def test_what_bounced_once_has_the_energy_and_place_of_mirrored_paths() -> None:
    """Every first-order path of image sources, surface by surface, and nothing else."""
    scene, built, study = studied(0.0)
    for s in range(2):
        early, once = once_bounced(s)
        facets, places = early.rays.facet[early.rows[once], 0], early.rays.place[early.rows[once], 0]
        paths = image_levels(built, s, judged_octaves(scene.blueprint.target))
        assert set(facets.tolist()) == {facet for facet, _, _ in paths}
        for facet, point, energy in paths:
            weight = early.energy[once][facets == facet]
            assert abs(weight.sum() - energy) < 4.0 * np.sqrt((weight**2).sum()) + 0.01 * energy
            middle = np.average(places[facets == facet], axis=0, weights=weight)
            assert np.linalg.norm(middle - point) < 0.05, built.room.facets[facet].name
        whole = 10.0 * np.log10(sum(energy for _, _, energy in paths))
        assert study.early_db[s, 0] == pytest.approx(whole, abs=0.15)


def test_strong_mirror_points_are_spots() -> None:
    scene, built, study = studied(0.0)
    found = 0
    for s, loudspeaker in enumerate(built.loudspeakers):
        firsts = [spot for spot in study.spots if spot.loudspeaker == loudspeaker.name and spot.bounce == 1]
        for facet, point, energy in image_levels(built, s, judged_octaves(scene.blueprint.target)):
            if energy < 10.0**-1.8:
                continue
            mine = [spot for spot in firsts if spot.surface == built.room.facets[facet].name]
            spot = min(mine, key=lambda each: float(np.linalg.norm(each.point - point)))
            assert np.linalg.norm(spot.point - point) < 0.12
            # what else strikes the same disc first comes on top
            assert -4.0 * spot.error_db < spot.level_db - 10.0 * np.log10(energy) < 2.0
            assert spot.mirrored == 1.0
            found += 1
    assert found >= 6


def test_maxima_lie_where_the_map_of_mirror_points_has_them() -> None:
    _, built, _ = studied(0.0)
    octaves = octave_bands()
    mirrors = {one.facet: one for one in surface_maps(built, octaves, 0.05, 0.0)}
    band = list(octaves.nominal_hz).index(2000.0)
    compared = 0
    for s in range(2):
        early, once = once_bounced(s)
        facets, places = early.rays.facet[early.rows[once], 0], early.rays.place[early.rows[once], 0]
        for number in np.unique(facets):
            by_images, facet = mirrors[int(number)], built.room.facets[number]
            expected = by_images.points[int(np.argmax(by_images.level_db[s, band]))]
            _, _, shape, origin, _ = grid_of(facet, 0.05)
            mine = facets == number
            sums = disc_sums(facet.to_plane(places[mine]), early.energy[once][mine], origin, shape, 0.05)
            top = np.argwhere(sums > 0.9 * sums.max())  # a disc has a flat top
            middle = facet.from_plane(origin + top.mean(axis=0) * 0.05)
            assert np.linalg.norm(middle - expected) < 0.15, facet.name
            compared += 1
    assert compared >= 10


def test_left_and_right_are_mirror_images_within_their_errors() -> None:
    text = SCENE.replace("from_left = 0.9", "from_left = 1.0").replace("from_left = 1.6", "from_left = 1.7")
    text = text.replace("from_left = 2.3", "from_left = 2.4")
    scene = parse_scene(text, Path("no-folder"))
    even = study_bounces(scene, build_scene(scene.blueprint, scene.folder), lambda _: None, rays=400_000, seed=5)
    assert even.early_db[0, :3] == pytest.approx(even.early_db[1, :3], abs=0.3)


def test_scattered_sound_is_there_and_takes_from_mirrors() -> None:
    smooth, rough = studied(0.0)[2], studied(0.3)[2]
    assert all(spot.mirrored == 1.0 for spot in smooth.spots)
    assert min(spot.mirrored for spot in rough.spots) < 0.99
    assert rough.early_db[0, 2] < smooth.early_db[0, 2]
    fractions = sum(one.fraction[0] for one in rough.maps)
    assert fractions[0] == pytest.approx(1.0, abs=1e-9)  # whatever arrives has bounced somewhere first
    assert 1.0 > fractions[1] > fractions[2] > 0.0


def test_discs_hold_what_is_near_their_middle() -> None:
    draw = np.random.default_rng(1)
    flat, energy = draw.uniform(-0.3, 1.3, (300, 2)), draw.uniform(0.1, 1.0, 300)
    grid = 0.02
    sums = disc_sums(flat, energy, np.array([0.01, 0.01]), (50, 40), grid)
    for cell in ((0, 0), (25, 20), (49, 39)):
        away = np.linalg.norm(flat - (np.array([0.01, 0.01]) + np.array(cell) * grid), axis=1)
        assert energy[away < DISC_M - grid].sum() - 1e-9 <= sums[cell] <= energy[away < DISC_M + grid].sum() + 1e-9


def test_a_wall_and_its_window_are_one_surface() -> None:
    opening = '[[openings]]\nname = "window"\nkind = "window"\nsurface = "left wall"\n'
    text = SCENE + opening + "from_front = [1.0, 1.8]\nup = [0.9, 1.9]\n"
    scene = parse_scene(text, Path("no-folder"))
    built = build_scene(scene.blueprint, scene.folder)
    groups = flat_groups(built)
    wall, window = built.room.facet_numbers("left wall")[0], built.room.facet_numbers("window")[0]
    assert groups[wall] == groups[window]
    assert len(set(groups.tolist())) == len(built.room.facets) - 1


def test_a_band_without_octaves_is_refused() -> None:
    assert judged_octaves(Target()).tolist() == [False] * 4 + [True] * 4
    with pytest.raises(SceneError, match="no octave"):
        judged_octaves(Target(band_hz=(8500.0, 15000.0)))
