"""Energy over time before and after, broadband and octave by octave, with the target and the times of the panels."""

from __future__ import annotations

from pathlib import Path
from typing import Final

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from sim.measuring.neighbours import level_at
from sim.responses.energy_time import broadband_db
from sim.showing.labels import Label, headline, on_figure, write_labels
from sim.showing.numbers import hertz
from sim.showing.style import HAIRLINE, INK, SOFT_INK, house_style, new_figure, save
from sim.showing.words import BEFORE_MS, CEILING_DB, FLOOR_DB
from sim.studies.proof.panel_readings import paired_arrivals
from sim.studies.proof.records import Proof

BEFORE_COLOUR: Final = "#b07d00"
OCTAVES_HZ: Final = (2000.0, 4000.0, 8000.0)
LAST_MS: Final = 20.0
PANEL_IN, OCTAVE_IN, GAP_IN = 2.6, 1.5, 0.62
FAINTEST_DB: Final = -28.0
MOST: Final = 6


def draw_proof(found: Proof, path: Path) -> Path:
    """Write the picture as PNG."""
    return save(proof_figure(found), path)


def proof_figure(found: Proof) -> Figure:
    """Draw both measurements of each loudspeaker over what the scene with its panels has."""
    row_in = PANEL_IN + OCTAVE_IN + 2.0 * GAP_IN
    height_in = 0.75 + row_in * len(found.targets)
    with house_style():
        figure = new_figure(12.0, height_in)
        title = f"{found.results.scene.blueprint.title}: measured before and after"
        headline(figure, (0.02, 1.0 - 0.28 / height_in), title, size=11)
        for turn in range(len(found.targets)):
            top = height_in - 0.8 - row_in * turn
            _broadband(figure, found, turn, top, height_in)
            _octaves(figure, found, turn, top - PANEL_IN - GAP_IN, height_in)
    return figure


def _broadband(figure: Figure, found: Proof, turn: int, top: float, height_in: float) -> None:
    place = figure.add_axes((0.06, (top - PANEL_IN) / height_in, 0.92, PANEL_IN / height_in))
    before, after = found.before.responses[turn], found.after.responses[turn]
    s, listener = found.after.numbers(after)
    promised = found.results.responses.energy_time
    place.plot(
        promised.time_ms, promised.broadband_db[s, listener], color=HAIRLINE, linewidth=1.4, label="promised, after"
    )
    _both(place, found, turn, None)
    _frame(place)
    place.set_ylabel("dB re direct peak")
    place.set_xlabel("ms after the direct sound", loc="left")
    place.set_title(f"{after.loudspeaker}, broadband: {before.file}, {after.file}", loc="left", fontsize=9)
    place.legend(loc="upper right", fontsize=7.5, frameon=False, ncols=3)
    spots = _panel_peaks(found, turn)
    at = on_figure(place, np.array([[time, min(level, CEILING_DB)] for time, level, _ in spots]).reshape(-1, 2))
    labels = [
        Label(words, (float(spot[0]), float(spot[1])), INK) for spot, (_, _, words) in zip(at, spots, strict=True)
    ]
    place.plot([time for time, *_ in spots], [level for _, level, _ in spots], "o", color=INK, markersize=4.0, zorder=4)
    write_labels(figure, labels, place.bbox, [np.concatenate([spot - 2.5, spot + 2.5]) for spot in at], upward=True)


def _both(place: Axes, found: Proof, turn: int, band: int | None) -> None:
    """Curves before and after, broadband or of one octave."""
    ways = ((found.before, "before", BEFORE_COLOUR, (0, (4.0, 1.6))), (found.after, "after", INK, "-"))
    for match, words, colour, line in ways:
        curves = match.responses[turn].curves
        level = curves.broadband_db if band is None else curves.octave_db[band]
        place.plot(curves.time_ms, level, color=colour, linewidth=1.0, linestyle=line, label=words, zorder=3)


def _panel_peaks(found: Proof, turn: int) -> list[tuple[float, float, str]]:
    """Strongest reflections that meet panels: when they arrived before, the level there then, and the panels."""
    before = found.before.responses[turn]
    expected = dict(before.expected)
    spots = []
    for arrival, twin in paired_arrivals(found.before, found.after, turn):
        panels = list(dict.fromkeys(panel for panel in twin.panels if panel))
        if panels and arrival.number in expected and broadband_db(arrival) >= FAINTEST_DB:
            time = expected[arrival.number]
            spots.append((time, level_at(before.curves.time_ms, before.curves.broadband_db, time, 0.1), panels))
    strongest = sorted(spots, key=lambda one: -one[1])[:MOST]
    return sorted((time, level, " and ".join(panels)) for time, level, panels in strongest if time <= LAST_MS)


def _frame(place: Axes) -> None:
    place.set_xlim(BEFORE_MS, LAST_MS)
    place.set_ylim(FLOOR_DB, CEILING_DB)
    place.grid(color=HAIRLINE, linewidth=0.4, alpha=0.6)


def _octaves(figure: Figure, found: Proof, turn: int, top: float, height_in: float) -> None:
    bands, target = found.results.responses.bands, found.results.scene.blueprint.target
    after = found.after.responses[turn]
    s, listener = found.after.numbers(after)
    promised = found.results.responses.energy_time
    for column, hz in enumerate(OCTAVES_HZ):
        band = int(np.argmin(np.abs(bands.nominal_hz - hz)))
        place = figure.add_axes((0.06 + 0.312 * column, (top - OCTAVE_IN) / height_in, 0.296, OCTAVE_IN / height_in))
        place.plot(promised.time_ms, promised.octave_db[s, listener, band], color=HAIRLINE, linewidth=1.4)
        _both(place, found, turn, band)
        _frame(place)
        if target.band_hz[0] <= bands.nominal_hz[band] <= target.band_hz[1]:
            window = [target.window_ms[0], min(target.window_ms[1], LAST_MS)]
            place.plot(window, [target.level_db] * 2, color=SOFT_INK, linewidth=0.9, linestyle=(0, (4, 3)), zorder=4)
            place.text(window[1], target.level_db + 0.8, "target", ha="right", va="bottom", fontsize=7, color=SOFT_INK)
        place.set_xticks(np.arange(0.0, LAST_MS + 0.1, 5.0))
        if column:
            place.set_yticklabels([])
        place.text(0.98, 0.93, hertz(hz), transform=place.transAxes, ha="right", va="top", fontsize=8)
