"""Which reflection made which peak: all peaks and reflections of a loudspeaker at once, and the seat with them.

A peak is a reflection of the scene when time and level both fit.  Each reflection explains one peak, so that what is
not drawn is not given the name of a neighbour that has a peak of its own: the assignment of least cost (Crouse, IEEE
Trans. Aerosp. Electron. Syst. 52 (2016) 1679-1696, as in scipy), in which a peak without a name has a price too.

A microphone some centimetres from the ear of the scene moves every peak: the way of a reflection grows by the shift
along the direction from which it arrives.  That shift is looked for on a grid, then by least squares in which delays
that do not fit count less (iterated, with the weights of Cauchy; Holland and Welsch, Commun. Statist. A6 (1977)
813-827), before names are given: where two sounds make one peak, its time is neither's.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy.optimize import linear_sum_assignment
from scipy.stats import f as fisher
from scipy.stats import t as student

from sim.answers import printable
from sim.arrays import FloatArray, IntArray, frozen
from sim.responses.energy_time import broadband_db
from sim.responses.readings import READING_MS
from sim.responses.records import Arrival
from sim.studies.match.records import SeatShift

LEVEL_DB: Final = 5.0
"""How far a level may be off, as a standard error: materials and directivity are estimates, and neighbours add or
cancel (our choice)."""
MOST_ABOVE_DB: Final = 10.0
"""A peak this far above a reflection is something else, whenever it arrives: neighbours add 6 dB where they are as loud
(our choice; of bare boxes' peaks it takes the name from one in a thousand)."""
NEVER: Final = 1e6
UNNAMED: Final = 8.0
"""Cost of a peak without a name: two standard errors in time and as many in level."""
FAINTEST_DB: Final = -36.0
"""Predicted reflections weaker than this name no peak."""
FURTHEST_M, STEP_M = 0.10, 0.02
"""A microphone is looked for so far from the ear, on a grid this fine."""
LOUD_DB, LEAST_LOUD = -20.0, 10
"""Peaks this loud, or the ten loudest, tell where the microphone was: a weaker one is the sum of many reflections, and
one of them always fits, wherever the microphone is (`tests/builders/match_report.py`)."""
TRUSTED_MS, TURNS = 0.03, 8
"""A delay that fits to this counts half; a peak of one sound alone is read to a tenth of it."""
LEAST_PEAKS: Final = 5
"""Fewer named peaks tell nothing of the seat's three lengths."""
TIE: Final = 2.0
"""Candidates whose costs differ by less cannot be told apart."""


@printable
@dataclass(frozen=True, slots=True)
class Predicted:
    """Reflections of one loudspeaker at one listener.

    Attributes
    ----------
    arrivals
        (c) reflections, without the direct sound.
    delay_ms, level_db
        (c,) after the direct sound, and broadband re direct.
    gain_ms
        (c, 3) by how much the delay grows for a metre of shift of the ear, along each axis.
    """

    arrivals: tuple[Arrival, ...]
    delay_ms: FloatArray
    level_db: FloatArray
    gain_ms: FloatArray


def predicted_of(arrivals: Sequence[Arrival], speed_m_s: float) -> Predicted:
    """What names peaks among the arrivals of one loudspeaker at one listener."""
    direct = next(one for one in arrivals if not one.order)
    some = [one for one in arrivals if one.order and broadband_db(one) >= FAINTEST_DB]
    toward = np.array([_toward(one) for one in some]).reshape(-1, 3)
    return Predicted(
        tuple(some),
        frozen(np.array([one.main.delay_ms for one in some], dtype=np.float64)),
        frozen(np.array([broadband_db(one) for one in some], dtype=np.float64)),
        frozen(-(toward - _toward(direct)) * (1000.0 / speed_m_s)),
    )


def _toward(arrival: Arrival) -> FloatArray:
    """Unit vector (3,) from the ear to where an arrival comes from."""
    azimuth, elevation = np.radians([arrival.main.arrival_azimuth_deg, arrival.main.arrival_elevation_deg])
    flat = np.cos(elevation)
    return np.array([-flat * np.cos(azimuth), flat * np.sin(azimuth), np.sin(elevation)])


@printable
@dataclass(frozen=True, slots=True)
class Heard:
    """Peaks of one measured curve.

    Attributes
    ----------
    time_ms, level_db
        (k,) after the direct sound, re direct.
    """

    time_ms: FloatArray
    level_db: FloatArray


def costs(heard: Heard, predicted: Predicted, shift_m: FloatArray, error_ms: float) -> FloatArray:
    """Cost (k, c) of giving each peak the name of each reflection, the ear being shifted."""
    delay = predicted.delay_ms + predicted.gain_ms @ shift_m
    late = (heard.time_ms[:, np.newaxis] - delay) / error_ms
    loud = (heard.level_db[:, np.newaxis] - predicted.level_db) / LEVEL_DB
    return np.where(loud > MOST_ABOVE_DB / LEVEL_DB, NEVER, late**2 + loud**2)


def assign(cost: FloatArray) -> IntArray:
    """Number of the reflection (k,) that each peak gets, -1 for none: the assignment of least cost."""
    peaks, count = cost.shape
    priced = np.hstack([np.minimum(cost, NEVER), np.full((peaks, peaks), UNNAMED)])
    rows, columns = linear_sum_assignment(priced)
    given = np.full(peaks, -1, dtype=np.int64)
    for row, column in zip(rows, columns, strict=True):
        if column < count and cost[row, column] < UNNAMED:
            given[row] = column
    return given


def time_error_ms(placement_error_m: float, speed_m_s: float) -> float:
    """Standard error of a delay once the seat is found: half of reading, and of what else was placed by tape."""
    return 0.5 * (READING_MS + 1.0e3 * placement_error_m / speed_m_s)


def find_seat(pairs: Sequence[tuple[Heard, Predicted]], error_ms: float) -> SeatShift:
    """Where the microphone was: the shift that explains most, then least squares over the peaks that have a name.

    Only loud peaks count.  Without enough of them it is nothing, with no interval.
    """
    pairs = [(loud_peaks(heard), predicted) for heard, predicted in pairs]
    axis = np.arange(-FURTHEST_M, FURTHEST_M + 0.5 * STEP_M, STEP_M)
    grid = np.stack(np.meshgrid(axis, axis, axis, indexing="ij"), axis=-1).reshape(-1, 3)
    grid = grid[np.linalg.norm(grid, axis=1) <= FURTHEST_M + 1e-9]
    score = np.array([_gain(pairs, shift, 2.0 * error_ms) for shift in grid])
    score -= 0.5 * np.sum((grid / FURTHEST_M) ** 2, axis=1)  # of two that explain alike, the smaller shift
    shift = grid[int(np.argmax(score))]
    for _ in range(TURNS):
        late, gain = _residuals(pairs, shift, error_ms)
        if len(late) < LEAST_PEAKS:
            break
        trust = _trust(late - gain @ shift)
        shift = np.linalg.lstsq(gain * trust[:, np.newaxis], late * trust, rcond=None)[0]
    late, gain = _residuals(pairs, shift, error_ms)
    if len(late) < LEAST_PEAKS or np.linalg.norm(shift) > 2.0 * FURTHEST_M:
        late, gain = _residuals(pairs, np.zeros(3), error_ms)
        before = float(np.sqrt(np.mean(late**2))) if len(late) else np.nan
        return SeatShift(frozen(np.zeros(3)), frozen(np.full(3, np.inf)), len(late), before, before)
    trust = _trust(late - gain @ shift)
    late, gain = late * trust, gain * trust[:, np.newaxis]
    rest = late - gain @ shift
    freedom = len(late) - 3
    spread = np.sqrt(float(rest @ rest) / freedom + error_ms**2)  # monitors are off by their tape too, each as a whole
    error = student.ppf(0.975, freedom) * spread * np.sqrt(np.diag(np.linalg.pinv(gain.T @ gain)))
    size = float(trust @ trust)
    return SeatShift(
        frozen(shift),
        frozen(np.asarray(error)),
        len(late),
        float(np.sqrt(late @ late / size)),
        float(np.sqrt(rest @ rest / size)),
    )


def _trust(rest_ms: FloatArray) -> FloatArray:
    """Weight (n,) of delays by what is left of them."""
    return np.asarray(1.0 / np.sqrt(1.0 + (rest_ms / TRUSTED_MS) ** 2))


def loud_peaks(heard: Heard) -> Heard:
    """The peaks that tell where the microphone was."""
    least = np.sort(heard.level_db)[-LEAST_LOUD:].min(initial=LOUD_DB)
    kept = heard.level_db >= least
    return Heard(heard.time_ms[kept], heard.level_db[kept])


def seat_is_told(seat: SeatShift) -> bool:
    """Whether a shift explains the delays better than none does: F test of three lengths at 1 %."""
    freedom = seat.peaks - 3
    if not np.isfinite(seat.error_m).any() or freedom < 1 or seat.after_ms >= seat.before_ms:
        return False
    rest = max(seat.after_ms, 0.25 * READING_MS) ** 2
    return bool((seat.before_ms**2 - rest) / 3.0 / (rest / freedom) > fisher.ppf(0.99, 3, freedom))


def _gain(pairs: Sequence[tuple[Heard, Predicted]], shift_m: FloatArray, error_ms: float) -> float:
    """How much of the peaks a shift explains: 1 for each that fits perfectly."""
    total = 0.0
    for heard, predicted in pairs:
        if len(heard.time_ms) and len(predicted.arrivals):
            total += float(np.exp(-0.5 * costs(heard, predicted, shift_m, error_ms).min(axis=1)).sum())
    return total


def _residuals(
    pairs: Sequence[tuple[Heard, Predicted]], shift_m: FloatArray, error_ms: float
) -> tuple[FloatArray, FloatArray]:
    """Delays measured less drawn (n,) of the peaks that a shift names, and what it does to each (n, 3)."""
    late, gain = [np.zeros(0)], [np.zeros((0, 3))]
    for heard, predicted in pairs:
        if not len(heard.time_ms) or not len(predicted.arrivals):
            continue
        given = assign(costs(heard, predicted, shift_m, error_ms))
        named = np.flatnonzero(given >= 0)
        late.append(heard.time_ms[named] - predicted.delay_ms[given[named]])
        gain.append(predicted.gain_ms[given[named]])
    return np.concatenate(late), np.vstack(gain)


def total_cost(pairs: Sequence[tuple[Heard, Predicted]], shift_m: FloatArray, error_ms: float) -> float:
    """Cost of the best assignment of all, unnamed peaks included."""
    total = 0.0
    for heard, predicted in pairs:
        cost = costs(heard, predicted, shift_m, error_ms)
        given = assign(cost)
        total += sum(float(cost[k, c]) if c >= 0 else UNNAMED for k, c in enumerate(given))
    return total
