"""Beams lose no path: every order against the plain search, path for path and point for point; and their parts."""

from __future__ import annotations

from itertools import product
from pathlib import Path

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from sim.geometry.patches import Patch
from sim.geometry.room import Room, build_room
from sim.pipeline import build
from sim.propagation.mirrors.beams import as_bits, facet_tuple, grow, lay_mirrors, mirror_limits, slack_beside, split
from sim.propagation.mirrors.image_sources import first_mirrors, reach_m
from sim.propagation.mirrors.path_kernels import find_paths
from tests.geometry.furnished import box_patches, furnished_room, in_the_air, prism_patches, star_outline
from tests.propagation.plain_search import PlainPaths, find_plainly

seeds = st.integers(0, 2**32 - 1)
SCENES = Path(__file__).resolve().parents[3] / "scenes"


def by_beams(
    room: Room, source: np.ndarray, ear: np.ndarray, order: int, first: np.ndarray, own: int, sources: int = 1
) -> tuple[np.ndarray, np.ndarray]:
    """sources: how many sources there are for one ear, which decides whose beams are the longer ones."""
    mirrors, (ahead, behind) = lay_mirrors(room), split(order, sources, 1)
    points = np.vstack([room.triangles.reshape(-1, 3), source, ear])
    reach = (2 * order + 2) * float(np.linalg.norm(np.ptp(points, axis=0)))
    from_source, from_ear = grow(source, ahead, mirrors, reach, first), grow(ear, behind, mirrors, reach)
    facets = facet_tuple(room)
    found: tuple[np.ndarray, np.ndarray] = find_paths(
        from_source, from_ear, order, mirrors.number, mirrors.facing, own, facets, slack_beside(room), room.ray_arrays
    )
    return found


def assert_same(room: Room, source: np.ndarray, ear: np.ndarray, order: int, own: int = -2) -> tuple[int, int]:
    """Beams find all the plain search is sure of and nothing it rules out, in order, whoever is mirrored more.

    Returns how many paths are beyond doubt, and how many more lie on a border and may be there.
    """
    first = room.arrays.owner != own
    return assert_as_plain(room, source, ear, order, first, own, find_plainly(room, source, ear, order, first, own))


def assert_as_plain(
    room: Room, source: np.ndarray, ear: np.ndarray, order: int, first: np.ndarray, own: int, plain: PlainPaths
) -> tuple[int, int]:
    sequences, points = by_beams(room, source, ear, order, first, own, 0)
    again, places = by_beams(room, source, ear, order, first, own, 1)
    assert again.tolist() == sequences.tolist()
    assert places.tobytes() == points.tobytes()
    found = [tuple(f for f in sequence if f >= 0) for sequence in sequences.tolist()]
    assert found == sorted(set(found))
    certain = {path for path, (_, sure) in plain.items() if sure}
    assert certain <= set(found) <= set(plain)
    for path, place in zip(found, points, strict=True):
        np.testing.assert_allclose(place[: len(path)], plain[path][0], rtol=0.0, atol=1e-8)
    return len(certain), len(plain) - len(certain)


def turned(patches: list[Patch], rng: np.random.Generator, shift: float) -> tuple[list[Patch], np.ndarray, np.ndarray]:
    """Patches turned by a random rotation (3, 3) and moved (3,) up to `shift` metres."""
    rotation = np.linalg.qr(rng.normal(size=(3, 3)))[0]
    rotation *= np.sign(np.linalg.det(rotation))
    move = rng.uniform(-shift, shift, 3)
    return [Patch(p.name, p.owner, p.material, p.triangles @ rotation.T + move) for p in patches], rotation, move


@settings(max_examples=40)
@given(seeds, st.integers(0, 6), st.sampled_from([0.0, 1.0, 1000.0]))
def test_furnished_rooms_turned_and_far_from_the_origin(seed: int, pieces: int, shift: float) -> None:
    rng = np.random.default_rng(seed)
    patches = furnished_room(rng, pieces)
    upright = build_room(patches)
    ends = [in_the_air(upright, rng, np.zeros(3), np.array([5.0, 4.0, 3.0])) for _ in range(2)]
    if shift:
        patches, rotation, move = turned(patches, rng, shift)
        upright, ends = build_room(patches), [rotation @ end + move for end in ends]
    certain, with_errors = assert_same(upright, *ends, order=4 if pieces < 2 else 3)
    assert with_errors <= 0.01 * certain + 1


@settings(max_examples=30)
@given(seeds, st.integers(4, 9))
def test_rooms_whose_floor_is_no_rectangle(seed: int, corners: int) -> None:
    rng = np.random.default_rng(seed)
    room = build_room(prism_patches(star_outline(rng, corners, convex=False), 2.5))
    low, high = room.triangles.min(axis=(0, 1)), room.triangles.max(axis=(0, 1))
    source, ear = in_the_air(room, rng, low, high), in_the_air(room, rng, low, high)
    assert_same(room, source, ear, order=4)


@settings(max_examples=40)
@given(seeds)
@example(0)
def test_ends_in_planes_on_edges_and_in_line_with_corners(seed: int) -> None:
    """Blocks and ends on a grid of 0.25 m: ends lie in the planes of surfaces, points on borders and in corners."""
    rng = np.random.default_rng(seed)
    patches = box_patches(np.zeros(3), np.array([4.0, 4.0, 3.0]), "room", inward=True)
    for number in range(3):
        size, low = rng.integers(1, 5, 3) * 0.25, rng.integers(1, 6, 3) * 0.5
        patches += box_patches(low, low + size, f"block {number}")
    room = build_room(patches)
    for _ in range(4):
        source, ear = rng.integers(1, 12, (2, 3)) * 0.25
        assert_same(room, source, ear, order=3)
        # and just off the planes, as far as rounding, as the slack of borders, and as half a millimetre
        nudge = rng.choice([0.0, 2e-9, 1e-7, 1e-6, 5e-4], (2, 3)) * rng.choice([-1.0, 1.0], (2, 3))
        assert_same(room, source + nudge[0], ear + nudge[1], order=3)


def holed_wall(low: np.ndarray, high: np.ndarray) -> list[Patch]:
    """A box room whose wall at depth 0 has a hole of 1 by 1 m with a pane in it: a facet with a hole and one in it."""
    patches = [p for p in box_patches(low, high, "room", inward=True) if p.name != "room low" and p.name != "room far"]
    floor = next(p for p in box_patches(low, high, "room", inward=True) if p.name == "room low")
    y, z = [low[1], 1.5, 2.5, high[1]], [low[2], 1.0, 2.0, high[2]]
    wall, pane = [], []
    for i, j in product(range(3), range(3)):
        a, b, c, d = ([0.0, y[i + m], z[j + n]] for m, n in ((0, 0), (1, 0), (1, 1), (0, 1)))
        (pane if i == j == 1 else wall).extend([[a, b, c], [a, c, d]])
    return [
        *patches,
        floor,
        Patch("wall", "room", "hard", np.array(wall)),
        Patch("pane", "room", "glass", np.array(pane)),
    ]


def test_a_wall_with_a_hole_and_a_pane_in_it() -> None:
    room = build_room(
        holed_wall(np.zeros(3), np.array([5.0, 4.0, 3.0]))
        + box_patches(np.array([1.0, 1.0, 0.0]), np.array([2.0, 1.6, 0.8]), "block")
    )
    pane = room.facet_numbers("pane")[0]
    assert sum(len(facet.border) == 8 for facet in room.facets) == 1
    rng = np.random.default_rng(4)
    panes = 0
    for _ in range(20):
        source, ear = (in_the_air(room, rng, np.zeros(3), np.array([5.0, 4.0, 3.0])) for _ in range(2))
        assert_same(room, source, ear, order=3)
        panes += int((by_beams(room, source, ear, 3, np.ones(len(room.facets), bool), -2)[0] == pane).any())
    assert panes > 5
    # both images on the border of the hole: the pane and the wall count alike
    assert_same(room, np.array([2.5, 1.0, 1.5]), np.array([2.5, 2.0, 1.5]), order=3)


def test_a_bumpy_ceiling_of_many_triangles() -> None:
    """As in a scan: every triangle a facet, none a rectangle, neighbours nearly in one plane."""
    rng, size, many = np.random.default_rng(5), np.array([5.0, 4.0, 3.0]), 6
    x, y = np.linspace(0.0, size[0], many + 1), np.linspace(0.0, size[1], many + 1)
    z = size[2] - 0.1 * rng.random((many + 1, many + 1))
    z[[0, -1]], z[:, [0, -1]] = size[2], size[2]
    triangles = []
    for i, j in product(range(many), range(many)):
        a, b, c, d = ([x[k], y[m], z[k, m]] for k, m in ((i, j), (i, j + 1), (i + 1, j + 1), (i + 1, j)))
        triangles += [[a, b, c], [a, c, d]]
    walls = [one for one in box_patches(np.zeros(3), size, "room", inward=True) if one.name != "room high"]
    room = build_room([*walls, Patch("scan", "room", "hard", np.array(triangles))])
    assert len(room.facets) > 70  # flat corners are one facet
    scan = 0
    for _ in range(5):
        source, ear = (in_the_air(room, rng, np.zeros(3), size) for _ in range(2))
        assert_same(room, source, ear, order=3)
        sequences, _ = by_beams(room, source, ear, 3, np.ones(len(room.facets), bool), -2)
        scan += int((sequences >= 5).any(axis=1).sum())
    assert scan > 20


@pytest.mark.parametrize("name", sorted(p.name for p in SCENES.iterdir() if p.is_dir()))
def test_demo_rooms_of_order_three(name: str) -> None:
    _, built = build(SCENES / name)
    room = built.room
    for loudspeaker in built.loudspeakers[:1]:
        own, first = room.owner_number(loudspeaker.body), first_mirrors(room, loudspeaker)
        for source in loudspeaker.driver_points:
            plain = find_plainly(room, np.array(source), np.array(built.ears[0]), 3, first, own)
            for order in (1, 2, 3):
                short = {path: reported for path, reported in plain.items() if len(path) <= order}
                certain, with_errors = assert_as_plain(room, source, built.ears[0], order, first, own, short)
                assert certain > 0
                assert with_errors == 0
    assert reach_m(built, 3) > 8.0 * np.linalg.norm(np.ptp(room.triangles.reshape(-1, 3), axis=0)) - 1e-9


@settings(max_examples=30)
@given(seeds, st.integers(0, 4))
def test_planes_of_a_beam_are_its_windows(seed: int, pieces: int) -> None:
    """Where all facets are rectangles, a point lies within the planes just if its line passes every window."""
    rng = np.random.default_rng(seed)
    room = build_room(furnished_room(rng, pieces))
    mirrors, root = lay_mirrors(room), in_the_air(room, rng, np.zeros(3), np.array([5.0, 4.0, 3.0]))
    images, sheet, parent, start, planes, group = grow(root, 2, mirrors, 100.0)
    assert group[1, 0] == 1 and group[2, -1] == len(sheet)
    both = 0
    for beam in rng.integers(1, len(sheet), 40):
        last = room.facets[mirrors.number[sheet[beam]]]
        for point in rng.uniform(0.0, [5.0, 4.0, 3.0], (20, 3)):
            if last.normal @ point - last.offset_m <= 1e-3:
                continue
            within = planes[start[beam] : start[beam + 1]] @ [*point, 1.0] > 0.0
            depth = _least_depth(room, mirrors.number, images, sheet, parent, int(beam), point)
            if abs(depth) > 2e-4:
                assert within.all() == (depth > 0.0)
                both |= 1 << int(depth > 0.0)
    assert both & 1


def _least_depth(
    room: Room,
    number: np.ndarray,
    images: np.ndarray,
    sheet: np.ndarray,
    parent: np.ndarray,
    beam: int,
    point: np.ndarray,
) -> float:
    """How far within its windows a way from a point back to the root stays; below 0 when it passes one by."""
    least = np.inf
    while beam:
        facet = room.facets[number[sheet[beam]]]
        image = images[:, beam]
        before, behind = facet.normal @ point - facet.offset_m, facet.normal @ image - facet.offset_m
        point = point + before / (before - behind) * (image - point)
        x, y = facet.to_plane(point)
        xs, ys = facet.border[:, 0], facet.border[:, 1]
        least = min(least, x - xs.min(), xs.max() - x, y - ys.min(), ys.max() - y)
        beam = int(parent[beam])
    return float(least)


@settings(max_examples=20)
@given(seeds, st.integers(0, 4))
def test_every_second_window_that_is_seen_makes_a_beam(seed: int, pieces: int) -> None:
    """A fine grid of points on each facet: when one is seen through the first window, there is a beam for it."""
    rng = np.random.default_rng(seed)
    room = build_room(furnished_room(rng, pieces))
    mirrors, root = lay_mirrors(room), in_the_air(room, rng, np.zeros(3), np.array([5.0, 4.0, 3.0]))
    images, sheet, parent, _, _, group = grow(root, 2, mirrors, 100.0)
    grown = {(int(parent[b]), int(mirrors.number[sheet[b]])) for b in range(group[2, 0], group[2, -1])}
    faces = mirror_limits(room)
    seen = set()
    fraction = np.linspace(0.0, 1.0, 15)
    for beam in range(group[1, 0], group[1, -1]):
        window = room.facets[mirrors.number[sheet[beam]]]
        for f, facet in enumerate(room.facets):
            image = images[:, beam]
            if not faces[mirrors.number[sheet[beam]], f] or facet.plane == window.plane:
                continue
            if facet.normal @ image - facet.offset_m <= 0.0:
                continue
            low, high = facet.border[:, :2].min(axis=0), facet.border[:, :2].max(axis=0)
            grid = facet.from_plane(low + np.stack(np.meshgrid(fraction, fraction), -1).reshape(-1, 2) * (high - low))
            before, behind = grid @ window.normal - window.offset_m, image @ window.normal - window.offset_m
            grid, before = grid[before > 0.0], before[before > 0.0]
            x, y = window.to_plane(grid + (before / (before - behind))[:, None] * (image - grid)).T
            xs, ys = window.border[:, 0], window.border[:, 1]
            if ((x > xs.min()) & (x < xs.max()) & (y > ys.min()) & (y < ys.max())).any():
                seen.add((beam, f))
    assert seen <= grown
    # few that no grid point shows: grazing ones and those seen between grid points
    assert len(grown) <= 1.3 * len(seen) + 10


def test_who_is_mirrored_how_often() -> None:
    assert [split(order, 1, 1) for order in range(1, 6)] == [(1, 0), (1, 1), (1, 2), (2, 2), (2, 3)]
    assert [split(order, 1, 2) for order in range(1, 6)] == [(1, 0), (1, 1), (2, 1), (2, 2), (3, 2)]


def test_blocks_are_the_sheets_in_eights() -> None:
    mirrors = lay_mirrors(build_room(furnished_room(np.random.default_rng(3), 2)))
    assert mirrors.sheets.shape == (18, 13) and mirrors.blocks.shape == (3, 13, 8)
    for row, sheet in enumerate(mirrors.sheets):
        assert mirrors.blocks[row // 8, :, row % 8].tolist() == sheet.tolist()
    assert not mirrors.blocks[2, :, 2:].any()
    assert sorted(mirrors.number) == list(range(18))


def test_bits_start_with_the_lowest() -> None:
    flags = np.array([True, False, False, True, False, False, False, False, False, True])
    assert as_bits(flags).tolist() == [9, 2]


def test_what_may_not_come_first_does_not() -> None:
    room = build_room(box_patches(np.zeros(3), np.array([5.0, 4.0, 3.0]), "room", inward=True))
    first = np.array([facet.name != "room far" for facet in room.facets])
    for order in (1, 2, 3):
        sequences, _ = by_beams(room, np.array([1.0, 1.5, 1.2]), np.array([3.5, 2.2, 1.3]), order, first, -2)
        (far,) = room.facet_numbers("room far")
        assert not (sequences[:, 0] == far).any()
        assert order == 1 or (sequences[:, 1:] == far).any()
