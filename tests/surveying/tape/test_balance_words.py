"""What is said of a balance: how well readings fit, what the diagonals tell, which reading to measure again."""

from __future__ import annotations

import math

import pytest

from sim.surveying.tape.balance import Balance, balanced
from sim.surveying.tape.balance_words import balance_lines, reading_names
from sim.surveying.tape.equations import Distance, Floor

WALLS = ((0, 1), (1, 2), (2, 3), (3, 0))


def room(first: float, second: float, wide: float = 3.0, deep: float = 4.0) -> Balance:
    """A rectangle by four walls and two diagonals."""
    sizes = [wide, deep, wide, deep]
    walls = [Distance(a, b, size) for (a, b), size in zip(WALLS, sizes, strict=True)]
    return balanced(Floor(4), [*walls, Distance(0, 2, first), Distance(1, 3, second)])


def test_a_true_rectangle_fits_exactly_and_is_square() -> None:
    assert balance_lines(room(5.0, 5.0), "m") == [
        "The six readings fit together exactly.",
        "All corners are square to half a degree.",
    ]


def test_diagonals_that_differ_while_all_agrees_are_a_room_that_is_not_square() -> None:
    """A parallelogram: the squares of its diagonals add up to those of its four sides (Euclid, Elements II)."""
    long = 5.08
    short = math.sqrt(2.0 * (9.0 + 16.0) - long**2)
    lines = balance_lines(room(long, short), "m")
    assert lines[0] == "The two diagonals differ by 16 cm: the corners are not square, and all readings agree on that."
    assert lines[1] == "The six readings fit together exactly."
    angle = math.degrees(math.acos((9.0 + 16.0 - short**2) / 24.0))
    assert lines[2].startswith("Angles of corners that are not square, in degrees: ")
    assert f"A {angle:.1f}" in lines[2] and f"B {180.0 - angle:.1f}" in lines[2]


def test_diagonals_that_differ_by_4_cm_are_one_wrong_or_no_square_corner() -> None:
    lines = balance_lines(room(4.96, 5.0), "m")
    assert lines[0] == "The two diagonals differ by 4 cm: one is wrong, or the corners are not square."
    assert lines[1] == "The six readings do not fit together. What balancing them changes:"
    assert len([line for line in lines if line.startswith("  ")]) == 6, "the misfit of each reading"
    assert "  AC 4.96 m: +10 mm; all others together say 5.00 m" in lines
    assert "Any one of them may be wrong: a single check cannot tell which." in lines[8]
    assert "If the corners are square it is AC: with 5.00 m all four would be." in lines


def test_a_tape_in_inches_is_told_in_feet_and_inches() -> None:
    lines = balance_lines(room(4.96, 5.0), "in")
    assert lines[0].startswith("The two diagonals differ by 1 1/2 in: ")
    assert any(line.startswith("  AB 9 ft 10 in: ") for line in lines)
    assert not any(" m" in line.replace(" mm", "") for line in lines if "may be" not in line)


def test_one_wrong_of_many_is_named_with_what_would_fit() -> None:
    pairs = [*WALLS, (0, 2), (1, 3)] * 2
    sizes = [3.0, 4.0, 3.0, 4.0, 5.0, 5.0] * 2
    sizes[2] = 3.1
    made = balanced(Floor(4), [Distance(a, b, size) for (a, b), size in zip(pairs, sizes, strict=True)])
    (named,) = (line for line in balance_lines(made, "cm") if "likely wrong" in line)
    assert named.startswith("CD is the likely wrong one (") and named.endswith("300 cm would fit. Measure it again.")


def test_without_a_check_nothing_is_claimed() -> None:
    made = balanced(Floor(4), [Distance(a, b, 3.0) for a, b in WALLS] + [Distance(0, 2, 3.0 * math.sqrt(2.0))])
    assert made.redundancy == 0
    assert balance_lines(made, "m")[0] == (
        "Nothing checks these five readings: one more distance between corners would."
    )


def test_walls_alone_say_that_square_corners_were_assumed() -> None:
    made = balanced(Floor(4), [Distance(a, b, size) for (a, b), size in zip(WALLS, (3.0, 4.0, 3.0, 4.0), strict=True)])
    assert balance_lines(made, "m")[-1] == "The corners are taken as square; diagonals would check that."
    wrong = balanced(
        Floor(4), [Distance(a, b, size) for (a, b), size in zip(WALLS, (3.0, 4.0, 3.06, 4.0), strict=True)]
    )
    (blamed,) = (line for line in balance_lines(wrong, "m") if "The wrong one is likely" in line)
    assert "AB" in blamed and "CD" in blamed and "BC" not in blamed


@pytest.mark.parametrize(("pair", "name"), [((3, 0), "DA"), ((0, 3), "AD"), ((2, 0), "AC"), ((0, 1), "AB")])
def test_walls_are_named_as_one_walks_and_diagonals_by_the_alphabet(pair: tuple[int, int], name: str) -> None:
    others = [one for one in (*WALLS, (0, 2)) if set(one) != set(pair)]
    lengths = {frozenset(one): size for one, size in zip((*WALLS, (0, 2)), (3.0, 4.0, 3.0, 4.0, 5.0), strict=True)}
    made = balanced(Floor(4), [Distance(*one, lengths[frozenset(one)]) for one in (pair, *others)])
    assert reading_names(made)[0] == name
