"""Rays, batch after batch, until the figures are as sure as was asked for; their statistical errors.

A figure is a curved function of the mean energy, so its error is not the mean of errors.  Leave out each batch in turn,
read the figure from the mean of the others, and take sqrt((n - 1)/n sum of (f_i - mean f)^2): the standard error of f
(Tukey 1958; Efron, The Jackknife, the Bootstrap and Other Resampling Plans, SIAM 1982).  It is itself uncertain by a
share of about 1/sqrt(2 (n - 1)): a fifth for 16 batches.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from typing import Final, Protocol

import numpy as np

from sim.arrays import BoolArray, FloatArray
from sim.errors import BounceplanError
from sim.progress import Report
from sim.studies.decay.room_metrics import FIGURES, HEADROOM_DB, DecayCurves, figures, integrate_backward, range_db

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


# Rays, batch after batch, until the figures are as sure as was asked for or the rays are used up.
#
# Batches of equal size are independent, as every ray has numbers of its own, so their spread is the statistical error
# (`decay_errors`).  There are never more than 32: two by two they are then put together.  Which rays are traced, and
# after how many it is asked whether they suffice, does not depend on threads, so neither does any bit of the answer.
#
# Whoever looks again and again and stops when the error first looks small tells too small an error: those that look
# small by chance are chosen.  So a look never ends the work by what is seen at it alone.  It says how many rays the
# errors seen there ask for (an error falls as one over the root of rays), half as many again and at least twice those
# traced; nobody looks until they are there; and the work ends at a look that was set like that and is met.  At least
# half of what such a look sees was traced after the number was set (two-stage sampling: Stein, Ann. Math. Statist. 16
# (1945) 243-258).

BATCHES: Final = 16
"""Looked at first after this many batches; later there are up to twice as many."""
GROWTH: Final = 2.0
LARGEST_GROWTH: Final = 8.0
MARGIN: Final = 1.5
"""By how much rays grow from look to look: what the errors ask for, times the margin, within these."""
FIRST_BATCH: Final = 512
FEWEST_RAYS: Final = 1024
PROBES: Final = 4
"""Batches that tell whether sound is followed long enough; they are traced again."""
SHORTEST_STEP: Final = 1.2
LONGEST_STEP: Final = 4.0
MOST_LENGTHENINGS: Final = 4
ENOUGH_DB: Final = 35.0 + HEADROOM_DB + 5.0
"""T30 looks down to -35 dB; 5 dB more, since this is asked of a few rays."""
ALL_BUT_ROUNDING: Final = 1.0 - 1e-9
T20, C50 = FIGURES.index("t20_s"), FIGURES.index("c50_db")


class Sound(Protocol):
    """Where energies come from: direct sound and images as they are, rays as the mean over those asked for."""

    @property
    def arrival_s(self) -> FloatArray:
        """(source, listener) when direct sound arrives."""

    @property
    def direct(self) -> FloatArray:
        """(source, listener, octave) its energy."""

    def images(self, bin_s: float, length_s: float) -> FloatArray:
        """(source, listener, octave, bin) direct sound and mirrored paths."""

    def late(self, first_ray: int, rays: int, bin_s: float, length_s: float) -> FloatArray:
        """(source, listener, octave, bin) mean of some rays."""


@dataclass(frozen=True, slots=True)
class Wanted:
    """Standard errors to reach: of T20 in percent, and of C50 in dB; in the octaves (octave,) that are judged."""

    decay_percent: float
    clarity_db: float
    octaves: BoolArray


@dataclass(frozen=True, slots=True)
class Gathered:
    """Energies over time with their statistics.

    Attributes
    ----------
    batches
        (batch, source, listener, octave, bin) energies without direct sound, images included.
    rays
        Rays from each loudspeaker in all batches together.
    bin_s, length_s
        Bins of time, and how long they reach after the sound left.
    figures, errors
        (source, listener, octave, figure) as `FIGURES`, and their standard errors.
    met
        (source, listener, octave) whether both wanted errors are reached; FALSE where a figure could not be read.
    """

    batches: FloatArray
    rays: int
    bin_s: float
    length_s: float
    figures: FloatArray
    errors: FloatArray
    met: BoolArray


def gather(sound: Sound, wanted: Wanted, *, most_rays: int, bin_s: float, length_s: float, report: Report) -> Gathered:
    """Trace until T20 and C50 are sure enough in every wanted octave, or `most_rays` a loudspeaker are traced.

    If a few rays show that the curves are not followed 50 dB down in the wanted octaves, the time is lengthened first.

    Raises
    ------
    BounceplanError
        For fewer rays than can be shared out among batches, wanted errors that are not above zero, or a listener whom
        no sound reaches.
    """
    if most_rays < FEWEST_RAYS:
        raise BounceplanError(f"at most {most_rays} rays; give {FEWEST_RAYS} or more, which make {BATCHES} batches.")
    if not (wanted.decay_percent > 0.0 and wanted.clarity_db > 0.0):
        raise BounceplanError(
            f"a wanted error of {wanted.decay_percent:g} % and {wanted.clarity_db:g} dB; give values above zero."
        )
    for _ in range(MOST_LENGTHENINGS):
        followed = _followed_db(sound, most_rays, bin_s, length_s, wanted.octaves)
        if math.isnan(followed):
            raise BounceplanError(
                "no sound reaches a listener from one of the monitors, so nothing decays there: something closed "
                "stands between them. Open it, or move one of them."
            )
        if followed >= ENOUGH_DB:
            break
        length_s *= min(max(ENOUGH_DB / followed, SHORTEST_STEP), LONGEST_STEP)
        report(f"sound has not died away: following it for {length_s:.2g} s")
    return _gather(sound, wanted, most_rays, bin_s, length_s, report)


def curves_of(sound: Sound, energy: FloatArray, bin_s: float, source: int, listener: int) -> DecayCurves:
    """Decay curves (..., octave) of one pair from energies (..., octave, bin) without direct sound."""
    return integrate_backward(energy, bin_s, float(sound.arrival_s[source, listener]), sound.direct[source, listener])


def _gather(sound: Sound, wanted: Wanted, most_rays: int, bin_s: float, length_s: float, report: Report) -> Gathered:
    """As `gather` for one length."""
    still = _without_direct(sound, sound.images(bin_s, length_s), bin_s)
    size = _first_batch(most_rays)
    batches: list[FloatArray] = []
    look, planned = BATCHES * size, False
    while True:
        if len(batches) == 2 * BATCHES:
            batches = [0.5 * (one + other) for one, other in zip(batches[::2], batches[1::2], strict=True)]
            size *= 2
        batches.append(sound.late(len(batches) * size, size, bin_s, length_s))
        enough = (len(batches) + 1) * size > most_rays
        if len(batches) * size < look and not enough:
            continue
        stacked = np.stack(batches) + still
        found, errors = _read(sound, stacked, bin_s)
        met = (errors[..., T20] <= 0.01 * wanted.decay_percent * found[..., T20]) & (
            errors[..., C50] <= wanted.clarity_db
        )
        rays = len(batches) * size
        report(f"{rays} rays: {_worst(found[:, :, wanted.octaves], errors[:, :, wanted.octaves])}")
        if enough or (planned and met[:, :, wanted.octaves].all()):
            return Gathered(stacked, rays, bin_s, length_s, found, errors, met)
        look, planned = math.ceil(rays * _growth(wanted, found, errors)), True


def _growth(wanted: Wanted, found: FloatArray, errors: FloatArray) -> float:
    """How many times as many rays the errors seen at a look ask for."""
    times = 100.0 * errors[:, :, wanted.octaves, T20] / (wanted.decay_percent * found[:, :, wanted.octaves, T20])
    clarity = errors[:, :, wanted.octaves, C50] / wanted.clarity_db
    short = max(float(np.max(np.nan_to_num(each, nan=np.inf), initial=0.0)) for each in (times, clarity))
    return min(max(MARGIN * short**2, GROWTH), LARGEST_GROWTH)


def _without_direct(sound: Sound, energy: FloatArray, bin_s: float) -> FloatArray:
    """Energies with direct sound taken out of the bin it is in."""
    rest = np.array(energy)
    sources, listeners = sound.arrival_s.shape
    for s in range(sources):
        for place in range(listeners):
            at, direct = int(sound.arrival_s[s, place] / bin_s), sound.direct[s, place]
            near = [n for n in (at, at - 1, at + 1) if n >= 0]  # rounding may have put it a bin off
            holds = [bool((rest[s, place, :, n] >= ALL_BUT_ROUNDING * direct).all()) for n in near]
            there = near[holds.index(True)] if any(holds) else at
            rest[s, place, :, there] = np.maximum(rest[s, place, :, there] - direct, 0.0)
    return rest


def _read(sound: Sound, batches: FloatArray, bin_s: float) -> tuple[FloatArray, FloatArray]:
    found = np.zeros((*batches.shape[1:4], len(FIGURES)))
    errors = np.zeros_like(found)
    for s, place in np.ndindex(*sound.arrival_s.shape):
        read = partial(_figures_of, sound, bin_s, s, place)
        found[s, place], errors[s, place] = jackknife(batches[:, s, place], read)
    return found, errors


def _figures_of(sound: Sound, bin_s: float, source: int, listener: int, energy: FloatArray) -> FloatArray:
    return figures(curves_of(sound, energy, bin_s, source, listener))


def _followed_db(sound: Sound, most_rays: int, bin_s: float, length_s: float, octaves: BoolArray) -> float:
    """How far down the curves of the first few batches go in the slowest wanted octave, in dB."""
    size = PROBES * _first_batch(most_rays)
    late = [sound.late(first, size // PROBES, bin_s, length_s) for first in range(0, size, size // PROBES)]
    energy = _without_direct(sound, sound.images(bin_s, length_s), bin_s) + np.mean(late, axis=0)
    followed = [
        range_db(curves_of(sound, energy[s, place], bin_s, s, place))[octaves]
        for s, place in np.ndindex(*sound.arrival_s.shape)
    ]
    return float(np.min(followed, initial=np.inf))


def _first_batch(most_rays: int) -> int:
    return min(FIRST_BATCH, most_rays // BATCHES)


def _worst(found: FloatArray, errors: FloatArray) -> str:
    """How sure the least sure figures are, in words."""
    if not found.size or not np.isfinite(errors[..., T20]).any():
        return "no decay time can be read yet"
    times = 100.0 * np.nanmax(errors[..., T20] / found[..., T20])
    return f"T20 within {times:.1f} %, C50 within {np.nanmax(errors[..., C50]):.2f} dB"
