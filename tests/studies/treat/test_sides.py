from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from sim.studies.treat.steps import left_less_right_db, side_advice


def searcher(left: float, right: float) -> Any:
    """Two loudspeakers, the right one first in the scene; early energies over two octaves whose mean is given."""
    energies = np.array([[0.5 * right, 1.5 * right], [1.5 * left, 0.5 * left]])
    placed = [SimpleNamespace(side=side) for side in ("right", "left")]
    return SimpleNamespace(
        changes=lambda groups: groups,
        reflections=SimpleNamespace(early=lambda _: energies),
        domain=SimpleNamespace(stage=SimpleNamespace(loudspeakers=placed)),
    )


def test_ten_times_the_energy_on_the_left_is_ten_decibels() -> None:
    assert left_less_right_db(searcher(1.0, 0.1), ()) == pytest.approx(10.0)
    assert left_less_right_db(searcher(0.1, 1.0), ()) == pytest.approx(-10.0)
    assert left_less_right_db(searcher(0.0, 1.0), ()) == left_less_right_db(searcher(1.0, 0.0), ()) == 0.0


def test_advice_names_the_stronger_side() -> None:
    assert "left stronger by 10.0 dB as it is" in side_advice(searcher(1.0, 0.1), (), False)[0]
    assert "right stronger by 3.0 dB as it is" in side_advice(searcher(0.5, 1.0), (), False)[0]
    assert "equal within" in side_advice(searcher(1.0, 1.0), (), False)[0]
