"""Outlines balanced from tape distances: against closed forms, a slow twin, and quadrilaterals that are known."""

from __future__ import annotations

import math
from itertools import combinations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sim.arrays import FloatArray
from sim.errors import SceneError
from sim.surveying.tape.balance import CRITICAL, Balance, balanced, open_pair, square_without
from sim.surveying.tape.equations import TAPE_ERROR_M, Distance, Floor

SQUARE = np.array([[0.0, 0.0], [0.0, 4.0], [4.0, 4.0], [4.0, 0.0]])
L_SHAPE = np.array([[0.0, 0.0], [0.0, 4.0], [3.5, 4.0], [3.5, 2.8], [5.0, 2.8], [5.0, 0.0]])
"""Clockwise from above: from_front, from_left. Corner 3 juts in."""
FOUR = list(combinations(range(4), 2))


def read(corners: FloatArray, pairs: list[tuple[int, int]], wrong: dict[int, float] | None = None) -> list[Distance]:
    """Noise-free readings, some of them off by so much."""
    return [
        Distance(a, b, math.dist(corners[a], corners[b]) + (wrong or {}).get(index, 0.0))
        for index, (a, b) in enumerate(pairs)
    ]


def walls(count: int) -> list[tuple[int, int]]:
    return [(corner, (corner + 1) % count) for corner in range(count)]


def between(balance: Balance) -> FloatArray:
    """Distances between the balanced corners, in the order of the readings."""
    ends = [(one.start, one.end) for one in balance.distances]
    return np.array([math.dist(balance.corners_m[a], balance.corners_m[b]) for a, b in ends])


# Closed forms.


@pytest.mark.parametrize("off_m", [0.004, -0.04, 0.08])
def test_a_wrong_diagonal_of_a_square_is_shared_as_the_condition_equation_says(off_m: float) -> None:
    """Worked by hand: six distances of a square of side a obey one condition to first order.

    Its coefficients are those of a self-stress, a for each side and -a sqrt(2) for each diagonal; residuals are the
    misclosure shared in their ratio (conditioned adjustment, Ghilani, "Adjustment Computations"): a quarter to each
    diagonal, and sqrt(2) / 8 to each side.
    """
    made = balanced(Floor(4), read(SQUARE, FOUR, {1: off_m}))  # (0, 2) is a diagonal
    assert made.redundancy == 1
    by_hand = [math.sqrt(2.0) / 8.0, -0.25, math.sqrt(2.0) / 8.0, math.sqrt(2.0) / 8.0, -0.25, math.sqrt(2.0) / 8.0]
    assert made.misfit_m == pytest.approx(off_m * np.array(by_hand), abs=0.02 * abs(off_m) * abs(off_m) / 0.04 + 1e-9)
    standard = np.abs(made.standardised)
    assert standard == pytest.approx(np.full(6, abs(off_m) / TAPE_ERROR_M * 0.5), rel=0.02)


def test_opposite_walls_of_a_box_are_evened_out() -> None:
    made = balanced(Floor(4), [Distance(0, 1, 4.0), Distance(1, 2, 5.0), Distance(2, 3, 4.01), Distance(3, 0, 5.0)])
    assert made.held == (0, 1, 2, 3)
    assert made.misfit_m == pytest.approx([0.005, 0.0, -0.005, 0.0], abs=1e-6)
    assert made.corners_m[1] == pytest.approx([0.0, 4.005], abs=1e-6)


def test_what_an_l_does_not_close_by_is_shared_among_its_three_walls() -> None:
    made = balanced(Floor(6, frozenset({3})), read(L_SHAPE, walls(6), {0: 0.03}))
    assert made.misfit_m == pytest.approx([-0.01, 0.0, 0.01, 0.0, 0.01, 0.0], abs=1e-5)
    assert set(made.suspects) == {0, 2, 4}, "which of the three is wrong nothing tells"


def test_walls_nobody_measured_follow_from_square_corners() -> None:
    made = balanced(Floor(6, frozenset({3})), read(L_SHAPE, walls(6)[:4]))
    assert made.corners_m == pytest.approx(L_SHAPE, abs=1e-6)
    assert made.redundancy == 1  # nine distances and angles are needed; the sixth square corner is one too many


def test_a_triangle_has_no_square_corners_to_lean_on() -> None:
    made = balanced(Floor(3), [Distance(0, 1, 3.0), Distance(1, 2, 4.0), Distance(2, 0, 5.0)])
    assert made.angles_deg == pytest.approx([math.degrees(math.asin(0.8)), 90.0, math.degrees(math.asin(0.6))])
    assert made.held == () and made.redundancy == 0 and np.isnan(made.standardised).all()
    with pytest.raises(SceneError, match="measure the distance AC as well"):
        balanced(Floor(3), [Distance(0, 1, 3.0), Distance(1, 2, 4.0)])


# A slow twin.


def slowly(corners: FloatArray, distances: list[Distance]) -> float:
    """The least sum of squared misfits, found by trying small steps of every corner, smaller and smaller."""

    def cost(places: FloatArray) -> float:
        return sum((math.dist(places[one.start], places[one.end]) - one.metres) ** 2 for one in distances)

    best, step = np.array(corners), 0.02
    least = cost(best)
    while step > 1e-7:
        improved = False
        for corner in range(len(best)):
            for axis in (0, 1):
                for sign in (-1.0, 1.0):
                    tried = best.copy()
                    tried[corner, axis] += sign * step
                    if (found := cost(tried)) < least:
                        best, least, improved = tried, found, True
        step *= 1.0 if improved else 0.5
    return least


@pytest.mark.parametrize("seed", range(4))
def test_the_balance_is_the_least_of_all_sums_of_squares(seed: int) -> None:
    generator = np.random.default_rng(seed)
    corners = SQUARE * [1.2, 0.9] + generator.normal(0.0, 0.2, (4, 2))
    distances = [Distance(one.start, one.end, one.metres + generator.normal(0.0, 0.01)) for one in read(corners, FOUR)]
    made = balanced(Floor(4), distances)
    assert float(np.sum(made.misfit_m**2)) == pytest.approx(slowly(corners, distances), rel=1e-3, abs=1e-12)
    assert between(made) - made.misfit_m == pytest.approx([one.metres for one in distances], abs=1e-9)


def test_standardised_residuals_of_sound_readings_are_as_often_large_as_chance_has_it() -> None:
    """They are normal with a spread of one when readings are off by the error of a tape (Baarda 1968)."""
    generator = np.random.default_rng(7)
    pairs = list(combinations(range(5), 2))
    corners = np.array([[0.0, 0.0], [0.0, 4.0], [2.5, 4.8], [4.6, 2.6], [4.0, -0.4]])
    true = read(corners, pairs)
    found = [
        balanced(
            Floor(5),
            [Distance(one.start, one.end, one.metres + generator.normal(0.0, TAPE_ERROR_M)) for one in true],
        ).standardised
        for _ in range(60)
    ]
    assert float(np.std(found)) == pytest.approx(1.0, abs=0.08)


# Quadrilaterals that are known.

QUADS = st.tuples(
    st.floats(3.0, 4.0), st.floats(3.0, 4.0), st.lists(st.floats(-0.25, 0.25), min_size=8, max_size=8)
).map(lambda one: np.array([[0, 0], [0, one[0]], [one[1], one[0]], [one[1], 0]]) + np.reshape(one[2], (4, 2)))


@settings(max_examples=40, deadline=None)
@given(corners=QUADS)
def test_a_true_quadrilateral_has_no_misfit_and_is_found(corners: FloatArray) -> None:
    made = balanced(Floor(4), read(corners, FOUR))
    assert np.abs(made.misfit_m).max() < 1e-7
    assert made.fits and made.suspects == () and made.redundancy == 1
    assert between(made) == pytest.approx([math.dist(corners[a], corners[b]) for a, b in FOUR], abs=1e-7)
    assert made.corners_m.min(axis=0) == pytest.approx([0.0, 0.0])
    assert made.corners_m[0, 0] == pytest.approx(made.corners_m[1, 0]), "the front wall runs straight across"
    assert made.corners_m[0, 1] < made.corners_m[1, 1], "A is its left end"


@settings(max_examples=25, deadline=None)
@given(corners=QUADS, wrong=st.integers(0, 11), off_m=st.sampled_from([-0.10, 0.10]))
def test_a_reading_off_by_10_cm_is_named_when_every_distance_was_read_twice(
    corners: FloatArray, wrong: int, off_m: float
) -> None:
    made = balanced(Floor(4), read(corners, FOUR * 2, {wrong: off_m}))
    assert made.suspects == (wrong,)
    a, b = (FOUR * 2)[wrong]
    assert made.fitting_m[wrong] == pytest.approx(math.dist(corners[a], corners[b]), abs=1e-6)


@settings(max_examples=20, deadline=None)
@given(corners=QUADS, wrong=st.integers(0, 5), off_m=st.sampled_from([-0.10, 0.10]))
def test_six_readings_cannot_tell_which_is_wrong_and_none_is_named(
    corners: FloatArray, wrong: int, off_m: float
) -> None:
    """With one condition all standardised residuals are equal, whichever reading is wrong."""
    made = balanced(Floor(4), read(corners, FOUR, {wrong: off_m}))
    assert np.abs(made.standardised) == pytest.approx(np.full(6, abs(made.standardised[0])), rel=1e-6)
    assert not made.fits and set(made.suspects) == set(range(6))


def test_a_pentagon_with_all_diagonals_names_the_wrong_one_or_who_looks_alike() -> None:
    corners = np.array([[0.0, 0.0], [0.0, 4.0], [2.5, 4.8], [4.6, 2.6], [4.0, -0.4]])
    pairs = list(combinations(range(5), 2))
    named = 0
    for wrong in range(10):
        made = balanced(Floor(5), read(corners, pairs, {wrong: 0.1}))
        assert made.suspects[0] == wrong
        assert abs(made.standardised[wrong]) > CRITICAL
        named += len(made.suspects) == 1
    assert named == 10


# What squareness tells, and what cannot be.


def test_the_diagonal_without_which_all_corners_are_square_is_found() -> None:
    made = balanced(Floor(4), read(SQUARE, FOUR, {4: -0.06}))
    assert square_without(made) == 4
    assert made.fitting_m[4] == pytest.approx(4.0 * math.sqrt(2.0), abs=1e-6)
    assert square_without(balanced(Floor(4), read(SQUARE, FOUR))) is None


@pytest.mark.parametrize(
    ("floor", "pairs", "wanted"),
    [
        (Floor(4), walls(4)[:1], (1, 2)),
        (Floor(4, skew=frozenset({0, 1, 2, 3})), walls(4), (0, 2)),
        (Floor(6, frozenset({3})), walls(6)[:3], (3, 4)),
        (Floor(4), FOUR, None),
    ],
)
def test_which_distance_settles_an_open_shape(
    floor: Floor, pairs: list[tuple[int, int]], wanted: tuple[int, int] | None
) -> None:
    corners = L_SHAPE if floor.count == 6 else SQUARE
    assert open_pair(floor, read(corners, pairs)) == wanted
    if wanted is not None:
        with pytest.raises(SceneError, match="leave the shape of the floor open; measure the distance"):
            balanced(floor, read(corners, pairs))


@pytest.mark.parametrize(
    ("wrong", "sentence"),
    [
        ({2: 30.0}, "AD is 34.00 m, longer than"),
        ({1: -0.7}, "they miss each other by"),
    ],
)
def test_readings_of_no_room_are_refused_in_a_sentence(wrong: dict[int, float], sentence: str) -> None:
    with pytest.raises(SceneError) as fault:
        balanced(Floor(4), read(SQUARE, FOUR, wrong))
    assert sentence in str(fault.value) and "\n" not in str(fault.value)
