"""Every ray kernel against its slow twin, and against an independent ray tracer."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from hypothesis import assume, given
from hypothesis import strategies as st

from sim.rays.shape_kernels import (
    blocker,
    distance_to_border,
    inside_polygon,
    is_hidden,
    nearest_hit,
    segment_distance,
    triangle_hit,
)
from sim.rays.wide_tree import build_tree
from tests.naive import border_distance, hit, hits, is_clear, segment_to_segment, turns_about

seeds = st.integers(0, 2**32 - 1)
number = st.floats(-3.0, 3.0)
vector = st.tuples(number, number, number).map(np.array)


def random_soup(rng: np.random.Generator, n: int) -> np.ndarray:
    """Triangles (n, 3, 3) of mixed size in a cube of 4 m."""
    middle = rng.uniform(-2.0, 2.0, (n, 1, 3))
    return np.ascontiguousarray(middle + rng.normal(0.0, 1.0, (n, 3, 3)) * rng.uniform(0.05, 1.0, (n, 1, 1)))


def arrays_of(triangles: np.ndarray, plane: np.ndarray | None = None, owner: np.ndarray | None = None) -> tuple:
    n = len(triangles)
    none = np.zeros(n, np.int64)
    plane, owner = none if plane is None else plane, none if owner is None else owner
    return build_tree(triangles, plane, owner).arrays, triangles, plane, owner


def test_an_empty_tree_is_never_met() -> None:
    arrays = arrays_of(np.zeros((0, 3, 3)))
    assert nearest_hit(np.zeros(3), np.array([1.0, 0.0, 0.0]), 0.0, np.inf, -1, -1, -1, *arrays) == (np.inf, -1)
    assert not is_hidden(np.zeros(3), np.array([1.0, 0.0, 0.0]), -1, -1, -1, *arrays)


@given(vector, vector, vector, vector, vector)
def test_triangle_hit_solves_the_three_equations(
    point: np.ndarray, direction: np.ndarray, a: np.ndarray, b: np.ndarray, c: np.ndarray
) -> None:
    triangle = np.stack([a, b, c])
    size = np.linalg.det(np.column_stack([b - a, c - a, -direction]))
    assume(abs(size) > 1e-6)
    u, v, _ = np.linalg.solve(np.column_stack([b - a, c - a, -direction]), point - a)
    assume(min(abs(u), abs(v), abs(1.0 - u - v)) > 1e-9)
    expected = hit(point, direction, triangle)
    found = triangle_hit(*point, *direction, triangle)
    if np.isinf(expected):
        assert np.isinf(found)
    else:
        assert found == pytest.approx(expected, rel=1e-6, abs=1e-9)


@pytest.mark.parametrize("turned", [False, True])
def test_both_sides_edges_and_corners_of_a_triangle_stop_a_ray(turned: bool) -> None:
    triangle = np.array([[0.0, 0.0, 0.0], [1.0, 0.0, 0.0], [0.0, 1.0, 0.0]])
    if turned:
        triangle = np.ascontiguousarray(triangle[::-1])
    for x, y in ((0.2, 0.2), (0.0, 0.0), (1.0, 0.0), (0.0, 1.0), (0.5, 0.5), (0.5, 0.0), (0.0, 0.5)):
        assert triangle_hit(x, y, 2.0, 0.0, 0.0, -1.0, triangle) == 2.0
        assert triangle_hit(x, y, -2.0, 0.0, 0.0, 1.0, triangle) == 2.0
    for x, y in ((-1e-6, 0.2), (0.2, -1e-6), (0.5 + 1e-6, 0.5 + 1e-6)):
        assert triangle_hit(x, y, 2.0, 0.0, 0.0, -1.0, triangle) == np.inf
    assert triangle_hit(0.2, 0.2, 0.0, 1.0, 0.0, 0.0, triangle) == np.inf


@given(seeds, st.integers(1, 80))
def test_nearest_hit_is_the_least_of_all(seed: int, n: int) -> None:
    rng = np.random.default_rng(seed)
    triangles = random_soup(rng, n)
    plane, owner = rng.integers(0, 4, n), rng.integers(0, 3, n)
    arrays = arrays_of(triangles, plane, owner)
    for _ in range(10):
        p, d = rng.uniform(-3.0, 3.0, 3), rng.normal(size=3)
        t_min, t_max = 0.0, float(rng.choice([np.inf, 1.0, 3.0]))
        plane_a, plane_b, pass_over = (int(k) for k in rng.integers(-1, 3, 3))
        t = hits(p, d, triangles)
        counts = (plane != plane_a) & (plane != plane_b) & (owner != pass_over) & (t > t_min) & (t < t_max)
        found_t, found = nearest_hit(p, d, t_min, t_max, plane_a, plane_b, pass_over, *arrays)
        if counts.any():
            least = np.where(counts, t, np.inf)
            assert found == least.argmin()
            assert found_t == pytest.approx(least.min(), rel=1e-9)
        else:
            assert (found_t, found) == (np.inf, -1)


def test_rays_along_an_axis_do_not_slip_past_boxes() -> None:
    """Directions with zeros and minus zeros; the ray lies in the face of a node's box."""
    square = np.array(
        [[[2.0, 0.0, 0.0], [2.0, 1.0, 0.0], [2.0, 1.0, 1.0]], [[2.0, 0.0, 0.0], [2.0, 1.0, 1.0], [2.0, 0.0, 1.0]]]
    )
    arrays = arrays_of(square)
    for y, z in ((0.5, 0.25), (0.0, 0.0), (1.0, 1.0), (0.0, 1.0), (1.0, 0.0)):
        for zero in (0.0, -0.0):
            t, found = nearest_hit(np.array([0.0, y, z]), np.array([1.0, zero, zero]), 0.0, np.inf, -1, -1, -1, *arrays)
            assert t == 2.0 and found >= 0


@given(seeds, st.integers(1, 60))
def test_blocker_agrees_with_looking_at_every_triangle(seed: int, n: int) -> None:
    rng = np.random.default_rng(seed)
    triangles = random_soup(rng, n)
    arrays = arrays_of(triangles)
    for _ in range(10):
        p, q = rng.uniform(-3.0, 3.0, (2, 3))
        hit = blocker(p, q, -1, -1, -1, *arrays)
        assert (hit < 0) == is_clear(p, q, triangles)
        assert is_hidden(p, q, -1, -1, -1, *arrays) == (hit >= 0)
        assert (hit < 0) == (blocker(q, p, -1, -1, -1, *arrays) < 0)


def test_a_segment_ends_on_surfaces_without_meeting_them() -> None:
    triangle = np.array([[[0.0, 0.0, 0.0], [1.0, 0.0, 0.0], [0.0, 1.0, 0.0]]])
    arrays = arrays_of(triangle)
    on, above, below = np.array([0.2, 0.2, 0.0]), np.array([0.3, 0.2, 1.0]), np.array([0.2, 0.3, -1.0])
    assert blocker(on, above, -1, -1, -1, *arrays) == -1
    assert blocker(above, on, -1, -1, -1, *arrays) == -1
    assert blocker(above, below, -1, -1, -1, *arrays) == 0
    assert blocker(above, below, 0, -1, -1, *arrays) == -1
    assert blocker(above, below, -1, 0, -1, *arrays) == -1
    assert blocker(above, below, -1, -1, 0, *arrays) == -1
    assert blocker(on, on + 1e-9, -1, -1, -1, *arrays) == -1


def polygon_with_hole(rng: np.random.Generator) -> tuple[np.ndarray, shapely.Polygon]:
    """A star-shaped outline and a small hole about its middle, each in a random sense."""
    rings = []
    for reach, many in ((rng.uniform(0.8, 2.0, 11), 11), (rng.uniform(0.1, 0.5, 5), 5)):
        angle = np.sort(rng.uniform(0.0, 2.0 * np.pi, many))
        ring = reach[:, None] * np.column_stack([np.cos(angle), np.sin(angle)])
        rings.append(ring[:: rng.choice([-1, 1])])
    sides = np.concatenate([np.hstack([ring, np.roll(ring, -1, axis=0)]) for ring in rings])
    return np.ascontiguousarray(sides), shapely.Polygon(rings[0], [rings[1]])


@given(seeds)
def test_inside_polygon_three_ways(seed: int) -> None:
    rng = np.random.default_rng(seed)
    border, polygon = polygon_with_hole(rng)
    assume(polygon.is_valid)
    for x, y in rng.uniform(-2.0, 2.0, (20, 2)):
        if polygon.boundary.distance(shapely.Point(x, y)) < 1e-9:
            continue
        inside = inside_polygon(x, y, border)
        assert inside == polygon.contains(shapely.Point(x, y))
        outer, hole = border[:11], border[11:]
        assert inside == (turns_about(x, y, outer) and not turns_about(x, y, hole))


@given(seeds)
def test_distance_to_border_is_the_least_over_all_sides(seed: int) -> None:
    rng = np.random.default_rng(seed)
    border, polygon = polygon_with_hole(rng)
    for x, y in rng.uniform(-3.0, 3.0, (2, 2)):
        found = distance_to_border(x, y, border)
        assert found == pytest.approx(border_distance(x, y, border), abs=1e-9)
        assert found == pytest.approx(polygon.boundary.distance(shapely.Point(x, y)), abs=1e-9)


def test_a_side_without_length_is_a_point() -> None:
    assert distance_to_border(3.0, 4.0, np.zeros((1, 4))) == 5.0


@given(vector, vector, vector, vector)
def test_segment_distance_is_the_least_of_a_search(p: np.ndarray, q: np.ndarray, a: np.ndarray, b: np.ndarray) -> None:
    assume(np.linalg.norm(b - a) > 1e-3)
    found = segment_distance(p, q, a, b)
    assert found == pytest.approx(segment_to_segment(p, q, a, b), abs=1e-6)
    for other in (segment_distance(q, p, a, b), segment_distance(p, q, b, a), segment_distance(a, b, p, q)):
        assert other == pytest.approx(found, abs=1e-6)


@pytest.mark.parametrize(
    ("p", "q", "a", "b", "distance"),
    [
        ((0, 0, 0), (1, 0, 0), (0, 1, 0), (1, 1, 0), 1.0),  # parallel, side by side
        ((0, 0, 0), (1, 0, 0), (2, 0, 0), (3, 0, 0), 1.0),  # one behind the other
        ((0, 0, 0), (1, 0, 0), (3, 1, 0), (2, 1, 0), 2**0.5),  # parallel, apart, turned round
        ((0, 0, 0), (1, 0, 0), (0.5, -1, 2), (0.5, 1, 2), 2.0),  # crossing above
        ((0, 0, 0), (1, 0, 0), (0.5, -1, 0), (0.5, 1, 0), 0.0),  # crossing
        ((0, 0, 0), (0, 0, 0), (0, 3, 0), (4, 3, 0), 3.0),  # a point and a segment
        ((0, 3, 0), (4, 3, 0), (0, 0, 0), (0, 0, 0), 3.0),
        ((1, 2, 2), (1, 2, 2), (0, 0, 0), (0, 0, 0), 3.0),  # two points
    ],
)
def test_segment_distance_of_plain_cases(
    p: tuple[float, ...], q: tuple[float, ...], a: tuple[float, ...], b: tuple[float, ...], distance: float
) -> None:
    given_points = [np.array(each, dtype=float) for each in (p, q, a, b)]
    assert segment_distance(*given_points) == pytest.approx(distance, abs=1e-12)
