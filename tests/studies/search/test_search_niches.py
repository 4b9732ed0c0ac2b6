from __future__ import annotations

import numpy as np
import pytest

from sim.studies.search.niches import APART, WORTH_DB, find_layouts, left_alone, same_slope
from sim.studies.search.trials import Trial
from tests.studies.search.analytic import Analytic


def valleys(u: float, v: float) -> float:
    """Two valleys: -10 dB at (0.2, 0.3) and -9 dB at (0.8, 0.7), a ridge between."""
    first = -10.0 * np.exp(-((u - 0.2) ** 2 + (v - 0.3) ** 2) / 0.03)
    second = -9.0 * np.exp(-((u - 0.8) ** 2 + (v - 0.7) ** 2) / 0.03)
    return float(first + second)


def found_in(one: Analytic, wanted: int = 4, seed: int = 1) -> list[Trial]:
    return find_layouts(one.trials, wanted, seed, [], lambda _: None)


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_both_valleys_are_found_to_the_millimetre(seed: int) -> None:
    one = Analytic(valleys)
    layouts = found_in(one, 2, seed)
    # a millimetre is 0.0025 of these ranges
    assert one.fractions(layouts[0]) == pytest.approx([0.2, 0.3], abs=0.003)
    assert one.fractions(layouts[1]) == pytest.approx([0.8, 0.7], abs=0.003)
    assert same_slope(one.trials, layouts) == [-1, -1]


def test_layouts_differ_and_are_worth_it() -> None:
    one = Analytic(lambda u, v: 8.0 * abs(u - 0.4) + 2.0 * v)
    layouts = found_in(one, 5)
    assert len(layouts) >= 3
    for number, layout in enumerate(layouts):
        assert layout.merit_db <= layouts[0].merit_db + WORTH_DB
        for other in layouts[:number]:
            assert np.abs(one.fractions(layout) - one.fractions(other)).max() >= APART - 0.003
    assert same_slope(one.trials, layouts)[1:] == [0] * (len(layouts) - 1), "one valley only: all others lie on it"


def test_a_number_that_does_not_matter_makes_no_other_layout() -> None:
    one = Analytic(lambda u, v: 8.0 * abs(u - 0.4) + 0.1 * v)
    layouts = found_in(one, 5)
    assert len(layouts) == 3, "one to either side of the best, both within 3 dB"
    heights = sorted(float(one.fractions(layout)[0]) for layout in layouts)
    assert np.diff(heights).min() >= APART - 0.003


def test_a_number_that_does_not_matter_stays_as_the_scene_has_it() -> None:
    one = Analytic(lambda u, v: 8.0 * abs(u - 0.4) + 0.01 * v)
    (best,) = found_in(one, 1)
    assert left_alone(one.trials, best, (1.3, 0.7)).values == (best.values[0], 0.7)
    assert left_alone(one.trials, best, (1.3, 0.9)) == best, "the scene's own lies outside the range"
    assert left_alone(one.trials, best, (1.3, float("nan"))) == best
    steep = Analytic(lambda u, v: 8.0 * abs(u - 0.4) + 0.4 * v)
    (best,) = found_in(steep, 1)
    assert left_alone(steep.trials, best, (1.3, 0.7)) == best, "worse by more than a trifle"


def test_where_nothing_matters_one_layout_is_all() -> None:
    assert len(found_in(Analytic(lambda u, v: 0.1 * u + 0.1 * v), 4)) == 1


def test_a_layout_beyond_a_limit_is_never_offered_and_the_best_lies_on_the_limit() -> None:
    one = Analytic(lambda u, v: -10.0 * u, lambda u, v: max(u + v - 0.8, 0.0))
    best = found_in(one, 1)[0]
    assert best.allowed
    assert one.fractions(best) == pytest.approx([0.8, 0.0], abs=0.006)


def test_the_way_out_of_what_is_impossible_is_found() -> None:
    """Nine tenths of the square are impossible."""
    one = Analytic(lambda u, v: u + v, impossible=lambda u, v: not (0.55 < u < 0.85 and 0.55 < v < 0.85))
    assert one.fractions(found_in(one, 1)[0]) == pytest.approx([0.5525, 0.5525], abs=0.006)


def test_nothing_is_found_where_nothing_is_allowed() -> None:
    assert found_in(Analytic(lambda u, v: u, lambda u, v: 1.0 + u)) == []


def test_the_same_seed_tries_the_same_layouts() -> None:
    tried = []
    for _ in range(2):
        one = Analytic(valleys)
        found_in(one, 2, 5)
        tried.append([trial.values for trial in one.trials.all])
    assert tried[0] == tried[1]
    other = Analytic(valleys)
    found_in(other, 2, 6)
    assert [trial.values for trial in other.trials.all] != tried[0]
