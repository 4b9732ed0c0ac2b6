"""Edges in rooms: which ones bend sound, what each end sees of them, mirrors before and after, radiation."""

from __future__ import annotations

import numpy as np
import pytest

from sim.geometry.room import Room, build_room
from sim.propagation.edges.bare import bare_stretches
from sim.propagation.edges.convex import fraction_of_direct
from sim.propagation.edges.diffracting import chain_weights, opennesses
from sim.propagation.edges.plates import body_pressure
from sim.propagation.edges.single import bare_edges, edge_gains, free_bodies, images, wedge_of
from tests.geometry.furnished import box_patches

FREQUENCIES = np.array([150.0, 800.0, 3000.0])
SPEED = 343.2
K = 2.0 * np.pi * FREQUENCIES / SPEED
SOURCE, EAR = np.array([1.2, 1.6, 1.3]), np.array([3.6, 2.3, 1.2])
PLATE = np.array([[1.9, 1.2, 0.9], [2.7, 2.8, 0.93]])


def room_with(*boxes: tuple[str, np.ndarray]) -> Room:
    patches = box_patches(np.zeros(3), np.array([5.0, 4.0, 3.0]), "room", inward=True)
    for name, (low, high) in boxes:
        patches += box_patches(low, high, name)
    return build_room(patches)


def test_edges_of_a_free_plate_are_those_of_the_bare_plate() -> None:
    room = room_with(("plate", PLATE))
    assert len(bare_edges(room)) == 12
    found = edge_gains(room, SOURCE, EAR, -2, FREQUENCIES, SPEED)
    bodies = free_bodies(room)
    assert list(bodies) == [room.owner_number("plate")]
    alone = body_pressure(bodies[room.owner_number("plate")], SOURCE, EAR, K, 1)
    assert found.gains.sum(axis=0) == pytest.approx(alone[1], abs=1e-4)
    assert found.seen == pytest.approx(np.ones(len(found.seen)), abs=1e-5)
    assert (found.length_m >= np.linalg.norm(EAR - SOURCE) - 1e-9).all()
    over = np.linalg.norm(found.points - SOURCE, axis=1) + np.linalg.norm(found.points - EAR, axis=1)
    assert found.length_m == pytest.approx(over)


def test_a_wedge_turns_through_the_air_from_face_to_face() -> None:
    room = room_with(("plate", PLATE))
    for e in bare_edges(room):
        start, along, face, normal, length, angle = wedge_of(room, e)
        other = room.facets[room.edges.facets[e, 1]]
        assert angle == pytest.approx(1.5 * np.pi)
        inside = start + 0.5 * length * along + 1e-3 * (face - normal)
        assert (PLATE[0] < inside).all() and (inside < PLATE[1]).all()
        assert np.cos(angle) * face + np.sin(angle) * normal == pytest.approx(-normal, abs=1e-9)
        assert abs(other.normal @ normal) < 1e-9


def test_edges_against_the_floor_or_a_wall_do_not_bend() -> None:
    cupboard = np.array([[2.0, 0.0, 0.0], [3.0, 0.6, 1.5]])
    room = room_with(("cupboard", cupboard))
    middles = room.edges.ends[bare_edges(room)].mean(axis=1)
    assert len(middles) == 5  # the front of the top, its two ends, and the two upright edges away from the wall
    assert (middles[:, 2] > 0.1).all() and (np.abs(middles[:, 1]) > 0.1).all()
    bare, number = bare_stretches(room), room.owner_number("cupboard")
    weights = chain_weights(room, number, free_bodies(room)[number], bare, opennesses(room, bare))
    assert sorted(weights) == [0.0] * 7 + [1.0] * 5  # two and three edges in turn go round these five alone


def test_what_stands_before_an_edge_hides_that_part_of_it() -> None:
    rear = np.array([2.7, 1.2, 0.93])
    block = np.array([[1.5, 1.9, 0.2], [1.6, 2.2, 2.5]])
    room = room_with(("plate", PLATE), ("block", block))
    plate = {e for e in bare_edges(room) if room.facets[room.edges.facets[e, 0]].owner == "plate"}
    found = edge_gains(room, SOURCE, EAR, -2, FREQUENCIES, SPEED, edges=np.array(sorted(plate)))
    e = next(i for i, n in enumerate(found.edges) if np.allclose(room.edges.ends[n].mean(axis=0)[[0, 2]], rear[[0, 2]]))
    # shadow of the block's two upright edges, by intercepts seen from above, on the line 1.5 m from the source
    corners = [(1.6, 1.9), (1.5, 1.9), (1.5, 2.2), (1.6, 2.2)]
    shadows = [1.6 + (y - 1.6) * 1.5 / (x - 1.2) for x, y in corners]
    hidden = min(max(shadows), 2.8) - min(shadows)
    assert found.seen[e] == pytest.approx(1.0 - hidden / 1.6, abs=1e-6)


def test_the_total_is_steady_when_a_block_moves_over_the_line_of_sight() -> None:
    """Direct sound and the edges of a block, stepping by 1 mm: no step differs by 0.05 dB from those beside it."""
    levels = []
    block = np.array([[2.2, 1.0, 0.6], [2.6, 1.9, 1.9]])
    room = room_with(("block", block))
    body = free_bodies(room)[room.owner_number("block")]
    for u in np.arange(-2.5, 3.0) * 1e-3:
        source = np.array([1.2, 2.0, 1.3])
        ear = np.array([3.6, 1.9 - 0.1 * (3.6 - 2.6) / (2.6 - 1.2) + u, 1.2])
        r = np.linalg.norm(ear - source)
        total = fraction_of_direct(body, source, ear) * np.exp(-1j * K * r) / r
        total = total + edge_gains(room, source, ear, -2, FREQUENCIES, SPEED).gains.sum(axis=0)
        levels.append(20.0 * np.log10(np.abs(total)))
    steps = np.diff(levels, axis=0)
    assert np.abs(steps[2] - 0.5 * (steps[1] + steps[3])).max() < 0.05


def test_a_mirror_before_the_edge_is_the_image_of_the_source() -> None:
    room = room_with(("plate", PLATE))
    floor = room.facet_numbers("room low")[0]
    image = images(room, SOURCE, (floor,))[1]
    assert image == pytest.approx(SOURCE * [1, 1, -1])
    found = edge_gains(room, SOURCE, EAR, -2, FREQUENCIES, SPEED, before=(floor,))
    body = free_bodies(room)[room.owner_number("plate")]
    assert found.gains.sum(axis=0) == pytest.approx(body_pressure(body, image, EAR, K, 1)[1], abs=1e-4)
    back = edge_gains(room, EAR, SOURCE, -2, FREQUENCIES, SPEED, after=(floor,))
    assert back.gains.sum(axis=0) == pytest.approx(found.gains.sum(axis=0), abs=1e-4)
    assert np.sort(back.length_m) == pytest.approx(np.sort(found.length_m))


def test_radiation_is_asked_toward_the_edges_and_down_to_the_mirror() -> None:
    room = room_with(("plate", PLATE))
    floor = room.facet_numbers("room low")[0]
    asked = []

    def down_only(ways: np.ndarray) -> np.ndarray:
        asked.append(ways)
        return np.where(ways[:, 2:] < 0.0, 2.0, 0.0) * np.ones(3, complex)

    plain = edge_gains(room, SOURCE, EAR, -2, FREQUENCIES, SPEED, before=(floor,))
    found = edge_gains(room, SOURCE, EAR, -2, FREQUENCIES, SPEED, down_only, before=(floor,))
    assert found.gains == pytest.approx(2.0 * plain.gains)
    assert np.linalg.norm(np.concatenate(asked), axis=1) == pytest.approx(1.0)


def test_the_own_cabinet_neither_bends_nor_hides() -> None:
    cabinet = np.array([[1.0, 1.5, 1.1], [1.19, 1.7, 1.5]])
    room = room_with(("plate", PLATE), ("box", cabinet))
    own = room.owner_number("box")
    without = edge_gains(room_with(("plate", PLATE)), SOURCE, EAR, -2, FREQUENCIES, SPEED)
    behind = np.array([0.9, 1.6, 1.3])
    assert edge_gains(room, SOURCE, EAR, own, FREQUENCIES, SPEED).gains == pytest.approx(without.gains, abs=1e-9)
    through = edge_gains(room, behind, EAR, own, FREQUENCIES, SPEED)
    assert len(through.edges) == len(edge_gains(room_with(("plate", PLATE)), behind, EAR, -2, FREQUENCIES, SPEED).edges)
    assert free_bodies(room, own).keys() == {room.owner_number("plate")}


def test_nothing_seen_gives_empty_paths() -> None:
    room = room_with()
    found = edge_gains(room, SOURCE, EAR, -2, FREQUENCIES, SPEED)
    assert found.gains.shape == (0, 3)
    assert found.points.shape == (0, 3)
