"""Left must be left: our projection, and VTK's, of one lopsided room."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sim.showing.viewpoint import DIRECTIONS, FLATTEST_DEG, Viewpoint, stand
from sim.studies.draw.room_picture import VIEWS

SIZE_PX = (600, 480)
inside = st.tuples(st.floats(0.0, 4.2), st.floats(0.0, 3.4), st.floats(0.0, 2.4))


@pytest.mark.parametrize("view", VIEWS)
def test_the_whole_room_is_in_the_picture_and_fills_it(invented, view):
    camera = stand(invented.built.room, view, SIZE_PX[0] / SIZE_PX[1])
    pixels = camera.project(invented.built.room.triangles.reshape(-1, 3), SIZE_PX)
    assert (pixels > 0).all() and (pixels < SIZE_PX).all()
    filled = np.ptp(pixels, axis=0) / SIZE_PX
    assert filled.max() > 0.85


@pytest.mark.parametrize("view", VIEWS)
def test_left_is_drawn_left_and_up_is_drawn_up(invented, view):
    camera = stand(invented.built.room, view, SIZE_PX[0] / SIZE_PX[1])
    built = invented.built
    left, right = (camera.project(speaker.axis_point[None], SIZE_PX)[0] for speaker in built.loudspeakers)
    assert built.loudspeakers[0].name == "left" and built.loudspeakers[0].axis_point[1] < 1.0
    assert left[0] < right[0] - 20
    low, high = camera.project(built.ears[0] + np.array([[0, 0, -0.5], [0, 0, 0.5]]), SIZE_PX)
    assert high[1] > low[1]


@pytest.mark.solid
@pytest.mark.parametrize("view", VIEWS)
def test_vtk_draws_points_where_we_write_their_names(invented, view):
    import pyvista

    camera = stand(invented.built.room, view, SIZE_PX[0] / SIZE_PX[1])
    for point in (*[speaker.axis_point for speaker in invented.built.loudspeakers], invented.built.ears[0]):
        plotter = pyvista.Plotter(off_screen=True, window_size=list(SIZE_PX))
        plotter.set_background("white")
        plotter.add_mesh(pyvista.Sphere(radius=0.04, center=tuple(point)), color="black", lighting=False)
        plotter.camera.position, plotter.camera.focal_point = tuple(camera.position), tuple(camera.focus)
        plotter.camera.up, plotter.camera.view_angle = (0.0, 0.0, 1.0), camera.view_angle_deg
        plotter.reset_camera_clipping_range()
        image = plotter.screenshot(return_img=True)
        plotter.close()
        rows, columns = np.nonzero(image[..., 0] < 128)
        seen = np.array([columns.mean() + 0.5, SIZE_PX[1] - rows.mean() - 0.5])
        assert np.abs(seen - camera.project(point[None], SIZE_PX)[0]).max() < 1.0


@given(point=inside, step=st.floats(0.05, 1.0))
def test_a_step_to_the_right_never_goes_left(point, step):
    start = np.array(point)
    for depth, across, up in ((9.0, -6.0, 8.0), (9.0, 9.0, 8.0), (9.0, -2.0, -7.0)):
        camera = Viewpoint("", np.array([depth, across, up]), np.array([2.1, 1.7, 1.2]))
        here, there = camera.project(np.stack([start, start + np.array([0.0, step, 0.0])]), SIZE_PX)
        assert there[0] > here[0]


def test_planes_face_the_viewer_when_he_is_on_their_air_side():
    camera = Viewpoint("", np.array([9.0, -6.0, 8.0]), np.array([2.0, 1.7, 1.2]))
    normals = np.array([[0, 0, 1.0], [0, 0, -1.0], [0, 1.0, 0], [0, -1.0, 0]])
    assert camera.faces(normals, np.array([0.0, -2.4, 0.0, -3.4])).tolist() == [True, False, False, True]


@pytest.mark.parametrize("view", VIEWS)
def test_a_slope_is_not_seen_edge_on_and_the_ear_hides_no_spot(view):
    """45 degrees over one wall; the spot lies behind the ear as the named direction looks."""
    from tests.built_scenes import box, built_scene_of

    slope = {"name": "slope", "wall": "left wall", "starts_at_height": 1.1, "angle_deg": 45.0}
    room = built_scene_of({**box(4.4, 3.2, 2.4), "slopes": [slope]}, [(1.0, 1.2, 1.2)], (2.0, 1.6, 1.2)).room
    ear = np.array([2.0, 1.6, 1.2])
    named = np.array(DIRECTIONS[view]) / np.linalg.norm(DIRECTIONS[view])
    spots = (ear - named * 0.5)[None]
    camera = stand(room, view, 1.2, ear, spots)
    toward = -camera.directions[2]
    (facet,) = [facet for facet in room.facets if facet.name == "slope"]
    seen_deg = np.degrees(np.arcsin(float(facet.normal @ toward)))
    assert seen_deg > FLATTEST_DEG - 4.0 or seen_deg < -FLATTEST_DEG  # as a surface, or from behind and so not at all
    apart = spots[0] - ear
    before = np.linalg.norm(apart - (apart @ named) * named)
    assert np.linalg.norm(apart - (apart @ toward) * toward) > before + 0.03
    assert float(toward @ named) > np.cos(np.radians(35.0))  # still the view that its words say
