from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from matplotlib.patches import Polygon, Rectangle

from sim.studies.tolerance.findings import blobs, early_ranges, reflection_ranges
from sim.studies.tolerance.picture import draw_tolerance, tolerance_figure
from sim.studies.tolerance.tolerance import Tolerance, tolerance
from tests.studies.little_room import DESK, little_room


@pytest.fixture(scope="module")
def found() -> Tolerance:
    return tolerance(little_room(DESK.replace("[0.5, 1.2]", "[0.5, 1.104]")), samples=64, processes=1)


def test_the_picture_has_two_views_and_bars_and_is_the_same_each_time(found: Tolerance, tmp_path: Path) -> None:
    one, two = (draw_tolerance(found, tmp_path / name).read_bytes() for name in ("one.png", "two.png"))
    assert one == two
    plan, side, bars = tolerance_figure(found).axes
    assert (plan.get_title(), side.get_title()) == ("seen from above", "seen from the left side")
    assert plan.get_ylim() == (4.2, 0.0), "the front wall is at the top"
    assert side.get_xlim() == (0.0, 4.2)
    assert bars.get_yticklabels()[0].get_text() == "all together"


def test_each_bar_is_the_range_of_its_reflection(found: Tolerance) -> None:
    bars = tolerance_figure(found).axes[2]
    drawn = sorted(
        (round(bar.get_x(), 6), round(bar.get_width(), 6)) for bar in bars.patches if isinstance(bar, Rectangle)
    )
    spreads = [one.level for one in reflection_ranges(found)] + [one[0] for one in early_ranges(found)]
    assert drawn == sorted((round(one.low, 6), round(one.high - one.low, 6)) for one in spreads)
    words = " ".join(text.get_text() for text in bars.texts)
    assert "target −15 dB" in words
    assert "there in " in words, "the desk is not always met"


def test_blobs_of_the_desk_are_where_the_points_are(found: Tolerance) -> None:
    plan = tolerance_figure(found).axes[0]
    desks = [one for one in blobs(found) if one.surface == "desk top"]
    middles = [patch.get_xy()[:-1].mean(axis=0) for patch in plan.patches if isinstance(patch, Polygon)]
    for blob in desks:
        wanted = blob.middle[[1, 0]]
        assert min(np.abs(np.asarray(middle) - wanted).max() for middle in middles) < 0.01
    names = {text.get_text() for text in tolerance_figure(found).texts}
    assert {"desk top", "ceiling", "left wall", "right wall"} <= names
