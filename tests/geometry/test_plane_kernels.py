"""Planes of many triangles against plain loops over all of them, and how the work grows with their number."""

from __future__ import annotations

import gc
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sim.geometry import crowded_rims
from sim.geometry import edges as edges_module
from sim.geometry import rims as rims_module
from sim.geometry.edges import edges_of_large_body
from sim.geometry.facets import _flat_groups, build_facets, split_by_plane, triangle_planes
from sim.geometry.flat_kernels import diagonal_first, lay_quads
from sim.geometry.mesh_checks import checked_surface
from sim.geometry.patches import Patch, group_of, groups_of, members_of
from sim.geometry.plane_kernels import lay_triangles, number_planes, split_planes
from sim.geometry.rims import rims_of
from sim.geometry.seams import edge_balance, neighbours, weld
from sim.machine.collecting import no_collecting
from tests.geometry.bumpy import bumpy_box
from tests.geometry.slow_facets import body_edges, flat_groups, plane_numbers, split_slowly

seeds = st.integers(0, 2**32 - 1)


def near_alike(seed: int, count: int) -> tuple[np.ndarray, np.ndarray]:
    """Normals and offsets of which many agree just or just not: about the limits of 0.1 degrees and 1 mm."""
    rng = np.random.default_rng(seed)
    base = rng.normal(size=(5, 3)) if seed % 2 else np.vstack([np.eye(3), -np.eye(3)[:2]])
    normal = base[rng.integers(5, size=count)] + rng.normal(size=(count, 3)) * rng.choice([1e-5, 1e-3], size=(count, 1))
    offset = rng.choice([-1.0, 0.0, 2.0], size=count) + rng.uniform(-2e-3, 2e-3, size=count)
    return normal / np.linalg.norm(normal, axis=1)[:, None], offset


@given(seeds)
def test_planes_are_numbered_by_the_first_facet_that_lies_alike(seed: int) -> None:
    normal, offset = near_alike(seed, 120)
    assert number_planes(normal, offset)[0].tolist() == plane_numbers(normal, offset)


@given(seeds, st.sampled_from([1e-4, 5e-4, 2e-3, 0.05]))
@settings(max_examples=40)
def test_triangles_are_split_into_the_planes_of_the_largest(seed: int, bump_m: float) -> None:
    triangles = bumpy_box(3, bump_m, seed)
    quick, slow = split_by_plane(triangles), split_slowly(triangles)
    assert [group.tolist() for group in quick] == [group.tolist() for group in slow]


def test_the_work_of_numbering_grows_with_the_number_of_planes() -> None:
    """Four times as many planes: at most five times as many comparisons, where each with each would be sixteen."""
    counts = []
    for cuts in (12, 24):
        triangles = bumpy_box(cuts, 0.3 / cuts)
        normals, areas = triangle_planes(triangles)
        offsets = np.einsum("ij,ij->i", normals, triangles[:, 0])
        order = np.argsort(-areas, kind="stable")
        counts.append((number_planes(normals, offsets)[1], split_planes(triangles, normals, order)[1]))
        assert len(set(number_planes(normals, offsets)[0].tolist())) > 10 * cuts * cuts
    assert all(many < 5 * few for few, many in zip(*counts, strict=True))
    assert all(many < 10 * len(triangles) for many in counts[1])


@given(seeds)
@settings(max_examples=30)
def test_a_single_triangle_is_what_the_union_gives(seed: int) -> None:
    rng = np.random.default_rng(seed)
    triangles = rng.normal(size=(30, 3, 3)) * rng.uniform(0.02, 2.0, (30, 1, 1))
    triangles[::3, 2] = triangles[::3, 1] + 0.05 * (triangles[::3, 2] - triangles[::3, 1])  # slender ones
    fits, normal, offset, frame, sides, area = lay_triangles(triangles)
    assert fits.any()
    for number in np.flatnonzero(fits).tolist():
        (flat,) = flat_groups(triangles[number : number + 1])
        np.testing.assert_allclose(normal[number], flat.normal, atol=1e-13)
        np.testing.assert_allclose(offset[number], flat.offset_m, atol=1e-13)
        np.testing.assert_allclose(frame[number], flat.frame, atol=1e-13)
        np.testing.assert_allclose(sides[number], flat.sides, atol=1e-12)
        np.testing.assert_allclose(area[number], flat.area_m2, rtol=1e-9)


def test_a_sharp_or_vanishing_triangle_is_left_to_the_union() -> None:
    sharp = np.array([[0.0, 0.0, 0.0], [1.0, 0.0, 0.0], [1.0, 0.03, 0.0]])
    thin = np.array([[0.0, 0.0, 0.0], [1e-4, 0.0, 0.0], [0.5e-4, 1e-5, 0.0]])
    none = np.array([[0.0, 0.0, 0.0], [1.0, 0.0, 0.0], [2.0, 0.0, 0.0]])
    assert lay_triangles(np.array([sharp, thin, none, bumpy_box(2, 0.0)[0]]))[0].tolist() == [False, False, False, True]


def test_patches_united_in_one_go_are_what_each_gives_alone() -> None:
    bent = bumpy_box(4, 4e-4, 5)
    parts = [bent[:7], np.repeat(bent[7:8], 1, axis=0) * 0.0, bent[8:20], bent[20:21]]
    for together, alone in zip(_flat_groups(parts), (flat_groups(part) for part in parts), strict=True):
        assert len(together) == len(alone)
        for one, other in zip(together, alone, strict=True):
            np.testing.assert_array_equal(one.triangles, other.triangles)
            np.testing.assert_allclose(one.normal, other.normal, atol=1e-13)
            np.testing.assert_allclose(one.frame, other.frame, atol=1e-13)
            np.testing.assert_allclose(in_order(one.sides), in_order(other.sides), atol=1e-6)
            assert one.area_m2 == pytest.approx(other.area_m2, abs=1e-9)


def facets_of(cuts: int, bump_m: float, seed: int = 1) -> tuple:
    """Facets of a bumpy box, each triangle a surface."""
    triangles = bumpy_box(cuts, bump_m, seed)[:, ::-1]
    return build_facets([Patch(f"piece {n}", "room", "hard", triangles[n : n + 1]) for n in range(len(triangles))])[0]


@pytest.mark.parametrize("bump_m", [0.0, 2e-4, 0.03])
def test_edges_of_a_body_of_many_sides_are_those_of_the_slow_way(bump_m: float) -> None:
    facets = list(facets_of(5, bump_m))
    nothing = facets[3].border.copy()
    nothing[1, 2:] = nothing[1, :2]  # a side without length gives no edge
    facets[3] = replace(facets[3], border=nothing)
    rows = []
    for ends, pairs, sides, angles in (edges_of_large_body(facets), body_edges(facets)):
        all_of = np.column_stack([pairs, sides, ends.reshape(-1, 6), angles])
        rows.append(all_of[np.lexsort(all_of[:, :4].T)])
    assert len(rows[0]) > (12 if bump_m < 1e-3 else 200)
    np.testing.assert_allclose(rows[0], rows[1], atol=1e-12)


def test_the_work_of_finding_edges_grows_with_their_number(monkeypatch: pytest.MonkeyPatch) -> None:
    """Pairs of sides that are compared: a few for each side, however many sides there are."""
    for cuts in (6, 18):
        compared: list[int] = []
        find = edges_module._candidates
        monkeypatch.setattr(
            edges_module,
            "_candidates",
            lambda a, b, find=find, seen=compared: (seen.append(len(find(a, b))), find(a, b))[1],
        )
        facets = facets_of(cuts, 0.03)
        edges_of_large_body(facets)
        monkeypatch.undo()
        assert compared[0] < 3 * sum(len(facet.border) for facet in facets)


@given(seeds)
@settings(max_examples=30)
def test_welding_and_edges_are_those_of_plain_sorting(seed: int) -> None:
    triangles = np.round(np.random.default_rng(seed).uniform(-1.0, 1.0, (40, 3, 3)) * 2.0) / 2.0
    corners, faces = weld(triangles, 1e-6)
    loose, number = np.unique(triangles.reshape(-1, 3), axis=0, return_inverse=True)
    np.testing.assert_array_equal(corners, loose)
    np.testing.assert_array_equal(faces, number.reshape(-1, 3))
    directed = np.stack([faces, np.roll(faces, -1, axis=1)], axis=2).reshape(-1, 2)
    edges, uses = np.unique(np.sort(directed, axis=1), axis=0, return_counts=True)
    found, counted, _ = edge_balance(faces)
    np.testing.assert_array_equal(found, edges)
    np.testing.assert_array_equal(counted, uses)
    twice = {tuple(edge) for edge, count in zip(edges.tolist(), uses.tolist(), strict=True) if count == 2}
    assert len(neighbours(faces)[0]) == len(twice)


def test_a_bumpy_box_is_a_closed_surface() -> None:
    surface = checked_surface(bumpy_box(6, 0.02), "the box", hollow=True)
    assert surface.bodies.max() == 0
    assert len(surface.faces) == 12 * 36


def quads(seed: int) -> np.ndarray:
    """Flat convex quadrilaterals (20, 2, 3, 3) in planes of any direction, each triangle beginning at any corner."""
    rng = np.random.default_rng(seed)
    corners = np.array([[0.0, 0.0], [1.0, 0.1], [1.2, 1.0], [-0.1, 0.8]]) + rng.uniform(-0.1, 0.1, (20, 4, 2))
    axes = np.linalg.qr(rng.normal(size=(20, 3, 3)))[0][:, :2]
    laid = np.einsum("qcd,qda->qca", corners * rng.uniform(0.05, 3.0, (20, 1, 1)), axes) + rng.normal(size=(20, 1, 3))
    turns = (np.arange(3) + rng.integers(3, size=(20, 2, 1))) % 3
    faces = np.take_along_axis(np.broadcast_to(np.array([[0, 1, 2], [0, 2, 3]]), (20, 2, 3)), turns, axis=2)
    return laid[np.arange(20)[:, None, None], faces]


def in_order(sides: np.ndarray) -> np.ndarray:
    """Sides whichever way and in whichever order they were."""
    ends = np.round(np.stack([sides, sides[:, [2, 3, 0, 1]]]), 7)
    later = (ends[0, :, 0] > ends[1, :, 0]) | ((ends[0, :, 0] == ends[1, :, 0]) & (ends[0, :, 1] > ends[1, :, 1]))
    ends = np.where(later[:, None], ends[1], ends[0])
    return ends[np.lexsort(ends.T[::-1])]


@given(seeds)
@settings(max_examples=20)
def test_a_quadrilateral_of_turned_triangles_is_what_the_union_gives(seed: int) -> None:
    given_as = quads(seed)
    turned = diagonal_first(given_as)
    assert (turned[:, 0, 0] == turned[:, 1, 0]).all()
    assert (turned[:, 0, 2] == turned[:, 1, 1]).all()
    for before, after in zip(given_as.reshape(-1, 3, 3), turned.reshape(-1, 3, 3), strict=True):
        assert any((np.roll(before, step, axis=0) == after).all() for step in range(3))
    fits, normal, offset, frame, sides, area = lay_quads(turned)
    assert fits.all()
    for number, pair in enumerate(given_as):
        (flat,) = flat_groups(pair)
        np.testing.assert_allclose(normal[number], flat.normal, atol=1e-12)
        np.testing.assert_allclose(offset[number], flat.offset_m, atol=1e-12)
        np.testing.assert_allclose(frame[number], flat.frame, atol=1e-12)
        np.testing.assert_allclose(in_order(sides[number]), in_order(flat.sides), atol=1e-12)
        np.testing.assert_allclose(area[number], flat.area_m2, rtol=1e-9)


def test_triangles_that_share_no_side_are_left_as_they_are() -> None:
    apart = bumpy_box(2, 0.0)[:2][None] + np.array([0.0, 9.0]).reshape(1, 2, 1, 1)
    np.testing.assert_array_equal(diagonal_first(apart), apart)


@pytest.mark.parametrize(("cuts", "bump_m"), [(4, 2e-4), (8, 8e-4)])
def test_rims_of_a_crowd_are_those_of_the_unions(cuts: int, bump_m: float, monkeypatch: pytest.MonkeyPatch) -> None:
    """Single triangles in one go, turned pairs in closed form; the twin unites every piece of a plane in each frame."""
    triangles = bumpy_box(cuts, bump_m)[:, ::-1]
    groups = split_by_plane(triangles)
    few = [part for group in groups for part in np.split(group, range(2, len(group), 2))]
    patches = [Patch(f"piece {n}", "room", "hard", triangles[part]) for n, part in enumerate(few)]
    monkeypatch.setattr(rims_module, "MANY_FACETS", 10)
    facets, laid, facet_of = build_facets(patches)
    quick = rims_of(facets, laid, facet_of)
    nobody = np.zeros(0, dtype=np.int64)
    nothing = ((nobody, np.zeros((0, 3, 3))), (nobody, np.zeros((0, 4, 3))))
    monkeypatch.setattr(crowded_rims, "_plain", lambda *_: nothing)
    slow = rims_of(facets, laid, facet_of)
    more = [len(rim) > len(facet.border) for rim, facet in zip(quick, facets, strict=True)]
    assert sum(more) > 20
    for one, other in zip(quick, slow, strict=True):
        np.testing.assert_allclose(in_order(one), in_order(other), atol=1e-9)


@given(seeds)
@settings(max_examples=20)
def test_groups_of_many_are_those_of_each(seed: int) -> None:
    normals = np.random.default_rng(seed).normal(size=(40, 3))
    normals = np.vstack([normals / np.linalg.norm(normals, axis=1)[:, None], np.eye(3), -np.eye(3)])
    assert groups_of(normals) == [group_of(normal) for normal in normals]


@given(st.lists(st.integers(-3, 3), max_size=30))
def test_members_are_the_places_of_each_name(numbers: list[int]) -> None:
    names = [f"wall {number}" for number in numbers]
    found = members_of(names)
    assert list(found) == list(dict.fromkeys(names))
    assert all(found[name].tolist() == [n for n, each in enumerate(names) if each == name] for name in found)


def test_python_looks_for_cycles_again_after_a_fault() -> None:
    with pytest.raises(KeyError), no_collecting():
        assert not gc.isenabled()
        raise KeyError
    assert gc.isenabled()
