"""The picture of one loudspeaker."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest

from sim.acoustics.air import Air
from sim.loudspeakers.assembled import measured_loudspeaker
from sim.loudspeakers.catalogue import generic_loudspeaker
from sim.studies.loudspeaker.picture import OCTAVES_HZ, draw_loudspeaker, loudspeaker_figure
from tests.loudspeakers.test_directivity_data import NARROW, orbits


def test_polars_show_right_on_the_right_and_the_lobe_upright() -> None:
    steps = np.radians(np.arange(-180.0, 180.0, 10.0))
    lopsided = np.repeat((0.6 + 0.4 * np.cos(steps) + 0.25 * np.sin(steps))[:, None], 3, axis=1) + 0j
    figure = loudspeaker_figure(measured_loudspeaker("mine", orbits(lopsided, NARROW)), Air())
    across: Any = figure.axes[0]
    line = across.get_lines()[1]
    angles, levels = line.get_data()
    at = {round(np.degrees(angle)): level for angle, level in zip(angles, levels, strict=True)}
    assert at[90] == pytest.approx(20.0 * np.log10(0.85), abs=0.05)
    assert at[-90] == pytest.approx(20.0 * np.log10(0.35), abs=0.05)
    # an angle of +90 degrees lies on the right half of the page, the axis at its bottom
    on_page = across.transData.transform([[np.pi / 2, 0.0], [0.0, 0.0], [-np.pi / 2, 0.0]])
    assert on_page[0, 0] > on_page[1, 0] > on_page[2, 0]
    assert on_page[1, 1] < on_page[0, 1]
    assert len(across.get_lines()) == len(OCTAVES_HZ)


def test_no_text_leaves_the_page_and_the_bytes_repeat(tmp_path: Path) -> None:
    one, other = (draw_loudspeaker(generic_loudspeaker("two-way"), Air(), tmp_path / f"{n}.png") for n in "ab")
    assert one.read_bytes() == other.read_bytes()
    figure = loudspeaker_figure(generic_loudspeaker("two-way"), Air())
    figure.canvas.draw()
    width, height = figure.canvas.get_width_height()  # type: ignore[attr-defined]
    for axes in figure.axes[:3]:
        for text in [*axes.get_xticklabels(), *axes.get_yticklabels(), axes.title]:
            place = text.get_window_extent()
            assert not text.get_text() or (place.x0 >= 0 and place.x1 <= width and place.y1 <= height), text.get_text()


def test_every_assumption_is_written_above_the_drawings() -> None:
    """The picture grows with them; none is left out, and none runs into what is drawn."""
    plain = loudspeaker_figure(generic_loudspeaker("two-way"), Air())
    right_only = np.repeat(np.linspace(1.0, 0.2, 36)[:, None], 3, axis=1) + 0j
    data = orbits(right_only, NARROW, has_phase=False)
    figure = loudspeaker_figure(measured_loudspeaker("mine", data), Air())
    (reported,) = [text for text in figure.texts if text.get_text().startswith("measured")]
    assert len(data.notes) >= 2
    for note in data.notes:
        assert f"assumed: {note}" in reported.get_text()
    assert figure.get_figheight() > plain.get_figheight()
    figure.canvas.draw()
    highest = max(axes.title.get_window_extent().y1 for axes in figure.axes[:2])
    assert reported.get_window_extent().y0 > highest


def test_levels_toward_the_walls_are_those_of_a_cardioid() -> None:
    """(1 + cos)/2 by definition; the mean of energy over the angles that the panel names."""
    steps = np.radians(np.arange(-180.0, 180.0, 10.0))
    heart = np.repeat((0.5 + 0.5 * np.cos(steps))[:, None], 3, axis=1) + 0j
    one = measured_loudspeaker("mine", orbits(heart, NARROW))
    figure = loudspeaker_figure(one, Air())
    panels = {axes.get_title(loc="left"): axes for axes in figure.axes}
    for name, angles in (("side walls", range(40, 81, 10)), ("front wall", range(90, 181, 15))):
        wanted = 10.0 * np.log10(np.mean([(0.5 + 0.5 * np.cos(np.radians(angle))) ** 4**0.5 for angle in angles]))
        line: Any = panels[f"Toward the {name}"].get_lines()[0]
        assert (np.ptp(line.get_ydata()) < 0.2).all()
        assert np.median(line.get_ydata()) == pytest.approx(wanted, abs=0.2), name


def test_a_point_is_even_over_the_head_and_the_standard_stands_in_a_table() -> None:
    figure = loudspeaker_figure(generic_loudspeaker("point"), Air())
    words = [text.get_text() for axes in figure.axes for text in axes.texts]
    assert any("the same everywhere" in one for one in words)
    written = [text.get_text() for text in figure.texts]
    assert "listening window" in written and "sound power" in written and written.count("0.0") == 48
