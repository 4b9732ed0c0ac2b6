"""What a sweep's pictures show and say before anything is drawn: curves, thresholds, titles, notes."""

from __future__ import annotations

import re
import textwrap
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from matplotlib.figure import Figure

from sim.acoustics.levels import SILENCE_DB
from sim.arrays import FloatArray, IntArray
from sim.layouts.records import DONE, EQUAL_DB, IMPOSSIBLE, OPEN, Axis, Sweep, best_point, merit_db
from sim.showing.labels import headline
from sim.showing.numbers import hertz_range, joined, level_words
from sim.showing.style import INK, SOFT_INK, Look, looks
from sim.studies.sweep.findings import Threshold
from sim.studies.sweep.text import fine_setting

MOST_SPANS: Final = 3
LINE_LETTERS: Final = 125


def plain(axis: Axis, value: float) -> str:
    """One value of an axis with a true minus sign."""
    return axis.written(value).replace("-", "\N{MINUS SIGN}")


def fine(axis: Axis, value: float) -> str:
    """A setting that was narrowed down, with a true minus sign."""
    return fine_setting(axis, value).replace("-", "\N{MINUS SIGN}")


def others_at(sweep: Sweep, shown: Sequence[int]) -> str:
    """Say at which values the axes that are not shown stand: those of the best point."""
    plan, best = sweep.plan, best_point(sweep)
    at = [
        f"{axis.field} = {plain(axis, value)}"
        for number, (axis, value) in enumerate(zip(plan.axes, plan.values(best), strict=True))
        if number not in shown
    ]
    return f"at the best {', '.join(at)}" if at else ""


def axis_words(sweep: Sweep, axis: int) -> str:
    """Name an axis with its unit, and what runs beside it."""
    plan = sweep.plan
    shown_axis = plan.axes[axis]
    words = f"{shown_axis.field}, {shown_axis.unit}" if shown_axis.unit else shown_axis.field
    if plan.together and len(plan.axes) > 1:
        order = np.argsort(shown_axis.values)
        others = [
            f"{one.field} from {plain(one, float(one.values[order[0]]))} to {plain(one, float(one.values[order[-1]]))}"
            for number, one in enumerate(plan.axes)
            if number != axis
        ]
        words += f"  (with it {', '.join(others)})"
    return words


def write_title(figure: Figure, sweep: Sweep, axis: int, height: float) -> None:
    """Write the title of a line picture, and what its levels are."""
    plan = sweep.plan
    headline(figure, (0.02, 1.0 - 0.28 / height), f"{plan.title}: {plan.axes[axis].words}", size=11)
    octaves = hertz_range(*plan.target.band_hz)
    start, stop = plan.target.window_ms
    words = f"dB re direct sound, octaves {octaves}, {start:g} to {stop:g} ms, first reflections"
    others = "" if plan.together else others_at(sweep, (axis,))
    headline(figure, (0.02, 1.0 - 0.5 / height), words + (f"; {others}" if others else ""), size=8, color=SOFT_INK)


def notes_below(
    sweep: Sweep,
    line: IntArray,
    metres: FloatArray,
    axis: int,
    marked: Sequence[Event],
    happens: int,
    left_out: tuple[str, float],
) -> list[str]:
    """Return the lines below a line picture: what is marked, shaded, greyed and left out."""
    shown_axis = sweep.plan.axes[axis]
    notes = [
        f"{number + 1}   {fine(shown_axis, event.value)}: {event.words} ({level_words(event.level_db, 1)})"
        for number, event in enumerate(marked)
    ]
    if happens > len(marked):
        weaker = f"and {happens - len(marked)} weaker" if marked else f"{happens} weak reflections appear or leave"
        notes.append(f"{weaker}, see sweep.txt")
    notes.append(f"green: called equal, within {level_words(EQUAL_DB)} of the best early level of the louder monitor")
    spans = impossible_spans(sweep, line, metres)
    for low, high, reason in spans[:MOST_SPANS]:
        where = (
            plain(shown_axis, low) if low == high else f"about {plain(shown_axis, low)} to {plain(shown_axis, high)}"
        )
        notes += textwrap.wrap(f"impossible {where}: {reason}", LINE_LETTERS, subsequent_indent="   ")
    if len(spans) > MOST_SPANS:
        notes.append(f"and {len(spans) - MOST_SPANS} more impossible stretches, see sweep_summary.csv")
    waiting = int((sweep.state[line] == OPEN).sum())
    if waiting:
        notes.append(f"{waiting} settings are not worked out yet")
    if left_out[0]:
        notes.append(f"not drawn: surfaces that never exceed {level_words(left_out[1], 1)} ({left_out[0]} and quieter)")
    return notes


# What a sweep's line picture shows, before anything is drawn: curves, thresholds and stretches of one axis.

MOST_CURVES: Final = 6
UNDER_TARGET_DB: Final = 12.0
"""What is further under the target is not shown."""
SAME_DB: Final = 0.1
"""Curves of both loudspeakers that differ by less all along are drawn as one."""
SURFACE_LOOKS: Final = ((INK, "o"), ("#009e73", "s"), ("#8c4a79", "^"), ("#b07d00", "D"), ("#5c5c5c", "v"))
"""Colour and marker of each surface, other than those of loudspeakers; these are told apart by the line."""
ONE_M: Final = 5.0e-4
ONE: Final = 0.05


@dataclass(frozen=True, slots=True)
class Curve:
    """One line of the picture: level (n,) along the axis, nan where there is none, and how it is drawn."""

    words: str
    level_db: FloatArray
    colour: str
    line: object
    marker: str


@dataclass(frozen=True, slots=True)
class Event:
    """What happens at one setting on one surface, loudspeakers and drivers together."""

    value: float
    words: str
    level_db: float
    appears: bool


def line_through(sweep: Sweep, axis: int) -> IntArray:
    """Numbers of the points along one axis through the best point, in order of its values.

    Axes that run side by side share one line: all points.
    """
    plan = sweep.plan
    points = np.arange(plan.points)
    if not plan.together:
        place: list[int | slice] = list(plan.places(max(best_point(sweep), 0)))
        place[axis] = slice(None)
        points = points.reshape(plan.shape)[tuple(place)]
    return np.asarray(points[np.argsort(plan.axes[axis].values)])


def early_curves(sweep: Sweep, line: IntArray) -> tuple[Curve, ...]:
    """Early level of each loudspeaker along a line of points."""
    ways = looks(sweep.plan.loudspeakers)
    levels = _shown(sweep, line, sweep.figures.early_db[line])
    if _same(levels):
        return (Curve(_all_of(ways), levels[:, 0], INK, "-", "o"),)
    return tuple(
        Curve(f"{way.letter}: {way.name}", levels[:, s], way.colour, way.line, way.marker) for s, way in enumerate(ways)
    )


def surface_curves(sweep: Sweep, line: IntArray) -> tuple[tuple[Curve, ...], tuple[str, float]]:
    """Worst level of the loudest surfaces for each loudspeaker, as many as can be told apart.

    What runs together all along, as left and right do in a symmetric room, is one curve with several names.  Also
    returns the loudest surface that is left out and its highest level, or no name.
    """
    plan = sweep.plan
    ways = looks(plan.loudspeakers)
    worst = _shown(sweep, line, sweep.figures.worst_db[line])
    most = np.where(np.isfinite(worst), worst, SILENCE_DB).max(axis=(0, 1))
    curves: list[tuple[Curve, list[tuple[str, str]]]] = []
    left_out = ("", SILENCE_DB)
    for number, f in enumerate(np.argsort(-most, kind="stable")):
        if most[f] <= plan.target.level_db - UNDER_TARGET_DB:
            left_out = (plan.surfaces[f], float(most[f])) if most[f] > SILENCE_DB else left_out
            break
        name, colour, marker = plan.surfaces[f], *SURFACE_LOOKS[number % len(SURFACE_LOOKS)]
        trial = [(curve, list(names)) for curve, names in curves]
        for s in np.flatnonzero(np.isfinite(worst[:, :, f]).any(axis=0)):
            levels, way = worst[:, s, f], ways[s]
            names = next((names for one, names in trial if _same(np.stack([one.level_db, levels], axis=1))), None)
            if names is None:
                names = []
                trial.append((Curve("", levels, colour, way.line, marker), names))
            names.append((name, way.letter))
        if len(trial) > MOST_CURVES or number >= len(SURFACE_LOOKS):
            left_out = (name, float(most[f]))
            break
        curves = trial
    return tuple(_named(curve, names) for curve, names in curves), left_out


def _named(curve: Curve, names: Sequence[tuple[str, str]]) -> Curve:
    """Name a curve after its surfaces and loudspeakers, "desk top, L and R"."""
    surfaces = dict.fromkeys(surface for surface, _ in names)
    of = {surface: [letter for one, letter in names if one == surface] for surface in surfaces}
    words = "\n".join(f"{surface}, {joined(letters)}" for surface, letters in of.items())
    return replace(curve, words=words)


def _shown(sweep: Sweep, line: IntArray, levels: FloatArray) -> FloatArray:
    """Levels of done points (n, ...), nan where there is nothing to draw."""
    shown = np.where(np.asarray(levels) > SILENCE_DB, levels, np.nan)
    shown[sweep.state[line] != DONE] = np.nan
    return shown


def _same(levels: FloatArray) -> bool:
    """Whether all loudspeakers (n, loudspeaker) have one curve."""
    first = levels[:, :1]
    return bool(((np.abs(levels - first) < SAME_DB) | (np.isnan(levels) & np.isnan(first))).all())


def _all_of(ways: Sequence[Look]) -> str:
    return joined([way.letter for way in ways])


def events(thresholds: Sequence[Threshold], axis: int, words: Axis) -> tuple[Event, ...]:
    """Group the thresholds of an axis, those at one setting on one surface together, in order of their settings."""
    grain = ONE if words.unit in ("degrees", "") else ONE_M
    groups: list[list[Threshold]] = []
    for one in thresholds:
        if one.axis != axis:
            continue
        same = [g for g in groups if (g[0].surface, g[0].appears) == (one.surface, one.appears)]
        near = [g for g in same if abs(g[0].value - one.value) <= grain]
        if near:
            near[0].append(one)
        else:
            groups.append([one])
    found = []
    for group in groups:
        first = group[0]
        drivers = joined(list(dict.fromkeys(one.driver for one in group)))
        names = joined(list(dict.fromkeys(one.loudspeaker for one in group)))
        does = "appears on" if first.appears else "leaves"
        found.append(
            Event(first.value, f"{drivers} of {names} {does} the {first.surface}", first.level_db, first.appears)
        )
    return tuple(sorted(found, key=lambda event: event.value))


def impossible_spans(sweep: Sweep, line: IntArray, values: FloatArray) -> tuple[tuple[float, float, str], ...]:
    """Stretches of the axis in which no layout can be, with the first reason."""
    return tuple(
        (*ends_between(values, first, last), short_reason(sweep.reasons.get(int(line[first]), "")))
        for first, last in runs(sweep.state[line] == IMPOSSIBLE)
    )


def best_spans(sweep: Sweep, line: IntArray, values: FloatArray) -> tuple[tuple[float, float], ...]:
    """Stretches of the axis whose settings are as good as the best of all."""
    merit = merit_db(sweep)
    as_good = np.nan_to_num(merit[line], nan=np.inf) <= np.nanmin(merit) + EQUAL_DB
    spans = []
    for first, last in runs(as_good):
        low, high = float(values[first]), float(values[last])
        if first == last:  # one setting alone gets a narrow stripe, so that it can be seen
            left, right = ends_between(values, first, last)
            most = 0.015 * float(values[-1] - values[0])
            low, high = low - min(0.8 * (low - left), most), high + min(0.8 * (right - high), most)
        spans.append((low, high))
    return tuple(spans)


def ends_between(values: FloatArray, first: int, last: int) -> tuple[float, float]:
    """From half-way to the value before to half-way to the one after; at the ends as far as the other side."""
    low = 0.5 * (values[first - 1] + values[first]) if first > 0 else values[0]
    high = 0.5 * (values[last] + values[last + 1]) if last + 1 < len(values) else values[-1]
    return float(low), float(high)


def runs(flags: FloatArray | IntArray | np.ndarray[tuple[int, ...], np.dtype[np.bool_]]) -> list[tuple[int, int]]:
    """First and last place of every run of true flags (n,)."""
    padded = np.concatenate([[False], np.asarray(flags, dtype=bool), [False]])
    changes = np.flatnonzero(padded[1:] != padded[:-1])
    return [(int(a), int(b) - 1) for a, b in zip(changes[::2], changes[1::2], strict=True)]


_BY_HOW_MUCH = re.compile(r" by (less than )?[\d./ ]+ (cm|in)$")


def short_reason(reason: str) -> str:
    """What was found, without the place in the scene file, the remedy, and by how much: settings differ."""
    found = reason.split(": ", 1)[-1]
    return _BY_HOW_MUCH.sub("", found.split("; ")[0].rstrip("."))
