"""The picture of orientations: boxes the right way round, maps the right way up."""

from __future__ import annotations

from pathlib import Path

import matplotlib.image
import numpy as np
import pytest

from sim.studies.orient.drivers import read_orientations
from sim.studies.orient.picture import draw_orientation, front_view, orientation_figure
from sim.studies.orient.study import OrientationStudy, study_orientation
from tests.studies.orient.orientation_scenes import pair


@pytest.fixture(scope="module")
def study() -> OrientationStudy:
    return study_orientation(pair("two-way"), read_orientations("upright,inverted,left,right"))


def test_the_woofer_is_where_it_is_seen_from_the_seat(study: OrientationStudy) -> None:
    """The axis is the tweeter: the woofer is below it, above it, to its right (on its left side), to its left."""
    expected = [(0.0, -0.15), (0.0, 0.15), (0.15, 0.0), (-0.15, 0.0)]
    for one, place in zip(study.of("left"), expected, strict=True):
        outline, drivers = front_view(one)
        assert outline is not None
        assert drivers[0] == pytest.approx(place, abs=1e-9)
        assert outline.min(axis=0)[0] < drivers[0][0] < outline.max(axis=0)[0]


def test_front_is_above_rear_and_left_is_left(study: OrientationStudy) -> None:
    figure = orientation_figure(study, "left")
    place = next(axes for axes in figure.axes if axes.get_images())
    (image,) = place.get_images()
    left, right, bottom, top = image.get_extent()
    assert (left, right) == pytest.approx((-15.0, 15.0))
    low, high = place.get_ylim()
    assert low == pytest.approx(15.0) and high == pytest.approx(-15.0)  # the front wall is at the top
    drawn = np.asarray(image.get_array())
    first_row_m = top if image.origin == "upper" else bottom
    nearest_front = drawn[0] if first_row_m < 0.0 else drawn[-1]
    assert nearest_front == pytest.approx(study.of("left")[0].map_db[0])


def test_it_is_written_as_png(study: OrientationStudy, tmp_path: Path) -> None:
    path = draw_orientation(study, "right", tmp_path / "orientations.png")
    assert matplotlib.image.imread(path).shape[1] == 1560


def test_a_point_without_box_and_a_head_box_without_area_are_drawn(tmp_path: Path) -> None:
    scene = pair("point")
    listener = scene.blueprint.listener
    flat = listener.model_copy(update={"head_box": listener.head_box.model_copy(update={"depth": 0.0})})
    from dataclasses import replace

    still = replace(scene, blueprint=scene.blueprint.model_copy(update={"listener": flat}))
    draw_orientation(study_orientation(still, read_orientations("upright")), "left", tmp_path / "point.png")
    assert (tmp_path / "point.png").is_file()
