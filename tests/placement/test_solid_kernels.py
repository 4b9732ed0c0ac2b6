"""Convex solids in kernels against the same sentences in whole arrays."""

from __future__ import annotations

import numpy as np
import pytest

from sim.arrays import frozen
from sim.placement.solid_kernels import edge_met, move_off_planes
from sim.placement.solids import (
    TOUCH_M,
    depth_inside,
    depths_shared,
    faces_of,
    first_holding,
    is_enclosed,
    segments_through,
    share_space,
    shared_depth_m,
    upright_box,
)

QUADS = np.array([[0, 1, 2, 3], [4, 5, 6, 7], [0, 1, 5, 4], [1, 2, 6, 5], [2, 3, 7, 6], [3, 0, 4, 7]])
SIDES = np.array([[0, 1], [1, 2], [2, 3], [3, 0], [4, 5], [5, 6], [6, 7], [7, 4], [0, 4], [1, 5], [2, 6], [3, 7]])


def solid(rng: np.random.Generator) -> np.ndarray:
    """A box that tapers upward, turned and moved."""
    box = upright_box(np.zeros(3), rng.uniform(0.2, 1.5, size=3))
    box[4:, :2] *= rng.uniform(0.4, 1.0)
    axes, _ = np.linalg.qr(rng.normal(size=(3, 3)))
    return box @ axes.T + rng.uniform(-0.5, 0.5, size=3)


def slow_faces(body: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    corners = body[QUADS]
    normals = np.cross(corners[:, 2] - corners[:, 0], corners[:, 3] - corners[:, 1])
    normals /= np.linalg.norm(normals, axis=1)[:, None]
    middles = corners.mean(axis=1)
    normals *= np.where(((middles - body.mean(axis=0)) * normals).sum(axis=1) < 0.0, -1.0, 1.0)[:, None]
    return normals, (middles * normals).sum(axis=1)


@pytest.mark.parametrize("seed", range(20))
def test_faces_and_depths(seed: int) -> None:
    rng = np.random.default_rng(seed)
    body, points = solid(rng), rng.uniform(-1.0, 1.0, size=(50, 3))
    normals, offsets = slow_faces(body)
    np.testing.assert_allclose(faces_of(body)[0], normals, atol=1e-14)
    np.testing.assert_allclose(faces_of(body)[1], offsets, atol=1e-14)
    np.testing.assert_allclose(depth_inside(body, points), (offsets - points @ normals.T).min(axis=1), atol=1e-14)


def test_a_side_without_size_is_no_face() -> None:
    body = upright_box(np.zeros(3), np.ones(3))
    body[4:] = body[4:].mean(axis=0)  # a pyramid
    assert len(faces_of(body)[0]) == 5


@pytest.mark.parametrize("seed", range(40))
def test_how_deep_two_are_in_each_other(seed: int) -> None:
    rng = np.random.default_rng(seed)
    one, other = solid(rng), solid(rng)
    low, high = np.maximum(one.min(axis=0), other.min(axis=0)), np.minimum(one.max(axis=0), other.max(axis=0))
    if (high <= low).any():
        expected = float((high - low).min())
    else:
        ways = [body[SIDES[:, 1]] - body[SIDES[:, 0]] for body in (one, other)]
        across = np.cross(ways[0][:, None], ways[1][None]).reshape(-1, 3)
        sizes = np.linalg.norm(across, axis=1)
        axes = np.concatenate(
            [slow_faces(one)[0], slow_faces(other)[0], across[sizes > 1e-9] / sizes[sizes > 1e-9, None]]
        )
        a, b = one @ axes.T, other @ axes.T
        expected = float(np.minimum(a.max(axis=0) - b.min(axis=0), b.max(axis=0) - a.min(axis=0)).min())
    assert shared_depth_m(one, other) == pytest.approx(expected, abs=1e-13)


@pytest.mark.parametrize("seed", range(40))
def test_boxes_share_space_unless_a_direction_parts_them(seed: int) -> None:
    rng = np.random.default_rng(seed)
    one, other = (upright_box(np.zeros(3), rng.uniform(0.2, 1.0, size=3)) for _ in range(2))
    axes, _ = np.linalg.qr(rng.normal(size=(3, 3)))
    other = other @ axes.T + rng.uniform(-0.8, 0.8, size=3)
    edges = [body[[1, 3, 4]] - body[0] for body in (one, other)]
    ways = [np.cross(body[i], body[(i + 1) % 3]) for body in edges for i in range(3)]
    ways += [np.cross(a, b) for a in edges[0] for b in edges[1]]
    expected = True
    for way in ways:
        length = float(np.linalg.norm(way))
        if length >= 1e-9:
            a, b = one @ way / length, other @ way / length
            expected = expected and min(a.max(), b.max()) - max(a.min(), b.min()) > TOUCH_M
    assert share_space(one, other) == expected


@pytest.mark.parametrize("seed", range(10))
def test_segments_that_pass_through_have_a_point_inside(seed: int) -> None:
    rng = np.random.default_rng(seed)
    body, ends = solid(rng), rng.uniform(-1.0, 1.0, size=(60, 2, 3))
    steps = np.linspace(0.0, 1.0, 2001)[:, None]
    deepest = np.array([depth_inside(body, a + steps * (b - a)).max() for a, b in ends])
    clear = np.abs(deepest) > 1e-3  # steps may step over a corner that is hardly touched
    assert (segments_through(body, ends) == (deepest > 0.0))[clear].all()
    assert clear.sum() > 40


@pytest.mark.parametrize("seed", range(10))
def test_points_within_a_closed_surface_are_those_below_all_its_faces(seed: int) -> None:
    rng = np.random.default_rng(seed)
    body, points = solid(rng), rng.uniform(-1.0, 1.0, size=(200, 3))
    triangles = np.concatenate([body[QUADS[:, [0, 1, 2]]], body[QUADS[:, [0, 2, 3]]]])
    normals = np.cross(triangles[:, 1] - triangles[:, 0], triangles[:, 2] - triangles[:, 0])
    inward = ((triangles.mean(axis=1) - body.mean(axis=0)) * normals).sum(axis=1) < 0.0
    triangles[inward] = triangles[inward][:, ::-1]
    depth = depth_inside(body, points)
    clear = np.abs(depth) > 1e-6
    assert (is_enclosed(points, triangles) == (depth > 0.0))[clear].all()
    assert is_enclosed(body.mean(axis=0)[None], triangles).all()


def test_many_solids_in_one_go_are_each_by_itself() -> None:
    rng = np.random.default_rng(11)
    for _ in range(20):
        many, one, points = np.array([solid(rng) for _ in range(4)]), solid(rng), rng.uniform(-1.0, 1.0, size=(6, 3))
        assert depths_shared(one, many).tolist() == [shared_depth_m(one, other) for other in many]
        deep = np.array([depth_inside(each, points) for each in many]) > 0.02
        expected = np.where(deep.any(axis=0), deep.argmax(axis=0), -1)
        assert first_holding(many, points, 0.02).tolist() == expected.tolist()


def test_first_edge_through_a_face_is_one_that_has_both_sides_of_it() -> None:
    rng, met = np.random.default_rng(12), 0
    for _ in range(60):
        box = upright_box(rng.uniform(-0.3, 0.3, size=3), rng.uniform(0.3, 1.0, size=3))
        low, high, ends = box.min(axis=0), box.max(axis=0), rng.uniform(-0.8, 0.8, size=(5, 2, 3))
        body = rng.integers(0, 3, size=5)
        through = []
        for start, stop in ends:  # cut by the planes of all six faces in turn
            at = [
                (plane[axis] - start[axis]) / (stop[axis] - start[axis]) for plane in (low, high) for axis in range(3)
            ]
            places = [start + t * (stop - start) for t in at]
            on = [
                all(low[k] <= p[k] <= high[k] for k in range(3) if k != number % 3) for number, p in enumerate(places)
            ]
            through.append(any(0.0 < t < 1.0 and good for t, good in zip(at, on, strict=True)))
        expected = next((e for e in range(5) if through[e] and body[e] != 1), -1)
        assert edge_met(np.array(box), 0.002, frozen(ends), body, 1) == expected
        met += expected >= 0
    assert 10 < met < 60


def test_points_near_the_plane_of_a_face_are_moved_out_to_its_height() -> None:
    normal, offset = frozen(np.eye(3)), frozen(np.array([1.0, 2.0, 3.0]))
    points = np.array([[1.0, 2.0, 3.0], [1.0 - 1e-8, 0.0, 3.0 + 1e-8], [0.5, 0.5, 0.5]])
    move_off_planes(points, normal, offset, frozen(np.array([0, 1, 2])), 2, 1e-6)
    np.testing.assert_allclose(
        points, [[1.0, 2.0 + 1e-6, 3.0], [1.0 - 1e-8, 0.0, 3.0 + 1e-8], [0.5, 0.5, 0.5]], atol=1e-15
    )
    move_off_planes(points, normal, offset, frozen(np.array([1, 1, 1])), -2, 1e-6)
    np.testing.assert_allclose(points[1], [1.0 + 1e-6, 0.0, 3.0 + 1e-6], atol=1e-15)
