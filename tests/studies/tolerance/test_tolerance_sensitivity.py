from __future__ import annotations

import numpy as np
import pytest

from sim.studies.tolerance.advice import variance_fractions
from sim.studies.tolerance.tolerance import draw
from sim.studies.tolerance.uncertainties import Uncertainty


def uncertainties(count: int) -> tuple[Uncertainty, ...]:
    """Normal and even ones in turn, of different sizes."""
    kinds = ("tape", "head")
    return tuple(Uncertainty(f"doubt {n}", f"doubt {n}", kinds[n % 2], 0.01 * (n + 1)) for n in range(count))


def standardised(count: int, samples: int, seed: int = 1) -> np.ndarray:
    made = uncertainties(count)
    return draw(made, samples, seed) / np.array([one.standard_deviation for one in made])


def test_fractions_of_a_sum_are_those_of_its_terms() -> None:
    """y = sum a_i x_i has S_i = a_i^2/sum a^2 (Saltelli et al., Global Sensitivity Analysis, 2008)."""
    x = standardised(6, 512)
    weights = np.array([3.0, -2.0, 1.0, 0.5, 0.0, 0.0])
    found = variance_fractions(x, x @ weights + 7.0)
    assert found.fraction == pytest.approx(weights**2 / (weights**2).sum(), abs=0.02)
    assert found.fraction.sum() == pytest.approx(1.0, abs=0.02)
    assert found.explained == pytest.approx(1.0)
    assert found.slope == pytest.approx(weights * x.std(axis=0))


def test_what_a_line_cannot_tell_is_missing() -> None:
    """y = x1 + c (x2^2 - 1) with a normal x2 has variances 1 and 2 c^2, and only the first is linear."""
    x = standardised(4, 4096)
    found = variance_fractions(x, x[:, 0] + 0.5 * x[:, 2] ** 2)
    assert found.fraction[0] == pytest.approx(1.0 / 1.5, abs=0.03)
    assert found.fraction[2] == pytest.approx(0.0, abs=0.01)
    assert found.explained == pytest.approx(1.0 / 1.5, abs=0.03)


def test_idle_doubts_do_not_add_up_to_anything() -> None:
    x = standardised(41, 256)
    noise = np.random.default_rng(4).normal(size=256)
    found = variance_fractions(x, x[:, 0] + noise)
    assert found.fraction[0] == pytest.approx(0.5, abs=0.1)
    assert found.fraction[1:].sum() < 0.15
    assert found.fraction[1:].max() < 0.05


def test_few_samples_still_figures_and_missing_samples() -> None:
    x = standardised(6, 64)
    assert np.isnan(variance_fractions(x[:12], x[:12, 0]).fraction).all()
    assert variance_fractions(x, np.full(64, 3.0)).fraction.tolist() == [0.0] * 6
    gone = np.where(np.arange(64) % 4 == 0, np.nan, 2.0 * x[:, 1])
    assert variance_fractions(x, gone).fraction[1] == pytest.approx(1.0, abs=1e-6)


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_no_tape_reading_is_blamed_for_where_the_head_is(seed: int) -> None:
    """As many doubts as a control room has; the figure knows of the head alone, in steps that no line can tell."""
    kinds = ["tape"] * 48 + ["placement"] * 4 + ["head"] * 3 + ["material"] * 5 + ["directivity"] * 2
    many = tuple(Uncertainty(f"{kind} {n}", kind, kind, 1.0) for n, kind in enumerate(kinds))
    x = draw(many, 256, seed)
    for low, high in ((-0.2, 0.3), (0.2, 2.0), (-0.5, 0.1), (0.4, 0.7)):
        head = x[:, 52]
        fractions = variance_fractions(x, np.asarray((head > low) & (head < high), dtype=np.float64)).fraction
        assert np.delete(fractions, [52, 53, 54]).max() < 0.06
