"""Questions to a furnished room, answered alike by a plain search and by an independent ray tracer."""

from __future__ import annotations

import numpy as np
import pytest
from embreex import rtcore_scene
from embreex.mesh_construction import TriangleMesh

from sim.geometry.room import Room, build_room, first_between, first_hit
from sim.rays.shape_kernels import blocker, nearest_hit
from tests.geometry.furnished import box_patches, furnished_room, in_the_air
from tests.naive import hits, is_clear

RAYS = 100_000
GRAZING_M = 1e-4
"""A ray that passes an edge of a triangle this closely is allowed to be seen differently in single precision."""


@pytest.fixture(scope="module")
def room() -> Room:
    return build_room(furnished_room(np.random.default_rng(20), 14))


def test_first_hit_is_the_nearest_surface(room: Room) -> None:
    rng = np.random.default_rng(4)
    for _ in range(300):
        point, look = in_the_air(room, rng, np.zeros(3), np.array([5.0, 4.0, 3.0])), rng.normal(size=3)
        t = hits(point, look, room.triangles)
        t = np.where(t > 1e-9, t, np.inf)
        distance, facet = first_hit(room, point, look)
        assert distance == pytest.approx(t.min(), rel=1e-9)
        assert facet == room.facet_of_triangle[t.argmin()]


def test_a_body_can_be_passed_over() -> None:
    desk = box_patches(np.array([1.0, 1.0, 1.0]), np.array([2.0, 2.0, 1.1]), "desk")
    room = build_room(box_patches(np.zeros(3), np.array([5.0, 4.0, 3.0]), "room", inward=True) + desk)
    above, below, down = np.array([1.5, 1.5, 2.0]), np.array([1.5, 1.5, 0.5]), np.array([0.0, 0.0, -1.0])
    distance, facet = first_hit(room, above, down)
    assert distance == pytest.approx(0.9) and room.facets[facet].name == "desk high"
    distance, facet = first_hit(room, above, down, room.owner_number("desk"))
    assert distance == pytest.approx(2.0) and room.facets[facet].name == "room low"
    assert room.facets[first_between(room, above, below)].name == "desk high"
    assert first_between(room, above, below, room.owner_number("desk")) == -1
    assert first_between(room, above, np.array([4.0, 1.5, 2.0])) == -1


def test_outside_and_away_meets_nothing() -> None:
    room = build_room(box_patches(np.zeros(3), np.ones(3), "room", inward=True))
    assert first_hit(room, np.array([2.0, 0.5, 0.5]), np.array([1.0, 0.0, 0.0])) == (np.inf, -1)


def edge_gaps(room: Room, p: np.ndarray, q: np.ndarray) -> np.ndarray:
    """How closely each segment (m, 3), (m, 3) passes any side of any triangle, in metres, at its crossings."""
    from sim.rays.shape_kernels import segment_distance

    sides = np.concatenate([room.triangles[:, [k, (k + 1) % 3]] for k in range(3)])
    sides = np.unique(np.round(np.sort(sides, axis=1), 9), axis=0)
    return np.array([min(segment_distance(a, b, *side) for side in sides) for a, b in zip(p, q, strict=True)])


def test_hundred_thousand_segments_and_rays_agree_with_embree(room: Room) -> None:
    """Embree's robust single-precision tracer; every disagreement must graze an edge, and few may."""
    rng = np.random.default_rng(7)
    scene = rtcore_scene.EmbreeScene(robust=True)
    TriangleMesh(scene, room.triangles.astype(np.float32))
    p, q = rng.uniform(0.02, 0.98, (2, RAYS, 3)) * np.array([5.0, 4.0, 3.0])
    length = np.linalg.norm(q - p, axis=1)
    d = (q - p) / length[:, None]

    first = np.empty(RAYS, np.int64)
    distance = np.empty(RAYS)
    hidden = np.empty(RAYS, bool)
    for i in range(RAYS):
        distance[i], first[i] = nearest_hit(p[i], d[i], 1e-9, np.inf, -1, -1, -1, *room.ray_arrays)
        hidden[i] = blocker(p[i], q[i], -1, -1, -1, *room.ray_arrays) >= 0

    # a closed room lets no ray out
    assert (first >= 0).all() and np.isfinite(distance).all()

    theirs = scene.run(p.astype(np.float32), d.astype(np.float32), query="INTERSECT", output=True)
    hit = np.asarray(theirs["primID"])
    reach = np.asarray(theirs["tfar"], dtype=float)
    same_facet = np.zeros(RAYS, bool)
    both = (hit >= 0) & (first >= 0)
    same_facet[both] = room.facet_of_triangle[hit[both]] == room.facet_of_triangle[first[both]]
    same_facet |= (hit < 0) & (first < 0)
    # two surfaces that lie on each other may be named either way
    agree = same_facet | (both & (np.abs(reach - distance) < 1e-4))
    odd = np.flatnonzero(~agree)
    ends = p[odd] + d[odd] * np.minimum(np.maximum(distance[odd], reach[odd]), 10.0)[:, None]
    assert len(odd) <= 10
    assert (edge_gaps(room, p[odd], ends) < GRAZING_M).all()

    theirs_hidden = (hit >= 0) & (reach < length)
    odd = np.flatnonzero(hidden != theirs_hidden)
    at_the_end = np.abs(reach[odd] - length[odd]) < 1e-5
    odd = odd[~at_the_end]
    assert len(odd) <= 10
    assert (edge_gaps(room, p[odd], q[odd]) < GRAZING_M).all()
    assert 0.2 < hidden.mean() < 0.95


def test_a_sample_of_segments_agrees_with_the_plain_search(room: Room) -> None:
    rng = np.random.default_rng(8)
    for p, q in rng.uniform(0.02, 0.98, (1000, 2, 3)) * np.array([5.0, 4.0, 3.0]):
        assert (first_between(room, p, q) < 0) == is_clear(p, q, room.triangles, 1e-7)
