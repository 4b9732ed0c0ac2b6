"""Directions that were measured more than once."""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

import numpy as np

from sim.arrays import ComplexArray, FloatArray, IntArray

ALIKE_DB: Final = 0.5
"""Repeated measurements this near to each other are not worth a word."""
CONTRADICTING_DB: Final = 6.0
"""Measurements this far apart are not of the same direction, whatever the file says."""


def without_repeats(
    keys: FloatArray, values: ComplexArray, told: Callable[[int], str]
) -> tuple[IntArray, ComplexArray, list[str]]:
    """Keep one of each key: rows (k,) of keys (p, n), merged values (k, f), and sentences on what was assumed.

    Merged are the energies; the phase is that of the first.  `told` names the direction of a row, for complaints.
    Raises ValueError when two contradict each other in their mean level over frequency; what differs at single
    frequencies, as behind a loudspeaker, is said.
    """
    _, first, group = np.unique(keys, axis=0, return_index=True, return_inverse=True)
    group = group.ravel()
    if len(first) == len(keys):
        return np.arange(len(keys)), values, []
    energy = np.zeros((len(first), values.shape[1]))
    np.add.at(energy, group, np.abs(values) ** 2)
    count = np.bincount(group)
    size = np.sqrt(energy / count[:, None])
    kept = values[first]
    level = np.abs(kept)
    merged = np.where(level > 0.0, kept / np.where(level > 0.0, level, 1.0), 1.0) * size
    levels = 20.0 * np.log10(np.maximum(np.abs(values), max(float(size.max()), 1e-300) * 1e-6))
    contradicting = _ranges(levels.mean(axis=1)[:, None], group)[:, 0]
    worst = int(np.argmax(contradicting))
    if contradicting[worst] > CONTRADICTING_DB:
        raise ValueError(
            f"{told(int(first[worst]))} was measured twice, {contradicting[worst]:.0f} dB apart; keep the right one"
        )
    apart = np.sqrt((_ranges(levels, group) ** 2).mean(axis=1))
    worst, many = int(np.argmax(apart)), int((apart > ALIKE_DB).sum())
    said = []
    if many:
        others = ["", ", as was 1 other", f", as were {many - 1} others"][min(many - 1, 2)]
        said.append(
            f"{told(int(first[worst]))} was measured more than once, {apart[worst]:.1f} dB apart (rms over frequency)"
            f"{others}: mean energies are taken"
        )
    order = np.argsort(first)
    return first[order], merged[order], said


def _ranges(levels: FloatArray, group: IntArray) -> FloatArray:
    """Highest less lowest level (k, f) in each group of rows (p, f)."""
    count = int(group.max()) + 1
    highest, lowest = np.full((count, levels.shape[1]), -np.inf), np.full((count, levels.shape[1]), np.inf)
    np.maximum.at(highest, group, levels)
    np.minimum.at(lowest, group, levels)
    return np.asarray(highest - lowest)
