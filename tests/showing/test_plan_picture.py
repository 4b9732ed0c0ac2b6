"""The plan that a person holds against the real room: which side is which, and the numbers on it."""

from __future__ import annotations

import numpy as np
import pytest
from matplotlib.text import Text

from sim.showing.plan_picture import plan_figure
from sim.showing.style import looks
from sim.showing.surface_views import PLAN, SIDE_VIEW, facet_spans, rings_of, silhouette
from sim.studies.draw.map_picture import desk_surface, map_figure


@pytest.fixture(scope="module")
def words(invented):
    """Where words stand on the plan, in shares of the figure (their anchor), by what they say."""
    figure = plan_figure(invented.built, invented.scene.blueprint)
    figure.canvas.draw()
    renderer = figure.canvas.get_renderer()
    middle_of: dict[str, np.ndarray] = {}
    for text in figure.findobj(Text):
        if text.get_text().strip():
            box = text.get_window_extent(renderer).get_points()
            middle_of.setdefault(text.get_text(), box.mean(axis=0))
    return middle_of


def test_left_is_left_and_front_is_at_the_top(words):
    assert words["left"][0] < words["window"][0] < words["L"][0] < words["R"][0] < words["right"][0]
    assert words["front"][1] > words["L"][1] > words["desk"][1] > words["ear"][1] > words["door"][1] > words["rear"][1]
    assert words["door"][0] > words["R"][0]  # in the rear wall, right of the middle


def test_distances_are_in_the_unit_of_the_file(words, invented):
    built = invented.built
    ear = np.linalg.norm(built.ears[0] - built.loudspeakers[0].axis_point)
    for expected in ("340.0 cm", "420.0 cm", "240.0 cm", "124.0 cm", f"{100 * ear:.1f} cm", "88.0", "212.0", "122.0"):
        assert expected in words


def test_the_room_covers_its_floor_and_its_side(invented):
    room = invented.built.room
    assert silhouette(room, "room", PLAN).area == pytest.approx(3.4 * 4.2)
    assert silhouette(room, "room", SIDE_VIEW).area == pytest.approx(4.2 * 2.4)
    assert silhouette(room, "desk", PLAN).area == pytest.approx(1.6 * 0.75)
    assert len(rings_of(silhouette(room, "desk", PLAN))) == 1


def test_a_window_is_a_line_from_above_and_a_rectangle_from_the_side(invented):
    (line,) = facet_spans(invented.built.room, "window", PLAN)
    assert sorted(line[:, 1].round(6).tolist()) == [0.7, 1.7] and line[:, 0] == pytest.approx([0.0, 0.0])
    (ring,) = facet_spans(invented.built.room, "window", SIDE_VIEW)
    assert ring.min(axis=0).tolist() == pytest.approx([0.7, 0.95])
    assert ring.max(axis=0).tolist() == pytest.approx([1.7, 2.05])


def test_mirror_points_on_the_desk_are_drawn_on_their_side(invented):
    figure = map_figure(invented, desk_surface(invented))
    place = figure.axes[0]
    left, right = looks(["left", "right"])
    seen = {}
    for line in place.get_lines():
        for look in (left, right):
            if line.get_marker() == look.marker and line.get_linestyle() == "None":
                seen[look.name] = place.transData.transform(np.column_stack(line.get_data()))
    assert seen["left"][:, 0].max() < seen["right"][:, 0].min()
