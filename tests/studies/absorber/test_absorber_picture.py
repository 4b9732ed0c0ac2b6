"""The picture of one absorber: its curves are the model's, and out-of-range stretches are shaded."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from matplotlib.patches import Rectangle
from matplotlib.text import Text

from sim.acoustics.air import Air
from sim.acoustics.buildups import build_ups
from sim.acoustics.layered_reflection import random_incidence, reflection_factor_at
from sim.acoustics.layers import AirGap, BuildUp, Cloth
from sim.studies.absorber.picture import ANGLES_DEG, absorber_figure, draw_absorber

AIR = Air()
WOOL = build_ups()["100 mm wool, 100 mm gap"]


def test_curves_are_those_of_the_model():
    upper, lower = absorber_figure(WOOL, AIR).axes[1:]
    curves = [line for line in upper.lines if len(line.get_xdata()) > 100]
    assert len(curves) == len(ANGLES_DEG)
    for curve, angle in zip(curves, ANGLES_DEG, strict=True):
        at_hz = np.asarray(curve.get_xdata())
        factor = reflection_factor_at(WOOL, at_hz, [np.radians(angle)], AIR)[0]
        assert np.asarray(curve.get_ydata()) == pytest.approx(20.0 * np.log10(np.abs(factor)))
    (fraction,) = (line for line in lower.lines if len(line.get_xdata()) > 100)
    assert np.asarray(fraction.get_ydata()) == pytest.approx(random_incidence(WOOL, fraction.get_xdata(), air=AIR))


def test_angles_are_told_apart_without_colour():
    upper = absorber_figure(WOOL, AIR).axes[1]
    handles, names = upper.get_legend_handles_labels()
    assert names == ["straight on", "30° off the normal", "45° off the normal", "60° off the normal"]
    assert len({str(handle._dash_pattern) for handle in handles}) == 4


def test_what_lies_outside_the_range_is_shaded_in_both_panels():
    figure = absorber_figure(WOOL, AIR)
    for place in figure.axes[1:]:
        shaded = sorted((patch.get_x(), patch.get_x() + patch.get_width()) for patch in place.patches)
        assert len(shaded) == 2
        assert shaded[0] == pytest.approx((50.0, 100.0), rel=0.02)
        assert shaded[1] == pytest.approx((10_000.0, 16_000.0), rel=0.02)
    words = " ".join(text.get_text() for text in figure.findobj(Text))
    assert "shaded: outside the range" in words


def test_nothing_is_shaded_when_no_model_can_fail():
    curtain = BuildUp("curtain", (Cloth(400.0, 0.5), AirGap(0.1)))
    figure = absorber_figure(curtain, AIR)
    assert all(not place.patches for place in figure.axes[1:])
    assert "shaded" not in " ".join(text.get_text() for text in figure.findobj(Text))


@pytest.mark.parametrize("name", sorted(build_ups()))
def test_the_cut_is_drawn_to_scale_and_all_words_stay_inside(name):
    build_up = build_ups()[name]
    figure = absorber_figure(build_up, AIR)
    cut = figure.axes[0]
    boxes = [patch for patch in cut.patches if isinstance(patch, Rectangle)]
    assert len(boxes) == len(build_up.layers) + 1
    thick = [
        (box.get_width(), layer.thickness_m)
        for box, layer in zip(boxes, build_up.layers, strict=False)
        if getattr(layer, "thickness_m", 0.0) > 0.1 * build_up.depth_m
    ]
    for drawn, real in thick:
        assert drawn == pytest.approx(real)
    figure.canvas.draw()
    frame = figure.bbox
    for text in figure.findobj(Text):
        if text.get_visible() and text.get_text():
            box = text.get_window_extent()
            assert box.x0 >= frame.x0 - 1 and box.x1 <= frame.x1 + 1, text.get_text()
            assert box.y0 >= frame.y0 - 1 and box.y1 <= frame.y1 + 1, text.get_text()


def test_the_file_is_a_picture_and_always_the_same(tmp_path: Path):
    first = draw_absorber(WOOL, AIR, tmp_path / "a.png").read_bytes()
    assert first.startswith(b"\x89PNG")
    assert draw_absorber(WOOL, AIR, tmp_path / "b.png").read_bytes() == first


def test_a_bare_wall_can_be_drawn(tmp_path: Path):
    assert draw_absorber(BuildUp("bare", ()), AIR, tmp_path / "bare.png").is_file()
