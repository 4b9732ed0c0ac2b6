"""One ray against eight boxes and eight surfaces, each lane against the same done alone in float64."""

from __future__ import annotations

import numba as nb
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sim.rays.eight_kernels import (
    distance_to_room,
    is_outside,
    meet_boxes,
    meet_sixteen,
    meet_surfaces,
    slope,
    toward_boxes,
    toward_sixteen,
    toward_surfaces,
    triangle_of,
)
from sim.rays.lanes import lane, spread_double, spread_single, spread_sixteen
from sim.rays.wide_tree import SINGLE_PAD, build_tree
from tests.rays.ray_rooms import meet_slowly

seeds = st.integers(0, 2**32 - 1)


@nb.njit
def boxes_met(nodes, node, o, d, end):  # type: ignore[no-untyped-def]
    ray = toward_boxes(o[0], o[1], o[2], slope(d[0]), slope(d[1]), slope(d[2]))
    bits, near = meet_boxes(nodes.ctypes.data + 256 * node, ray, spread_single(end))
    return bits, [float(lane(near, k)) for k in range(8)]


@nb.njit
def sixteen_met(nodes, node, o, d, end):  # type: ignore[no-untyped-def]
    ray = toward_sixteen(o[0], o[1], o[2], slope(d[0]), slope(d[1]), slope(d[2]))
    return meet_sixteen(nodes.ctypes.data + 512 * node, ray, spread_sixteen(end))


@nb.njit
def surfaces_met(leaves, o, d, t_min, t_max):  # type: ignore[no-untyped-def]
    line = toward_surfaces(o[0], o[1], o[2], d[0], d[1], d[2])
    bits, t, half = meet_surfaces(leaves.ctypes.data, line, spread_double(t_min), spread_double(t_max))
    numbers = [triangle_of(leaves.ctypes.data, k, half) for k in range(8)]
    return bits, [lane(t, k) for k in range(8)], numbers


@nb.njit
def way_to_room(frame, o, d):  # type: ignore[no-untyped-def]
    at = frame.ctypes.data
    if not is_outside(at, o[0], o[1], o[2]):
        return 0.0
    return distance_to_room(at, o[0], o[1], o[2], slope(d[0]), slope(d[1]), slope(d[2]))


def span(low: np.ndarray, high: np.ndarray, o: np.ndarray, d: np.ndarray) -> tuple[float, float]:
    """Where a line is inside a box, from and to, in float64; an axis it does not move along says yes or no."""
    begin, end = -np.inf, np.inf
    for axis in range(3):
        if d[axis] == 0.0:
            if not low[axis] <= o[axis] <= high[axis]:
                return np.inf, -np.inf
            continue
        a, b = sorted(((low[axis] - o[axis]) / d[axis], (high[axis] - o[axis]) / d[axis]))
        begin, end = max(begin, a), min(end, b)
    return begin, end


def look_of(rng: np.random.Generator) -> np.ndarray:
    """A direction of any length, often along axes, some components tiny or minus zero."""
    look = rng.normal(size=3) * 10.0 ** rng.uniform(-2.0, 2.0)
    look[rng.random(3) < 0.25] = rng.choice([0.0, -0.0, 1e-25, -1e-12])
    return look if np.abs(look).max() > 1e-3 else np.array([0.0, 1.0, 0.0])


@pytest.mark.parametrize("count", [100, 700])
@given(seed=seeds)
def test_no_box_is_missed_and_few_are_met_for_nothing(count: int, seed: int) -> None:
    """In a room without levels, whose nodes are of sixteen boxes, and in one with levels."""
    rng = np.random.default_rng(seed)
    triangles = rng.uniform(-3.0, 3.0, (count, 1, 3)) + rng.normal(0.0, 0.3, (count, 3, 3))
    triangles[::3, :, 2] = np.round(triangles[::3, :1, 2])
    tree = build_tree(triangles + 50.0)
    half, extent, is_flat = tree.frame[3:6], float(tree.frame[6]), tree.frame[7] > 0.0
    assert is_flat == (count == 100)
    for _ in range(20):
        start, look = rng.uniform(-1.0, 1.0, 3) * half, look_of(rng)
        end = float(rng.choice([np.inf, 1.0 / np.linalg.norm(look), 4.0 / np.linalg.norm(look)]))
        for node in range(min(len(tree.nodes), 12)):
            if is_flat:
                bits, near = sixteen_met(tree.nodes, node, start, look, end), None
            else:
                bits, near = boxes_met(tree.nodes, node, start, look, end)
            for k in range(tree.nodes.shape[2]):
                low, high = tree.nodes[node, :3, k].astype(float), tree.nodes[node, 3:6, k].astype(float)
                met = bool(bits >> k & 1)
                if (low > high).any():
                    assert not met
                    continue
                pad = 0.9 * SINGLE_PAD * extent
                begin, stop = span(low + pad, high - pad, start, look)  # the box before it was padded, nearly
                if begin <= stop and stop >= 0.0 and begin <= end:
                    assert met
                    assert near is None or near[k] <= max(begin, 0.0) + 1e-12
                begin, stop = span(low - pad, high + pad, start, look)
                if met:
                    assert begin <= stop and stop >= 0.0 and begin <= end * (1.0 + 1e-6)


@given(seeds)
def test_surfaces_are_met_where_their_triangles_are(seed: int) -> None:
    rng = np.random.default_rng(seed)
    corner, one, two = np.round(rng.uniform(-2.0, 2.0, (3, 8, 3)) * 2.0**20) / 2.0**20
    both = rng.random(8) < 0.5
    halves = [np.stack([corner, corner + one, corner + two], axis=1)]
    halves.append(np.stack([corner + one, corner + one + two, corner + two], axis=1)[both])
    triangles = np.concatenate(halves)
    tree = build_tree(triangles)
    assert len(tree.leaves) == 1
    for _ in range(10):
        start, look = rng.uniform(-3.0, 3.0, 3), look_of(rng)
        bits, t, number = surfaces_met(tree.leaves, start - tree.frame[:3], look, 0.0, 5.0)
        found = {number[k]: t[k] for k in range(8) if bits >> k & 1}
        for i, (a, b, c) in enumerate(triangles):
            here, u, v = meet_slowly(*start, *look, a, b, c)
            if min(abs(u), abs(v), abs(1.0 - u - v), abs(here), abs(here - 5.0)) < 1e-9 or not np.isfinite(here):
                continue  # at a border either answer will do
            if u > 0.0 and v > 0.0 and u + v < 1.0 and 0.0 < here < 5.0:
                assert found.pop(i) == pytest.approx(here, rel=1e-9, abs=1e-9)
        for i in found:  # nothing else is met, but for borders
            here, u, v = meet_slowly(*start, *look, *triangles[i])
            assert min(abs(u), abs(v), abs(1.0 - u - v), abs(here), abs(here - 5.0)) < 1e-9


@given(seeds)
def test_the_way_to_the_room(seed: int) -> None:
    rng = np.random.default_rng(seed)
    frame = np.concatenate([np.zeros(3), rng.uniform(0.5, 3.0, 3), np.zeros(2)])
    start, look = rng.normal(size=3) * rng.choice([1.0, 10.0]), look_of(rng)
    begin, stop = span(-frame[3:6], frame[3:6], start, look)
    found = way_to_room(frame, start, look)
    if (np.abs(start) <= frame[3:6]).all():
        assert found == 0.0
    elif begin <= stop and begin >= 0.0 and stop - begin > 1e-9:
        assert found == pytest.approx(begin, rel=1e-9, abs=1e-9)
    elif begin > stop + 1e-9 or stop < -1e-9:
        assert found == np.inf
