"""What a tape got wrong, by least squares over measured delays, with what is known beforehand counted as data.

Each quantity is expected within its tolerance, a normal law of which the tolerance is the standard deviation.  The most
likely values of all are those of least squares over the misfits of delays over their error and over the quantities over
their tolerances (Tarantola, "Inverse Problem Theory", SIAM 2005, section 3.2); single wild delays are held down by a
soft loss (Huber, Ann. Math. Stat. 35 (1964) 73-101).  The inverse of the second derivatives there is the covariance,
and the root of its diagonal the standard error of each.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from scipy.optimize import least_squares
from scipy.stats import chi2
from scipy.stats import t as student

from sim.answers import printable
from sim.arrays import BoolArray, FloatArray, frozen
from sim.responses.readings import READING_MS

FLOOR_MS: Final = 0.5 * READING_MS
"""Standard error of reading a peak: no delay is known better, however well the others agree."""
SOFT: Final = 2.0
"""Misfits beyond so many standard errors count by their size and no longer by their square."""
TOLD_FRACTION: Final = 0.6
"""A quantity is told by the data when its error is at most this part of what was known before (our choice)."""
ROUNDS: Final = 8
NOTHING: Final = 1e-6
"""Part of its tolerance within which a quantity that is taken as given may move."""


@printable
@dataclass(frozen=True, slots=True)
class Fit:
    """How far quantities are off, and how well that is known.

    Attributes
    ----------
    off
        (q,) in the unit of each.
    covariance
        (q, q) of those.
    error
        (q,) half of the interval that holds each with 95 %.
    told
        (q,) whether the data say more of it than was known before.
    delay_error_ms
        Standard error of one delay, as the misfits have it.
    weights
        (n,) 1 for a delay that counts in full, less for a wild one.
    """

    off: FloatArray
    covariance: FloatArray
    error: FloatArray
    told: BoolArray
    delay_error_ms: float
    weights: FloatArray


def fit_delays(
    delays: Callable[[FloatArray], FloatArray],
    slopes: Callable[[FloatArray], FloatArray],
    measured_ms: FloatArray,
    tolerances: FloatArray,
    start: FloatArray | None = None,
    delay_error_ms: float = FLOOR_MS,
) -> Fit:
    """Find how far quantities are off so that delays become what was measured.

    Parameters
    ----------
    delays, slopes
        Delays (n,) in ms and their growth (n, q) by each quantity, of how far these are off (q,).
    measured_ms
        (n,) what they were measured to be.
    tolerances
        (q,) standard deviations of what is known beforehand; above 0.
    start
        (q,) where to begin; left out, at nothing off.
    delay_error_ms
        Standard error of a delay to begin with; then it is what the misfits say, and no less than `FLOOR_MS`.
    """
    count = len(measured_ms)
    known = np.asarray(tolerances, dtype=np.float64)
    scaled = np.zeros(len(known)) if start is None else np.asarray(start / known)
    error_ms, weights = delay_error_ms, np.ones(count)
    for _ in range(ROUNDS):
        scaled = _least(delays, slopes, measured_ms, known, scaled, error_ms)
        misfit = measured_ms - delays(scaled * known)
        weights = 1.0 / np.maximum(np.abs(misfit) / (SOFT * error_ms), 1.0)
        slope = slopes(scaled * known) * known
        curved = slope.T @ (slope * weights[:, np.newaxis]) / error_ms**2
        inverse = np.linalg.inv(curved + np.eye(len(known)))
        taken = float(np.trace(curved @ inverse))  # how many quantities' worth of freedom the data have lost
        spread = float(np.sqrt((weights * misfit) @ misfit / max(float(weights.sum()) - taken, 1.0)))
        before, error_ms = error_ms, max(spread, FLOOR_MS) if count else delay_error_ms
        if abs(error_ms - before) < 0.01 * before:
            break
    slope = slopes(scaled * known) * known
    curved = slope.T @ (slope * weights[:, np.newaxis]) / error_ms**2
    inverse = np.linalg.inv(curved + np.eye(len(known)))
    freedom = max(float(weights.sum()) - float(np.trace(curved @ inverse)), 1.0)
    errors = np.sqrt(np.diag(inverse))
    return Fit(
        frozen(scaled * known),
        frozen(inverse * np.outer(known, known)),
        frozen(np.asarray(_reach(freedom) * errors * known)),
        frozen(np.asarray(errors <= TOLD_FRACTION)),
        error_ms,
        frozen(weights),
    )


def simplest(
    delays: Callable[[FloatArray], FloatArray],
    slopes: Callable[[FloatArray], FloatArray],
    measured_ms: FloatArray,
    tolerances: FloatArray,
    groups: Sequence[Sequence[int]],
    fit: Fit,
) -> Fit:
    """Explain the delays by as few groups of quantities as will do, all others being as given.

    One tape is read wrong sooner than all are a little.  The group that explains most is taken first, then the next, as
    long as each lowers the sum of squares by more than chance does (chi-squared of its quantities at 1 %): forward
    selection (Draper and Smith, "Applied Regression Analysis", 3rd ed., Wiley 1998, chapter 15).

    Parameters
    ----------
    delays, slopes, measured_ms, tolerances
        As in `fit_delays`.
    groups
        Numbers of the quantities that are taken together.
    fit
        What `fit_delays` found with all of them.

    Returns
    -------
    The fit with only those groups: `off` and `error` of all others are nothing, and `told` says which are in.
    """
    slope = slopes(fit.off)
    target = measured_ms - delays(fit.off) + slope @ fit.off
    root = np.sqrt(fit.weights) / fit.delay_error_ms

    def cost(chosen: list[int]) -> float:
        design = np.vstack([slope[:, chosen] * root[:, np.newaxis], np.diag(1.0 / tolerances[chosen])])
        wanted = np.concatenate([target * root, np.zeros(len(chosen))])
        found = np.linalg.lstsq(design, wanted, rcond=None)[0]
        return float(np.sum((wanted - design @ found) ** 2))

    chosen: list[int] = []
    left, now = [list(group) for group in groups], float(np.sum((target * root) ** 2))
    while left:
        gains = [now - cost(chosen + group) - float(chi2.ppf(0.99, len(group))) for group in left]
        best = int(np.argmax(gains))
        if gains[best] <= 0.0:
            break
        chosen += left.pop(best)
        now = cost(chosen)
    kept = np.zeros(len(tolerances), dtype=bool)
    kept[chosen] = True
    held = np.where(kept, tolerances, NOTHING * tolerances)
    again = fit_delays(delays, slopes, measured_ms, held, None, fit.delay_error_ms)
    return replace(again, off=frozen(again.off * kept), error=frozen(again.error * kept), told=frozen(np.asarray(kept)))


def _reach(freedom: float) -> float:
    """How many standard errors the interval of 95 % reaches to either side, the error being found from so many data."""
    return float(student.ppf(0.975, freedom)) if freedom < 100.0 else 1.96


def _least(
    delays: Callable[[FloatArray], FloatArray],
    slopes: Callable[[FloatArray], FloatArray],
    measured_ms: FloatArray,
    known: FloatArray,
    start: FloatArray,
    error_ms: float,
) -> FloatArray:
    """Quantities over their tolerances (q,) of least squares; what is known beforehand is never held down."""
    count = len(measured_ms)

    def misfits(scaled: FloatArray) -> FloatArray:
        return np.concatenate([(delays(scaled * known) - measured_ms) / error_ms, scaled])

    def growth(scaled: FloatArray) -> FloatArray:
        return np.vstack([slopes(scaled * known) * known / error_ms, np.eye(len(known))])

    def soft(squares: FloatArray) -> FloatArray:
        """Huber's loss of squared misfits and its two derivatives (3, m)."""
        wild = squares > SOFT**2
        wild[count:] = False
        root = np.sqrt(np.maximum(squares, 1e-12))
        return np.array(
            [
                np.where(wild, 2.0 * SOFT * root - SOFT**2, squares),
                np.where(wild, SOFT / root, 1.0),
                np.where(wild, -0.5 * SOFT / root**3, 0.0),
            ]
        )

    found = least_squares(misfits, start, growth, loss=soft, method="trf", xtol=1e-8)  # type: ignore[arg-type]
    return np.asarray(found.x)
