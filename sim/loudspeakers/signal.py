"""What each driver is sent: a branch of the crossover, or a band of its own with gain, delay and polarity.

Linkwitz-Riley of second and fourth order (Linkwitz, J. Audio Eng. Soc. 24 (1976) 2-8) and Butterworth of
third order, as complex responses with the time convention e^{+j omega t}, s = j f/fc.  On the axis, where
every driver is equally far away, the branches of each sum to an all-pass: magnitude 1, phase of its own.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from sim.answers import printable
from sim.arrays import ComplexArray, FloatArray

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


# One driver of a loudspeaker: what it is sent, how large it is, and where in the box it sits.


@printable
@dataclass(frozen=True)
class Driver:
    """One driver: its fraction of the signal, its size, and its place in the cabinet.

    Attributes
    ----------
    name
        What it is called, such as "tweeter".
    way
        Its branch of the loudspeaker's crossover (0 is the lowest), unless it has a band of its own.
    radius_m
        Of its cone or dome in metres; zero radiates like a point on the cabinet.
    offset_m
        (forward, right, up) from the acoustic axis point, in metres.
    own_band, from_hz, to_hz, slope_db_per_octave
        Whether it has a band of its own, from where (0 is an open end) to where (infinite is an open end), and how
        steeply it ends; drivers with the same band take equal fractions.
    gain_db, delay_ms, inverted
        What comes on top of its branch or band.
    mouth_radius_m, coverage_deg
        Of its waveguide: radius in metres (0 for none) and angle between the directions at -6 dB.
    data_number
        Number of the loudspeaker's data that replace the model by what was measured; -1 for none.
    """

    name: str
    way: int
    radius_m: float
    offset_m: tuple[float, float, float]
    own_band: bool = False
    from_hz: float = 0.0
    to_hz: float = np.inf
    slope_db_per_octave: int = 24
    gain_db: float = 0.0
    delay_ms: float = 0.0
    inverted: bool = False
    mouth_radius_m: float = 0.0
    coverage_deg: float = 90.0
    data_number: int = -1

    @property
    def reach_m(self) -> float:
        """Radius of what it takes up on the baffle."""
        return max(self.radius_m, self.mouth_radius_m)

    @property
    def is_adjusted(self) -> bool:
        """Whether its share is anything else than a branch of the loudspeaker's crossover."""
        return self.own_band or self.gain_db != 0.0 or self.delay_ms != 0.0 or self.inverted


# What each driver is sent: a branch of the crossover, or a band of its own with gain, delay and polarity.

MOST_LIFT_DB: Final = 12.0
"""What drivers of one's own leave on the axis is made flat, but lifted by no more than this."""


def driver_fractions(
    drivers: Sequence[Driver], crossovers_hz: Sequence[float], slope_db_per_octave: int, frequencies_hz: FloatArray
) -> ComplexArray:
    """What each driver is sent, complex, shape (driver, f); on the axis they add up to 1 in size.

    Where drivers of one's own leave more than `MOST_LIFT_DB` missing, the rest stays missing.
    """
    if not any(driver.is_adjusted for driver in drivers):
        branches = branch_responses(crossovers_hz, slope_db_per_octave, frequencies_hz)
        return branches[[driver.way for driver in drivers]]
    fractions = adjusted_fractions(drivers, crossovers_hz, slope_db_per_octave, frequencies_hz)
    on_axis = np.maximum(np.abs(fractions.sum(axis=0)), 10.0 ** (-MOST_LIFT_DB / 20.0))
    flat: ComplexArray = fractions / on_axis
    return flat


def adjusted_fractions(
    drivers: Sequence[Driver], crossovers_hz: Sequence[float], slope_db_per_octave: int, frequencies_hz: FloatArray
) -> ComplexArray:
    """What each driver is sent before the sum on the axis is made flat, complex, shape (driver, f)."""
    branches = None
    if not all(driver.own_band for driver in drivers):
        branches = branch_responses(crossovers_hz, slope_db_per_octave, frequencies_hz)
    bands = [(each.from_hz, each.to_hz, each.slope_db_per_octave) for each in drivers if each.own_band]
    rows = []
    for driver in drivers:
        if branches is None or driver.own_band:
            band = (driver.from_hz, driver.to_hz, driver.slope_db_per_octave)
            fraction = band_response(*band, frequencies_hz) / bands.count(band)
        else:
            fraction = branches[driver.way]
        turned = -2j * np.pi * frequencies_hz * driver.delay_ms * 1e-3
        gain = 10.0 ** (driver.gain_db / 20.0) * (-1.0 if driver.inverted else 1.0)
        rows.append(gain * fraction * np.exp(turned))
    return np.stack(rows)
