"""Which way round surfaces are drawn, for someone who stands in the room."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sim.geometry.facets import Facet, plane_frame
from sim.showing.surface_views import elevation_of, facet_rings, flat_surfaces


def drawn(elevation, points):
    """Where points appear on paper, rightward and upward positive, whichever way the rulers run."""
    flat = elevation.flatten(np.array(points, dtype=float))
    signs = [-1.0 if ruler.turned else 1.0 for ruler in (elevation.across, elevation.upward)]
    return flat * signs


def elevation(invented, name):
    room = invented.built.room
    surface = next(s for s in flat_surfaces(room) if s.name == name)
    corners = np.concatenate([room.facets[n].corners for n in surface.facets])
    return elevation_of(room.facets[surface.facets[0]], corners)


@pytest.mark.parametrize(
    ("name", "to_the_right", "words"),
    [
        ("front wall", [0, 1, 0], "left wall to the left"),
        ("rear wall", [0, -1, 0], "left wall to the right"),
        ("left wall", [-1, 0, 0], "front wall to the right"),
        ("right wall", [1, 0, 0], "front wall to the left"),
        ("floor", [0, 1, 0], "front wall at the top, left wall at the left"),
        ("ceiling", [0, 1, 0], "seen in a mirror on the floor: front wall at the top"),
        ("desk top", [0, 1, 0], "seen from above: front wall at the top"),
    ],
)
def test_each_surface_is_drawn_as_seen_from_inside(invented, name, to_the_right, words):
    drawing = elevation(invented, name)
    start, stop = drawn(drawing, [[1, 1, 1], np.array([1, 1, 1]) + to_the_right])
    assert stop - start == pytest.approx([1.0, 0.0])
    up = [-1, 0, 0] if name in ("floor", "ceiling", "desk top") else [0, 0, 1]
    start, stop = drawn(drawing, [[1, 1, 1], np.array([1, 1, 1]) + up])
    assert stop - start == pytest.approx([0.0, 1.0])
    assert words in drawing.words


def test_tape_distances_are_read_off_the_rulers(invented):
    wall = elevation(invented, "left wall")
    assert wall.across.words == "from the front wall" and wall.upward.words == "up from the floor"
    assert wall.flatten(np.array([[0.7, 0.0, 1.1]]))[0] == pytest.approx([0.7, 1.1])
    desk = elevation(invented, "desk top")
    assert desk.flatten(np.array([[0.7, 1.9, 0.74]]))[0] == pytest.approx([1.9, 0.7])


@given(turn=st.floats(-np.pi, np.pi), tilt=st.floats(-1.0, 1.0))
def test_no_wall_or_slope_is_mirrored(turn, tilt):
    normal = np.array([np.cos(turn) * np.cos(tilt), np.sin(turn) * np.cos(tilt), np.sin(tilt)])
    facet = Facet("wall", "room", "", normal, 0.0, plane_frame(normal, np.zeros(3)), np.zeros((0, 4)), 1.0, 0)
    drawing = elevation_of(facet, np.zeros((1, 3)))
    rightward, upward = drawn(drawing, facet.frame[1:]) - drawn(drawing, np.zeros((2, 3)))
    # frame rows: along the wall, up the wall, with the air in front: a viewer in the room sees them turn left.
    assert rightward[0] * upward[1] - rightward[1] * upward[0] > 0.9


def test_a_wall_and_its_window_are_one_surface(invented):
    wall = next(s for s in flat_surfaces(invented.built.room) if s.name == "left wall")
    assert wall.whole_name == "left wall, with window" and len(wall.facets) == 2


def test_rings_have_the_area_of_their_facet(invented):
    room = invented.built.room
    for number, facet in enumerate(room.facets):
        area = 0.0
        for ring in facet_rings(room, number):
            x, y = facet.to_plane(ring).T
            area += 0.5 * float(np.sum(x[:-1] * y[1:] - x[1:] * y[:-1]))
        assert abs(area) == pytest.approx(facet.area_m2, rel=1e-6)
