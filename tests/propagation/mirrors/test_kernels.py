"""Mirrored paths, margins and the survey against twins that try every sequence and look at every triangle."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sim.geometry.room import Room, build_room
from sim.propagation.mirrors.beams import facet_tuple, grow, lay_mirrors, slack_beside, split
from sim.propagation.mirrors.image_sources import edge_tuple
from sim.propagation.mirrors.kernels import height_above, in_facet, mirror_samples, path_margins, rim_distance
from sim.propagation.mirrors.path_kernels import find_paths
from sim.propagation.mirrors.survey_kernels import nearest_of_planes, survey, survey_all
from tests.geometry.furnished import box_patches, furnished_room, in_the_air, prism_patches, star_outline
from tests.naive import border_distance, hits, is_clear, mirror_paths, mirrored, segment_to_segment, turns_about

seeds = st.integers(0, 2**32 - 1)
LOW, HIGH = np.zeros(3), np.array([5.0, 4.0, 3.0])


def found_paths(
    room: Room, source: np.ndarray, ear: np.ndarray, order: int, own: int = -2
) -> tuple[int, np.ndarray, np.ndarray]:
    mirrors, (ahead, behind) = lay_mirrors(room), split(order, 1, 1)
    from_source = grow(source, ahead, mirrors, 100.0, room.arrays.owner != own)
    from_ear = grow(ear, behind, mirrors, 100.0)
    sequences, points = find_paths(
        from_source,
        from_ear,
        order,
        mirrors.number,
        mirrors.facing,
        own,
        facet_tuple(room),
        slack_beside(room),
        room.ray_arrays,
    )
    return len(sequences), sequences, points


def as_set(sequences: np.ndarray, points: np.ndarray) -> set[tuple[object, ...]]:
    return {
        (*(int(f) for f in row if f >= 0), *np.round(places[row >= 0], 6).ravel().tolist())
        for row, places in zip(sequences, points, strict=True)
    }


@settings(max_examples=25)
@given(seeds, st.integers(0, 3))
def test_paths_in_furnished_rooms_are_those_of_the_plain_search(seed: int, pieces: int) -> None:
    rng = np.random.default_rng(seed)
    room = build_room(furnished_room(rng, pieces))
    source, ear = in_the_air(room, rng, LOW, HIGH), in_the_air(room, rng, LOW, HIGH)
    order = 3 if pieces == 0 else 2
    count, sequences, points = found_paths(room, source, ear, order)
    slow = list(mirror_paths(room, source, ear, order))
    assert count == len(slow)
    expected = {(*path.facets, *np.round(path.points, 6).ravel().tolist()) for path in slow}
    assert as_set(sequences[:count], points[:count]) == expected


@settings(max_examples=25)
@given(seeds, st.integers(4, 7))
def test_paths_in_rooms_with_corners_that_stick_in(seed: int, corners: int) -> None:
    rng = np.random.default_rng(seed)
    room = build_room(prism_patches(star_outline(rng, corners, convex=False), 2.5))
    low, high = room.triangles.min(axis=(0, 1)), room.triangles.max(axis=(0, 1))
    source, ear = in_the_air(room, rng, low, high), in_the_air(room, rng, low, high)
    count, sequences, points = found_paths(room, source, ear, 2)
    slow = list(mirror_paths(room, source, ear, 2))
    expected = {(*path.facets, *np.round(path.points, 6).ravel().tolist()) for path in slow}
    assert as_set(sequences[:count], points[:count]) == expected


def test_the_first_leg_passes_over_the_own_box_and_no_other_leg_does() -> None:
    box = box_patches(np.array([0.9, 1.9, 1.0]), np.array([1.0, 2.1, 1.4]), "left loudspeaker")
    room = build_room(box_patches(LOW, HIGH, "room", inward=True) + box)
    source, ear = np.array([1.0, 2.0, 1.2]), np.array([3.0, 2.1, 1.2])
    (front,) = room.facet_numbers("room far")
    own = room.owner_number("left loudspeaker")
    free = {tuple(row) for row in found_paths(room, source, ear, 1, own)[1].tolist()}
    strict = {tuple(row) for row in found_paths(room, source, ear, 1)[1].tolist()}
    # sound to the front wall starts through the box; on its way back it hits the box from behind
    assert (front,) not in free and (front,) not in strict
    wide = np.array([3.0, 3.9, 1.2])
    assert (front,) in {tuple(row) for row in found_paths(room, source, wide, 1, own)[1].tolist()}
    assert (front,) not in {tuple(row) for row in found_paths(room, source, wide, 1)[1].tolist()}


def test_tables_grow_with_what_is_found() -> None:
    """In a box there is one path for each image of the lattice: 4 k^2 + 2 of k mirrors."""
    room = build_room(box_patches(LOW, HIGH, "room", inward=True))
    source, ear = np.array([1.031, 1.577, 1.219]), np.array([3.513, 2.251, 1.307])
    count, sequences, _ = found_paths(room, source, ear, 10)
    mirrors = (sequences >= 0).sum(axis=1)
    assert count == 1560
    assert [int((mirrors == k).sum()) for k in range(1, 11)] == [4 * k**2 + 2 for k in range(1, 11)]


@given(seeds)
def test_heights_facets_and_rims(seed: int) -> None:
    rng = np.random.default_rng(seed)
    room = build_room(prism_patches(star_outline(rng, 6, convex=False), 2.5))
    facets = facet_tuple(room)
    for f, facet in enumerate(room.facets):
        point = rng.uniform(0.0, 6.0, 3)
        assert height_above(facet.normal, facet.offset_m, point) == pytest.approx(
            float(facet.normal @ (point - facet.corners[0])), abs=1e-6
        )
        flat = rng.uniform(facet.border.min(), facet.border.max(), 2)
        away = border_distance(*flat, facet.border)
        inside = turns_about(*flat, facet.border)
        lifted = facet.from_plane(flat)
        if away > 1e-5:
            assert in_facet(f, lifted, facets) == inside
        assert rim_distance(f, lifted, facets) == pytest.approx(away if inside else -away, abs=1e-9)


@settings(max_examples=8)
@given(seeds)
def test_margins_are_the_least_distance_to_any_rim_or_edge(seed: int) -> None:
    rng = np.random.default_rng(seed)
    room = build_room(furnished_room(rng, 2))
    source, ear = in_the_air(room, rng, LOW, HIGH), in_the_air(room, rng, LOW, HIGH)
    count, sequences, points = found_paths(room, source, ear, 2)
    sequences, points = sequences[:count][:6], points[:count][:6]
    edges = edge_tuple(room)
    margin, which, kind = path_margins(source, ear, sequences, points, -2, facet_tuple(room), edges)
    for row in range(len(sequences)):
        touched = [int(f) for f in sequences[row] if f >= 0]
        stations = [source, *points[row, : len(touched)], ear]
        ways = {}
        for f, place in zip(touched, points[row], strict=False):
            facet = room.facets[f]
            ways[0, f] = border_distance(*facet.to_plane(place), facet.border)
        for leg in range(len(stations) - 1):
            ended_by = [room.facets[f] for f in touched[max(0, leg - 1) : leg + 1]]
            for e, ends in enumerate(edges[0]):
                sides = [room.facets[f] for f in room.edges.facets[room.edges.sticking_out[e]]]
                if any(side.plane == facet.plane for side in sides for facet in ended_by):
                    continue
                # what lies behind the mirror on its own body cannot come in front of it
                if any(
                    sides[0].owner == facet.owner and (ends @ facet.normal - facet.offset_m < 1e-3).all()
                    for facet in ended_by
                ):
                    continue
                away = segment_to_segment(stations[leg], stations[leg + 1], *ends)
                ways[1, e] = min(away, ways.get((1, e), np.inf))
        assert margin[row] == pytest.approx(min(ways.values()), abs=1e-6)
        assert ways[int(kind[row]), int(which[row])] == pytest.approx(margin[row], abs=1e-6)


@settings(max_examples=25)
@given(seeds, st.integers(1, 3))
def test_survey_of_every_facet(seed: int, pieces: int) -> None:
    rng = np.random.default_rng(seed)
    room = build_room(furnished_room(rng, pieces))
    source, ear = in_the_air(room, rng, LOW, HIGH), in_the_air(room, rng, LOW, HIGH)
    edges = edge_tuple(room)
    points, inside, rim, blocked_by, shade = survey(source, ear, -2, facet_tuple(room), room.ray_arrays, edges)
    for f, facet in enumerate(room.facets):
        if min(facet.normal @ source, facet.normal @ ear) - facet.offset_m <= 1e-9:
            assert np.isnan(points[f]).all() and blocked_by[f] == -1 and not inside[f]
            continue
        image = mirrored(source, facet.normal, facet.offset_m)
        fraction = (facet.normal @ ear - facet.offset_m) / (facet.normal @ (ear - image))
        place = ear + fraction * (image - ear)
        assert points[f] == pytest.approx(place, abs=1e-9)
        flat = facet.to_plane(place)
        assert inside[f] == turns_about(*flat, facet.border)
        away = border_distance(*flat, facet.border)
        assert rim[f] == pytest.approx(away if inside[f] else -away, abs=1e-9)
        others = room.triangles[room.plane_of_triangle != facet.plane]
        legs = [(source, place), (ear, place)]
        hidden = [leg for leg in legs if not is_clear(*leg, others, 1e-7)]
        assert (blocked_by[f] >= 0) == bool(hidden)
        if hidden:
            heights = np.abs(edges[0] @ facet.normal - facet.offset_m).max(axis=1)
            depths = []
            for start, stop in hidden:
                t = hits(start, stop - start, room.triangles)
                t[(t < 1e-6) | (room.plane_of_triangle == facet.plane)] = np.inf
                owner = room.owner_of_triangle[t.argmin()]
                ways = edges[0][(edges[2] == owner) & (heights > 1e-3)]
                depths.append((min((segment_to_segment(start, stop, *e) for e in ways), default=np.inf), owner))
            # of two legs in the shade both must come out of it
            deepest = max(depths, key=lambda pair: pair[0])
            assert shade[f] == pytest.approx(deepest[0], abs=1e-6)
            assert room.owner_of_triangle[blocked_by[f]] == deepest[1]
        else:
            assert np.isnan(shade[f])


@settings(max_examples=25)
@given(seeds)
def test_mirror_samples_are_first_order_paths(seed: int) -> None:
    rng = np.random.default_rng(seed)
    room = build_room(furnished_room(rng, 2))
    sources = np.array([in_the_air(room, rng, LOW, HIGH) for _ in range(4)])
    ears = np.array([in_the_air(room, rng, LOW, HIGH) for _ in range(4)])
    for f in range(len(room.facets)):
        valid, points = mirror_samples(sources, ears, f, -2, facet_tuple(room), room.ray_arrays)
        for source, ear, found, place in zip(sources, ears, valid, points, strict=True):
            _, sequences, places = found_paths(room, source, ear, 1)
            rows = np.flatnonzero(sequences[:, 0] == f)
            assert found == (len(rows) == 1)
            if found:
                assert place == pytest.approx(places[rows[0], 0], abs=1e-12)


@settings(max_examples=10)
@given(seeds)
def test_survey_of_all_pairs_is_that_of_each(seed: int) -> None:
    rng = np.random.default_rng(seed)
    room = build_room(furnished_room(rng, 2))
    sources, ears = (np.array([in_the_air(room, rng, LOW, HIGH) for _ in range(2)]) for _ in range(2))
    own, facets, edges = np.array([1, -2]), facet_tuple(room), edge_tuple(room)
    points, named, *rest = survey_all(sources, own, ears, facets, room.ray_arrays, edges)
    for row, (s, e) in enumerate(((0, 0), (0, 1), (1, 0), (1, 1))):
        alone = survey(sources[s], ears[e], int(own[s]), facets, room.ray_arrays, edges)
        np.testing.assert_array_equal(points[row], alone[0])
        np.testing.assert_array_equal(named[row], nearest_of_planes(alone[0], alone[1], facets))
        for together, one in zip(rest, alone[1:], strict=True):
            np.testing.assert_array_equal(together[row], one)
