"""Edges, and the angle of the air about them."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sim.geometry.edges import Edges
from sim.geometry.patches import Patch
from sim.geometry.room import build_room
from tests.geometry.furnished import box_patches, cut_finer, prism_patches, star_outline

ROOM = box_patches(np.zeros(3), np.array([5.0, 4.0, 3.0]), "room", inward=True)


def test_a_box_room_has_twelve_edges_with_a_quarter_of_air() -> None:
    edges = build_room(ROOM).edges
    assert edges.air_angle_rad == pytest.approx(np.full(12, 0.5 * np.pi))
    assert len(edges.sticking_out) == 0
    assert sorted(np.linalg.norm(edges.ends[:, 1] - edges.ends[:, 0], axis=1)) == pytest.approx(
        [3.0] * 4 + [4.0] * 4 + [5.0] * 4
    )


def test_a_block_in_the_air_has_twelve_edges_that_stick_out() -> None:
    room = build_room(ROOM + box_patches(np.array([1.0, 1.0, 1.0]), np.array([2.0, 1.5, 1.2]), "desk"))
    out = room.edges.sticking_out
    assert len(out) == 12
    assert room.edges.air_angle_rad[out] == pytest.approx(np.full(12, 1.5 * np.pi))
    assert {room.facets[f].owner for f in room.edges.facets[out].ravel()} == {"desk"}


@given(st.integers(0, 2**32 - 1), st.integers(4, 8))
def test_upright_edges_of_a_prism_have_the_angle_of_its_plan(seed: int, corners: int) -> None:
    outline = star_outline(np.random.default_rng(seed), corners, convex=False)
    before, after = np.roll(outline, 1, axis=0) - outline, np.roll(outline, -1, axis=0) - outline
    inner = (np.arctan2(before[:, 1], before[:, 0]) - np.arctan2(after[:, 1], after[:, 0])) % (2.0 * np.pi)
    room = build_room(prism_patches(outline, 2.5))
    upright = np.ptp(room.edges.ends[:, :, 2], axis=1) > 1.0
    if np.abs(inner - np.pi).min() < np.radians(0.5):
        return  # two walls in one plane share no edge
    assert int(upright.sum()) == corners
    assert np.sort(room.edges.air_angle_rad[upright]) == pytest.approx(np.sort(inner), abs=1e-5)
    level = ~upright
    assert room.edges.air_angle_rad[level] == pytest.approx(np.full(2 * corners, 0.5 * np.pi), abs=1e-6)
    assert (room.edges.air_angle_rad[room.edges.sticking_out] > np.pi).all()


def test_a_sharp_wedge_has_more_air_than_a_box() -> None:
    """A roof of 60 degrees at its ridge: 300 degrees of air."""
    top = np.tan(np.radians(60.0))
    a0, b0, r0 = [0.0, -1.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, top]
    a1, b1, r1 = [2.0, -1.0, 0.0], [2.0, 1.0, 0.0], [2.0, 0.0, top]
    quads = {"left": [a0, a1, r1, r0], "right": [b0, r0, r1, b1], "floor": [a0, b0, b1, a1]}
    patches = []
    middle = np.array([1.0, 0.0, 0.5])
    for name, quad in quads.items():
        ring = np.array(quad)
        if np.cross(ring[1] - ring[0], ring[2] - ring[0]) @ (ring.mean(axis=0) - middle) < 0.0:
            ring = ring[::-1]
        patches.append(Patch(name, "roof", "hard", np.stack([ring[[0, 1, 2]], ring[[0, 2, 3]]])))
    edges = build_room(patches).edges
    assert np.degrees(edges.air_angle_rad) == pytest.approx(np.full(3, 300.0))


def test_one_long_side_meets_several_short_ones() -> None:
    """A wall in two pieces above one floor: the floor's side is cut where the pieces meet."""
    patches = [patch for patch in ROOM if patch.name != "room left"]
    whole = next(patch for patch in ROOM if patch.name == "room left")
    ring = np.unique(whole.triangles.reshape(-1, 3), axis=0)
    assert np.ptp(ring[:, 1]) == 0.0
    for name, x0, x1 in (("window", 0.0, 2.0), ("left wall", 2.0, 5.0)):
        quad = np.array([[x0, 0.0, 0.0], [x0, 0.0, 3.0], [x1, 0.0, 3.0], [x1, 0.0, 0.0]])
        if np.cross(quad[1] - quad[0], quad[2] - quad[0])[1] < 0.0:
            quad = quad[::-1]
        patches.append(Patch(name, "room", "glass", np.stack([quad[[0, 1, 2]], quad[[0, 2, 3]]])))
    edges = build_room(patches).edges
    lengths = np.sort(np.linalg.norm(edges.ends[:, 1] - edges.ends[:, 0], axis=1))
    # two of the four long edges fall in two; window and wall continue each other and share none
    assert lengths == pytest.approx([2.0, 2.0, *[3.0] * 6, *[4.0] * 4, 5.0, 5.0])
    assert edges.air_angle_rad == pytest.approx(np.full(14, 0.5 * np.pi))


@given(st.integers(0, 2**32 - 1))
def test_cutting_triangles_finer_changes_no_edge(seed: int) -> None:
    rng = np.random.default_rng(seed)
    patches = ROOM + box_patches(np.array([1.0, 1.0, 0.0]), np.array([2.0, 1.5, 1.2]), "desk")
    whole = build_room(patches).edges
    cut = build_room([cut_finer(patch, rng, 6) for patch in patches]).edges

    def stretch(edges: Edges) -> dict[float, float]:
        """Length of all edges together for each angle of air."""
        lengths = np.linalg.norm(edges.ends[:, 1] - edges.ends[:, 0], axis=1)
        angles = np.round(edges.air_angle_rad, 4)
        return {float(angle): float(lengths[angles == angle].sum()) for angle in np.unique(angles)}

    assert stretch(cut).keys() == stretch(whole).keys()
    for angle, length in stretch(whole).items():
        assert stretch(cut)[angle] == pytest.approx(length, abs=1e-3)


def test_bodies_that_touch_share_no_edge() -> None:
    """A block on the floor against a wall: all edges belong to one body only."""
    room = build_room(ROOM + box_patches(np.array([0.0, 1.0, 0.0]), np.array([1.0, 2.0, 1.0]), "rack"))
    for first, second in room.edges.facets:
        assert room.facets[first].owner == room.facets[second].owner
    assert len(room.edges.sticking_out) == 12


@given(st.integers(0, 2**32 - 1))
def test_a_sheet_ends_in_a_whole_turn_of_air_however_it_lies(seed: int) -> None:
    """Two sides back to back, in any direction: rounding must not make their angle nothing."""
    rng = np.random.default_rng(seed)
    turn, shift = np.linalg.qr(rng.normal(size=(3, 3)))[0], rng.uniform(-3.0, 3.0, 3)
    ring = np.array([[0, 0, 0], [1.2, 0, 0], [1.2, 0.7, 0], [0, 0.7, 0]]) @ turn.T + shift
    front = np.stack([ring[[0, 1, 2]], ring[[0, 2, 3]]])
    sheet = [Patch("front", "sheet", "hard", front), Patch("back", "sheet", "hard", front[:, ::-1])]
    edges = build_room(ROOM + sheet).edges
    assert edges.air_angle_rad[edges.sticking_out] == pytest.approx(np.full(4, 2.0 * np.pi))
