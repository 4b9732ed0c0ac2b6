"""How far one reflection stands alone in an octave: what else arrives while its pulse lasts.

An octave's pulse lasts longer the lower the octave, and what arrives within it adds or cancels.  With E the energy of a
reflection and N that of all others at its moment, phases unknown, the level there is off by 20 lg(e) sqrt(N / (2 E)) dB
as a standard deviation, to first order: the mean square of a cosine is a half.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from sim.acoustics.bands import Bands
from sim.arrays import FloatArray
from sim.responses.energy_time import analytic, pulse_shapes, shown_times

DB_PER_NEPER: Final = 20.0 / np.log(10.0)
WIDEST_DB: Final = 40.0
"""A level that is more uncertain than this is not known at all."""


def pulse_energies(frequencies_hz: FloatArray, bands: Bands) -> tuple[FloatArray, FloatArray]:
    """Times (t,) in ms from a pulse's middle, and its energy there (band, t), 1 at most, as the curves have it."""
    first, last, time_ms = shown_times()
    shapes = pulse_shapes(frequencies_hz, bands)[1:].astype(np.complex128)
    heard = np.abs(analytic(shapes, first, last)) ** 2
    after = time_ms >= 0.0
    return time_ms[after], np.asarray(heard[:, after] / heard.max(axis=1, keepdims=True))


def level_errors_db(
    delay_ms: FloatArray, level_db: FloatArray, pulse: tuple[FloatArray, FloatArray], at_ms: FloatArray | None = None
) -> FloatArray:
    """Standard error (n, band) of the level of each arrival in each octave by what else arrives.

    Parameters
    ----------
    delay_ms, level_db
        (n,) and (n, band) of all arrivals of one loudspeaker, the direct sound among them.
    pulse
        As `pulse_energies` returns it.
    at_ms
        (n,) when each is read off; left out, when it arrives.
    """
    here = delay_ms if at_ms is None else at_ms
    apart = np.abs(here[:, np.newaxis] - delay_ms[np.newaxis, :])
    energy = 10.0 ** (np.maximum(level_db, -300.0) / 10.0)
    found = np.empty_like(energy)
    for band in range(energy.shape[1]):
        shared = np.interp(apart, pulse[0], pulse[1][band]) * energy[np.newaxis, :, band]
        np.fill_diagonal(shared, 0.0)
        found[:, band] = shared.sum(axis=1) / energy[:, band]
    return np.asarray(np.minimum(DB_PER_NEPER * np.sqrt(0.5 * found), WIDEST_DB))


def level_at(time_ms: FloatArray, level_db: FloatArray, at_ms: float, within_ms: float) -> float:
    """Highest level of a curve (t,) near a moment."""
    near = np.abs(time_ms - at_ms) <= within_ms
    return float(level_db[near].max()) if near.any() else float("nan")
