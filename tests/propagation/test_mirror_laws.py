"""What every mirrored path must obey, in random rooms of all shapes: equal angles, least way, clear legs,
and no dependence on who is source and who is ear, on where the axes lie, or on how surfaces were cut.
"""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from sim.geometry.patches import Patch
from sim.geometry.room import build_room
from sim.placement.built_scene import BuiltScene
from sim.propagation.mirrors.image_sources import trace_paths
from sim.propagation.paths import PathTable
from tests.built_scenes import bare_stage, turned_stage
from tests.geometry.furnished import box_patches, cut_finer, furnished_room, in_the_air, prism_patches, star_outline
from tests.naive import is_clear, turns_about

seeds = st.integers(0, 2**32 - 1)
kinds = st.sampled_from(["convex prism", "prism", "furnished box", "furnished prism"])


def random_scene(seed: int, kind: str) -> tuple[list[Patch], np.ndarray, np.ndarray, np.random.Generator]:
    rng = np.random.default_rng(seed)
    if kind == "furnished box":
        patches = furnished_room(rng, 3)
    else:
        corners = int(rng.integers(4, 7))
        patches = prism_patches(star_outline(rng, corners, convex=kind == "convex prism"), 2.6)
        if kind == "furnished prism":
            size = rng.uniform(0.1, 0.9, 3)
            low = np.array([2.4, 2.4, 0.3]) + rng.uniform(0.0, 0.4, 3)
            patches += box_patches(low, low + size, "desk")
    room = build_room(patches)
    low, high = room.triangles.min(axis=(0, 1)), room.triangles.max(axis=(0, 1))
    return patches, in_the_air(room, rng, low, high), in_the_air(room, rng, low, high), rng


def traced(patches: list[Patch], source: np.ndarray, ear: np.ndarray, order: int = 2) -> tuple[BuiltScene, PathTable]:
    built = bare_stage(patches, np.array([source]), ear)
    return built, trace_paths(built, order)


def stations(built: BuiltScene, paths: PathTable, row: int) -> np.ndarray:
    return np.vstack([built.loudspeakers[0].driver_points[0], paths.points[row, : paths.order[row]], built.ears[0]])


def path_length(places: np.ndarray) -> float:
    return float(np.linalg.norm(np.diff(places, axis=0), axis=1).sum())


@settings(max_examples=60)
@given(seeds, kinds)
def test_equal_angles_least_way_on_the_surface_and_clear(seed: int, kind: str) -> None:
    patches, source, ear, rng = random_scene(seed, kind)
    built, paths = traced(patches, source, ear)
    assert paths.order[0] == 0
    assert paths.blocked[0] == (not is_clear(source, ear, built.room.triangles))
    assert not paths.blocked[1:].any()
    for row in range(1, len(paths)):
        places = stations(built, paths, row)
        assert paths.length_m[row] == pytest.approx(path_length(places), rel=1e-12)
        assert paths.departure[row] == pytest.approx((places[1] - places[0]) / np.linalg.norm(places[1] - places[0]))
        assert paths.arrival[row] == pytest.approx((places[-2] - places[-1]) / np.linalg.norm(places[-2] - places[-1]))
        for k in range(paths.order[row]):
            facet = built.room.facets[paths.facets[row, k]]
            before, at, after = places[k : k + 3]
            coming, going = (at - before) / np.linalg.norm(at - before), (after - at) / np.linalg.norm(after - at)
            assert going == pytest.approx(coming - 2.0 * (coming @ facet.normal) * facet.normal, abs=1e-6)
            assert going @ facet.normal > 0.0
            assert facet.normal @ at == pytest.approx(facet.offset_m, abs=1e-9)
            flat = facet.to_plane(at)
            if abs(paths.margin_m[row]) > 1e-5:
                assert turns_about(*flat, facet.border)
            for angle in rng.uniform(0.0, 2.0 * np.pi, 3):
                moved = places.copy()
                moved[k + 1] = facet.from_plane(flat + 0.01 * np.array([np.cos(angle), np.sin(angle)]))
                assert path_length(moved) > path_length(places)
        for p, q in pairwise(places):
            assert is_clear(p, q, built.room.triangles)


@settings(max_examples=60)
@given(seeds, kinds)
def test_source_and_ear_may_change_places(seed: int, kind: str) -> None:
    patches, source, ear, _ = random_scene(seed, kind)
    _, there = traced(patches, source, ear)
    _, back = traced(patches, ear, source)
    assert np.sort(back.length_m) == pytest.approx(np.sort(there.length_m), rel=1e-9)
    ways = {tuple(f for f in row if f >= 0) for row in there.facets.tolist()}
    assert {tuple(f for f in row if f >= 0)[::-1] for row in back.facets.tolist()} == ways


@settings(max_examples=30)
@given(seeds, kinds)
def test_turning_and_moving_everything_changes_nothing(seed: int, kind: str) -> None:
    patches, source, ear, rng = random_scene(seed, kind)
    built, paths = traced(patches, source, ear)
    rotation = Rotation.random(random_state=rng).as_matrix()
    moved = turned_stage(built, rotation, rng.uniform(-20.0, 20.0, 3))
    again = trace_paths(moved, 2)
    assert again.facets.tolist() == paths.facets.tolist()
    assert again.length_m == pytest.approx(paths.length_m, rel=1e-9)
    assert again.margin_m == pytest.approx(paths.margin_m, abs=2e-5)
    assert again.departure == pytest.approx(paths.departure @ rotation.T, abs=1e-9)


@settings(max_examples=30)
@given(seeds, kinds)
def test_cutting_surfaces_finer_changes_nothing(seed: int, kind: str) -> None:
    patches, source, ear, rng = random_scene(seed, kind)
    _, paths = traced(patches, source, ear)
    _, again = traced([cut_finer(patch, rng, 5) for patch in patches], source, ear)
    # within 2 micrometres of a border a path may be on either side of it
    assert paths.margin_m[1:].min(initial=1.0) > 1e-5
    assert again.facets.tolist() == paths.facets.tolist()
    assert again.length_m == pytest.approx(paths.length_m, rel=1e-9)
    assert again.margin_m == pytest.approx(paths.margin_m, abs=2e-5)


@settings(max_examples=30)
@given(seeds, kinds)
def test_the_order_of_surfaces_does_not_matter(seed: int, kind: str) -> None:
    patches, source, ear, rng = random_scene(seed, kind)
    built, paths = traced(patches, source, ear)
    shuffled, again = traced([patches[i] for i in rng.permutation(len(patches))], source, ear)

    def named(built: BuiltScene, paths: PathTable) -> dict[tuple[str, ...], tuple[float, float]]:
        return {
            tuple(built.room.facets[f].name for f in row if f >= 0): (length, min(margin, 99.0))
            for row, length, margin in zip(paths.facets, paths.length_m, paths.margin_m, strict=True)
        }

    first, second = named(built, paths), named(shuffled, again)
    assert first.keys() == second.keys()
    for way, numbers in first.items():
        assert second[way] == pytest.approx(numbers, abs=2e-6)
