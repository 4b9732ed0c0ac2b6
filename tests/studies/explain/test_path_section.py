"""Sections along a way: plain cuts by hand, and the way itself unrolled."""

from __future__ import annotations

import numpy as np
import pytest

from sim.studies.explain.picture import in_one_plane
from sim.studies.explain.side_pictures import BEYOND_M, cut_upright, section_along
from tests.explained import POINT, traced


def test_a_cut_through_a_box_room_shows_floor_ceiling_and_desk() -> None:
    room = traced(POINT).built.room
    lines, owners = cut_upright(room, np.array([0.0, 1.51, 0.0]), np.array([1.0, 0.0]), -1.0, 9.0)
    whole = lines[np.array(owners) == 0].reshape(-1, 2)
    assert (whole.min(axis=0), whole.max(axis=0)) == (pytest.approx([0.0, 0.0]), pytest.approx([4.2, 2.4]))
    desk = lines[np.array(owners) == room.owner_number("desk")].reshape(-1, 2)
    assert (desk.min(axis=0), desk.max(axis=0)) == (pytest.approx([0.8, 0.67]), pytest.approx([1.4, 0.7]))
    length = np.abs(np.diff(lines[np.array(owners) == 0], axis=1)).sum()
    assert length == pytest.approx(2 * (4.2 + 2.4)), "each side once, however it is cut into triangles"


def test_a_cut_ends_where_it_is_told_to() -> None:
    room = traced(POINT).built.room
    lines, _ = cut_upright(room, np.array([1.0, 1.51, 0.0]), np.array([0.6, 0.8]), -0.3, 0.5)
    assert lines[:, :, 0].min() == pytest.approx(-0.3) and lines[:, :, 0].max() == pytest.approx(0.5)


def test_the_way_is_as_long_over_ground_as_it_is() -> None:
    room = traced(POINT).built.room
    points = np.array([[0.5, 1.0, 1.1], [0.5, 1.0, 2.4], [1.5, 2.0, 1.0], [1.5, 1.2, 1.3]])
    section = section_along(room, points)
    assert section.way[:, 0] == pytest.approx([0.0, 0.0, np.sqrt(2.0), np.sqrt(2.0) + 0.8])
    assert section.way[:, 1] == pytest.approx(points[:, 2])
    assert section.lines[:, :, 0].max() == pytest.approx(np.sqrt(2.0) + 0.8 + BEYOND_M)
    assert len(section.lines) == len(section.owners) == len(section.of_room)


def test_ways_in_one_upright_plane_are_told_from_those_that_turn() -> None:
    straight = np.array([[0.0, 0.0, 1.0], [1.0, 1.0, 0.0], [2.0, 2.0, 1.0]])
    assert in_one_plane(straight)
    assert not in_one_plane(straight + np.array([[0.0] * 3, [0.1, -0.1, 0.0], [0.0] * 3]))
    back = np.array([[1.0, 0.0, 1.0], [3.0, 0.0, 1.0], [2.0, 0.0, 1.0]])
    assert not in_one_plane(back), "there and back is unrolled"
