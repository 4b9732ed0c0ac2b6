"""Which surface makes which notch in the response at the ear, and which driver plays it."""

from __future__ import annotations

import numpy as np

from ..arrays import FloatArray
from ..placement.stage import Stage
from .energy_time import local_peaks
from .frequency import smoothed_db
from .records import EarResponse, Notch

HIGHEST_HZ = 8000.0
NARROW, WIDE = 12.0, 1.0
"""A notch is a dip of the twelfth-octave mean under the one-octave mean; narrower ones are not heard as colour
(common practice, no source)."""
LEAST_DB = 3.0


def list_notches(stage: Stage, response: EarResponse, lowest_hz: float) -> tuple[Notch, ...]:
    """Find the notches from `lowest_hz` to 8 kHz, for each loudspeaker and listener the deepest first."""
    frequencies = response.frequencies_hz
    judged = np.flatnonzero((frequencies >= lowest_hz) & (frequencies <= HIGHEST_HZ))
    found: list[Notch] = []
    for s, loudspeaker in enumerate(stage.loudspeakers):
        for place, listener in enumerate(stage.listener_names):
            total = response.total[s, place]
            narrow = smoothed_db(frequencies, total, NARROW)
            under = smoothed_db(frequencies, total, WIDE) - narrow
            mine = []
            for number in local_peaks(under[judged], LEAST_DB):
                k = int(judged[number])
                if under[k] >= LEAST_DB:
                    surface, rise = _culprit(response, s, place, k, narrow)
                    driver = _loudest_driver(stage, s, float(frequencies[k]))
                    mine.append(
                        Notch(loudspeaker.name, listener, float(frequencies[k]), float(under[k]), driver, surface, rise)
                    )
            found += sorted(mine, key=lambda notch: -notch.depth_db)
    return tuple(found)


def _culprit(response: EarResponse, s: int, place: int, k: int, narrow: FloatArray) -> tuple[str, float]:
    """The surface without which the level at frequency number k would rise most, and by how many dB."""
    half = max(2, round(k * (2.0 ** (0.5 / NARROW) - 1.0)) + 1)
    near = slice(max(0, k - half), k + half + 1)
    rises = []
    for number in range(len(response.surfaces)):
        without = response.total[s, place, near] - response.by_surface[s, place, number, near]
        level = 10.0 * np.log10(np.maximum(np.mean(np.abs(without) ** 2), 1e-20))
        rises.append(float(level - narrow[k]))
    if not rises or max(rises) < 1.0:
        return "", 0.0
    worst = int(np.argmax(rises))
    return response.surfaces[worst], rises[worst]


def _loudest_driver(stage: Stage, s: int, frequency_hz: float) -> str:
    model = stage.loudspeakers[s].model
    ahead = np.array([[1.0, 0.0, 0.0]])
    levels = np.abs(model.radiation(ahead, [frequency_hz], stage.air.speed_of_sound_m_s))[:, 0, 0]
    return model.drivers[int(np.argmax(levels))].name
