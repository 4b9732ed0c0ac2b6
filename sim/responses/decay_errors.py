"""Statistical errors of figures that are read from a mean of independent batches: the jackknife.

A figure is a curved function of the mean energy, so its error is not the mean of errors.  Leave out each batch in turn,
read the figure from the mean of the others, and take sqrt((n - 1)/n sum of (f_i - mean f)^2): the standard error of f
(Tukey 1958; Efron, The Jackknife, the Bootstrap and Other Resampling Plans, SIAM 1982).  It is itself uncertain by a
share of about 1/sqrt(2 (n - 1)): a fifth for 16 batches.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from ..arrays import FloatArray

FEWEST = 3
"""With fewer batches there is no error to speak of."""


def left_out_means(batches: FloatArray) -> FloatArray:
    """Means (n, ...) of all batches (n, ...) but one, in turn."""
    n = len(batches)
    return np.asarray((batches.sum(axis=0) - batches) / (n - 1))


def jackknife(batches: FloatArray, read: Callable[[FloatArray], FloatArray]) -> tuple[FloatArray, FloatArray]:
    """Figures read from the mean of batches (n, ...), and their standard errors.

    `read` takes energies with a leading axis (m, ...) and gives figures (m, ...).  An error is not a number where
    the figure is none in the mean or with any one batch left out.  Raises ValueError for fewer than three batches.
    """
    n = len(batches)
    if n < FEWEST:
        raise ValueError(f"{n} batches; an error needs at least {FEWEST}")
    found = read(batches.mean(axis=0)[None])[0]
    return found, spread_of(read(left_out_means(batches)))


def spread_of(without: FloatArray) -> FloatArray:
    """Standard error of a figure from its values (n, ...) with each batch left out in turn."""
    n = len(without)
    off = without - without.mean(axis=0)
    return np.asarray(np.sqrt((n - 1) / n * (off**2).sum(axis=0)))
