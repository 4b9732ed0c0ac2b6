"""Picture of a decay study: decay curves octave by octave with their errors, and decay time against the tolerance."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch

from sim.arrays import FloatArray
from sim.showing.labels import headline
from sim.showing.numbers import hertz
from sim.showing.style import HAIRLINE, INK, SOFT_INK, Look, house_style, looks, new_figure, save
from sim.studies.decay.records import SURE, DecayStudy
from sim.studies.decay.verdict import LISTENING_ROOMS

FLOOR_DB = -50.0
ACROSS = 4
PANEL_IN, GAP_IN, MARGIN_IN = 2.45, 0.22, 0.62
PANEL_HIGH_IN, ROW_GAP_IN, TIMES_HIGH_IN = 1.95, 0.62, 3.1
UNCERTAIN_DB = 3.0
"""A curve is drawn no further than to where its standard error comes to this."""
TOLERATED, NOT_JUDGED = "#e3efe9", "#f4f4f4"


def draw_decay(study: DecayStudy, path: Path) -> Path:
    """Write the picture of a decay study as PNG."""
    return save(decay_figure(study), path)


def decay_figure(study: DecayStudy) -> Figure:
    """Draw a small panel for each octave, and decay times over frequency below them."""
    rows = -(-(len(study.octaves) + 1) // ACROSS)
    width_in = 2.0 * MARGIN_IN + ACROSS * PANEL_IN + (ACROSS - 1) * GAP_IN
    curves_in = rows * (PANEL_HIGH_IN + ROW_GAP_IN)
    height_in = 1.05 + curves_in + 0.3 + TIMES_HIGH_IN + 0.75
    pairs = study.pairs()
    ways = looks([f"{name}, {listener}" for _, _, name, listener in pairs])
    with house_style():
        figure = new_figure(width_in, height_in)
        top = 1.0 - 0.34 / height_in
        headline(figure, (MARGIN_IN / width_in, top), f"{study.scene.blueprint.title}: decay by octave", size=11)
        figure.text(
            MARGIN_IN / width_in,
            top - 0.27 / height_in,
            "Energy still to come after direct sound, dB re all of it. Bands: two standard errors; curves end "
            f"where one is {UNCERTAIN_DB:g} dB. Grey: reaches below {study.transition_hz:.0f} Hz, not judged by "
            "rays.",
            fontsize=8,
            color=SOFT_INK,
        )
        end_ms = _shown_ms(study)
        for o in range(len(study.octaves)):
            place = figure.add_axes(_cell(o, width_in, height_in))
            _octave(place, study, o, end_ms, ways, first=o % ACROSS == 0)
        key = figure.add_axes(_cell(len(study.octaves), width_in, height_in))
        _key(key, ways)
        times = figure.add_axes(
            (
                MARGIN_IN / width_in,
                0.75 / height_in,
                1.0 - 2.0 * MARGIN_IN / width_in - 1.2 / width_in,
                TIMES_HIGH_IN / height_in,
            )
        )
        _times(times, study, ways)
    return figure


def _cell(number: int, width_in: float, height_in: float) -> tuple[float, float, float, float]:
    row, column = divmod(number, ACROSS)
    left = MARGIN_IN + column * (PANEL_IN + GAP_IN)
    low = height_in - 1.05 - (row + 1) * PANEL_HIGH_IN - row * ROW_GAP_IN
    return left / width_in, low / height_in, PANEL_IN / width_in, PANEL_HIGH_IN / height_in


def _shown_ms(study: DecayStudy) -> float:
    """End of all time axes: when the slowest octave has come to the lowest level shown."""
    slowest = np.max(study.level_db.reshape(-1, len(study.time_s)), axis=0)
    below = np.flatnonzero(slowest < FLOOR_DB)
    last = study.time_s[below[0]] if below.size else study.time_s[-1]
    return float(max(1000.0 * last, 50.0))


def _octave(place: Axes, study: DecayStudy, o: int, end_ms: float, ways: Sequence[Look], *, first: bool) -> None:
    time_ms = 1000.0 * study.time_s
    judged = bool(study.judged[o])
    if not judged:
        place.set_facecolor(NOT_JUDGED)
    for (s, listener, _, _), look in zip(study.pairs(), ways, strict=True):
        level, error = study.level_db[s, listener, o], study.level_error_db[s, listener, o]
        known = np.logical_and.accumulate(np.isfinite(level) & (np.nan_to_num(error, nan=np.inf) <= UNCERTAIN_DB))
        place.fill_between(
            time_ms[known],
            (level - SURE * error)[known],
            (level + SURE * error)[known],
            color=look.colour,
            alpha=0.22,
            linewidth=0.0,
            zorder=2,
        )
        place.plot(time_ms[known], level[known], color=look.colour, linestyle=look.line, linewidth=1.3, zorder=3)
    for level_db in (-5.0, -25.0, -35.0):
        place.axhline(level_db, color=HAIRLINE, linewidth=0.5, zorder=1)
    place.set_xlim(0.0, end_ms)
    place.set_ylim(FLOOR_DB, 0.0)
    place.set_yticks([0.0, -5.0, -25.0, -35.0, FLOOR_DB])
    if first:
        place.set_ylabel("dB")
    else:
        place.set_yticklabels([])
    place.set_xlabel("ms after direct sound", fontsize=7.5, labelpad=1.0)
    name = hertz(float(study.octaves.nominal_hz[o]))
    place.set_title(name if judged else f"{name}, not judged", fontsize=9, loc="left", pad=3)
    t20, error = float(study.room.t20_s[o]), float(study.room.t20_error_s[o])
    if np.isfinite(t20 + error):
        place.text(
            0.97,
            0.95,
            f"T20 {t20:.2f} \N{PLUS-MINUS SIGN} {max(error, 0.001):.3f} s",
            transform=place.transAxes,
            ha="right",
            va="top",
            fontsize=8,
            color=INK if judged else SOFT_INK,
        )


def _key(place: Axes, ways: Sequence[Look]) -> None:
    """Which line is which, in the place of the panel that is not needed."""
    place.set_axis_off()
    lines = [Line2D([], [], color=look.colour, linestyle=look.line, linewidth=1.6, label=look.name) for look in ways]
    lines.append(
        Line2D(
            [],
            [],
            color=HAIRLINE,
            linewidth=0.8,
            label="\N{MINUS SIGN}5, \N{MINUS SIGN}25, \N{MINUS SIGN}35 dB: ends of T20, T30",
        )
    )
    place.legend(handles=lines, loc="upper left", borderaxespad=0.0, handlelength=3.2)


def _times(place: Axes, study: DecayStudy, ways: Sequence[Look]) -> None:
    """Decay time over frequency: tolerance, rays with errors, and formulas for comparison."""
    middles = study.octaves.nominal_hz
    low, high = float(middles[0] / 2**0.5), float(middles[-1] * 2**0.5)
    grid = np.geomspace(max(low, 63.0), middles[-1], 400)
    lower, upper = LISTENING_ROOMS.limits(study.aim.nominal_s, grid)
    place.fill_between(grid, lower, upper, color=TOLERATED, edgecolor="#7aa893", linewidth=0.8, zorder=0)
    place.plot(grid, np.full(len(grid), study.aim.nominal_s), color="#4f8a70", linewidth=0.9, zorder=1)
    count = len(middles)
    for values, line, words in (
        (study.diffuse.sabine_s[-count:], (0, (1.0, 1.5)), "Sabine"),
        (study.diffuse.eyring_s[-count:], (0, (5.0, 2.0)), "Eyring"),
    ):
        place.plot(middles, values, color=SOFT_INK, linestyle=line, linewidth=1.1, label=words, zorder=2)
    each, errors = study.figure("t20_s")
    for n, ((s, listener, _, _), look) in enumerate(zip(study.pairs(), ways, strict=True)):
        aside = middles * 2.0 ** (0.06 * (n + 1.0))
        _points(place, aside, each[s, listener], errors[s, listener], study, look.colour, look.marker, 4.0)
    _points(place, middles, study.room.t20_s, study.room.t20_error_s, study, INK, "o", 6.5)
    for o, verdict in enumerate(study.verdicts):
        place.text(
            float(middles[o]),
            -0.13,
            verdict.answer.replace(" by rays", ""),
            transform=place.get_xaxis_transform(),
            ha="center",
            va="top",
            fontsize=7.5,
            color=INK if study.judged[o] else SOFT_INK,
        )
    edge = study.octaves.upper_hz[~study.judged]
    if edge.size:
        place.axvspan(low, float(edge.max()), color=NOT_JUDGED, zorder=-1)
    place.set_xscale("log")
    place.set_xlim(low, high)
    place.set_xticks(middles, [hertz(float(hz)) for hz in middles])
    place.minorticks_off()
    place.set_ylim(0.0, _highest_s(study))
    place.set_ylabel("s")
    place.grid(axis="y", color=HAIRLINE, linewidth=0.4)
    place.set_axisbelow(True)
    place.set_title("Decay time T20 against the tolerance of monitoring rooms", fontsize=9, loc="left")
    handles = [
        Line2D([], [], color=INK, marker="o", markersize=6, linestyle="none", label="rays, mean\nof the room"),
        *(
            Line2D([], [], color=look.colour, marker=look.marker, markersize=4, linestyle="none", label=look.name)
            for look in ways
        ),
        Line2D([], [], color=SOFT_INK, linestyle=(0, (1.0, 1.5)), label="Sabine"),
        Line2D([], [], color=SOFT_INK, linestyle=(0, (5.0, 2.0)), label="Eyring"),
        Patch(facecolor=TOLERATED, edgecolor="#7aa893", label="tolerated"),
        Line2D([], [], color="#4f8a70", linewidth=0.9, label=f"nominal {study.aim.nominal_s:.2f} s"),
    ]
    place.legend(handles=handles, loc="upper left", bbox_to_anchor=(1.01, 1.0), borderaxespad=0.0, fontsize=7.5)


def _highest_s(study: DecayStudy) -> float:
    """Top of the axis of times: all points with their bars, but bars no longer than half of the highest point."""
    times, errors = study.figure("t20_s")
    count = len(study.octaves)
    points = np.concatenate([times.reshape(-1), study.aim.upper_s, study.diffuse.sabine_s[-count:]])
    bars = (times + SURE * np.nan_to_num(errors)).reshape(-1)
    highest = float(np.nanmax(points))
    return 1.05 * min(float(np.nanmax(np.append(bars, highest))), 1.5 * highest)


def _points(
    place: Axes,
    at_hz: FloatArray,
    values: FloatArray,
    errors: FloatArray,
    study: DecayStudy,
    colour: str,
    marker: str,
    size: float,
) -> None:
    """Times with bars of two standard errors; open where rays do not judge."""
    for inside, face in ((study.judged, colour), (~study.judged, "white")):
        known = inside & np.isfinite(values)
        place.errorbar(
            at_hz[known],
            values[known],
            yerr=SURE * np.nan_to_num(errors[known]),
            color=colour,
            marker=marker,
            markersize=size,
            markerfacecolor=face,
            linestyle="none",
            elinewidth=1.0,
            capsize=2.0,
            zorder=4,
        )
