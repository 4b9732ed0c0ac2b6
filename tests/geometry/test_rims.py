"""Rims of facets that lie in one plane against the union of all their triangles."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
import shapely
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from sim.errors import MeshError
from sim.geometry import crowded_rims, rims
from sim.geometry.facets import Facet, build_facets
from sim.geometry.patches import Patch
from sim.geometry.plane_pieces import APART_M, connected, pieces_of
from sim.geometry.rims import rims_of
from sim.geometry.unions import SNAP_M, _closed, _unions, polygon_sides, united_polygon
from tests.geometry.slow_facets import sides_of, union


def square(x: float, y: float, side: float = 1.0, height: float = 0.0) -> np.ndarray:
    """Two triangles of a level square that looks up."""
    a, b, c, d = (np.array([x + i * side, y + j * side, height]) for i, j in ((0, 0), (1, 0), (1, 1), (0, 1)))
    return np.array([[a, b, c], [a, c, d]])


def patches_of(*shapes: np.ndarray) -> list[Patch]:
    return [Patch(f"piece {n}", "room", "hard", np.ascontiguousarray(shape)) for n, shape in enumerate(shapes)]


def ordered(sides: np.ndarray) -> np.ndarray:
    """Sides (b, 4) in one order, each from its lower end."""
    places = np.round(sides, 7)
    low = (places[:, 0] < places[:, 2]) | ((places[:, 0] == places[:, 2]) & (places[:, 1] <= places[:, 3]))
    rows = np.where(low[:, None], places, places[:, [2, 3, 0, 1]])
    return rows[np.lexsort(rows.T)]


def area_within(sides: np.ndarray) -> float:
    """Area of what sides (b, 4) enclose."""
    return float(
        sum(piece.area for piece in shapely.polygonize([shapely.LineString(s.reshape(2, 2)) for s in sides]).geoms)
    )


def slow_rims(facets: tuple[Facet, ...], triangles: np.ndarray) -> list[np.ndarray]:
    return [sides_of(union(facet.to_plane(triangles))) for facet in facets]


def test_what_stands_apart_in_one_plane_needs_no_union(monkeypatch: pytest.MonkeyPatch) -> None:
    triangle = square(7.0, 0.0)[:1]
    facets, triangles, facet_of = build_facets(patches_of(square(0.0, 0.0), square(3.0, 0.0), triangle))
    assert len({facet.plane for facet in facets}) == 1
    slow = slow_rims(facets, triangles)
    monkeypatch.setattr(rims, "_rim", None)
    for quick, plain in zip(rims_of(facets, triangles, facet_of), slow, strict=True):
        np.testing.assert_allclose(ordered(quick), ordered(plain), atol=1e-9)


def test_facets_that_touch_are_united_with_all_others_of_their_plane() -> None:
    shapes = patches_of(square(0.0, 0.0), square(1.0, 0.0, height=4e-4), square(5.0, 0.0), square(5.0, 3.0)[:1])
    facets, triangles, facet_of = build_facets(shapes)
    for quick, plain in zip(rims_of(facets, triangles, facet_of), slow_rims(facets, triangles), strict=True):
        np.testing.assert_allclose(ordered(quick), ordered(plain), atol=1e-9)


@pytest.mark.parametrize("most", [1, 1000])
def test_in_a_crowd_pieces_are_united_one_by_one(most: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """With few mates a rim holds the whole plane, with many its own piece; to a few micrometres either way."""
    monkeypatch.setattr(rims, "MANY_FACETS", 0)
    monkeypatch.setattr(crowded_rims, "MOST_MATES", most)
    shapes = patches_of(square(0.0, 0.0), square(1.0, 0.0, height=4e-4), square(5.0, 0.0), square(5.0, 3.0)[:1])
    facets, triangles, facet_of = build_facets(shapes)
    found = rims_of(facets, triangles, facet_of)
    whole = [2.0, 2.0, 1.0, 0.5] if most == 1 else [3.5] * 4
    assert [area_within(rim) for rim in found] == pytest.approx(whole, abs=2e-5)
    if most > 1:
        for quick, plain in zip(found, slow_rims(facets, triangles), strict=True):
            np.testing.assert_allclose(ordered(quick), ordered(plain), atol=3e-6)


def test_pieces_of_many_outlines_are_those_of_few() -> None:
    rng = np.random.default_rng(4)
    outlines = [spot + rng.uniform(0.0, 0.3, (4, 2)) for spot in rng.uniform(0.0, 5.0, (100, 2))]
    low, high = np.array([o.min(axis=0) for o in outlines]), np.array([o.max(axis=0) for o in outlines])
    number = np.arange(len(outlines))
    for _ in outlines:  # a piece takes the least number of whatever it touches, until nothing changes
        for a in range(len(outlines)):
            near = (np.maximum(low[a] - high, low - high[a]).max(axis=1) <= APART_M).nonzero()[0]
            number[near] = number[near].min()
    pieces = pieces_of(low, high)
    same = pieces[:, None] == pieces[None, :]
    np.testing.assert_array_equal(same, number[:, None] == number[None, :])


@pytest.mark.parametrize("seed", range(20))
def test_connected_parts_are_those_of_a_graph(seed: int) -> None:
    """Against connected components of a sparse graph, as scipy finds them."""
    toss = np.random.default_rng(seed)
    count, pairs = int(toss.integers(1, 40)), int(toss.integers(0, 40))
    first, second = toss.integers(0, count, (2, pairs))
    graph = coo_array((np.ones(pairs), (first, second)), shape=(count, count))
    assert connected(count, first, second).tolist() == connected_components(graph, directed=False)[1].tolist()


def failing(times: int, real: Callable[..., Any]) -> Callable[..., Any]:
    """A function of the geometry library that stops with its own exception the first few times."""
    left = [times]

    def call(*given: Any, **more: Any) -> Any:
        left[0] -= 1
        if left[0] >= 0:
            raise shapely.GEOSException("TopologyException: side location conflict")
        return real(*given, **more)

    return call


@pytest.mark.parametrize("name", ["union_all", "buffer", "set_precision"])
@pytest.mark.parametrize("times", [1, 2])
def test_where_the_library_stops_rims_are_found_on_a_coarser_grid(
    name: str, times: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Its overlay may stop on sides about as long as its grid; the outline is then still that of the union."""
    shapes = [*square(0.0, 0.0), *square(1.0, 0.5), *square(0.5, -0.5)]
    flat = np.array(shapes)[:, :, :2] + np.random.default_rng(2).normal(scale=3e-7, size=(6, 3, 2))
    plain = polygon_sides(united_polygon(flat))
    monkeypatch.setattr(shapely, name, failing(times, getattr(shapely, name)))
    mended = polygon_sides(united_polygon(flat))
    assert area_within(mended) == pytest.approx(area_within(plain), abs=1e-4)
    assert np.abs(np.sort(mended[:, :2], axis=0)[[0, -1]] - np.sort(plain[:, :2], axis=0)[[0, -1]]).max() < 1e-4


def test_an_outline_that_cannot_be_found_is_told_in_one_sentence(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(shapely, "union_all", failing(99, shapely.union_all))
    with pytest.raises(MeshError, match=r"2 triangles of one plane: their outline cannot be found.*1 mm are merged"):
        united_polygon(square(0.0, 0.0)[:, :, :2])


def test_arbitrary_pieces_of_one_plane_have_rims() -> None:
    """Random triangles, slivers, and sides about as long as the grid of a micrometre."""
    random = np.random.default_rng(5)
    for kind in range(60):
        count = int(random.integers(2, 25))
        flat = (
            random.uniform(-1.0, 1.0, (count, 3, 2)),
            random.integers(-6, 7, (count, 3, 2)) * 0.5e-6,
            random.integers(0, 5, (count, 3, 2)) + random.integers(-3, 4, (count, 3, 2)) * 0.5e-6,
        )[kind % 3]
        level = np.concatenate([flat, np.zeros((count, 3, 1))], axis=2)
        facets, triangles, facet_of = build_facets(patches_of(*level[:, None]))
        for facet, rim in zip(facets, rims_of(facets, triangles, facet_of), strict=True):
            assert np.isfinite(rim).all() and len(rim) >= 3, facet.name


@pytest.mark.parametrize("seed", range(5))
def test_a_crowd_has_the_rims_of_few(seed: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """Triangles, quadrilaterals and larger pieces of several planes, some apart and some touching, in any order."""
    toss = np.random.default_rng(seed)
    shapes = []
    for height in range(4):
        for place in toss.permutation(9)[: toss.integers(2, 9)].tolist():
            whole = square(3.0 * (place % 3), 3.0 * (place // 3), height=float(height))
            beside = square(3.0 * (place % 3) + 1.0, 3.0 * (place // 3), height=float(height))
            kind = toss.integers(4)
            shapes += [whole[:1]] if kind == 0 else [whole[:, [1, 2, 0]] if kind == 1 else whole]
            shapes += [beside] if kind == 3 else []
    facets, triangles, facet_of = build_facets(patches_of(*[shapes[n] for n in toss.permutation(len(shapes))]))
    slow = [
        sides_of(union(facet.to_plane(triangles[[facets[n].plane == facet.plane for n in facet_of.tolist()]])))
        for facet in facets
    ]
    monkeypatch.setattr(rims, "MANY_FACETS", 0)
    for quick, plain in zip(rims_of(facets, triangles, facet_of), slow, strict=True):
        np.testing.assert_allclose(ordered(quick), ordered(plain), atol=3e-6)


def test_overlapping_pieces_on_which_the_library_stops_by_itself_have_an_outline() -> None:
    """Eighty triangles between points of a lattice, each half a micrometre or more off it: a square of four metres."""
    random = np.random.default_rng(9)
    flat = random.integers(0, 5, (80, 3, 2)) + random.integers(-3, 4, (80, 3, 2)) * 0.5e-6
    with pytest.raises(shapely.GEOSException):
        _closed(_unions(shapely.polygons(flat), [0, len(flat)]), SNAP_M)
    covered = united_polygon(flat)
    lattice = shapely.union_all(shapely.make_valid(shapely.polygons(np.round(flat))))
    assert covered.area == pytest.approx(lattice.area, abs=1e-3)
