from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import matplotlib.image
import numpy as np
import pytest

from sim.studies.decay.picture import UNCERTAIN_DB, decay_figure, draw_decay
from sim.studies.decay.records import SURE
from tests.studies.decay.decay_studies import traced, with_figures


def panels(figure) -> list:
    return [axes for axes in figure.axes if axes.get_xlabel() == "ms after direct sound"]


def test_one_panel_an_octave_with_its_curves_and_bands() -> None:
    study = traced()
    figure = decay_figure(study)
    drawn = panels(figure)
    assert [axes.get_title(loc="left").split(",")[0] for axes in drawn] == [
        "125 Hz",
        "250 Hz",
        "500 Hz",
        "1 kHz",
        "2 kHz",
        "4 kHz",
        "8 kHz",
    ]
    for o, axes in enumerate(drawn):
        assert ("not judged" in axes.get_title(loc="left")) == (not study.judged[o])
        curves = [line for line in axes.get_lines() if len(line.get_xdata()) > 2]
        assert len(curves) == 2
        for s, line in enumerate(curves):
            shown = np.asarray(line.get_ydata())
            assert shown == pytest.approx(study.level_db[s, 0, o, : len(shown)])
            assert (study.level_error_db[s, 0, o, : len(shown)] <= UNCERTAIN_DB).all()
        assert len({str(line.get_linestyle()) + line.get_color() for line in curves}) == 2
        band = axes.collections[0].get_paths()[0].vertices
        error = study.level_error_db[0, 0, o, 20]
        at = band[np.isclose(band[:, 0], 20.0)][:, 1]
        assert at.max() - at.min() == pytest.approx(2.0 * SURE * error, rel=1e-6)


def test_times_stand_in_the_tolerance_they_are_judged_by() -> None:
    study = with_figures(error=0.01, t20_s=np.linspace(0.2, 0.5, 7))
    study = replace(study, judged=np.arange(7) >= 2)
    times = decay_figure(study).axes[-1]
    whole = [line for line in times.get_lines() if line.get_marker() == "o" and line.get_markersize() > 6]
    shown = np.concatenate([np.asarray(line.get_ydata()) for line in whole if len(line.get_xdata())])
    assert sorted(shown) == pytest.approx(np.linspace(0.2, 0.5, 7))
    faces = {str(line.get_markerfacecolor()): len(line.get_xdata()) for line in whole if len(line.get_xdata())}
    assert faces == {"#1a1a1a": 5, "white": 2}
    tolerated = times.collections[0].get_paths()[0].vertices
    one = tolerated[np.abs(tolerated[:, 0] - 1000.0) < 8.0][:, 1]
    assert (one.min(), one.max()) == pytest.approx((study.aim.lower_s[3], study.aim.upper_s[3]), abs=1e-9)
    assert times.get_ylim()[1] > 0.5 + SURE * 0.01


def test_nothing_runs_out_of_the_paper(tmp_path: Path) -> None:
    path = draw_decay(traced(), tmp_path / "decay.png")
    image = matplotlib.image.imread(path)
    rim = np.concatenate(
        [
            image[:6].reshape(-1, image.shape[2]),
            image[-6:].reshape(-1, image.shape[2]),
            image[:, :6].reshape(-1, image.shape[2]),
            image[:, -6:].reshape(-1, image.shape[2]),
        ]
    )
    assert (rim == 1.0).all()
    assert [each.name for each in tmp_path.iterdir()] == ["decay.png"]


def test_figures_that_are_none_leave_the_picture_whole() -> None:
    study = with_figures(t20_s=np.where(np.arange(7) == 3, np.nan, 0.4))
    decay_figure(study)
