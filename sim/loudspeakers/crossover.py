"""Crossovers: how the signal is shared among the drivers of a loudspeaker.

Linkwitz-Riley of second and fourth order (Linkwitz, J. Audio Eng. Soc. 24 (1976) 2-8) and Butterworth of
third order, as complex responses with the time convention e^{+j omega t}, s = j f/fc.  On the axis, where
every driver is equally far away, the branches of each sum to an all-pass: magnitude 1, phase of its own.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from sim.arrays import ComplexArray

SLOPES_DB_PER_OCTAVE: Final = (12, 18, 24)
"""Second-order Linkwitz-Riley, third-order Butterworth, fourth-order Linkwitz-Riley."""


def branch_responses(
    crossovers_hz: Sequence[float], slope_db_per_octave: int, frequencies_hz: ArrayLike
) -> ComplexArray:
    """Responses of the branches, complex, shape (way, f), from the lowest way to the highest.

    No crossover frequency gives one way (all ones), one gives two ways, two give three.  In three ways the low
    branch also passes through the all-pass that the upper crossover imposes on the other two, so that the sum
    keeps magnitude 1.

    Raises ValueError for more than two crossovers, frequencies that do not rise, or an unknown slope.
    """
    frequencies = np.asarray(frequencies_hz, dtype=np.float64)
    if len(crossovers_hz) > 2:
        raise ValueError(f"{len(crossovers_hz)} crossover frequencies; at most 2 are possible (three ways)")
    if any(frequency <= 0.0 for frequency in crossovers_hz) or list(crossovers_hz) != sorted(set(crossovers_hz)):
        listed = ", ".join(f"{frequency:g}" for frequency in crossovers_hz)
        raise ValueError(f"the crossover frequencies are {listed} Hz; give them above zero, lowest first")
    if not crossovers_hz:
        return np.ones((1, *frequencies.shape), dtype=np.complex128)
    low, high = two_branches(crossovers_hz[0], slope_db_per_octave, frequencies)
    if len(crossovers_hz) == 1:
        return np.stack([low, high])
    middle_low, middle_high = two_branches(crossovers_hz[1], slope_db_per_octave, frequencies)
    return np.stack([low * (middle_low + middle_high), high * middle_low, high * middle_high])


def band_response(from_hz: float, to_hz: float, slope_db_per_octave: int, frequencies_hz: ArrayLike) -> ComplexArray:
    """Response (f,) of one driver with a filter of its own: from one frequency up, to another, or between both.

    From 0 Hz leaves the lower end open, to infinity the upper one.  At 12 dB per octave what lies above a crossover
    is wired in reverse, as that alignment needs.

    Raises ValueError for a band without width or an unknown slope.
    """
    if not from_hz < to_hz:
        raise ValueError(f"a band from {from_hz:g} to {to_hz:g} Hz has no width; write the lower frequency first")
    frequencies = np.asarray(frequencies_hz, dtype=np.float64)
    response = np.ones(frequencies.shape, dtype=np.complex128)
    if from_hz > 0.0:
        response = response * two_branches(from_hz, slope_db_per_octave, frequencies)[1]
    if to_hz < np.inf:
        response = response * two_branches(to_hz, slope_db_per_octave, frequencies)[0]
    return response


def two_branches(
    crossover_hz: float, slope_db_per_octave: int, frequencies_hz: ArrayLike
) -> tuple[ComplexArray, ComplexArray]:
    """Low-pass and high-pass branch of one crossover, each complex with the shape of `frequencies_hz`.

    12 dB per octave: 1/(1+s)^2 and -s^2/(1+s)^2, the tweeter wired in reverse, as the alignment needs.
    18 dB per octave: 1/((1+s)(1+s+s^2)) and s^3 over the same, both with the same polarity; the branches are a
    quarter turn apart, which tilts the lobe.
    24 dB per octave: 1/(1+sqrt2 s+s^2)^2 and s^4 over the same, in phase at every frequency.

    Raises ValueError for any other slope.
    """
    s = np.asarray(1j * np.asarray(frequencies_hz) / crossover_hz, dtype=np.complex128)
    denominator: ComplexArray
    if slope_db_per_octave == 12:
        denominator = (1.0 + s) * (1.0 + s)
        return 1.0 / denominator, -(s**2) / denominator
    if slope_db_per_octave == 18:
        denominator = (1.0 + s) * (1.0 + s + s**2)
        return 1.0 / denominator, s**3 / denominator
    if slope_db_per_octave == 24:
        butterworth = 1.0 + np.sqrt(2.0) * s + s**2
        denominator = butterworth * butterworth
        return 1.0 / denominator, s**4 / denominator
    raise ValueError(f"a crossover slope of {slope_db_per_octave} dB per octave; choose 12, 18 or 24")
