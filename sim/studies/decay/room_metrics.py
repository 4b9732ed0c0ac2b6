"""Decay curves by backward integration, and the figures of ISO 3382 that are read from them.

E(t) is what is still to come at time t after the direct sound: the backward integral of the squared impulse response
(Schroeder, J. Acoust. Soc. Am. 37 (1965) 409; ISO 3382-1:2009, 5.3.3).  It comes here as energies in bins of time.
Direct sound is kept apart, as all of it arrives at t = 0; other energy is taken as spread evenly over its bin.

What comes after the last bin is not lost: the truncated tail is added as an exponential whose rate is that of the last
two fifths of the bins (the correction C of ISO 3382-1, 5.3.3).  A figure is given only where the curve was followed
10 dB further down than the figure looks.  There is no noise to take off: energies of rays have none, but a statistical
error, which `sim.studies.decay.late` finds.

Arrays are (..., time); the leading axes may be octaves, samples, anything that shares one arrival of direct sound.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from sim.arrays import FloatArray

FIGURES: Final = (
    "edt_s",
    "t20_s",
    "t30_s",
    "c50_db",
    "c80_db",
    "d50",
    "ts_ms",
    "nonlinearity20_permille",
    "nonlinearity30_permille",
    "curvature_percent",
    "first_s",
    "last_s",
    "direct_db",
)
"""Last axis of `figures`.

edt_s, t20_s, t30_s: 0 to -10, -5 to -25, -5 to -35 dB, each as the time for 60 dB (ISO 3382-1 A.2.2, ISO 3382-2).
c50_db, c80_db, d50, ts_ms: clarity, definition, centre time (ISO 3382-1, A.10, A.11, A.13).
nonlinearity20_permille, nonlinearity30_permille, curvature_percent: non-linearity 1000 (1 - r^2) of the two fits and
100 (T30/T20 - 1) (ISO 3382-2, Annex B).
first_s, last_s: -5 to -15 and -25 to -35 dB, for double slopes.  direct_db: direct sound re all that comes after it.
"""
FITS: Final = {
    "edt_s": (0.0, -10.0),
    "t20_s": (-5.0, -25.0),
    "t30_s": (-5.0, -35.0),
    "first_s": (-5.0, -15.0),
    "last_s": (-25.0, -35.0),
}
"""Levels in dB re the whole energy between which a line is fitted."""
HEADROOM_DB: Final = 10.0
"""The curve must have been followed this much below the end of a fit (ISO 3382-1, 5.3.3, asks it of the noise)."""
POINTS: Final = 200
"""Points of a fit, evenly spaced in time."""
SHORTEST_BINS: Final = 4.0
"""A fit over fewer bins than this says nothing."""
TAIL_FRACTION: Final = 0.2


@dataclass(frozen=True, slots=True)
class DecayCurves:
    """Energy still to come, at times that all curves share.

    Attributes
    ----------
    first_s, bin_s
        Times after the direct sound are 0, first_s, first_s + bin_s, ...
    energy
        (..., t) what is still to come just after each time, tail included, direct sound not.
    direct
        (...,) energy of the direct sound.
    tail
        (...,) part of it that comes after the last time.
    tail_s
        (...,) how long after the last time that part comes, in the mean.
    """

    first_s: float
    bin_s: float
    energy: FloatArray
    direct: FloatArray
    tail: FloatArray
    tail_s: FloatArray

    @property
    def time_s(self) -> FloatArray:
        """(t,) seconds after the direct sound."""
        later = self.first_s + self.bin_s * np.arange(self.energy.shape[-1] - 1)
        return np.concatenate([[0.0], later])

    @property
    def total(self) -> FloatArray:
        """(...,) all energy, direct sound included."""
        return np.asarray(self.direct + self.energy[..., 0])


def integrate_backward(energy: FloatArray, bin_s: float, arrival_s: float, direct: FloatArray) -> DecayCurves:
    """Integrate energies (..., bin) without the direct sound backward, from the end to the direct sound.

    Bin k holds what arrives from k bin_s to (k + 1) bin_s after leaving the loudspeaker; direct sound (...,) arrives at
    `arrival_s`.  Raises ValueError if it arrives after the last bin.
    """
    start = int(arrival_s / bin_s)
    if start >= energy.shape[-1] - 1:
        raise ValueError(f"direct sound arrives at {arrival_s:g} s, after the last of {energy.shape[-1]} bins")
    after = np.array(energy[..., start:])
    after[..., 0] += energy[..., :start].sum(axis=-1)  # rounding may put the first echo a bin early
    tail, tail_s = tail_of(after, bin_s)
    summed = np.cumsum(after[..., ::-1], axis=-1)[..., ::-1]
    still = np.concatenate([summed, np.zeros_like(summed[..., :1])], axis=-1) + tail[..., None]
    return DecayCurves(
        (start + 1) * bin_s - arrival_s, bin_s, still, np.asarray(direct, dtype=np.float64), tail, tail_s
    )


def tail_of(energy: FloatArray, bin_s: float) -> tuple[FloatArray, FloatArray]:
    """Energy (...,) after the last bin, and its mean lateness in seconds, if the decay goes on as it does at the end.

    With a and b the energies of the last fifth but one and of the last, b/a = e^(-k n bin_s) and the rest is
    b^2/(a - b).  Where b is not below a, nothing decays and no tail is added.
    """
    n = _fifth(energy.shape[-1])
    last, before = energy[..., -n:].sum(axis=-1), energy[..., -2 * n : -n].sum(axis=-1)
    falls = (last > 0.0) & (before > last)
    ratio = np.where(falls, last / np.where(falls, before, 1.0), 0.5)
    tail = np.where(falls, last * ratio / (1.0 - ratio), 0.0)
    return tail, np.where(falls, -n * bin_s / np.log(ratio), 0.0)


def still_to_come(curves: DecayCurves, time_s: FloatArray | float) -> FloatArray:
    """Energy (..., n) still to come after times (n,), or (..., n) ones that differ from curve to curve."""
    times = np.asarray(time_s, dtype=np.float64)
    size = curves.energy.shape[-1]
    place = np.where(times < curves.first_s, times / curves.first_s, 1.0 + (times - curves.first_s) / curves.bin_s)
    within = np.clip(place, 0.0, size - 1.0)
    left = np.minimum(within.astype(np.int64), size - 2)
    fraction = within - left
    shape = (*curves.energy.shape[:-1], times.shape[-1] if times.ndim else 1)
    left, fraction = np.broadcast_to(left, shape), np.broadcast_to(fraction, shape)
    low = np.take_along_axis(curves.energy, left, axis=-1)
    high = np.take_along_axis(curves.energy, left + 1, axis=-1)
    beyond = np.maximum(np.broadcast_to(place, shape) - (size - 1.0), 0.0) * curves.bin_s
    slow = np.where(curves.tail_s > 0.0, curves.tail_s, 1.0)[..., None]
    return np.asarray((low + fraction * (high - low)) * np.exp(-beyond / slow))


def level_curves_db(curves: DecayCurves, time_s: FloatArray) -> FloatArray:
    """Levels (..., n) in dB re the whole energy at times (n,) after the direct sound; -inf where all has come."""
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.asarray(10.0 * np.log10(still_to_come(curves, time_s) / curves.total[..., None]))


def range_db(curves: DecayCurves) -> FloatArray:
    """How far (...,) down the curves were followed, in dB re the whole energy, as a positive number.

    That is down to the tail which was only added; where nothing decays at the end, to all of the last fifth.
    """
    lowest = np.where(curves.tail > 0.0, curves.tail, curves.energy[..., -1 - _fifth(curves.energy.shape[-1] - 1)])
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.asarray(-10.0 * np.log10(lowest / curves.total))


def line_fit(curves: DecayCurves, from_db: float, to_db: float) -> tuple[FloatArray, FloatArray]:
    """Time for 60 dB in s (...,), and 1000 (1 - r^2), of a line fitted by least squares between two levels.

    Not a number where the curve was not followed far enough, or direct sound alone takes the whole fall.
    """
    begin, end = _time_at(curves, from_db), _time_at(curves, to_db)
    known = (range_db(curves) >= HEADROOM_DB - to_db) & (end - begin >= SHORTEST_BINS * curves.bin_s)
    begin, end = np.where(known, begin, 0.0), np.where(known, end, 1.0)
    times = begin[..., None] + (end - begin)[..., None] * np.linspace(0.0, 1.0, POINTS)
    level = 10.0 * np.log10(np.maximum(still_to_come(curves, times), 1e-300))
    level -= level.mean(axis=-1, keepdims=True)
    times -= times.mean(axis=-1, keepdims=True)
    slope = (times * level).sum(axis=-1) / (times**2).sum(axis=-1)
    spread = (level**2).sum(axis=-1)
    known &= (slope < 0.0) & (spread > 0.0)
    left_over = ((level - slope[..., None] * times) ** 2).sum(axis=-1)
    seconds = np.where(known, -60.0 / np.where(known, slope, -1.0), np.nan)
    return seconds, np.where(known, 1000.0 * left_over / np.where(known, spread, 1.0), np.nan)


def figures(curves: DecayCurves) -> FloatArray:
    """All figures (..., figure) of curves, in the order of `FIGURES`; not a number where there is none."""
    found: dict[str, FloatArray] = {}
    for name, (begin, end) in FITS.items():
        found[name], nonlinearity = line_fit(curves, begin, end)
        if name in ("t20_s", "t30_s"):
            found[f"nonlinearity{name[1:3]}_permille"] = nonlinearity
    found["curvature_percent"] = 100.0 * (found["t30_s"] / found["t20_s"] - 1.0)
    found |= clarity(curves)
    with np.errstate(divide="ignore", invalid="ignore"):
        found["direct_db"] = 10.0 * np.log10(curves.direct / curves.energy[..., 0])
    values = np.stack([found[name] for name in FIGURES], axis=-1)
    return np.where(np.isfinite(values), values, np.nan)


def clarity(curves: DecayCurves) -> dict[str, FloatArray]:
    """c50_db, c80_db, d50 and ts_ms (...,)."""
    total = curves.total
    with np.errstate(divide="ignore", invalid="ignore"):
        late50, late80 = (still_to_come(curves, np.array([t]))[..., 0] for t in (0.050, 0.080))
        steps = np.diff(curves.time_s)
        area = ((curves.energy[..., 1:] + curves.energy[..., :-1]) * (0.5 * steps)).sum(axis=-1)
        return {
            "c50_db": np.asarray(10.0 * np.log10((total - late50) / late50)),
            "c80_db": np.asarray(10.0 * np.log10((total - late80) / late80)),
            "d50": np.asarray((total - late50) / total),
            "ts_ms": np.asarray(1000.0 * (area + curves.tail * curves.tail_s) / total),
        }


def _fifth(bins: int) -> int:
    return max(1, int(TAIL_FRACTION * bins))


def _time_at(curves: DecayCurves, level_db: float) -> FloatArray:
    """First time (...,) at which a curve has fallen to a level; 0 if direct sound alone took it below."""
    wanted = curves.total * 10.0 ** (level_db / 10.0)
    above = (curves.energy > wanted[..., None]).sum(axis=-1)
    last = curves.energy.shape[-1] - 1
    left = np.clip(above - 1, 0, last - 1)[..., None]
    high = np.take_along_axis(curves.energy, left, axis=-1)[..., 0]
    low = np.take_along_axis(curves.energy, left + 1, axis=-1)[..., 0]
    fall = np.where(high > low, high - low, 1.0)
    fraction = np.clip((high - wanted) / fall, 0.0, 1.0)
    times = curves.time_s
    left = left[..., 0]
    at = times[left] + fraction * (times[left + 1] - times[left])
    return np.asarray(np.where(above == 0, 0.0, at))
