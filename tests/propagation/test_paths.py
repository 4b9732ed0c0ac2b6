"""What counts as fragile."""

from __future__ import annotations

import numpy as np
import pytest

from sim.propagation.paths import FRAGILE_M, Candidate


def candidate(status: str, rim_m: float, shade_m: float = float("nan")) -> Candidate:
    return Candidate(
        "left",
        "tweeter",
        0,
        3,
        "desk top",
        "desk",
        status,
        np.zeros(3),
        rim_m,
        "screen" if status == "blocked" else "",
        shade_m,
        1.0,
        -3.0,
    )


@pytest.mark.parametrize(
    ("one", "fragile"),
    [
        (candidate("reaches", 0.04), True),
        (candidate("reaches", 0.06), False),
        (candidate("misses", -0.04), True),
        (candidate("misses", -0.06), False),
        (candidate("blocked", 0.30, 0.03), True),
        (candidate("blocked", 0.30, 0.30), False),
        # deep in shade nothing is near, however near the rim
        (candidate("blocked", 0.01, 0.30), False),
    ],
)
def test_fragile_is_within_five_centimetres_of_the_other_answer(one: Candidate, fragile: bool) -> None:
    assert FRAGILE_M == 0.05
    assert one.fragile is fragile
