"""Which doubt makes a figure uncertain: shares of its variance, by linear regression.

First-order index of doubt i: S_i = (b_i sigma_i)^2/Var(y), with b_i the slope of a linear fit of the figure y over all
doubts at once (standardised regression coefficients squared; Saltelli et al., Global Sensitivity Analysis, 2008).  For
a figure that is linear in its doubts the shares are exact and add up to 1.  What is missing from 1 is bends, steps and
interplay of doubts.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from ..arrays import FloatArray, frozen

SAMPLES_PER_DOUBT: Final = 2.0
"""With fewer samples for each doubt a fit explains chance."""


@dataclass(frozen=True, slots=True)
class Shares:
    """Shares of the variance of one figure.

    Attributes
    ----------
    share
        (doubt,) first-order index; nan when there are too few samples, zero when the figure does not vary.
    slope
        (doubt,) change of the figure for one standard deviation of the doubt.
    explained
        Share of the variance that a linear fit explains.
    """

    share: FloatArray
    slope: FloatArray
    explained: float


def variance_shares(draws: FloatArray, figure: FloatArray) -> Shares:
    """Shares of the variance of `figure` (n,) that each column of `draws` (n, doubt) makes; samples of nan left out."""
    there = np.isfinite(figure)
    x, y = draws[there], figure[there]
    n, doubts = x.shape
    if n < SAMPLES_PER_DOUBT * (doubts + 1):
        missing = np.full(doubts, np.nan)
        return Shares(frozen(missing), frozen(missing), float("nan"))
    x = x - x.mean(axis=0)
    deviation = x.std(axis=0)
    x = x / np.where(deviation > 0.0, deviation, 1.0)
    y = y - y.mean()
    variance = float(np.mean(y**2))
    if variance <= 1e-24:
        return Shares(frozen(np.zeros(doubts)), frozen(np.zeros(doubts)), 1.0)
    slope = np.linalg.lstsq(x, y, rcond=None)[0]
    unexplained = float(np.mean((y - x @ slope) ** 2))
    # a slope that is chance has this expected square; it is taken off, so that 40 idle doubts do not add up
    chance = unexplained / max(n - doubts - 1, 1)
    power = np.maximum(slope**2 - chance, 0.0)
    # doubts are independent, so that their variances add up, which those of a few samples do only nearly
    whole = float(power.sum()) + unexplained
    return Shares(frozen(power / whole), frozen(slope), float(power.sum()) / whole)
