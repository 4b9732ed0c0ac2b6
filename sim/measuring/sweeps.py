"""The swept sine that a room is measured with, and where its parts lie in a file.

An exponential sweep (ISO 18233:2006, annex B; Farina, 108th AES Convention, 2000, paper 5093): its frequency rises by
the same ratio in equal times, so that the harmonics a loudspeaker adds come out of the deconvolution ahead of the
linear response.  Its lowest frequency times the time of its rise by e is a whole number, so that harmonics keep their
phase (Novak, Lotton and Simon, J. Audio Eng. Soc. 63 (2015) 786-798).  Around it lie silence and, at
start and end, the same short chirp: the time between both, as recorded, tells how two clocks differ.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np

from sim.answers import printable
from sim.arrays import FloatArray, frozen

LOWEST_HZ: Final = 20.0
HIGHEST_HZ: Final = 22_000.0
HIGHEST_OF_RATE: Final = 0.45
"""The sweep ends at this part of the sampling rate, below 22 kHz, where converters still pass it."""
FADE_IN_S, FADE_OUT_S = 0.1, 0.01
LEAD_S, PAUSE_S, DECAY_S, END_S = 0.5, 0.5, 2.0, 1.0
"""Silence before the first marker, between it and the sweep, for the room to decay, and after the last marker."""
MARKER_S: Final = 0.03
MARKER_HZ: Final = (500.0, 16_000.0)
GAP_S: Final = 0.2
"""Silence at least this long parts one signal from the next."""
MARGIN_S: Final = 0.02
QUIET: Final = 1e-3
"""Under this fraction of the peak a file is taken to pause."""


@printable
@dataclass(frozen=True, slots=True)
class SignalParts:
    """Where the parts of a signal lie in its file.

    Attributes
    ----------
    sweep
        First sample of the sweep, and one past its last.
    markers
        The same of the marker before and of the one after; empty where there are none.
    """

    sweep: tuple[int, int]
    markers: tuple[tuple[int, int], ...]


def sweep_rate_s(seconds: float, from_hz: float, to_hz: float) -> float:
    """L in seconds: the time in which the frequency rises by the factor e, made so that from_hz L is whole."""
    return max(1.0, round(from_hz * seconds / math.log(to_hz / from_hz))) / from_hz


def sweep_phase(time_s: FloatArray, rate_s: float, from_hz: float) -> FloatArray:
    """Phase in radians 2 pi f1 L (exp(t/L) - 1) of the sweep at times (n,) after its start."""
    return np.asarray(2.0 * np.pi * from_hz * rate_s * np.expm1(time_s / rate_s))


def highest_hz(rate_hz: float) -> float:
    """Where a sweep at this sampling rate ends."""
    return min(HIGHEST_HZ, HIGHEST_OF_RATE * rate_hz)


def exponential_sweep(rate_hz: int, seconds: float) -> FloatArray:
    """The sweep (n,) from 20 Hz up, peak 1, faded in over 0.1 s and out over 0.01 s by half a cosine."""
    low, high = LOWEST_HZ, highest_hz(rate_hz)
    rate_s = sweep_rate_s(seconds, low, high)
    time = np.arange(round(rate_s * np.log(high / low) * rate_hz), dtype=np.float64) / rate_hz
    return np.sin(sweep_phase(time, rate_s, low)) * fades(time, float(time[-1]))


def inverse_sweep(rate_hz: int, seconds: float) -> FloatArray:
    """The filter (n,) that makes one pulse of height 1 of `exponential_sweep`, at the sweep's last sample.

    The sweep backwards, each moment over the energy that the sweep spends at its frequency: |X(f)|^2 = L / (4 f) by
    stationary phase (Farina, 108th AES Convention, 2000, paper 5093).
    """
    low, high = LOWEST_HZ, highest_hz(rate_hz)
    rate_s = sweep_rate_s(seconds, low, high)
    sweep = exponential_sweep(rate_hz, seconds)
    hz = low * np.exp(np.arange(len(sweep)) / (rate_hz * rate_s))
    return np.asarray((sweep * 4.0 * hz / (rate_s * rate_hz**2))[::-1])


def fades(time_s: FloatArray, end_s: float) -> FloatArray:
    """Weights (n,) that rise from 0 after the start and fall to 0 at `end_s`."""
    rise = np.clip(time_s / FADE_IN_S, 0.0, 1.0)
    fall = np.clip((end_s - time_s) / FADE_OUT_S, 0.0, 1.0)
    return np.asarray(0.25 * (1.0 - np.cos(np.pi * rise)) * (1.0 - np.cos(np.pi * fall)))


def marker(rate_hz: int) -> FloatArray:
    """A chirp (n,) of 0.03 s from 500 Hz to 16 kHz under a raised cosine, peak about 1."""
    time = np.arange(round(MARKER_S * rate_hz), dtype=np.float64) / rate_hz
    low, high = MARKER_HZ[0], min(MARKER_HZ[1], 0.4 * rate_hz)
    phase = 2.0 * np.pi * (low * time + 0.5 * (high - low) / MARKER_S * time**2)
    return np.asarray(np.sin(phase) * np.sin(np.pi * time / MARKER_S) ** 2)


def measuring_signal(rate_hz: int, seconds: float, level_dbfs: float) -> tuple[FloatArray, SignalParts]:
    """Silence, marker, silence, sweep, silence, marker, silence (n,), its peak at a level; and where the parts lie."""
    chirp, sweep = marker(rate_hz), exponential_sweep(rate_hz, seconds)
    lead, pause, decay, end = (np.zeros(round(s * rate_hz)) for s in (LEAD_S, PAUSE_S, DECAY_S, END_S))
    whole = np.concatenate([lead, chirp, pause, sweep, decay, chirp, end])
    begin = len(lead) + len(chirp) + len(pause)
    second = begin + len(sweep) + len(decay)
    parts = SignalParts(
        (begin, begin + len(sweep)), ((len(lead), len(lead) + len(chirp)), (second, second + len(chirp)))
    )
    return frozen(whole * 10.0 ** (level_dbfs / 20.0)), parts


def find_parts(samples: FloatArray, rate_hz: int) -> SignalParts:
    """Where sweep and markers lie in a signal (n,), ours or any other: the longest sound is the sweep.

    Two short sounds of the same length, one before it and one after, are markers.
    """
    loud = np.flatnonzero(np.abs(samples) > QUIET * np.abs(samples).max())
    margin, last = round(MARGIN_S * rate_hz), len(samples)
    parted = np.flatnonzero(np.diff(loud) > GAP_S * rate_hz)
    begins = loud[np.concatenate([[0], parted + 1])]
    ends = loud[np.concatenate([parted, [len(loud) - 1]])] + 1
    stretches = [(max(0, int(a) - margin), min(last, int(b) + margin)) for a, b in zip(begins, ends, strict=True)]
    longest = max(range(len(stretches)), key=lambda k: stretches[k][1] - stretches[k][0])
    around = [stretches[k] for k in (longest - 1, longest + 1) if 0 <= k < len(stretches)]
    lengths = [b - a for a, b in around]
    alike = len(around) == 2 and max(lengths) - min(lengths) <= margin and max(lengths) < 0.2 * rate_hz
    return SignalParts(stretches[longest], tuple(around) if alike else ())
