from __future__ import annotations

import numpy as np
import pytest

from sim.studies.decay.late import jackknife, left_out_means, spread_of
from sim.studies.decay.room_metrics import FIGURES, figures, integrate_backward
from tests.studies.decay.decaying import exponential


def test_of_a_mean_it_is_the_standard_error() -> None:
    """For a plain mean the jackknife is s/sqrt(n), exactly (Efron 1982)."""
    batches = np.random.default_rng(3).normal(2.0, 1.0, (17, 4))
    found, error = jackknife(batches, lambda mean: mean)
    assert found == pytest.approx(batches.mean(axis=0))
    assert error == pytest.approx(batches.std(axis=0, ddof=1) / np.sqrt(17))


def test_means_without_one_by_hand() -> None:
    batches = np.random.default_rng(4).normal(size=(5, 2, 3))
    for n, mean in enumerate(left_out_means(batches)):
        assert mean == pytest.approx(np.delete(batches, n, axis=0).mean(axis=0))
    assert spread_of(np.ones((4, 2))) == pytest.approx([0.0, 0.0])


def test_it_tells_the_true_spread_of_decay_figures() -> None:
    """Shot noise on an exponential: what the jackknife says of one run, against the spread of 60 other runs."""
    rng, bin_s, n = np.random.default_rng(11), 1e-3, 16
    even = exponential(0.3, bin_s, 0.45, 0.004)

    def run() -> np.ndarray:
        return rng.poisson(even * 4e4, (n, len(even))) / 4e4

    def read(energy: np.ndarray) -> np.ndarray:
        return figures(integrate_backward(energy, bin_s, 0.004, np.full(energy.shape[:-1], 0.5)))

    runs = [jackknife(run(), read) for _ in range(60)]
    for name in ("t20_s", "edt_s", "c50_db", "ts_ms", "d50"):
        place = FIGURES.index(name)
        true = np.std([found[place] for found, _ in runs], ddof=1)
        reported = np.sqrt(np.mean([error[place] ** 2 for _, error in runs]))
        assert reported == pytest.approx(true, rel=0.3), name  # 60 runs know the spread to 9 %, twice over 20 %


def test_a_figure_that_is_sometimes_none_has_no_error() -> None:
    batches = np.ones((4, 1))
    batches[2] = 5.0
    _, error = jackknife(batches, lambda mean: np.where(mean > 1.5, mean, np.nan))
    assert np.isnan(error).all()


def test_two_batches_are_too_few() -> None:
    with pytest.raises(ValueError, match="at least 3"):
        jackknife(np.ones((2, 1)), lambda mean: mean)
