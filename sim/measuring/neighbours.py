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
MOMENTS: Final = 9
WIDEST_DB: Final = 40.0
"""A level that is more uncertain than this is not known at all."""


def pulse_energies(frequencies_hz: FloatArray, bands: Bands) -> tuple[FloatArray, FloatArray]:
    """Times (t,) in ms from a pulse's middle, and its energy there (band, t), 1 at most, as the curves have it."""
    first, last, time_ms = shown_times()
    shapes = pulse_shapes(frequencies_hz, bands)[1:].astype(np.complex128)
    heard = np.abs(analytic(shapes, first, last)) ** 2
    after = time_ms >= 0.0
    return time_ms[after], np.asarray(heard[:, after] / heard.max(axis=1, keepdims=True))


def neighbour_energies(
    delay_ms: FloatArray, level_db: FloatArray, pulse: tuple[FloatArray, FloatArray]
) -> tuple[FloatArray, FloatArray]:
    """Energy (n, band) of each arrival, and of all others at its moment, re the direct sound.

    Parameters
    ----------
    delay_ms, level_db
        (n,) and (n, band) of all arrivals of one loudspeaker, the direct sound among them.
    pulse
        As `pulse_energies` returns it.
    """
    apart = np.abs(delay_ms[:, np.newaxis] - delay_ms[np.newaxis, :])
    own = 10.0 ** (np.maximum(level_db, -300.0) / 10.0)
    others = np.empty_like(own)
    for band in range(own.shape[1]):
        shared = np.interp(apart, pulse[0], pulse[1][band]) * own[np.newaxis, :, band]
        np.fill_diagonal(shared, 0.0)
        others[:, band] = shared.sum(axis=1)
    return own, others


def highest_energies(
    delay_ms: FloatArray, level_db: FloatArray, pulse: tuple[FloatArray, FloatArray], within_ms: FloatArray
) -> FloatArray:
    """Highest energy (n, band) of all arrivals together near the moment of each, phases unknown, re the direct sound.

    within_ms: (band,) how near; the same that `level_at` takes for measured curves.
    """
    energy = 10.0 ** (np.maximum(level_db, -300.0) / 10.0)
    found = np.empty_like(energy)
    for band, within in enumerate(within_ms):
        moments = delay_ms[:, np.newaxis] + np.linspace(-within, within, MOMENTS)
        apart = np.abs(moments[:, :, np.newaxis] - delay_ms)
        found[:, band] = (np.interp(apart, pulse[0], pulse[1][band]) @ energy[:, band]).max(axis=1)
    return found


def level_errors_db(own: FloatArray, others: FloatArray) -> FloatArray:
    """Standard error of the level of something by what else arrives, of the energies of both."""
    return np.asarray(np.minimum(DB_PER_NEPER * np.sqrt(0.5 * others / own), WIDEST_DB))


def level_at(time_ms: FloatArray, level_db: FloatArray, at_ms: float, within_ms: float) -> float:
    """Highest level of a curve (t,) near a moment."""
    near = np.abs(time_ms - at_ms) <= within_ms
    return float(level_db[near].max()) if near.any() else float("nan")
