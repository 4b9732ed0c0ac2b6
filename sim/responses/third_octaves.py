"""Third-octave levels at the ear, with everything and with one thing at a time left out."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ..acoustics.bands import Bands, third_octave_bands
from ..acoustics.decibels import level_db
from ..arrays import ComplexArray, FloatArray, frozen
from .ear_records import EarLevels

LOWEST_HZ, HIGHEST_HZ = 100, 16_000
"""Nominal middles of the lowest and highest band: below, the transform has less than two frequencies in a band."""
EVERYTHING = ""
"""Name of the case in which nothing is left out."""


def ear_levels(
    frequencies_hz: FloatArray, direct: ComplexArray, by_driver: ComplexArray, cases: Sequence[tuple[str, str]],
    changes: ComplexArray,
) -> EarLevels:  # fmt: skip
    """Levels of every case, in dB re the direct sound of the whole loudspeaker in the same band.

    direct (loudspeaker, listener, f); by_driver (loudspeaker, driver, listener, f): what each driver sends with
    everything in place; changes (loudspeaker, driver, listener, thing, f): what each thing adds to that.  cases (thing)
    are pairs of kind and name.
    """
    bands = third_octave_bands(LOWEST_HZ, HIGHEST_HZ)
    weights = band_mean_weights(frequencies_hz, bands)
    reference = np.maximum(np.abs(direct) ** 2 @ weights.T, 1e-20)  # (loudspeaker, listener, band)
    left = np.concatenate([by_driver[..., None, :], by_driver[..., None, :] - changes], axis=-2)
    whole = np.abs(left.sum(axis=1)) ** 2 @ weights.T
    single = np.abs(left) ** 2 @ weights.T
    return EarLevels(
        bands=bands,
        kinds=("everything", *(kind for kind, _ in cases)),
        without=(EVERYTHING, *(name for _, name in cases)),
        whole_db=frozen(level_db(whole / reference[:, :, None])),
        driver_db=frozen(level_db(single / reference[:, None, :, None])),
    )


def band_mean_weights(frequencies_hz: FloatArray, bands: Bands) -> FloatArray:
    """Weights (band, f) that make of an energy spectrum its mean over each band on a logarithmic axis.

    The spectrum is taken as straight between its frequencies on that axis, and a band as a rectangle from edge to edge
    (IEC 61260-1, base ten).  Each row sums to 1; a frequency of zero counts for nothing.
    """
    known = frequencies_hz > 0.0
    place = np.log(frequencies_hz[known])
    step = np.diff(place)
    low, high = np.log(bands.lower_hz)[:, None], np.log(bands.upper_hz)[:, None]
    begin = np.clip((low - place[:-1]) / step, 0.0, 1.0)  # (band, interval): the part of each interval in the band
    end = np.clip((high - place[:-1]) / step, 0.0, 1.0)
    to_upper = 0.5 * (end**2 - begin**2) * step
    to_lower = (end - begin) * step - to_upper
    weights = np.zeros((len(bands), len(frequencies_hz)))
    inner = np.flatnonzero(known)
    weights[:, inner[:-1]] += to_lower
    weights[:, inner[1:]] += to_upper
    return np.asarray(weights / weights.sum(axis=1, keepdims=True))
