"""Measured over predicted: energy-time curves of each loudspeaker, and where what is not drawn may be."""

from __future__ import annotations

from pathlib import Path
from typing import Final

import numpy as np
from matplotlib.axes import Axes
from matplotlib.collections import LineCollection
from matplotlib.figure import Figure

from sim.showing.labels import Label, headline, on_figure, write_labels
from sim.showing.numbers import hertz, in_unit, tenths
from sim.showing.style import HAIRLINE, INK, SOFT_INK, Look, house_style, looks, new_figure, save
from sim.showing.words import BEFORE_MS, CEILING_DB, FLOOR_DB
from sim.studies.match.records import Match, MatchedResponse, MeasuredPeak
from sim.studies.match.text import signed

OCTAVES_HZ: Final = (1000.0, 2000.0, 4000.0)
LAST_MS: Final = 20.0
PANEL_IN, OCTAVE_IN, PLAN_IN = 2.7, 1.25, 3.6
LISTED: Final = 20
LONGEST: Final = 33
UNKNOWN: Final = "?"


def draw_match(found: Match, path: Path) -> Path:
    """Write the picture as PNG."""
    return save(match_figure(found), path)


def match_figure(found: Match) -> Figure:
    """Draw each response over what was predicted; below, where the strong peaks nobody drew could come from."""
    ways = looks([one.loudspeaker for one in found.responses])
    unknown = [
        (one, peak) for one in found.responses for peak in found.strong(one) if not (peak.named or peak.together)
    ]
    row_in = PANEL_IN + OCTAVE_IN + 1.15
    height_in = 0.5 + row_in * len(ways) + (PLAN_IN + 0.7 if unknown else 0.0)
    with house_style():
        figure = new_figure(12.0, height_in)
        title = f"{found.results.scene.blueprint.title}: measured over predicted"
        headline(figure, (0.02, 1.0 - 0.28 / height_in), title, size=11)
        for row, (one, look) in enumerate(zip(found.responses, ways, strict=True)):
            top = height_in - 0.75 - row_in * row
            _broadband(figure, found, one, look, top, height_in)
            _octaves(figure, found, one, look, top - PANEL_IN - 0.55, height_in)
        if unknown:
            _plan(figure, found, unknown, ways, height_in)
    return figure


def _broadband(figure: Figure, found: Match, one: MatchedResponse, look: Look, top: float, height_in: float) -> None:
    place = figure.add_axes((0.06, (top - PANEL_IN) / height_in, 0.58, PANEL_IN / height_in))
    predicted, (s, listener) = found.results.responses.energy_time, found.numbers(one)
    place.plot(predicted.time_ms, predicted.broadband_db[s, listener], color=HAIRLINE, linewidth=1.6, label="predicted")
    place.plot(
        one.curves.time_ms, one.curves.broadband_db, color=look.colour, linewidth=1.0, label="measured", zorder=3
    )
    _frame(place)
    place.axhline(found.strong_db, color=SOFT_INK, linewidth=0.6, linestyle=(0, (4, 3)))
    place.set_ylabel("dB re direct peak")
    place.set_xlabel("ms after the direct sound", loc="left")
    place.legend(loc="upper right", fontsize=7.5, frameon=False, ncols=2)
    place.set_title(f"{look.letter}: {one.loudspeaker}, {one.file}, broadband", loc="left", fontsize=9)
    shown = [peak for peak in one.peaks if peak.time_ms <= LAST_MS]
    loud = sorted(shown, key=lambda peak: -peak.level_db)[:LISTED]
    _mark(figure, place, shown, loud, look)
    _list(figure, sorted(loud, key=lambda peak: peak.time_ms), look, top, height_in)


def _frame(place: Axes) -> None:
    place.set_xlim(BEFORE_MS, LAST_MS)
    place.set_ylim(FLOOR_DB, CEILING_DB)
    place.grid(color=HAIRLINE, linewidth=0.4, alpha=0.6)


def _mark(figure: Figure, place: Axes, shown: list[MeasuredPeak], loud: list[MeasuredPeak], look: Look) -> None:
    if not shown:
        return
    for named, face in ((True, "white"), (False, INK)):
        some = [peak for peak in shown if (peak.named or peak.together) == named]
        place.plot(
            [peak.time_ms for peak in some],
            [min(peak.level_db, CEILING_DB) for peak in some],
            linestyle="none",
            marker=look.marker,
            markersize=4.0,
            markerfacecolor=face,
            markeredgecolor=look.colour if named else INK,
            zorder=4,
        )
    spots = on_figure(place, np.array([[peak.time_ms, min(peak.level_db, CEILING_DB)] for peak in loud]))
    taken = [np.concatenate([spot - 2.5, spot + 2.5]) for spot in spots]
    labels = [
        Label(_number(peak), (float(spot[0]), float(spot[1])), look.colour if peak.named else INK, bold=True)
        for peak, spot in zip(loud, spots, strict=True)
    ]
    write_labels(figure, labels, place.bbox, taken, upward=True)


def _number(peak: MeasuredPeak) -> str:
    return str(peak.candidates[0].number) if peak.named else "+" if peak.together else UNKNOWN


def _list(figure: Figure, peaks: list[MeasuredPeak], look: Look, top: float, height_in: float) -> None:
    columns = (0.655, 0.690, 0.735, 0.775, 0.815, 0.850)
    for x, words in zip(columns, ("no.", "ms", "dB", "off ms", "dB", "via"), strict=True):
        figure.text(x, (top + 0.06) / height_in, words, fontsize=7.2, fontweight="bold", color=look.colour, va="bottom")
    for row, peak in enumerate(peaks):
        y = (top - 0.02 - row * (PANEL_IN + 0.3) / LISTED) / height_in
        best = peak.candidates[0] if peak.named else None
        via = best.via if best else "several together" if peak.together else "none of what is drawn"
        cells = (
            _number(peak),
            f"{peak.time_ms:.2f}",
            tenths(peak.level_db),
            signed(best.misfit_ms, 2) if best else "",
            signed(best.misfit_db, 0) if best else "",
            via if len(via) <= LONGEST else f"{via[: LONGEST - 2]}…",
        )
        for x, words in zip(columns, cells, strict=True):
            figure.text(x, y, words.replace("-", "\N{MINUS SIGN}") if x < 0.85 else words, fontsize=6.6, va="top")


def _octaves(figure: Figure, found: Match, one: MatchedResponse, look: Look, top: float, height_in: float) -> None:
    predicted, (s, listener) = found.results.responses.energy_time, found.numbers(one)
    for column, hz in enumerate(OCTAVES_HZ):
        band = int(np.argmin(np.abs(predicted.bands.nominal_hz - hz)))
        place = figure.add_axes((0.06 + 0.312 * column, (top - OCTAVE_IN) / height_in, 0.285, OCTAVE_IN / height_in))
        place.plot(predicted.time_ms, predicted.octave_db[s, listener, band], color=HAIRLINE, linewidth=1.6)
        place.plot(one.curves.time_ms, one.curves.octave_db[band], color=look.colour, linewidth=0.9, zorder=3)
        _frame(place)
        place.text(0.98, 0.93, hertz(hz), transform=place.transAxes, ha="right", va="top", fontsize=8)


def _plan(
    figure: Figure,
    found: Match,
    unknown: list[tuple[MatchedResponse, MeasuredPeak]],
    ways: tuple[Look, ...],
    height_in: float,
) -> None:
    """The room from above and from the side, with the points of its surfaces that each unknown peak allows."""
    built, unit = found.results.built, found.results.scene.blueprint.units
    per_metre = in_unit(1.0, unit)
    low, high = built.room.triangles.reshape(-1, 3).min(axis=0), built.room.triangles.reshape(-1, 3).max(axis=0)
    colours = {look.name: look for look in ways}
    views = ((1, 0, "from left", "from front", "from above"), (0, 2, "from front", "up", "from the left"))
    for column, (across, along, words_across, words_along, title) in enumerate(views):
        place = figure.add_axes((0.06 + 0.40 * column, 0.45 / height_in, 0.33, PLAN_IN / height_in))
        lines = []
        for facet in built.room.facets:
            ends = [facet.from_plane(facet.border[:, k : k + 2]) for k in (0, 2)]
            lines += [
                np.array([a[[across, along]], b[[across, along]]]) * per_metre for a, b in zip(*ends, strict=True)
            ]
        place.add_collection(LineCollection(lines, colors=SOFT_INK, linewidths=0.7))
        for one, peak in unknown:
            look = colours[one.loudspeaker]
            for spot in peak.spots:
                points = spot.points[:: max(1, len(spot.points) // 300)] * per_metre
                place.plot(points[:, across], points[:, along], ".", color=look.colour, markersize=1.6, zorder=2)
        for loudspeaker in built.loudspeakers:
            spot_of = loudspeaker.axis_point * per_metre
            marker = colours[loudspeaker.name].marker if loudspeaker.name in colours else "o"
            place.plot(spot_of[across], spot_of[along], marker, color=INK, markersize=5, zorder=4)
        ear = built.ears[found.numbers(found.responses[0])[1]] * per_metre
        place.plot(ear[across], ear[along], "x", color=INK, markersize=6, zorder=4)
        place.set_xlim(low[across] * per_metre, high[across] * per_metre)
        place.set_ylim(low[along] * per_metre, high[along] * per_metre)
        if column == 0:
            place.invert_yaxis()
        place.set_aspect("equal")
        place.set_xlabel(f"{words_across}, {unit}")
        place.set_ylabel(f"{words_along}, {unit}")
        place.set_title(f"where peaks marked {UNKNOWN} could come from, {title}", loc="left", fontsize=9)
