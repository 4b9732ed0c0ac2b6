"""What a whole loudspeaker radiates in each octave, toward any direction, as energy."""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from ..acoustics.bands import octave_bands, sample_frequencies
from ..arrays import FloatArray, frozen
from ..loudspeakers.loudspeaker import Loudspeaker

POINTS_IN_AN_OCTAVE = 12
STEP_DEG = 5
ROWS_AT_ONCE = 512


def octave_energy(model: Loudspeaker, directions: FloatArray, speed_m_s: float) -> FloatArray:
    """Energy (m, 8) toward directions (m, 3) of the box's frame, octaves 63 Hz to 8 kHz; 1 on the axis.

    The drivers are added as pressures, each with the phase of its place, as they add far away; then the energy is
    averaged over twelve frequencies of the octave and divided by that on the axis.  Neglected: that near by, the
    drivers are not in one place; direct sound and first reflections have that in `path_gains`.
    """
    frequencies = sample_frequencies(octave_bands(63, 8000), POINTS_IN_AN_OCTAVE)
    on_axis = _octaves(model, np.array([[1.0, 0.0, 0.0]]), frequencies, speed_m_s)
    rows = [
        _octaves(model, directions[start : start + ROWS_AT_ONCE], frequencies, speed_m_s)
        for start in range(0, len(directions), ROWS_AT_ONCE)
    ]
    energy: FloatArray = np.concatenate(rows) / on_axis
    return energy


def _octaves(model: Loudspeaker, directions: FloatArray, frequencies: FloatArray, speed_m_s: float) -> FloatArray:
    pressure = model.far_pressure(directions, frequencies.ravel(), speed_m_s)
    return np.asarray((np.abs(pressure) ** 2).reshape(len(directions), *frequencies.shape).mean(axis=-1))


@lru_cache(maxsize=16)
def energy_table(model: Loudspeaker, speed_m_s: float) -> FloatArray:
    """`octave_energy` every five degrees: (angle from the axis, turn about it from right over up, 8).

    The angle runs from 0 to 180 degrees, both included, the turn from 0 to 355.  Kept, since batches of rays ask again.
    """
    angle = np.radians(np.arange(0, 181, STEP_DEG))[:, None]
    turn = np.radians(np.arange(0, 360, STEP_DEG))[None, :]
    ways = np.stack(np.broadcast_arrays(np.cos(angle), np.sin(angle) * np.cos(turn), np.sin(angle) * np.sin(turn)), -1)
    return frozen(octave_energy(model, ways.reshape(-1, 3), speed_m_s).reshape(*ways.shape[:2], -1))
