"""Exponential, logarithm, cosine and sine of eight numbers against NumPy's."""

from __future__ import annotations

import numba as nb
import numpy as np

from sim.rays.lane_functions import exponentials, logarithms
from sim.rays.lanes import load_doubles, square_root, store, twos_in


@nb.njit
def by_eights(x, out):  # type: ignore[no-untyped-def]
    here, there, row = x.ctypes.data, out.ctypes.data, 8 * x.shape[0]
    for at in range(0, 8 * x.shape[0], 64):
        values = load_doubles(here + at)
        store(there + at, exponentials(values))
        store(there + row + at, logarithms(values))
        store(there + 2 * row + at, square_root(values))
        store(there + 3 * row + at, twos_in(values))


def found(x: np.ndarray) -> np.ndarray:
    out = np.empty((4, len(x)))
    by_eights(x, out)
    return out


def test_exponentials_over_the_whole_range() -> None:
    x = np.concatenate([np.linspace(-700.0, 700.0, 8000), np.random.default_rng(1).normal(size=8000), np.zeros(8)])
    np.testing.assert_allclose(found(x)[0], np.exp(x), rtol=5e-16)
    assert found(np.zeros(8))[0].tolist() == [1.0] * 8


def test_logarithms_and_roots_over_the_whole_range() -> None:
    rng = np.random.default_rng(2)
    near_one = 1.0 + rng.normal(size=8000) * 10.0 ** rng.uniform(-15.0, -1.0, 8000)
    x = np.concatenate([10.0 ** np.linspace(-300.0, 300.0, 8000), near_one, np.array([1.0, 2.0, 0.5, 4.0] * 2)])
    _, logs, roots, twos = found(x)
    np.testing.assert_allclose(logs, np.log(x), rtol=5e-16, atol=1e-16)
    np.testing.assert_array_equal(roots, np.sqrt(x))
    rest = x / 2.0**twos
    assert (np.round(twos) == twos).all() and rest.min() >= 0.7071 and rest.max() <= 1.4143
    assert found(np.ones(8))[1].tolist() == [0.0] * 8
