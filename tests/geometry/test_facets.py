"""Flat facets from triangles: one a plane, with holes, however the triangles are cut."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from hypothesis import example, given
from hypothesis import strategies as st

from sim.geometry.facets import build_facets, plane_frame, split_by_plane, triangle_planes
from sim.geometry.patches import Patch
from sim.rays.shape_kernels import distance_to_border
from tests.geometry.furnished import box_patches, cut_finer, furnished_room, prism_patches, star_outline

seeds = st.integers(0, 2**32 - 1)


def square(x0: float, x1: float, y0: float, y1: float, z: float = 0.0, name: str = "floor") -> Patch:
    ring = np.array([[x0, y0, z], [x1, y0, z], [x1, y1, z], [x0, y1, z]])
    return Patch(name, "room", "hard", np.stack([ring[[0, 1, 2]], ring[[0, 2, 3]]]))


def test_a_box_has_six_facets_that_look_inward() -> None:
    facets, triangles, facet_of = build_facets(box_patches(np.zeros(3), np.array([5.0, 4.0, 3.0]), "room", inward=True))
    assert len(facets) == 6 and len(triangles) == 12 and facet_of.tolist() == sorted([*range(6)] * 2)
    assert sorted(round(facet.area_m2, 9) for facet in facets) == [12.0, 12.0, 15.0, 15.0, 20.0, 20.0]
    for facet in facets:
        assert len(facet.border) == 4
        assert facet.normal @ np.array([2.5, 2.0, 1.5]) - facet.offset_m > 0.0
        assert len({each.plane for each in facets}) == 6


@given(seeds, st.integers(1, 25))
def test_cutting_triangles_finer_changes_no_facet(seed: int, times: int) -> None:
    rng = np.random.default_rng(seed)
    patches = furnished_room(rng, 2)
    whole, _, _ = build_facets(patches)
    cut, _, _ = build_facets([cut_finer(patch, rng, times) for patch in patches])
    assert [each.name for each in cut] == [each.name for each in whole]
    for one, other in zip(whole, cut, strict=True):
        assert other.area_m2 == pytest.approx(one.area_m2, abs=1e-5)
        assert other.normal == pytest.approx(one.normal, abs=1e-9)
        assert other.offset_m == pytest.approx(one.offset_m, abs=1e-9)
        assert other.plane == one.plane


@example(136, 5)
@example(578821452, 5)
@given(seeds, st.integers(4, 9))
def test_floor_of_a_prism_keeps_its_area_and_outline(seed: int, corners: int) -> None:
    rng = np.random.default_rng(seed)
    outline = star_outline(rng, corners, convex=False)
    facets, _, _ = build_facets(prism_patches(outline, 2.5))
    x, y = outline.T
    area = 0.5 * float(np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y))
    floor = next(facet for facet in facets if facet.name == "floor")
    assert floor.area_m2 == pytest.approx(area, abs=1e-4)
    sides = np.linalg.norm(floor.border[:, 2:] - floor.border[:, :2], axis=1)
    assert int((sides > 1e-5).sum()) == corners
    # no slit between the triangles counts as the rim
    for place in rng.uniform(0.0, 6.0, (20, 2)):
        plan = floor.from_plane(place)[:2]
        away = shapely.Polygon(outline).boundary.distance(shapely.Point(plan))
        assert distance_to_border(*place, floor.border) == pytest.approx(away, abs=1e-5)
    assert floor.corners[:, 2] == pytest.approx(0.0, abs=1e-12)


def test_a_hole_is_in_the_border_and_out_of_the_area() -> None:
    pieces = [square(0, 3, 0, 1), square(0, 3, 2, 3), square(0, 1, 1, 2), square(2, 3, 1, 2)]
    ring = Patch("floor", "room", "hard", np.concatenate([piece.triangles for piece in pieces]))
    (facet,), _, _ = build_facets([ring])
    assert facet.area_m2 == pytest.approx(8.0)
    lengths = np.linalg.norm(facet.border[:, 2:] - facet.border[:, :2], axis=1)
    assert lengths.sum() == pytest.approx(12.0 + 4.0)


def test_a_window_in_a_wall_is_its_own_facet_in_the_same_plane() -> None:
    around = [square(0, 3, 0, 1), square(0, 3, 2, 3), square(0, 1, 1, 2), square(2, 3, 1, 2)]
    wall = Patch("wall", "room", "hard", np.concatenate([piece.triangles for piece in around]))
    facets, _, _ = build_facets([wall, square(1, 2, 1, 2, name="window"), square(0, 3, 0, 3, z=2.0, name="shelf")])
    planes = {facet.name: facet.plane for facet in facets}
    assert planes["wall"] == planes["window"] != planes["shelf"]


def test_two_sides_of_a_sheet_are_two_planes() -> None:
    top = square(0, 1, 0, 1)
    under = Patch("under", "room", "hard", top.triangles[:, ::-1])
    facets, _, _ = build_facets([top, under])
    assert len({facet.plane for facet in facets}) == 2
    assert facets[0].normal == pytest.approx(-facets[1].normal)


def test_a_bent_patch_gives_a_facet_for_each_plane() -> None:
    upright = np.array([[[0, 0, 0], [0, 1, 0], [0, 1, 1]], [[0, 0, 0], [0, 1, 1], [0, 0, 1]]], dtype=float)
    patch = Patch("bent", "room", "hard", np.concatenate([square(0, 1, 0, 1).triangles, upright]))
    facets, _, facet_of = build_facets([patch])
    assert [facet.name for facet in facets] == ["bent", "bent"]
    assert sorted(facet_of.tolist()) == [0, 0, 1, 1]


@pytest.mark.parametrize(("step_m", "parts"), [(0.0009, 1), (0.0011, 2)])
def test_a_step_below_a_millimetre_is_no_step(step_m: float, parts: int) -> None:
    patch = Patch(
        "floor",
        "room",
        "hard",
        np.concatenate([square(0, 2, 0, 2).triangles, square(2, 3, 0, 2, z=step_m).triangles]),
    )
    facets, _, _ = build_facets([patch])
    assert len(facets) == parts
    assert len({facet.plane for facet in facets}) == parts


def test_triangles_without_area_are_dropped() -> None:
    line = np.array([[[0.0, 0.0, 0.0], [1.0, 1.0, 0.0], [2.0, 2.0, 0.0]]])
    facets, triangles, _ = build_facets(
        [Patch("floor", "room", "hard", np.concatenate([square(0, 1, 0, 1).triangles, line]))]
    )
    assert len(facets) == 1 and len(triangles) == 2


unit = st.tuples(st.floats(-1, 1), st.floats(-1, 1), st.floats(-1, 1)).map(np.array)


@given(unit.filter(lambda v: np.linalg.norm(v) > 0.1), unit)
def test_frames_are_right_handed_and_take_points_there_and_back(normal: np.ndarray, point: np.ndarray) -> None:
    normal = normal / np.linalg.norm(normal)
    frame = plane_frame(normal, normal * 0.7)
    assert np.stack([frame[1], frame[2], normal]) @ np.stack([frame[1], frame[2], normal]).T == pytest.approx(
        np.eye(3), abs=1e-12
    )
    assert np.cross(frame[1], frame[2]) == pytest.approx(normal, abs=1e-12)
    if abs(normal[2]) <= 0.999:
        assert frame[1][2] == 0.0  # walls and slopes run level first, then up
        assert frame[2][2] > 0.0
    flat = (point - frame[0]) @ frame[1:].T
    foot = frame[0] + flat @ frame[1:]
    assert point - foot == pytest.approx(((point - foot) @ normal) * normal, abs=1e-12)


@given(seeds)
def test_planes_and_areas_of_triangles(seed: int) -> None:
    triangle = np.random.default_rng(seed).normal(size=(1, 3, 3))
    normals, areas = triangle_planes(triangle)
    a, b, c = triangle[0]
    sides = [np.linalg.norm(b - a), np.linalg.norm(c - b), np.linalg.norm(a - c)]
    half = sum(sides) / 2.0
    heron = np.sqrt(max(0.0, half * np.prod([half - side for side in sides])))
    assert areas[0] == pytest.approx(heron, rel=1e-6, abs=1e-9)
    assert [normals[0] @ (b - a), normals[0] @ (c - a)] == pytest.approx([0.0, 0.0], abs=1e-12)


def test_split_by_plane_keeps_every_triangle_once() -> None:
    triangles = np.concatenate([patch.triangles for patch in furnished_room(np.random.default_rng(0), 3)])
    groups = split_by_plane(triangles)
    assert sorted(np.concatenate(groups)) == list(range(len(triangles)))
