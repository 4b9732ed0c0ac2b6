"""The complex gain of each path: directivity, surfaces, distance and air."""

from __future__ import annotations

import numpy as np

from ..acoustics.air import attenuation_db_per_m
from ..arrays import ComplexArray, FloatArray
from ..placement.stage import Stage
from .paths import PathTable
from .surface_factors import surface_factors


def path_gains(stage: Stage, paths: PathTable, frequencies_hz: FloatArray, *, delayed: bool = True) -> ComplexArray:
    """Complex pressure (path, f) at the listener, for a loudspeaker of pressure 1 at 1 m on its axis.

    D(departure) * product of R(f) * e^{-jkL}/L * 10^(-attenuation L/20).  With `delayed` False the phase of
    the travel time is left out, which the levels of single paths do not need.

    Neglected: the angle dependence of surfaces known only by random-incidence coefficients, and scattering.
    """
    speed = stage.air.speed_of_sound_m_s
    gains = surface_factors(stage, paths, frequencies_hz)
    air_db = attenuation_db_per_m(frequencies_hz, stage.air)[None, :] * paths.length_m[:, None]
    gains *= 10.0 ** (-air_db / 20.0) / paths.length_m[:, None]
    for s, loudspeaker in enumerate(stage.loudspeakers):
        for d in range(len(loudspeaker.model.drivers)):
            mine = np.flatnonzero((paths.loudspeaker == s) & (paths.driver == d))
            if mine.size:
                ways = loudspeaker.to_box(paths.departure[mine])
                gains[mine] *= loudspeaker.model.driver_radiation(d, ways, frequencies_hz, speed)
    if delayed:
        gains *= np.exp(-2j * np.pi * frequencies_hz[None, :] * paths.length_m[:, None] / speed)
    return gains
