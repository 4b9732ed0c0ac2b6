"""Energy-time curves: every peak named, two time axes, and the target as a limit."""

from __future__ import annotations

from functools import partial
from pathlib import Path

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from sim.blueprint.treatment import Target
from sim.responses.ear_records import Peak
from sim.responses.records import Results
from sim.showing.labels import Label, headline, on_figure, write_labels
from sim.showing.numbers import hertz, hertz_range, level_words
from sim.showing.style import HAIRLINE, INK, SOFT_INK, Look, house_style, looks, new_figure, save
from sim.showing.words import BEFORE_MS, CEILING_DB, FLOOR_DB, last_shown_ms, peak_mark

LISTED_PEAKS = 22
PANEL_IN, LINE_IN = 4.35, 0.152
LIMIT_COLOUR = "#b9b9b9"
OCTAVES_HZ = (500.0, 1000.0, 2000.0, 4000.0, 8000.0)


def draw_curves(results: Results, path: Path, *, listener: int = 0) -> Path:
    """Write the energy-time curves of all loudspeakers as PNG."""
    return save(curve_figure(results, listener=listener), path)


def draw_octave_curves(results: Results, path: Path, *, listener: int = 0) -> Path:
    """Write the energy-time curves per octave as PNG."""
    return save(octave_figure(results, listener=listener), path)


def curve_figure(results: Results, *, listener: int = 0) -> Figure:
    """Draw the broadband curve of each loudspeaker at a listener, one below the other, peaks listed beside."""
    curve = results.responses.energy_time
    ways = looks([loudspeaker.name for loudspeaker in results.built.loudspeakers])
    height_in = 0.55 + PANEL_IN * len(ways)
    with house_style():
        figure = new_figure(12.0, height_in)
        _title(figure, results, listener, "energy-time curve, broadband")
        for number, look in enumerate(ways):
            low = (height_in - 0.45 - PANEL_IN * (number + 1) + 0.65) / height_in
            place = figure.add_axes((0.06, low, 0.60, (PANEL_IN - 1.3) / height_in))
            level = curve.broadband_db[number, listener]
            place.plot(curve.time_ms, level, color=look.colour, linewidth=1.1, zorder=3)
            end = last_shown_ms(results)
            _frame(place, results, end)
            show_limit(place, results.scene.blueprint.target, words=True)
            place.set_ylabel("dB re direct peak")
            place.set_xlabel("ms after the direct sound", loc="left")
            flight = float(curve.flight_ms[number, listener])
            above = place.secondary_xaxis("top", functions=(partial(np.add, flight), partial(np.add, -flight)))
            above.set_xlabel(f"ms after leaving the {look.name} monitor (direct sound at {flight:.2f} ms)")
            peaks = [peak for peak in curve.peaks[number][listener] if BEFORE_MS <= peak.time_ms <= end]
            _mark(figure, place, peaks, look)
            _list(figure, place, peaks, look, height_in)
    return figure


def _title(figure: Figure, results: Results, listener: int, what: str) -> None:
    height = figure.get_figheight()
    name = results.built.listener_names[listener]
    headline(figure, (0.02, 1.0 - 0.28 / height), f"{results.scene.blueprint.title}: {what}, at the {name}", size=11)


def _frame(place: Axes, results: Results, end_ms: float) -> None:
    place.set_xlim(BEFORE_MS, end_ms)
    place.set_ylim(FLOOR_DB, CEILING_DB)
    place.grid(color=HAIRLINE, linewidth=0.4, alpha=0.6)
    place.axhline(0.0, color=SOFT_INK, linewidth=0.6)


def show_limit(place: Axes, target: Target, *, words: bool = False) -> None:
    """Shade what lies above the target level within its window."""
    start, stop = target.window_ms
    place.fill_between(
        [start, stop],
        target.level_db,
        CEILING_DB,
        facecolor="#f3ece0",
        edgecolor=LIMIT_COLOUR,
        hatch="////",
        linewidth=0.0,
        zorder=1,
    )
    place.plot([start, stop, stop], [target.level_db, target.level_db, CEILING_DB], color=INK, linewidth=0.9, zorder=2)
    if words:
        octaves = hertz_range(*target.band_hz)
        place.text(
            1.0,
            -0.105,
            f"shaded: above {level_words(target.level_db)} within {start:g} to {stop:g} ms"
            f" (judged per octave, {octaves})",
            transform=place.transAxes,
            ha="right",
            va="top",
            fontsize=7.5,
            color=SOFT_INK,
        )


def _mark(figure: Figure, place: Axes, peaks: list[Peak], look: Look) -> None:
    """Mark every peak, and number the loudest over their spots, the highest first so that they sit closest."""
    if not peaks:
        return
    spots = on_figure(place, np.array([[peak.time_ms, min(peak.level_db, CEILING_DB)] for peak in peaks]))
    place.plot(
        [peak.time_ms for peak in peaks],
        [peak.level_db for peak in peaks],
        linestyle="none",
        marker=look.marker,
        markersize=3.5,
        markerfacecolor="white",
        markeredgecolor=look.colour,
        zorder=4,
    )
    taken = [np.concatenate([spot - 2.5, spot + 2.5]) for spot in spots]
    ranked = sorted(range(len(peaks)), key=lambda number: -peaks[number].level_db)[:LISTED_PEAKS]
    labels = [
        Label(peak_mark(peaks[number]), (float(spots[number][0]), float(spots[number][1])), look.colour, bold=True)
        for number in ranked
    ]
    write_labels(figure, labels, place.bbox, taken, upward=True)


def _list(figure: Figure, place: Axes, peaks: list[Peak], look: Look, height_in: float) -> None:
    """List the peaks in order of time beside their curve; the quietest are left to the table of arrivals."""
    loudest = sorted(peaks, key=lambda peak: -peak.level_db)[:LISTED_PEAKS]
    rows = sorted(loudest, key=lambda peak: peak.time_ms)
    box = place.get_position()
    top = box.y1 + 0.28 / height_in
    columns = (0.685, 0.735, 0.780, 0.830)
    for x, words in zip(columns, ("no.", "ms", "dB", f"{look.letter}: {look.name} monitor, via"), strict=True):
        figure.text(x, top, words, fontsize=7.5, fontweight="bold", color=look.colour, va="bottom")
    for row, peak in enumerate(rows):
        y = top - (0.03 + LINE_IN * row) / height_in
        label = peak.label if len(peak.label) <= 36 else peak.label[:34] + "…"
        cells = (peak_mark(peak), f"{peak.time_ms:.2f}", f"{peak.level_db:.1f}".replace("-", "\N{MINUS SIGN}"), label)
        for x, words in zip(columns, cells, strict=True):
            figure.text(x, y, words, fontsize=7.2, va="top")
    if len(peaks) > len(rows):
        y = top - (0.03 + LINE_IN * len(rows)) / height_in
        figure.text(
            columns[0],
            y,
            f"and {len(peaks) - len(rows)} quieter peaks, marked without a number",
            fontsize=7,
            va="top",
            color=SOFT_INK,
        )


def octave_figure(results: Results, *, listener: int = 0) -> Figure:
    """Draw the curves of each octave, loudspeakers laid over each other, told apart by colour and line."""
    curve, target = results.responses.energy_time, results.scene.blueprint.target
    ways = looks([loudspeaker.name for loudspeaker in results.built.loudspeakers])
    nominal = curve.bands.nominal_hz
    shown = [int(band) for band in np.flatnonzero(np.isin(nominal, OCTAVES_HZ))]
    height_in = 1.45 + 1.75 * len(shown)
    with house_style():
        figure = new_figure(10.0, height_in)
        _title(figure, results, listener, "energy-time curve per octave")
        for row, band in enumerate(shown):
            low = (height_in - 0.6 - 1.75 * (row + 1) + 0.3) / height_in
            place = figure.add_axes((0.16, low, 0.80, 1.35 / height_in))
            for number, look in enumerate(ways):
                place.plot(
                    curve.time_ms,
                    curve.octave_db[number, listener, band],
                    color=look.colour,
                    linestyle=look.line,
                    linewidth=1.2,
                    label=f"{look.letter}: {look.name}",
                    zorder=3,
                )
            _frame(place, results, last_shown_ms(results))
            judged = target.band_hz[0] <= nominal[band] <= target.band_hz[1]
            if judged and nominal[band] >= results.responses.transition_hz:
                show_limit(place, target)
            words = hertz(float(nominal[band]))
            words += "" if judged else "\noutside the\ntarget band"
            words += "" if nominal[band] >= results.responses.transition_hz else "\nnot judged"
            figure.text(0.02, low + 0.68 / height_in, words, va="center", fontsize=9)
            place.tick_params(labelbottom=row == len(shown) - 1)
        place.set_xlabel("ms after the direct sound")
        handles, names = place.get_legend_handles_labels()
        figure.legend(handles, names, loc="lower left", ncols=len(ways), bbox_to_anchor=(0.15, 0.0), handlelength=3.0)
        figure.text(
            0.96,
            0.16 / height_in,
            f"dB re direct peak of the octave; shaded: above {level_words(target.level_db)}",
            ha="right",
            va="center",
            fontsize=7.5,
            color=SOFT_INK,
        )
    return figure
