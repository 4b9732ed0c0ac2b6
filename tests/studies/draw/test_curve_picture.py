"""Peaks carry the numbers of the arrivals, and both time axes say the same."""

from __future__ import annotations

from dataclasses import replace

import pytest
from matplotlib.text import Text

from sim.errors import PictureError
from sim.responses.ear_records import Peak
from sim.showing.words import peak_mark
from sim.studies.draw.curve_picture import curve_figure
from sim.studies.draw.side_by_side_picture import differences_figure, early_energy_db


def test_every_peak_is_numbered_on_the_curve_and_listed_beside_it(invented):
    figure = curve_figure(invented)
    words = [text.get_text() for text in figure.findobj(Text)]
    for peaks in invented.responses.energy_time.peaks:
        for peak in peaks[0]:
            assert sum(word == peak_mark(peak) for word in words) >= 2
            assert peak.label in words and f"{peak.time_ms:.2f}" in words


def test_marks():
    assert peak_mark(Peak(1.0, -3.0, (3,), "desk")) == "3"
    assert peak_mark(Peak(1.0, -3.0, (3, 5, 9), "desk")) == "3+5"
    assert peak_mark(Peak(1.0, -3.0, (), "")) == "?"


def test_the_upper_axis_counts_from_the_loudspeaker(invented):
    figure = curve_figure(invented)
    figure.canvas.draw()
    place = figure.axes[0]
    (above,) = place.child_axes
    flight = invented.responses.energy_time.flight_ms[0, 0]
    assert above.get_xlim() == pytest.approx([limit + flight for limit in place.get_xlim()])
    assert "after leaving the left monitor" in above.get_xlabel()
    assert place.get_xlabel() == "ms after the direct sound"


def test_early_energy_is_the_sum_within_the_window(invented):
    total = 0.0
    for arrival in invented.responses.arrivals:
        if arrival.loudspeaker == "left" and arrival.order and arrival.main.delay_ms <= 20.0:
            total += 10 ** (arrival.level_db[5] / 10)
    assert 10 ** (early_energy_db(invented, 0, 0)[5] / 10) == pytest.approx(total)


def test_results_without_a_common_loudspeaker_are_refused(invented):
    only_left = replace(invented.built, loudspeakers=invented.built.loudspeakers[:1])
    only_right = replace(invented.built, loudspeakers=invented.built.loudspeakers[1:])
    with pytest.raises(PictureError, match="no monitor name is in all"):
        differences_figure([replace(invented, built=only_left), replace(invented, built=only_right)])
