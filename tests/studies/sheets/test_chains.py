from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sim.studies.sheets.dimensions import Edges, chain, chains, rows_of, through

BOUNDS = np.array([[0.0, 0.0], [5.0, 2.5]])
spans = st.tuples(st.floats(0.0, 4.0), st.floats(0.05, 1.0)).map(lambda pair: (pair[0], pair[0] + pair[1]))


@given(st.lists(spans, min_size=1, max_size=6))
def test_every_edge_is_a_stop_and_every_row_goes_from_end_to_end(things: list[tuple[float, float]]) -> None:
    rows = rows_of([Edges((0.0, 5.0), tuple(things))])
    for row in rows:
        assert row[0] == 0.0 and row[-1] == 5.0
        assert all(b > a for a, b in pairwise(row))
    for thing in things:
        assert any(all(min(abs(stop - edge) for stop in row) < 6e-4 for edge in thing) for row in rows)


@given(st.lists(spans, min_size=1, max_size=6))
def test_no_row_has_an_edge_inside_a_thing_it_measures(things: list[tuple[float, float]]) -> None:
    """A carpenter reads the width of a panel as one number: nothing else may cut it in the row it stands in."""
    rows = rows_of([Edges((0.0, 5.0), tuple(things))])
    for low, high in things:
        whole = [row for row in rows for a, b in pairwise(row) if abs(a - low) < 1e-3 > abs(b - high)]
        assert whole or high - low < 1e-3


def test_equal_things_are_measured_once_and_neighbours_share_a_row() -> None:
    rows = rows_of([Edges((0.0, 5.0), ((1.0, 2.0), (1.0, 2.0), (2.0, 3.0)))])
    assert rows == [[0.0, 1.0, 2.0, 3.0, 5.0]]


def test_dimensions_say_what_lies_between_their_points() -> None:
    made = chain([0.0, 0.69, 1.29, 5.0], "left", 2, BOUNDS, "m")
    assert [one.label for one in made] == ["690", "600", "3710"]
    for one in made:
        assert np.linalg.norm(one.end - one.start) == pytest.approx(one.value_m, abs=1e-12)
        assert one.start[0] == one.end[0] == 0.0
    assert {one.row for one in made} == {2}


def test_rows_count_outward() -> None:
    made, free = chains([Edges((0.0, 5.0), ((1.0, 2.0), (1.5, 3.0)))], "below", 1, BOUNDS, "m")
    assert free == 3
    assert {one.row for one in made} == {1, 2}
    assert all(one.start[1] == 0.0 for one in made)


def test_points_make_stops() -> None:
    assert through([2.0, 1.0, 2.0], (0.0, 5.0)) == [0.0, 1.0, 2.0, 5.0]
