"""A tape reads to a millimetre: what is nearer than that to something touches it, and one path is counted once."""

from __future__ import annotations

import numpy as np
import pytest

from sim.placement.built_scene import BuiltScene
from sim.propagation.edges.bare import bare_stretches
from sim.propagation.mirrors.image_sources import FEW_PATHS, _distinct, survey_first_order
from tests.built_scenes import block, box, built_scene_of


def lifted(by_m: float) -> BuiltScene:
    """A block 0.4 m high in the middle between a point and an ear, its foot lifted off the floor."""
    return built_scene_of(
        box(6.0, 5.0, 3.0),
        [(2.0, 2.5, 1.2)],
        (4.0, 2.5, 1.2),
        furniture=[block((2.85, 3.15), (1.5, 3.5), (by_m, 0.4), name="rack")]
        if by_m
        else [block((2.85, 3.15), (1.5, 3.5), (0.0, 0.4), name="rack")],
    )


def shade(by_m: float) -> float:
    (floor,) = (one for one in survey_first_order(lifted(by_m)) if one.surface == "floor")
    assert (floor.status, floor.blocked_by) == ("blocked", "rack")
    return floor.shade_m


@pytest.mark.parametrize(
    ("by_m", "touches"), [(0.0, True), (0.0005, True), (0.0009, True), (0.0013, False), (0.01, False)]
)
def test_a_foot_within_a_millimetre_of_the_floor_is_no_edge(by_m: float, touches: bool) -> None:
    """Past the upper edge the leg is 0.141 m deep in the shade; a foot in the air lets it out 0.115 m away.

    The leg falls 1.2 m over 1 m of depth: an edge 0.15 m before the point on the floor and h above it is
    |0.15 * 1.2 - h| / hypot(1, 1.2) from the leg.
    """
    slant = np.hypot(1.0, 1.2)
    under, over = abs(0.15 * 1.2 - by_m) / slant, abs(0.15 * 1.2 - 0.4) / slant
    assert shade(by_m) == pytest.approx(over if touches else under, abs=1e-6)
    built = lifted(by_m)
    names = [{built.room.facets[f].name for f in built.room.edges.facets[edge]} for edge in bare_stretches(built.room)]
    assert ({"rack underside", "rack listener side"} in names) is not touches


@pytest.mark.parametrize(("apart_m", "kept"), [(0.0, 1), (2.0e-7, 1), (2.0e-6, 2), (1.0e-3, 2)])
def test_paths_through_the_same_point_are_one(apart_m: float, kept: int) -> None:
    """Where two facets continue each other both find the point on their seam; a micrometre apart it is another."""
    points = np.array([[[1.0, 2.0, 0.0]], [[1.0 + apart_m, 2.0, 0.0]]])
    assert len(_distinct(points, np.array([[3], [4]]))) == kept


def test_paths_of_other_orders_or_places_are_others() -> None:
    nan = [np.nan] * 3
    points = np.array([[[1.0, 2.0, 0.0], nan], [[1.0, 2.0, 0.0], [0.0, 0.0, 0.0]], [[1.0, 2.0, 0.1], nan]])
    assert _distinct(points, np.array([[3, -1], [3, 4], [3, -1]])).tolist() == [0, 1, 2]


def test_few_paths_and_many_are_told_apart_alike() -> None:
    rng = np.random.default_rng(3)
    facets = np.sort(rng.integers(-1, 2, size=(FEW_PATHS, 2)), axis=1)[:, ::-1]
    points = np.where((facets >= 0)[:, :, None], rng.integers(0, 2, size=(FEW_PATHS, 2, 3)) * 1.0, np.nan)
    few = _distinct(points, facets)
    many = _distinct(np.concatenate([points, points]), np.concatenate([facets, facets]))
    assert 10 < len(few) < FEW_PATHS
    assert few.tolist() == many.tolist()


def test_a_surface_far_before_or_behind_a_point_covers_nothing() -> None:
    built = lifted(0.0)
    (floor,) = (facet for facet in built.room.facets if facet.name == "floor")
    for up, covered in ((0.0, True), (0.0005, True), (-0.0005, True), (0.5, False), (-0.5, False)):
        assert floor.covers(np.array([1.0, 1.0, up]), 1e-3) is covered
