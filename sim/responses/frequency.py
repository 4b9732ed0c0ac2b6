"""The complex response at the listener and its third-octaves, with and without each surface, piece and panel."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from sim.acoustics.bands import Bands, third_octave_bands
from sim.acoustics.levels import level_db
from sim.arrays import BoolArray, ComplexArray, FloatArray, IntArray, frozen
from sim.placement.built_scene import BuiltScene
from sim.propagation.edges.table import EdgePathTable
from sim.propagation.edges.tracing import no_edge_paths
from sim.propagation.paths import PathTable
from sim.propagation.waves.table import WavePaths
from sim.responses.ear_records import EarLevels, EarResponse, EarWindow
from sim.responses.touching import AllPaths, all_paths_of
from sim.responses.wave_blend import blended, blended_total, low_paths
from sim.responses.window import LONGEST_MS, window_weight

LOWEST_HZ, HIGHEST_HZ = 100, 16_000
"""Nominal middles of the lowest and highest band: below, the transform has less than two frequencies in a band."""
EVERYTHING = ""
"""Name of the case in which nothing is left out."""


def ear_levels(
    frequencies_hz: FloatArray,
    direct: ComplexArray,
    by_driver: ComplexArray,
    cases: Sequence[tuple[str, str]],
    changes: ComplexArray,
) -> EarLevels:
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


# The complex response at the listener: all paths as pressures, with and without each surface, piece and panel.

SAMPLE_RATE_HZ = 96_000.0
SAMPLES = 8192
GRID_TO_HZ = 22_000.0
LATEST_MS = LONGEST_MS
"""Paths later than this after the direct sound are left out of curves: they are early-reflection curves, and the
transform is 85 ms long."""
LATEST = EarWindow(LATEST_MS, 0, 0, 0, False, 0.0, *(frozen(np.zeros(shape)) for shape in ((0,), (0, 0, 0), (0, 0, 0))))
"""What holds where no window is given: all the paths that are handed over."""


def response_frequencies() -> FloatArray:
    """Frequencies in Hz (f,) of the transform, 0 to 22 kHz in steps of 11.7 Hz."""
    step = SAMPLE_RATE_HZ / SAMPLES
    return np.arange(int(GRID_TO_HZ / step) + 1, dtype=np.float64) * step


def ear_response(
    built: BuiltScene,
    paths: PathTable,
    edge_paths: EdgePathTable | None = None,
    window: EarWindow | None = None,
    waves: WavePaths | None = None,
) -> EarResponse:
    """The response of `ear_and_traced` alone."""
    return ear_and_traced(built, paths, edge_paths, window, waves)[0]


def ear_and_traced(
    built: BuiltScene,
    paths: PathTable,
    edge_paths: EdgePathTable | None = None,
    window: EarWindow | None = None,
    waves: WavePaths | None = None,
    gains: ComplexArray | None = None,
) -> tuple[EarResponse, ComplexArray]:
    """Add the paths of each loudspeaker at each listener, and edge diffraction, as complex pressures.

    What is later than the window is left out (`window_weight`); without one, what is later than 60 ms.  The second
    array, (loudspeaker, listener, f), is the sum of everything in the tables to 60 ms.

    The result is relative to a loudspeaker's on-axis pressure at the listener's distance, and time zero is the
    moment sound from its acoustic axis point arrives; the direct sound of a driver hidden by something is left
    out of `total` but kept in `direct`.

    Left out with a piece is all that meets it.  Direct sound that it alone hides is let through; reflections that it
    hides are not.

    With `waves` the response up to their highest frequency, and what the room's surfaces add there, is theirs; what
    pieces and panels add stays that of mirrors and edges, but for a piece that stands near alone (`wave_blend`).
    `gains` are `path_gains` of the paths at `response_frequencies`, if known already.
    """
    frequencies = response_frequencies()
    edges = no_edge_paths() if edge_paths is None else edge_paths
    ways = all_paths_of(built, paths, edges, frequencies, gains)
    low = None if waves is None else low_paths(built, paths, ways, edges, waves, len(frequencies))
    speed = built.air.speed_of_sound_m_s
    drivers = max(len(loudspeaker.model.drivers) for loudspeaker in built.loudspeakers)
    things = len(ways.surfaces) + len(ways.pieces) + len(ways.panels)
    direct = np.zeros((len(built.loudspeakers), len(built.ears), len(frequencies)), dtype=np.complex128)
    by_driver = np.zeros((len(built.loudspeakers), drivers, *direct.shape[1:]), dtype=np.complex128)
    changes = np.zeros((*by_driver.shape[:3], things, len(frequencies)), dtype=np.complex128)
    traced = np.zeros_like(direct)
    window = LATEST if window is None else window
    early = _windowed(built, ways, window.window_ms)
    low_early = None
    if low is not None:
        weight = _weight(built, low.loudspeaker, low.listener, low.length_m, window.window_ms)
        low_early = replace(low, gains=low.gains * weight[:, None])
    for s, loudspeaker in enumerate(built.loudspeakers):
        for place, ear in enumerate(built.ears):
            distance = float(np.linalg.norm(ear - loudspeaker.axis_point))
            align = distance * np.exp(2j * np.pi * frequencies * distance / speed)
            mine = (ways.loudspeaker == s) & (ways.listener == place)
            mine &= ways.length_m - distance <= LATEST_MS / 1000.0 * speed
            direct[s, place] = ways.gains[mine & ways.straight].sum(axis=0) * align
            for d in range(len(loudspeaker.model.drivers)):
                rows = mine & (ways.driver == d)
                heard = ways.gains[rows & ways.heard].sum(axis=0) * align
                by_driver[s, d, place] = early.gains[rows & ways.heard].sum(axis=0) * align
                changes[s, d, place] = _changes(early, rows) * align
                if low is not None and low_early is not None:
                    here = (low.loudspeaker == s) & (low.listener == place) & (low.driver == d)
                    here &= low.length_m - distance <= LATEST_MS / 1000.0 * speed
                    heard = blended_total(low, here, heard, align)
                    by_driver[s, d, place], changes[s, d, place] = blended(
                        low_early, here, by_driver[s, d, place], changes[s, d, place], align
                    )
                traced[s, place] += heard
    whole = changes.sum(axis=1)
    surfaces, pieces, panels = np.split(whole, np.cumsum([len(ways.surfaces), len(ways.pieces)]), axis=2)
    response = EarResponse(
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
        levels=_levels(built, ways, frequencies, direct, by_driver, changes),
        window=window,
    )
    return response, traced


def _windowed(built: BuiltScene, ways: AllPaths, window_ms: float) -> AllPaths:
    """The same paths with the gains that the window leaves them, each after its own loudspeaker's direct sound."""
    weight = _weight(built, ways.loudspeaker, ways.listener, ways.length_m, window_ms)
    panels = tuple(gains * weight[rows, None] for rows, gains in zip(ways.panel_rows, ways.panel_gains, strict=True))
    return replace(ways, gains=ways.gains * weight[:, None], panel_gains=panels)


def _weight(
    built: BuiltScene, loudspeaker: IntArray, listener: IntArray, length_m: FloatArray, window_ms: float
) -> FloatArray:
    """What the window leaves (w,) of paths that are so long, each after its own loudspeaker's direct sound."""
    points = np.array([one.axis_point for one in built.loudspeakers])
    away = np.linalg.norm(built.ears[listener] - points[loudspeaker], axis=1)
    return window_weight(1000.0 * (length_m - away) / built.air.speed_of_sound_m_s, window_ms)


def _changes(ways: AllPaths, rows: BoolArray) -> ComplexArray:
    """What each surface, each piece and each panel adds to the ways in `rows` (w,), shape (thing, f)."""
    some = [ways.gains[rows & ways.heard & touched].sum(axis=0) for touched in ways.of_surface.T]
    for number, touched in enumerate(ways.of_piece.T):
        let_through = ways.gains[rows & (ways.hidden_by == number)].sum(axis=0)
        some.append(ways.gains[rows & ways.heard & touched].sum(axis=0) - let_through)
    for numbers, parts in zip(ways.panel_rows, ways.panel_gains, strict=True):
        some.append(parts[(rows & ways.heard)[numbers]].sum(axis=0))
    return np.array(some, dtype=np.complex128).reshape(-1, ways.gains.shape[1])


def _levels(
    built: BuiltScene,
    ways: AllPaths,
    frequencies: FloatArray,
    direct: ComplexArray,
    by_driver: ComplexArray,
    changes: ComplexArray,
) -> EarLevels:
    """Third-octave levels without each surface of the room, each piece as a whole, and each panel."""
    of_room = {facet.name for facet in built.room.facets if facet.owner == built.room.owners[0]}
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
