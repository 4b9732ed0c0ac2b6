from __future__ import annotations

import numpy as np
import pytest

from sim.studies.search.trials import ranges_of
from tests.studies.search.analytic import Analytic


def test_ranges_of_a_bowl_by_hand() -> None:
    """12 u^2 stays within 0.5 dB for |u| < sqrt(0.5/12), 1 v^2 for |v| < sqrt(0.5); ranges are 0.4 m wide."""
    one = Analytic(lambda u, v: 12.0 * (u - 0.5) ** 2 + (v - 0.2) ** 2)
    best = one.trials.tried([np.array([0.5, 0.2])])
    ((height, depth),) = ranges_of(one.trials, best)
    half = 0.4 * np.sqrt(0.5 / 12.0)
    assert (height.low, height.high) == pytest.approx((1.2 - half, 1.2 + half), abs=0.0025)
    assert (height.low_why, height.high_why) == ("worse", "worse")
    assert (depth.low, depth.low_why) == (0.4, "end")
    assert depth.high == pytest.approx(0.48 + 0.4 * np.sqrt(0.5), abs=0.0025)


def test_what_ends_a_range_is_told() -> None:
    one = Analytic(lambda u, v: 0.0, lambda u, v: max(u - 0.7, 0.0), lambda u, v: v < 0.25)
    ((height, depth),) = ranges_of(one.trials, one.trials.tried([np.array([0.5, 0.5])]))
    assert (height.low, height.low_why, height.high_why) == (1.0, "end", "limit")
    assert height.high == pytest.approx(1.28, abs=0.0025)
    assert (depth.low_why, depth.high, depth.high_why) == ("impossible", 0.8, "end")
    assert depth.low == pytest.approx(0.5, abs=0.0025)


def test_a_layout_at_an_end_has_a_range_to_the_other_side_only() -> None:
    one = Analytic(lambda u, v: 2.0 * u + 2.0 * (1.0 - v))
    ((height, depth),) = ranges_of(one.trials, one.trials.tried([np.array([0.0, 1.0])]))
    assert (height.low, height.low_why) == (1.0, "end")
    assert height.high == pytest.approx(1.1, abs=0.0025)
    assert (depth.high, depth.high_why) == (0.8, "end")
    assert depth.low == pytest.approx(0.7, abs=0.0025)
