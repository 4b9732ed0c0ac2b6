"""What is drawn in space: hotspots on their surface, dashes along their path, surfaces that can be seen."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from hypothesis import example, given
from hypothesis import strategies as st

from sim.geometry.unions import united_polygon
from sim.showing.map_panel import band_number, cell_steps, map_sheet
from sim.showing.room_scene import LIFT_M, hotspot_cells, render, shown_facets
from sim.showing.style import SCALE
from sim.showing.viewpoint import dashes, first_order, path_points, stand
from sim.studies.draw.room_picture import VIEWS


def test_hotspots_lie_on_the_air_side_of_their_facet_and_inside_it(invented):
    room = invented.built.room
    for surface_map in invented.responses.maps:
        facet = room.facets[surface_map.facet]
        band = band_number(invented, 1000.0)
        quads, levels = hotspot_cells(room, surface_map, surface_map.both_db[band])
        assert quads.reshape(-1, 3) @ facet.normal - facet.offset_m == pytest.approx(LIFT_M, abs=1e-9)
        polygon = united_polygon(facet.to_plane(room.triangles[room.facet_of_triangle == surface_map.facet]))
        assert shapely.contains_xy(polygon, *facet.to_plane(quads.mean(axis=1)).T).all()
        assert levels.min() >= SCALE.low_db
        assert levels.max() == pytest.approx(surface_map.both_db[band].max(), abs=1.0)
        loudest = quads[np.argmax(levels)].mean(axis=0)
        loud = surface_map.both_db[band] > surface_map.both_db[band].max() - 0.5
        assert np.linalg.norm(surface_map.points[loud] - loudest, axis=1).min() < 0.05


def test_the_sheet_of_a_map_holds_every_cell_at_its_place(invented):
    surface_map = invented.responses.maps[0]
    levels = surface_map.both_db[4]
    sheet = map_sheet(surface_map, levels, surface_map.plane_coordinates)
    for cell, place, level in zip(
        surface_map.cell[::37], surface_map.plane_coordinates[::37], levels[::37], strict=True
    ):
        at = sheet[:, cell[0] + 1, cell[1] + 1]
        assert at[:2] == pytest.approx(place)
        assert at[2] == max(level, SCALE.low_db - 30.0)
    assert np.abs(cell_steps(surface_map, surface_map.plane_coordinates)) == pytest.approx(np.eye(2) * 0.05, abs=1e-9)


@given(st.integers(1, 3), st.lists(st.tuples(*[st.floats(-3, 3)] * 3), min_size=2, max_size=5, unique=True))
@example(1, [(0.0, 0.0, 0.0), (1e-12, 0.0, 0.0)])
def test_dashes_lie_on_the_path_and_cover_over_half_of_it(number, corners):
    points = np.array(corners)
    length = float(np.linalg.norm(np.diff(points, axis=0), axis=1).sum())
    pieces = dashes(points, number)
    drawn = float(np.linalg.norm(pieces[:, 1] - pieces[:, 0], axis=1).sum())
    assert 0.6 * length <= drawn <= length + 1e-9
    line = shapely.LineString(points[:, :2])
    if line.is_valid:
        assert shapely.distance(shapely.points(pieces[..., :2].reshape(-1, 2)), line).max() < 1e-6


def test_the_first_loudspeaker_is_drawn_whole():
    points = np.array([[0.0, 0, 0], [1, 0, 0], [1, 1, 0]])
    assert dashes(points, 0).tolist() == [[[0, 0, 0], [1, 0, 0]], [[1, 0, 0], [1, 1, 0]]]


def test_paths_run_from_driver_by_way_of_the_surface_to_the_ear(invented):
    for arrival in first_order(invented):
        points = path_points(invented, arrival)
        assert np.linalg.norm(np.diff(points, axis=0), axis=1).sum() == pytest.approx(arrival.main.length_m)
        assert points[-1].tolist() == invented.built.ears[0].tolist()


@pytest.mark.parametrize(
    ("view", "gone"),
    [
        (VIEWS[0], {"ceiling", "left wall", "rear wall", "window", "door"}),
        (VIEWS[1], {"ceiling", "right wall", "rear wall", "door"}),
        (VIEWS[2], {"floor", "left wall", "rear wall", "window", "door"}),
    ],
)
def test_one_sees_into_the_room(invented, view, gone):
    room = invented.built.room
    shown = shown_facets(invented.built, stand(room, view, 1.2))
    missing = {f.name for n, f in enumerate(room.facets) if f.owner == "room" and n not in shown}
    assert missing == gone
    desk_shown = any(room.facets[n].owner == "desk" for n in shown)
    assert desk_shown == (view != VIEWS[2])


@pytest.mark.solid
def test_hotspot_colours_reach_the_picture_unchanged(invented):
    """A colour in the picture is a level in the bar: no lamp, no shadow changes it."""
    camera = stand(invented.built.room, VIEWS[0], 1.2)
    image = render(invented, camera, (720, 600), 1000.0)
    band = band_number(invented, 1000.0)
    desk = next(m for m in invented.responses.maps if m.surface == "desk top")
    levels = np.arange(SCALE.low_db + 1.0, 0.0, SCALE.step_db)
    bar = np.round(255 * SCALE.paint(levels)[:, :3])
    flat = image.reshape(-1, 3).astype(float)
    loudest = int((desk.both_db[band].max() - SCALE.low_db) // SCALE.step_db)
    near = [(np.abs(flat - colour).max(axis=1) <= 1).sum() for colour in bar]
    assert near[loudest] > 30
    assert sum(near[loudest + 1 :]) < near[loudest]
