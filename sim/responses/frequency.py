"""The complex response at the listener: all paths as pressures, with and without each surface, piece and panel."""

from __future__ import annotations

import numpy as np

from ..arrays import BoolArray, ComplexArray, FloatArray, frozen
from ..placement.stage import Stage
from ..propagation.bend_table import BendTable
from ..propagation.bends import no_bends
from ..propagation.paths import PathTable
from .ear_records import EarLevels, EarResponse
from .third_octaves import ear_levels
from .touching import Ways, ways_of

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

    Left out with a piece is all that meets it.  Direct sound that it alone hides is let through; reflections that it
    hides are not.
    """
    frequencies = response_frequencies()
    ways = ways_of(stage, paths, no_bends() if bends is None else bends, frequencies)
    speed = stage.air.speed_of_sound_m_s
    drivers = max(len(loudspeaker.model.drivers) for loudspeaker in stage.loudspeakers)
    things = len(ways.surfaces) + len(ways.pieces) + len(ways.panels)
    direct = np.zeros((len(stage.loudspeakers), len(stage.ears), len(frequencies)), dtype=np.complex128)
    by_driver = np.zeros((len(stage.loudspeakers), drivers, *direct.shape[1:]), dtype=np.complex128)
    changes = np.zeros((*by_driver.shape[:3], things, len(frequencies)), dtype=np.complex128)
    for s, loudspeaker in enumerate(stage.loudspeakers):
        for place, ear in enumerate(stage.ears):
            distance = float(np.linalg.norm(ear - loudspeaker.axis_point))
            align = distance * np.exp(2j * np.pi * frequencies * distance / speed)
            mine = (ways.loudspeaker == s) & (ways.listener == place)
            mine &= ways.length_m - distance <= LATEST_MS / 1000.0 * speed
            direct[s, place] = ways.gains[mine & ways.straight].sum(axis=0) * align
            for d in range(len(loudspeaker.model.drivers)):
                rows = mine & (ways.driver == d)
                by_driver[s, d, place] = ways.gains[rows & ways.heard].sum(axis=0) * align
                changes[s, d, place] = _changes(ways, rows) * align
    whole = changes.sum(axis=1)
    surfaces, pieces, panels = np.split(whole, np.cumsum([len(ways.surfaces), len(ways.pieces)]), axis=2)
    return EarResponse(
        frequencies_hz=frozen(frequencies),
        direct=frozen(direct),
        total=frozen(by_driver.sum(axis=1)),
        by_driver=frozen(by_driver),
        surfaces=ways.surfaces,
        by_surface=frozen(surfaces.copy()),
        pieces=ways.pieces,
        by_piece=frozen(pieces.copy()),
        panels=ways.panels,
        by_panel=frozen(panels.copy()),
        levels=_levels(stage, ways, frequencies, direct, by_driver, changes),
    )


def _changes(ways: Ways, rows: BoolArray) -> ComplexArray:
    """What each surface, each piece and each panel adds to the ways in `rows` (w,), shape (thing, f)."""
    some = [ways.gains[rows & ways.heard & touched].sum(axis=0) for touched in ways.of_surface.T]
    for number, touched in enumerate(ways.of_piece.T):
        let_through = ways.gains[rows & (ways.hidden_by == number)].sum(axis=0)
        some.append(ways.gains[rows & ways.heard & touched].sum(axis=0) - let_through)
    for numbers, parts in zip(ways.panel_rows, ways.panel_gains, strict=True):
        some.append(parts[(rows & ways.heard)[numbers]].sum(axis=0))
    return np.array(some, dtype=np.complex128).reshape(-1, ways.gains.shape[1])


def _levels(
    stage: Stage, ways: Ways, frequencies: FloatArray, direct: ComplexArray, by_driver: ComplexArray,
    changes: ComplexArray,
) -> EarLevels:  # fmt: skip
    """Third-octave levels without each surface of the room, each piece as a whole, and each panel."""
    of_room = {facet.name for facet in stage.room.facets if facet.owner == stage.room.owners[0]}
    kinds = ["surface"] * len(ways.surfaces) + ["piece"] * len(ways.pieces) + ["panel"] * len(ways.panels)
    names = [*ways.surfaces, *ways.pieces, *ways.panels]
    listed = [n for n, name in enumerate(names) if kinds[n] != "surface" or name in of_room]
    cases = [(kinds[n], names[n]) for n in listed]
    return ear_levels(frequencies, direct, by_driver, cases, changes[..., listed, :])


def smoothed_db(frequencies_hz: FloatArray, response: ComplexArray, fraction: float = 3.0) -> FloatArray:
    """Level in dB (f,) of a response (f,), energy averaged over 1/`fraction` octave around each frequency."""
    energy = np.concatenate([[0.0], np.cumsum(np.abs(response) ** 2)])
    step = frequencies_hz[1] - frequencies_hz[0]
    half = 2.0 ** (0.5 / fraction)
    low = np.clip(np.round(frequencies_hz / half / step).astype(int), 0, len(response) - 1)
    high = np.clip(np.round(frequencies_hz * half / step).astype(int) + 1, low + 1, len(response))
    return np.asarray(10.0 * np.log10(np.maximum((energy[high] - energy[low]) / (high - low), 1e-20)))
