"""What each driver is sent: a branch of the crossover, or a band of its own with gain, delay and polarity."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np

from sim.arrays import ComplexArray, FloatArray
from sim.loudspeakers.crossover import band_response, branch_responses
from sim.loudspeakers.driver import Driver

MOST_LIFT_DB: Final = 12.0
"""What drivers of one's own leave on the axis is made flat, but lifted by no more than this."""


def driver_shares(
    drivers: Sequence[Driver], crossovers_hz: Sequence[float], slope_db_per_octave: int, frequencies_hz: FloatArray
) -> ComplexArray:
    """What each driver is sent, complex, shape (driver, f); on the axis they add up to 1 in size.

    Where drivers of one's own leave more than `MOST_LIFT_DB` missing, the rest stays missing.
    """
    if not any(driver.is_adjusted for driver in drivers):
        branches = branch_responses(crossovers_hz, slope_db_per_octave, frequencies_hz)
        return branches[[driver.way for driver in drivers]]
    shares = adjusted_shares(drivers, crossovers_hz, slope_db_per_octave, frequencies_hz)
    on_axis = np.maximum(np.abs(shares.sum(axis=0)), 10.0 ** (-MOST_LIFT_DB / 20.0))
    flat: ComplexArray = shares / on_axis
    return flat


def adjusted_shares(
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
            share = band_response(*band, frequencies_hz) / bands.count(band)
        else:
            share = branches[driver.way]
        turned = -2j * np.pi * frequencies_hz * driver.delay_ms * 1e-3
        gain = 10.0 ** (driver.gain_db / 20.0) * (-1.0 if driver.inverted else 1.0)
        rows.append(gain * share * np.exp(turned))
    return np.stack(rows)
