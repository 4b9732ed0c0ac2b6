"""What arrives early of each monitor as spectra, and the filters that say it at a programme's sampling rate.

The spectra are those of the response at the ear: every path in the window and its edges, each with its own delay to a
fraction of a sample, its level and phase at each of 1878 frequencies, sound waves below.  With somebody's head-related
responses each path is heard from where it arrives; what no path says (sound waves less paths) comes from where the
direct sound does.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from sim.arrays import BoolArray, ComplexArray, FloatArray
from sim.measuring.head_files import HeadResponses
from sim.placement.built_scene import BuiltScene
from sim.propagation.edges.table import EdgePathTable
from sim.responses.frequency import GRID_TO_HZ, LATEST_MS
from sim.responses.path_kinds import DiffractedPaths
from sim.responses.records import Results
from sim.responses.touching import AllPaths, all_paths_of
from sim.responses.window import FADE, fill_window, window_weight

EVERYTHING: Final = ""
LEAD_MS, TAIL_MS = 5.0, 8.0
"""What a filter holds before the direct sound and after its window: low tones ring."""
RISE_MS: Final = 3.0
FADE_FROM: Final = 0.91
"""Of the highest frequency: from here a filter falls to nothing, so that it does not ring."""
CHUNK: Final = 512


class EarlySound:
    """Early sound of all monitors of a traced scene at one listener.

    Parameters
    ----------
    results
        The traced scene.
    place
        Number of the listener.
    head
        Somebody's head-related responses; None: one point, no head.
    """

    def __init__(self, results: Results, place: int, head: HeadResponses | None = None) -> None:
        self._results, self._place, self._head = results, place, head
        self.window_ms = results.responses.response.window.window_ms
        self._ways: tuple[AllPaths, FloatArray] | None = None if head is None else _ways(results)
        self.farthest_deg = 0.0
        """How far the directions of the strong paths are from measured ones at most, once spectra were asked for."""

    def spectra(self, without: str = EVERYTHING, *, direct_only: bool = False) -> ComplexArray:
        """Pressure (loudspeaker, ear, f) with a thing left out, or of the direct sound alone; one ear without a head.

        Time zero is when the nearest monitor's direct sound arrives; a monitor further off is later and weaker.
        """
        response, built = self._results.responses.response, self._results.built
        hz, place = response.frequencies_hz, self._place
        distance = np.array([np.linalg.norm(built.ears[place] - one.axis_point) for one in built.loudspeakers])
        late_s = (distance - distance.min()) / built.air.speed_of_sound_m_s
        apart = (distance.min() / distance)[:, None] * np.exp(-2j * np.pi * late_s[:, None] * hz)
        if direct_only:
            heard = response.direct[:, place]
        else:
            heard = response.total[:, place] - _part_of(self._results, without, place)
        if self._head is None:
            return np.asarray((heard * apart)[:, None])
        return np.asarray(self._with_head(heard, without, direct_only) * apart[:, None])

    def _with_head(self, heard: ComplexArray, without: str, direct_only: bool) -> ComplexArray:
        """Pressure (loudspeaker, 2, f) at both ears of spectra (loudspeaker, f), path by path."""
        built, hz, place = self._results.built, self._results.responses.response.frequencies_hz, self._place
        head = self._head
        assert self._ways is not None and head is not None
        ways, toward = self._ways
        gains = _kept(ways, without)
        found = np.zeros((len(heard), 2, len(hz)), dtype=np.complex128)
        for s, one in enumerate(built.loudspeakers):
            way = one.axis_point - built.ears[place]
            distance = float(np.linalg.norm(way))
            late_m = ways.length_m - distance
            weight = window_weight(1000.0 * late_m / built.air.speed_of_sound_m_s, self.window_ms)
            rows = np.flatnonzero((ways.loudspeaker == s) & (ways.listener == place) & (weight > 0.0))
            if direct_only:
                rows = rows[:0]
            align = distance * np.exp(2j * np.pi * hz * distance / built.air.speed_of_sound_m_s)
            mine = gains[rows] * weight[rows, None] * align
            numbers, off_deg = head.nearest(np.vstack([_seen(toward[rows]), _seen(way[None] / distance)]))
            strong = np.abs(mine).max(axis=1, initial=0.0) >= 0.1
            self.farthest_deg = max(self.farthest_deg, float(off_deg[np.append(strong, True)].max()))
            used, which = np.unique(numbers, return_inverse=True)
            summed = np.zeros((len(used), len(hz)), dtype=np.complex128)
            np.add.at(summed, which[:-1], mine)
            summed[which[-1]] += heard[s] - mine.sum(axis=0)
            found[s] = np.einsum("kf,kef->ef", summed, head.spectra(used, hz))
        return found


def _part_of(results: Results, name: str, place: int) -> ComplexArray:
    """What a piece, panel or surface of this name adds, (loudspeaker, f); nothing for an empty name."""
    response = results.responses.response
    for names, parts in (
        (response.pieces, response.by_piece),
        (response.panels, response.by_panel),
        (response.surfaces, response.by_surface),
    ):
        if name in names:
            return np.asarray(parts[:, place, names.index(name)])
    return np.zeros_like(response.total[:, place])


def _ways(results: Results) -> tuple[AllPaths, FloatArray]:
    """Every path in the window, and from where each arrives (w, 3), seen from the ear in the room's axes."""
    built, response = results.built, results.responses.response
    early, _ = fill_window(built, results.paths, response.window.window_ms)
    edges = results.edge_paths
    ways = all_paths_of(built, early, edges, response.frequencies_hz)
    return ways, np.vstack([early.arrival, _edge_directions(built, edges)])


def _edge_directions(built: BuiltScene, edges: EdgePathTable) -> FloatArray:
    listed = DiffractedPaths(built, edges)
    return np.array([listed.directions(row).arrival for row in range(len(edges))]).reshape(-1, 3)


def _kept(ways: AllPaths, without: str) -> ComplexArray:
    """Gains (w, f) of what is heard with a thing left out, as `EarResponse` leaves it out."""
    kept: BoolArray = ways.heard.copy()
    if without in ways.pieces:
        number = ways.pieces.index(without)
        kept = (kept & ~ways.of_piece[:, number]) | (ways.hidden_by == number)
    elif without in ways.panels:
        number = ways.panels.index(without)
        gains = ways.gains * kept[:, None]
        gains[ways.panel_rows[number]] -= ways.panel_gains[number] * kept[ways.panel_rows[number], None]
        return np.asarray(gains)
    elif without in ways.surfaces:
        kept &= ~ways.of_surface[:, ways.surfaces.index(without)]
    return np.asarray(ways.gains * kept[:, None])


def _seen(toward: FloatArray) -> FloatArray:
    """Directions (n, 3) in the room's axes as front, left and up of someone who faces the front wall."""
    return np.asarray(toward * np.array([-1.0, -1.0, 1.0]))


def filter_taps(spectra: ComplexArray, frequencies_hz: FloatArray, rate_hz: int, window_ms: float) -> FloatArray:
    """Taps (..., n) of the filters of spectra (..., f) at a sampling rate, a lead of 5 ms before time zero.

    Inside the lead they rise and after the window they fade, with half a cosine; above 20 kHz, or 0.91 of half the rate
    where that is lower, they fall to nothing.
    """
    first, end_ms = -round(LEAD_MS * rate_hz / 1000.0), min((1.0 + FADE) * window_ms + TAIL_MS, LATEST_MS + TAIL_MS)
    last = round(end_ms * rate_hz / 1000.0)
    time_s = np.arange(first, last, dtype=np.float64) / rate_hz
    highest = min(GRID_TO_HZ, 0.5 * rate_hz)
    fall = np.clip((frequencies_hz / highest - FADE_FROM) / (1.0 - FADE_FROM), 0.0, 1.0)
    step = float(frequencies_hz[1] - frequencies_hz[0])
    weighted = spectra * np.cos(0.5 * np.pi * fall) ** 2 * np.where(frequencies_hz > 0.0, 2.0, 1.0) * (step / rate_hz)
    held = frequencies_hz < highest
    taps = np.empty((*spectra.shape[:-1], len(time_s)))
    for begin in range(0, len(time_s), CHUNK):
        turned = np.exp(2j * np.pi * frequencies_hz[held, None] * time_s[begin : begin + CHUNK])
        taps[..., begin : begin + CHUNK] = (weighted[..., held] @ turned).real
    rise = np.clip((1000.0 * time_s + LEAD_MS) / RISE_MS, 0.0, 1.0)
    fade = np.clip((end_ms - 1000.0 * time_s) / (0.5 * TAIL_MS), 0.0, 1.0)
    return np.asarray(taps * np.sin(0.5 * np.pi * rise) ** 2 * np.sin(0.5 * np.pi * fade) ** 2)
