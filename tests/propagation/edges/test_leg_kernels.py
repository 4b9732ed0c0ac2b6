"""All faces of a body, and all its edges, in one call: against one by one, in plain arrays."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sim.propagation.edges.bare import bare_stretches, free_bodies, images, seen_fractions
from sim.propagation.edges.convex import FADE_RAD, ConvexBody, prism, rim_fade
from sim.propagation.edges.leg_kernels import beside_faces, clear_stretches
from sim.propagation.mirrors.beams import facet_tuple
from tests.built_scenes import block, box, built_scene_of, desk

TABLE = prism(np.array([[0.0, 0.0, 0.7], [0.8, 0.1, 0.7], [0.9, 1.4, 0.7], [0.1, 1.5, 0.7]]), 0.04)


def distance_outside(point: np.ndarray, corners: np.ndarray, normal: np.ndarray) -> float:
    """Distance from a point of a face's plane to the face, 0 inside."""
    ahead = np.roll(corners, -1, axis=0) - corners
    way = point - corners
    if (np.cross(ahead, way) @ normal >= 0.0).all():
        return 0.0
    along = np.clip((way * ahead).sum(axis=1) / (ahead * ahead).sum(axis=1), 0.0, 1.0)
    return float(np.linalg.norm(way - along[:, None] * ahead, axis=1).min())


def fade_slowly(body: ConvexBody, point: np.ndarray) -> np.ndarray:
    heights, clear = body.heights(point), np.ones(len(body.faces))
    for g, (corners, normal) in enumerate(zip(body.faces, body.normals, strict=True)):
        outside = distance_outside(point - heights[g] * normal, corners, normal)
        if outside > 0.0:
            clear[g] = np.sin(0.5 * np.pi * min(1.0, max(np.arctan2(heights[g], outside), 0.0) / FADE_RAD)) ** 2
    flat = np.cos(np.clip(body.sees(point), 0.0, 0.5 * np.pi)) ** 2
    return np.asarray(np.prod(1.0 - (1.0 - clear[body.faces_of_edge]) * flat, axis=1))


@given(st.tuples(st.floats(-1.0, 2.0), st.floats(-1.0, 2.5), st.floats(0.0, 1.4)).map(np.array))
def test_beside_faces_and_the_fade_at_the_rim_are_those_of_one_face_after_the_other(point: np.ndarray) -> None:
    starts = np.cumsum([0, *(len(face) for face in TABLE.faces)])
    heights, outside = beside_faces(point, np.concatenate(TABLE.faces), starts, TABLE.normals, TABLE.offsets)
    np.testing.assert_allclose(heights, TABLE.heights(point), atol=1e-14)
    for g, (corners, normal) in enumerate(zip(TABLE.faces, TABLE.normals, strict=True)):
        assert outside[g] == pytest.approx(distance_outside(point - heights[g] * normal, corners, normal), abs=1e-12)
    np.testing.assert_allclose(rim_fade(TABLE, point), fade_slowly(TABLE, point), atol=1e-9)


def test_shares_seen_of_all_edges_are_those_of_one_edge_after_the_other() -> None:
    """A desk, half of which a screen beside it hides from the source."""
    screen = block((0.45, 0.5), (1.2, 2.6), (0.5, 1.4))
    built = built_scene_of(
        box(4.2, 3.4, 2.4), [(0.3, 1.1, 1.1)], (1.9, 1.7, 1.2), furniture=[desk((0.6, 1.3), (0.9, 2.5), 0.74), screen]
    )
    room, source, ear = built.room, np.array([0.3, 1.1, 1.1]), np.array([1.9, 1.7, 1.2])
    number = room.owner_number("desk")
    body = free_bodies(room, stretches=bare_stretches(room))[number]
    found = seen_fractions(room, number, body, source, ear, -2)
    planes = room.arrays.plane[np.flatnonzero(room.arrays.owner == number)][body.faces_of_edge]
    start, along, _, _, length, _ = body.wedges
    for side, (end, passed) in enumerate(((source, -2), (ear, -1))):
        way = images(room, end, ()), np.zeros(0, dtype=np.int64)
        for e in range(len(length)):
            edge = np.stack([start[e], start[e] + length[e] * along[e]])
            seen = clear_stretches(
                end, end, edge, planes[e], passed, (*way, *way, 16), facet_tuple(room), room.ray_arrays
            )
            assert found[side, e] == pytest.approx(float(np.diff(seen, axis=1).sum()), abs=1e-14)
    assert ((found[0] > 0.05) & (found[0] < 0.95)).any()
