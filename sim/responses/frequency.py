"""The complex response at the listener: all paths added as pressures, with and without each surface."""

from __future__ import annotations

import numpy as np

from ..arrays import BoolArray, ComplexArray, FloatArray, frozen
from ..placement.stage import Stage
from ..propagation.bend_table import BendTable, bend_gains, touched_surfaces
from ..propagation.gains import path_gains
from ..propagation.paths import PathTable
from .records import EarResponse

SAMPLE_RATE_HZ = 96_000.0
SAMPLES = 8192
HIGHEST_HZ = 22_000.0
LATEST_MS = 60.0
"""Paths later than this after the direct sound are left out of curves: they are early-reflection curves, and the
transform is 85 ms long."""


def response_frequencies() -> FloatArray:
    """Frequencies in Hz (f,) of the transform, 0 to 22 kHz in steps of 11.7 Hz."""
    step = SAMPLE_RATE_HZ / SAMPLES
    return np.arange(int(HIGHEST_HZ / step) + 1, dtype=np.float64) * step


def ear_response(stage: Stage, paths: PathTable, bends: BendTable | None = None) -> EarResponse:
    """Add the paths of each loudspeaker at each listener, and what is bent round edges, as complex pressures.

    The result is relative to a loudspeaker's on-axis pressure at the listener's distance, and time zero is the
    moment sound from its acoustic axis point arrives; the direct sound of a driver hidden by something is left
    out of `total` but kept in `direct`.
    """
    frequencies = response_frequencies()
    gains = path_gains(stage, paths, frequencies)
    speed = stage.air.speed_of_sound_m_s
    shape = (len(stage.loudspeakers), len(stage.ears))
    names = tuple(dict.fromkeys(stage.room.facets[f].name for f in paths.facets.ravel() if f >= 0))
    touched = _touches(stage, paths, names)
    direct = np.zeros((*shape, len(frequencies)), dtype=np.complex128)
    total = np.zeros_like(direct)
    by_surface = np.zeros((*shape, len(names), len(frequencies)), dtype=np.complex128)
    for s, loudspeaker in enumerate(stage.loudspeakers):
        for place, ear in enumerate(stage.ears):
            distance = float(np.linalg.norm(ear - loudspeaker.axis_point))
            align = distance * np.exp(2j * np.pi * frequencies * distance / speed)
            mine = (paths.loudspeaker == s) & (paths.listener == place)
            mine &= paths.length_m - distance <= LATEST_MS / 1000.0 * speed
            straight = mine & (paths.order == 0)
            direct[s, place] = gains[straight].sum(axis=0) * align
            heard = mine & ~paths.blocked
            total[s, place] = gains[heard].sum(axis=0) * align
            for number in range(len(names)):
                by_surface[s, place, number] = gains[heard & touched[:, number]].sum(axis=0) * align
            if bends is not None:
                _add_bends(stage, bends, (s, place), distance, align, names, total, by_surface)
    return EarResponse(frozen(frequencies), frozen(direct), frozen(total), names, frozen(by_surface))


def _add_bends(
    stage: Stage, bends: BendTable, pair: tuple[int, int], distance: float, align: ComplexArray,
    names: tuple[str, ...], total: ComplexArray, by_surface: ComplexArray,
) -> None:  # fmt: skip
    """Add what is bent round edges for one loudspeaker and listener, also to every surface that takes part."""
    speed = stage.air.speed_of_sound_m_s
    mine = (bends.loudspeaker == pair[0]) & (bends.listener == pair[1])
    mine &= bends.length_m - distance <= LATEST_MS / 1000.0 * speed
    rows = np.flatnonzero(mine)
    gains = bend_gains(stage, bends.chosen(rows), response_frequencies()) * align
    total[pair] += gains.sum(axis=0)
    for row, gain in zip(rows, gains, strict=True):
        for name in touched_surfaces(stage, bends, int(row)):
            if name in names:
                by_surface[pair][names.index(name)] += gain


def _touches(stage: Stage, paths: PathTable, names: tuple[str, ...]) -> BoolArray:
    """Return (path, surface): whether a path touches a surface of that name."""
    number = {name: i for i, name in enumerate(names)}
    table = np.zeros((len(paths), len(names)), dtype=np.bool_)
    for column in paths.facets.T:
        rows = np.flatnonzero(column >= 0)
        table[rows, [number[stage.room.facets[f].name] for f in column[rows]]] = True
    return table


def smoothed_db(frequencies_hz: FloatArray, response: ComplexArray, fraction: float = 3.0) -> FloatArray:
    """Level in dB (f,) of a response (f,), energy averaged over 1/`fraction` octave around each frequency."""
    energy = np.concatenate([[0.0], np.cumsum(np.abs(response) ** 2)])
    step = frequencies_hz[1] - frequencies_hz[0]
    half = 2.0 ** (0.5 / fraction)
    low = np.clip(np.round(frequencies_hz / half / step).astype(int), 0, len(response) - 1)
    high = np.clip(np.round(frequencies_hz * half / step).astype(int) + 1, low + 1, len(response))
    return np.asarray(10.0 * np.log10(np.maximum((energy[high] - energy[low]) / (high - low), 1e-20)))
