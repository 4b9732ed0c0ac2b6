"""The maps of a sweep of two fields."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sim.layouts.records import IMPOSSIBLE, OPEN, merit_db
from sim.studies.sweep.map_picture import (
    Grid,
    cell_edges,
    classes,
    corner_of,
    draw_sweep_map,
    grid_of,
    map_axes,
    outline,
    sheets,
    sweep_map_figure,
)
from tests.showing.drawn_words import faults, words_of
from tests.studies.sweep.swept_table import one_field, side_by_side, three_fields, two_fields


def test_every_word_can_be_read_and_limits_are_told():
    sweep, _, findings = two_fields()
    figure = sweep_map_figure(sweep, findings)
    assert faults(figure) == []
    words = words_of(figure)
    for part in (
        "left.height, m",
        "left.tilt, degrees",
        "dB over the target",
        "which changes most",
        "needs a strap",
        "−15 degrees and 15 degrees",
    ):
        assert part in words, part


def test_of_three_fields_two_are_shown_and_the_third_is_told():
    sweep, _, findings = three_fields()
    assert map_axes(sweep) == (1, 2)
    figure = sweep_map_figure(sweep, findings)
    assert faults(figure) == []
    height = sweep.plan.values(findings.best)[0]
    assert f"at the best ear.up = {height:g} m" in words_of(figure)


def test_impossible_cells_have_their_reason(tmp_path):
    sweep, _, findings = two_fields()
    state, reasons = sweep.state.copy(), dict(sweep.reasons)
    other = next(n for n in range(len(state)) if n != findings.best)
    state[other], reasons[other] = IMPOSSIBLE, "loudspeakers[0]: the box is in the wall; move it."
    state[(other + 2) % len(state)] = OPEN
    words = words_of(sweep_map_figure(replace(sweep, state=state, reasons=reasons), findings))
    assert "impossible: the box is in the wall (1 settings)" in words and "not worked out yet" in words
    assert draw_sweep_map(sweep, findings, tmp_path / "sweep_map.png").stat().st_size > 10_000


@pytest.mark.parametrize("sweeps", [one_field, side_by_side])
def test_a_map_needs_a_grid(sweeps):
    sweep, _, findings = sweeps()
    with pytest.raises(ValueError, match="a map needs two fields"):
        sweep_map_figure(sweep, findings)


def test_cells_are_where_their_values_are():
    sweep, _, findings = three_fields()
    for across, upward in ((1, 2), (2, 1), (0, 2)):
        grid = grid_of(sweep, across, upward)
        fixed = ({0, 1, 2} - {across, upward}).pop()
        for (row, column), point in np.ndenumerate(grid.points):
            values = sweep.plan.values(int(point))
            assert (values[across], values[upward]) == (grid.across[column], grid.upward[row])
            assert values[fixed] == sweep.plan.values(findings.best)[fixed]
        assert (np.diff(grid.across) > 0).all() and (np.diff(grid.upward) > 0).all()


def test_panels_show_the_figures():
    sweep, _, _ = two_fields()
    early, over, worst = sheets(sweep)
    assert np.array_equal(early.level_db, merit_db(sweep))
    assert np.allclose(over.level_db, sweep.figures.over_target_db.max(axis=1))
    name = worst.title.split(",")[0]
    floor = sweep.plan.target.level_db - 12.0
    changes = np.ptp(np.maximum(sweep.figures.worst_db.max(axis=1), floor), axis=0)
    assert sweep.plan.surfaces.index(name) == np.argmax(changes)


@given(st.lists(st.floats(-100.0, 100.0), min_size=2, max_size=12, unique_by=lambda value: round(value, 3)))
def test_every_value_lies_in_its_own_cell(values):
    middles = np.sort(np.array(values))
    edges = cell_edges(middles)
    assert len(edges) == len(middles) + 1
    assert (edges[:-1] < middles).all() and (middles < edges[1:]).all()


@given(st.lists(st.lists(st.booleans(), min_size=3, max_size=3), min_size=2, max_size=5))
def test_outline_is_what_lies_between_inside_and_outside(rows):
    inside = np.array(rows)
    x, y = np.arange(inside.shape[1] + 1.0), np.arange(inside.shape[0] + 1.0)
    drawn = {tuple(map(tuple, segment)) for segment in outline(inside, x, y)}
    expected = set()
    for row in range(inside.shape[0]):
        for column in range(inside.shape[1]):
            if not inside[row, column]:
                continue
            around = {
                (row, column - 1): ((column, row), (column, row + 1)),
                (row, column + 1): ((column + 1, row), (column + 1, row + 1)),
                (row - 1, column): ((column, row), (column + 1, row)),
                (row + 1, column): ((column, row + 1), (column + 1, row + 1)),
            }
            for (r, c), segment in around.items():
                there = 0 <= r < inside.shape[0] and 0 <= c < inside.shape[1] and inside[r, c]
                if not there:
                    expected.add(segment)
    assert drawn == expected


@pytest.mark.parametrize("levels", [[-3.2, 4.1], [0.0, 0.0], [-0.3, -0.1], [-60.0, 20.0], [-200.0, -5.0]])
def test_classes_are_round_and_hold_every_level(levels):
    edges, colours = classes(np.array([*levels, np.nan]))
    heard = [level for level in levels if level > -200.0]
    assert edges[0] <= min(heard) and edges[-1] > max(heard)
    assert 1 <= len(edges) - 1 <= 10 and len(edges) - 1 == colours.N
    assert np.allclose(np.round(edges * 4.0), edges * 4.0)


def test_marks_stand_at_corners_and_leave_numbers_free() -> None:
    """The best stands at the upper right corner of its cell, the scene as it is at the upper left of its own."""
    grid = Grid((0, 1), np.arange(6).reshape(2, 3), np.array([1.0, 2.0, 3.0]), np.array([10.0, 20.0]))
    assert corner_of(grid, [2.0, 10.0], right=True) == [2.5, 15.0]
    assert corner_of(grid, [2.0, 20.0], right=False) == [1.5, 25.0]
    assert corner_of(grid, [3.0, 20.0], right=True) == [3.5, 25.0]
