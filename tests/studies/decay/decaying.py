"""Energies of made-up decays, exact in every bin."""

from __future__ import annotations

import numpy as np

from sim.arrays import FloatArray

K60 = 6.0 * np.log(10.0)


def exponential(decay_s: float, bin_s: float, length_s: float, arrival_s: float = 0.0, energy: float = 1.0):
    """Energies (bin,) of one exponential that begins at the arrival of direct sound."""
    edges = bin_s * np.arange(round(length_s / bin_s) + 1)
    left = energy * np.exp(-K60 / decay_s * np.maximum(edges - arrival_s, 0.0))
    return left[:-1] - left[1:]


def by_hand(energy: FloatArray, direct: float, time_s: FloatArray, from_db: float, to_db: float) -> float:
    """Decay time the slow way: E(t) summed for each sample, its level, numpy's line through those in the range."""
    left = np.array([energy[n:].sum() for n in range(len(energy))])
    level = 10.0 * np.log10(left / (left[0] + direct))
    inside = (level <= from_db) & (level >= to_db)
    return float(-60.0 / np.polyfit(time_s[inside], level[inside], 1)[0])
