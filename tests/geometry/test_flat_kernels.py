"""Quadrilaterals, planes, edges and bare sides against slow, obvious twins: unions of triangles and plain loops."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from sim.blueprint.reader import read_scene
from sim.geometry.bare_sides import FRACTIONS, TOUCH_M, bare_sides
from sim.geometry.edges import build_edges
from sim.geometry.flat_kernels import BARE_LINE_M, lay_quads
from sim.geometry.patches import members_of
from sim.geometry.room import Room
from sim.placement.built_scene import build_scene
from tests.geometry.slow_facets import body_edges, flat_groups

SCENES = Path(__file__).resolve().parents[2] / "scenes"


@pytest.fixture(scope="module", params=["bedroom-on-desk", "attic-lying", "control-room-stands"])
def room(request: pytest.FixtureRequest) -> Room:
    scene = read_scene(SCENES / request.param)
    return build_scene(scene.blueprint, scene.folder).room


def turned(rng: np.random.Generator) -> np.ndarray:
    """A random rotation (3, 3)."""
    axes, _ = np.linalg.qr(rng.normal(size=(3, 3)))
    return axes * np.sign(np.linalg.det(axes))


def quads(count: int, seed: int) -> np.ndarray:
    """Triangles (count, 2, 3, 3) of trapezia in random places; every fourth lies level or upright."""
    rng, found = np.random.default_rng(seed), []
    for number in range(count):
        width, height, taper = rng.uniform(0.1, 2.0, size=3)
        flat = np.array(
            [[0.0, 0.0, 0.0], [width, 0.0, 0.0], [width * (1.0 - 0.2 * taper), height, 0.0], [0.0, height, 0.0]]
        )
        axes = np.eye(3)[:, [(number // 4) % 3, (1 + number // 4) % 3, (2 + number // 4) % 3]]
        corners = flat @ (axes if number % 4 == 0 else turned(rng)).T + rng.uniform(-3.0, 3.0, size=3)
        found.append(corners[[[0, 1, 2], [0, 2, 3]]])
    return np.array(found)


def ordered(sides: np.ndarray) -> np.ndarray:
    """Sides (b, 4) in one order, each from its lower end."""
    swapped = sides[:, [2, 3, 0, 1]]
    lower = (sides[:, 0] < swapped[:, 0]) | ((sides[:, 0] == swapped[:, 0]) & (sides[:, 1] <= swapped[:, 1]))
    rows = np.where(lower[:, None], sides, swapped)
    return rows[np.lexsort(rows.T)]


def test_quadrilaterals_are_what_the_union_of_their_triangles_gives() -> None:
    given = quads(200, 1)
    fits, normal, offset, frame, sides, area = lay_quads(given)
    assert fits.all()
    for number, triangles in enumerate(given):
        (flat,) = flat_groups(triangles)
        np.testing.assert_allclose(normal[number], flat.normal, atol=1e-14)
        np.testing.assert_allclose(offset[number], flat.offset_m, atol=1e-14)
        np.testing.assert_allclose(frame[number], flat.frame, atol=1e-14)
        np.testing.assert_allclose(area[number], flat.area_m2, rtol=1e-12)
        np.testing.assert_allclose(ordered(sides[number]), ordered(flat.sides), atol=1e-12)


def test_what_is_no_flat_convex_quadrilateral_is_left_to_the_union() -> None:
    flat = np.array([[0.0, 0.0, 0.0], [1.0, 0.0, 0.0], [1.0, 1.0, 0.0], [0.0, 1.0, 0.0]])
    order = [[0, 1, 2], [0, 2, 3]]
    twisted, dented, straight = flat.copy(), flat.copy(), flat.copy()
    twisted[2, 2] = 0.05
    dented[3] = [0.8, 0.7, 0.0]
    straight[3] = [0.5, 0.5, 0.0]
    other = flat[[[0, 1, 2], [2, 3, 0]]]  # the same square, its triangles begun at other corners
    given = np.array([flat[order], twisted[order], dented[order], straight[order], other])
    assert lay_quads(given)[0].tolist() == [True, False, False, False, False]


def test_edges_of_each_body_are_those_of_the_slow_way(room: Room) -> None:
    edges = build_edges(room.facets)
    count = 0
    for numbers in members_of([facet.owner for facet in room.facets]).values():
        ends, pairs, _, angles = body_edges([room.facets[number] for number in numbers])
        mine = np.flatnonzero(np.isin(edges.facets[:, 0], numbers))
        assert len(mine) == len(ends)
        slow = np.column_stack([numbers[pairs], ends.reshape(-1, 6), angles])
        fast = np.column_stack([edges.facets[mine], edges.ends[mine].reshape(-1, 6), edges.air_angle_rad[mine]])
        keys = [np.lexsort(np.round(rows[:, :8], 6).T) for rows in (slow, fast)]
        np.testing.assert_allclose(fast[keys[1]], slow[keys[0]], atol=1e-12)
        count += len(mine)
    assert count == len(edges.ends)


def test_bare_sides_are_those_of_a_plain_loop(room: Room) -> None:
    arrays, out = room.arrays, room.edges.sticking_out
    ends, pairs = room.edges.ends[out], room.edges.facets[out]
    bare = bare_sides(room)
    for f, facet in enumerate(room.facets):
        for row in range(arrays.rim_start[f], arrays.rim_start[f + 1]):
            side = facet.from_plane(arrays.rim[row].reshape(2, 2))
            places = [side[0] + part * (side[1] - side[0]) for part in FRACTIONS]
            assert bare[row] == (sum(lies_open(room, f, p, ends, pairs) for p in places) > len(places) // 2)


def lies_open(room: Room, f: int, point: np.ndarray, ends: np.ndarray, pairs: np.ndarray) -> bool:
    """Whether an edge beside the plane of a facet goes through a point, and nothing else lies against it."""
    least, beside = np.inf, (-1, -1)
    for (a, b), pair in zip(ends, pairs.tolist(), strict=True):
        if room.facets[f].plane not in [room.facets[g].plane for g in pair if g >= 0]:
            continue
        part = np.clip((point - a) @ (b - a) / ((b - a) @ (b - a)), 0.0, 1.0)
        away = float(np.linalg.norm(point - a - part * (b - a)))
        if away < least:
            least, beside = away, pair
    others = [facet for g, facet in enumerate(room.facets) if g not in beside]
    return least < BARE_LINE_M and not any(facet.covers(point, TOUCH_M) for facet in others)
