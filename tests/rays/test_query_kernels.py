"""Blocks of queries against single rays and against slow twins, in rooms of few leaves and of many."""

from __future__ import annotations

import os

import numba as nb
import numpy as np
import pytest

from sim.rays.flight_kernels import QUERIES, nearest_in_flight
from sim.rays.lanes import load_whole, store
from sim.rays.query_kernels import (
    QUERY_BLOCK,
    any_of_queries,
    ask,
    ask_between,
    direction_of,
    found_by,
    is_flat,
    keep,
    note_at,
    queries_at,
    reach_of,
)
from sim.rays.ray_kernels import addresses_of, any_but, is_hidden_at, nearest_but, nearest_of_rays
from tests.geometry.furnished import cut_finer, furnished_room
from tests.rays.ray_rooms import nearest_slowly, rays_of, triangles_of

MORE = int(os.environ.get("BOUNCEPLAN_RAYS", "1"))
PLACE = np.array([0.03, 0.04, 2.97])


def ellipsoid(steps: int) -> np.ndarray:
    """A closed, slightly bumpy hull of 4 * steps * (steps - 1) triangles whose corners are shared exactly."""
    a = np.pi * np.arange(steps + 1)[:, None] / steps
    b = np.pi * np.arange(2 * steps)[None, :] / steps
    far = 1.0 + 0.01 * np.sin(9.0 * a) * np.cos(7.0 * b)
    across = np.sin(a) * (np.arange(steps + 1)[:, None] % steps > 0)
    corners = far[:, :, None] * np.stack(
        [3.0 * across * np.cos(b), 2.0 * across * np.sin(b), 1.4 * np.cos(a) + 0 * b], -1
    )
    corners[0], corners[-1] = corners[0, 0], corners[-1, 0]
    i, j = (each.ravel() for each in np.meshgrid(np.arange(steps), np.arange(2 * steps), indexing="ij"))
    k = (j + 1) % (2 * steps)
    low = np.stack([corners[i, j], corners[i + 1, j], corners[i + 1, k]], axis=1)[i < steps - 1]
    return np.concatenate([low, np.stack([corners[i, j], corners[i + 1, k], corners[i, k]], axis=1)[i > 0]])


def rooms() -> list[tuple[str, np.ndarray, np.ndarray]]:
    rng = np.random.default_rng(3)
    few, many = triangles_of(furnished_room(rng, 16)), triangles_of(furnished_room(rng, 130))
    cut = triangles_of([cut_finer(patch, rng, 12) for patch in furnished_room(rng, 30)])
    return [
        ("few", few, PLACE),
        ("many", many, PLACE),
        ("cut finer", cut, PLACE),
        ("ellipsoid", ellipsoid(40), np.array([0.2, 0.1, 0.3])),
    ]


ROOMS = rooms()
LARGE = [room for room in ROOMS if room[0] != "few"]


def names(those: list[tuple[str, np.ndarray, np.ndarray]]) -> list[str]:
    return [name for name, _, _ in those]


@nb.njit
def together(points, directions, t_min, t_max, planes, is_passing, rays):  # type: ignore[no-untyped-def]
    """Return what blocks say: t, triangle and whether anything is met; planes (n, 3): plane_a, plane_b, owner."""
    places, n, work = addresses_of(*rays), len(points), np.empty(QUERY_BLOCK)
    queries = queries_at(work)
    t, triangle, met = np.full(n, np.inf), np.full(n, -1, np.int64), np.empty(n, np.bool_)
    for first in range(0, n, QUERIES):
        count = min(QUERIES, n - first)
        for turn in range(2):
            for k in range(count):
                px, py, pz = points[first + k]
                dx, dy, dz = directions[first + k]
                a, b, owner = planes[first + k]
                ask(queries, k, places, px, py, pz, dx, dy, dz, t_min, t_max[first + k], a, b, owner)
                store(note_at(queries, k), first + k)
            if turn == 0:
                any_of_queries(places, queries, count, is_passing)
            elif not is_flat(places):
                nearest_in_flight(places, queries, count, is_passing)
            for k in range(count):
                i = load_whole(note_at(queries, k))
                dx, dy, dz = direction_of(queries, k)
                if dx != directions[i, 0] or dy != directions[i, 1] or dz != directions[i, 2]:
                    raise ValueError
                if turn == 0:
                    met[i] = found_by(queries, k) == 1
                elif not is_flat(places):
                    t[i], triangle[i] = reach_of(queries, k), found_by(queries, k)
    keep(work)
    return t, triangle, met


@nb.njit
def alone(points, directions, t_min, t_max, planes, rays):  # type: ignore[no-untyped-def]
    places, n = addresses_of(*rays), len(points)
    t, triangle, met = np.empty(n), np.empty(n, np.int64), np.empty(n, np.bool_)
    for i in range(n):
        px, py, pz = points[i]
        dx, dy, dz = directions[i]
        a, b, owner = planes[i]
        t[i], triangle[i] = nearest_but(places, px, py, pz, dx, dy, dz, t_min, t_max[i], a, b, owner)
        met[i] = any_but(places, px, py, pz, dx, dy, dz, t_min, t_max[i], a, b, owner)
    return t, triangle, met


def some_rays(triangles: np.ndarray, n: int, seed: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """From inside and outside, from corners, along axes, with and without a limit, one of them hopeless."""
    rng = np.random.default_rng(seed)
    low, high = triangles.min(axis=(0, 1)), triangles.max(axis=(0, 1))
    start = low + rng.uniform(-0.2, 1.2, (n, 3)) * (high - low)
    start[::9] = triangles.reshape(-1, 3)[rng.integers(0, 3 * len(triangles), len(start[::9]))]
    look = rng.normal(size=(n, 3)) * 10.0 ** rng.uniform(-2.0, 2.0, (n, 1))
    look[::31] = np.eye(3)[rng.integers(0, 3, len(look[::31]))]
    start[3:4], look[3:4] = high + 5.0, 1.0
    limit = np.where(rng.random(n) < 0.5, np.inf, rng.uniform(0.0, 4.0, n) / np.linalg.norm(look, axis=1))
    return start, look, limit


@pytest.mark.parametrize("count", [1, 31, 255, 256, 20_000])
@pytest.mark.parametrize(("name", "triangles", "place"), ROOMS, ids=names(ROOMS))
def test_blocks_give_the_bits_of_single_rays(name: str, triangles: np.ndarray, place: np.ndarray, count: int) -> None:
    rng = np.random.default_rng(count)
    plane, owner = rng.integers(0, 4, len(triangles)), rng.integers(0, 3, len(triangles))
    rays = rays_of(triangles, plane, owner)
    assert (rays[0][0][7] > 0.0) == (name == "few")
    start, look, limit = some_rays(triangles, count, 5)
    planes = rng.integers(-1, 4, (count, 3))
    t, triangle, met = alone(start, look, -1e-9, limit, planes, rays)
    found = together(start, look, -1e-9, limit, planes, True, rays)
    assert (found[2] == met).all()
    free = np.arange(count) % 9 > 0
    if name != "few":
        assert found[0][free].tobytes() == t[free].tobytes()
        # those that start at a corner meet several surfaces there, at 0 but for rounding
        met_at = np.isfinite(t)
        assert (met_at == np.isfinite(found[0])).all()
        apart_m = np.abs(found[0][met_at] - t[met_at]) * np.linalg.norm(look[met_at], axis=1)
        assert (apart_m <= 1e-13).all()
        # where two are met at the very same t, as where they share a side, either may be named
        other = found[1] != triangle
        assert other[free].sum() <= 0.01 * count and (found[1][other] >= 0).all()
    nothing = np.full((count, 3), -1)
    t, triangle, met = alone(start, look, 0.0, limit, nothing, rays)
    for is_passing in (False, True):
        found = together(start, look, 0.0, limit, nothing, is_passing, rays)
        assert (found[2] == met).all() and (name == "few" or found[0][free].tobytes() == t[free].tobytes())
    if count > 1000:
        assert 0.2 < met.mean() < 0.98


@pytest.mark.parametrize(("name", "triangles", "place"), LARGE, ids=names(LARGE))
def test_large_rooms_agree_with_looking_at_every_triangle(name: str, triangles: np.ndarray, place: np.ndarray) -> None:
    rng = np.random.default_rng(8)
    n = 3_000
    start, look = np.broadcast_to(place, (n, 3)).copy(), rng.normal(size=(n, 3))
    limit = np.where(rng.random(n) < 0.5, np.inf, rng.uniform(0.0, 3.0, n))
    t, triangle, met = together(start, look, 0.0, limit, np.full((n, 3), -1), False, rays_of(triangles))
    slow_t, slow = nearest_slowly(start, look, 0.0, limit, triangles, np.zeros(len(triangles), np.bool_))
    assert np.allclose(t, slow_t, rtol=1e-9) and (met == (slow >= 0)).all() and (triangle == slow).mean() > 0.999


@pytest.mark.parametrize(("name", "triangles", "place"), LARGE, ids=names(LARGE))
def test_no_ray_escapes_from_a_large_closed_room(name: str, triangles: np.ndarray, place: np.ndarray) -> None:
    """Legs that turn by chance at every surface; each passes over the triangle it comes from."""
    rng = np.random.default_rng(6)
    numbers, n = np.arange(len(triangles)), 10_000 * MORE
    rays = rays_of(triangles, numbers)
    normals = np.cross(triangles[:, 1] - triangles[:, 0], triangles[:, 2] - triangles[:, 0])
    normals /= np.linalg.norm(normals, axis=1)[:, None]
    at, look, planes = np.broadcast_to(place, (n, 3)).copy(), rng.normal(size=(n, 3)), np.full((n, 3), -1)
    for _ in range(20):
        look /= np.linalg.norm(look, axis=1)[:, None]
        t, triangle, met = together(at, look, -1e-9, np.full(n, np.inf), planes, True, rays)
        assert (triangle >= 0).all() and met.all()
        at += t[:, None] * look
        planes[:, 0] = triangle
        side = np.sign(np.einsum("ij,ij->i", look, normals[triangle]))
        look = rng.normal(size=(n, 3))
        against = np.einsum("ij,ij->i", look, normals[triangle]) * side
        look -= (2.0 * np.maximum(against, 0.0) * side)[:, None] * normals[triangle]


@nb.njit
def hidden(p, q, rays):  # type: ignore[no-untyped-def]
    """Whether points p (n, 3) and q see each other: all at once, and one by one."""
    places, n, work = addresses_of(*rays), len(p), np.empty(QUERY_BLOCK)
    queries, one_by_one = queries_at(work), np.empty(n, np.bool_)
    for k in range(n):
        ask_between(queries, k, places, p[k, 0], p[k, 1], p[k, 2], q[k, 0], q[k, 1], q[k, 2], -1, -1, -1)
        one_by_one[k] = is_hidden_at(places, p[k, 0], p[k, 1], p[k, 2], q[k, 0], q[k, 1], q[k, 2], -1, -1, -1)
    any_of_queries(places, queries, n, True)
    at_once = np.array([found_by(queries, k) == 1 for k in range(n)])
    keep(work)
    return at_once, one_by_one


@pytest.mark.parametrize(("name", "triangles", "place"), ROOMS, ids=names(ROOMS))
def test_lines_of_sight_are_those_asked_one_by_one(name: str, triangles: np.ndarray, place: np.ndarray) -> None:
    rng = np.random.default_rng(2)
    rays = rays_of(triangles)
    p = np.broadcast_to(place, (QUERIES, 3)) + rng.uniform(-0.01, 0.01, (QUERIES, 3))
    t, _ = nearest_of_rays(p, rng.normal(size=p.shape), np.full(len(p), np.inf), *rays)
    q = p + rng.normal(size=p.shape)
    q[:4] = p[:4]
    q[4:8] = p[4:8] + 1e-8
    at_once, one_by_one = hidden(p, q, rays)
    assert (at_once == one_by_one).all() and not at_once[:8].any()
    assert np.isfinite(t).all() and 0.05 < at_once.mean() < 0.99
