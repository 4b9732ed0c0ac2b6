"""The line picture of a sweep: what it shows, and that all of it can be read."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from sim.layouts.records import DONE, IMPOSSIBLE, Axis, merit_db
from sim.studies.sweep.findings import Threshold
from sim.studies.sweep.line_picture import draw_sweep_line, line_figure, spread
from sim.studies.sweep.picture_words import (
    MOST_CURVES,
    best_spans,
    early_curves,
    ends_between,
    events,
    fine,
    impossible_spans,
    line_through,
    plain,
    runs,
    short_reason,
    surface_curves,
)
from tests.showing.drawn_words import faults, words_of
from tests.studies.sweep.swept_table import one_field, side_by_side, three_fields, two_fields, with_impossible

SWEEPS = {
    "one field": one_field,
    "impossible": with_impossible,
    "two fields": two_fields,
    "side by side": side_by_side,
    "three fields": three_fields,
}
DEGREES = Axis("left.tilt", "left.tilt", "degrees", np.array([-4.0, 0.0, 4.0]))


@pytest.mark.parametrize("name", SWEEPS)
def test_every_word_can_be_read(name):
    sweep, _, findings = SWEEPS[name]()
    for axis in range(len(sweep.plan.axes)):
        assert faults(line_figure(sweep, findings, axis=axis)) == []


def test_picture_says_what_it_must():
    sweep, _, findings = one_field()
    words = words_of(line_figure(sweep, findings))
    for part in (
        "desk.depth, m",
        "target −",
        "desk top, L and R",
        "the scene as it stands",
        "appears on the desk top",
        "called equal",
        "early level",
    ):
        assert part in words, part


def test_same_sweep_gives_the_same_bytes(tmp_path):
    sweep, _, findings = one_field()
    first, second = (draw_sweep_line(sweep, findings, tmp_path / f"{n}.png").read_bytes() for n in range(2))
    assert first == second


def test_impossible_settings_are_told_with_their_reason():
    sweep, _, findings = with_impossible()
    assert (sweep.state == IMPOSSIBLE).any() and (sweep.state == DONE).any()
    words = words_of(line_figure(sweep, findings))
    assert "impossible about" in words and "goes through the desk top" in words
    assert "check the sizes" not in words  # the remedy is for the screen


def test_no_possible_layout_is_no_picture():
    sweep, _, findings = one_field()
    with pytest.raises(ValueError, match="no layout of the sweep is possible"):
        line_figure(sweep, replace(findings, best=-1))


def test_line_runs_through_the_best_in_order_of_values():
    sweep, _, findings = two_fields()
    for axis in range(2):
        line = line_through(sweep, axis)
        values = [sweep.plan.values(int(point)) for point in line]
        assert [one[axis] for one in values] == sorted(sweep.plan.axes[axis].values.tolist())
        assert findings.best in line.tolist()
        assert len({one[1 - axis] for one in values}) == 1


def test_curves_are_the_figures_and_few():
    sweep, _, _ = one_field()
    line = line_through(sweep, 0)
    curves, (left_out, most) = surface_curves(sweep, line)
    assert len(curves) <= MOST_CURVES
    top = next(curve for curve in curves if curve.words.startswith("desk top"))
    f = sweep.plan.surfaces.index("desk top")
    reported = sweep.figures.worst_db[line][:, 0, f]
    there = np.isfinite(reported)
    assert np.array_equal(np.isfinite(top.level_db), there) and there.any() and not there.all()
    assert np.allclose(top.level_db[there], reported[there])
    assert most <= min(np.nanmax(curve.level_db) for curve in curves)
    assert left_out not in " ".join(curve.words for curve in curves) or not left_out
    assert "L and R" in early_curves(sweep, line)[0].words


def test_lopsided_loudspeakers_have_curves_of_their_own():
    sweep, _, _ = one_field()
    figures = replace(sweep.figures, early_db=sweep.figures.early_db + np.array([0.0, 1.0]))
    left, right = early_curves(replace(sweep, figures=figures), line_through(sweep, 0))
    assert (left.words, right.words) == ("L: left", "R: right")
    assert left.line != right.line and left.marker != right.marker
    assert np.allclose(right.level_db - left.level_db, 1.0)


def test_best_stretches_hold_exactly_the_settings_called_equal():
    sweep, _, _ = one_field()
    line = line_through(sweep, 0)
    values = np.sort(sweep.plan.axes[0].values)
    merit = merit_db(sweep)[line]
    spans = best_spans(sweep, line, values)
    inside = [any(low - 1e-9 <= value <= high + 1e-9 for low, high in spans) for value in values]
    assert inside == (merit <= np.nanmin(merit) + 0.5).tolist()


def test_impossible_stretches_end_half_way_to_what_is_possible():
    sweep, _, _ = with_impossible()
    line = line_through(sweep, 0)
    values = np.sort(sweep.plan.axes[0].values)
    for low, high, reason in impossible_spans(sweep, line, values):
        inside = [(low < value < high) or value in (low, high) for value in values]
        assert inside == [state == IMPOSSIBLE for state in sweep.state[line]]
        assert reason.startswith("the cabinet of")


def test_thresholds_at_one_setting_are_one_event():
    one = Threshold(0, 1.00, 1.02, True, "left", "woofer", "desk top", -5.0)
    other = replace(one, loudspeaker="right", low=1.01, high=1.03)
    far = replace(one, low=3.0, high=3.02)
    leaves = replace(one, appears=False, surface="ceiling")
    reported = [event.words for event in events([far, one, other, leaves, replace(one, axis=1)], 0, DEGREES)]
    assert sorted(reported) == sorted(
        [
            "woofer of left and right appears on the desk top",
            "woofer of left leaves the ceiling",
            "woofer of left appears on the desk top",
        ]
    )


@pytest.mark.parametrize("wanted", [[0.0, 0.0, 0.0], [5.0, 9.5, 10.0], [0.0, 5.0, 10.0], [10.0, 10.0, 10.0]])
def test_labels_keep_their_order_and_their_distance(wanted):
    rows = spread(np.array(wanted), [2.0, 2.0, 3.0], 0.0, 10.0)
    assert rows[1] - rows[0] >= 2.0 - 1e-12 and rows[2] - rows[1] >= 2.5 - 1e-12
    assert rows[-1] <= 10.0 and rows[0] >= 0.0
    assert np.allclose(spread(np.array([1.0, 4.0, 9.0]), [2.0, 2.0, 2.0], 0.0, 10.0), [1.0, 4.0, 9.0])


def test_small_parts():
    assert runs(np.array([True, True, False, True])) == [(0, 1), (3, 3)] and runs(np.array([False])) == []
    assert ends_between(np.array([0.0, 1.0, 3.0]), 1, 1) == (0.5, 2.0)
    assert ends_between(np.array([0.0, 1.0, 3.0]), 0, 2) == (0.0, 3.0)
    reported = short_reason('loudspeakers[0].acoustic_axis: the cabinet of "left" is out; move it.')
    assert reported == 'the cabinet of "left" is out'
    assert plain(DEGREES, -4.0) == "−4 degrees" and fine(DEGREES, -4.04) == "−4.0 degrees"
    assert fine(Axis("desk.depth", "", "cm", np.ones(1)), 0.74349) == "74.3 cm"
    for depth in ("12 cm", "less than 0.5 cm", "4 3/4 in", "1/4 in"):  # settings that differ by that only are one
        found = f'loudspeakers[0].acoustic_axis: the cabinet of "left" goes through the desk top by {depth}; move it.'
        assert short_reason(found) == 'the cabinet of "left" goes through the desk top'
