"""Beside one arrival: the ledger of its losses as bars, and the vertical section along its way."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from sim.arrays import BoolArray, FloatArray, frozen
from sim.geometry.room import Room
from sim.responses.records import Results
from sim.showing.numbers import hertz, level_words
from sim.showing.style import HAIRLINE, INK, SOFT_INK
from sim.studies.explain.records import Explanation

LOSS, GAIN = "#0072b2", "#d55e00"
FAINTEST_DB = -60.0
NAMES_IN, COLUMN_IN = 2.15, 0.62


def shown_octaves(explained: Explanation) -> list[int]:
    """Numbers of the octaves that are told: those that are judged, else the worst."""
    return [int(band) for band in np.flatnonzero(explained.judged)] or [explained.worst]


def table_width_in(explained: Explanation) -> float:
    """Width of the table in inches."""
    return NAMES_IN + COLUMN_IN * len(shown_octaves(explained))


def draw_waterfall(place: Axes, results: Results, explained: Explanation) -> None:
    """Bars from the direct sound at 0 dB down to the arrival, in its worst octave."""
    band = explained.worst
    rows: list[tuple[str, float, float, str]] = [("direct sound", 0.0, 0.0, INK)]
    level = 0.0
    for loss in explained.losses if explained.arrival.order else ():
        step = float(np.clip(loss.level_db[band], 2.0 * FAINTEST_DB, -2.0 * FAINTEST_DB))
        rows.append((_short(explained.name_of(loss)), level, level + step, LOSS if step <= 0.0 else GAIN))
        level += step
    if explained.arrival.order:
        rows.append(("this arrival", 0.0, level, INK))
    target = results.scene.blueprint.target.level_db
    lowest = min(min(min(a, b) for _, a, b, _ in rows), target) * 1.18 - 1.0
    highest = max(0.0, *(max(a, b) for _, a, b, _ in rows)) + 1.0
    for row, (_, start, stop, colour) in enumerate(rows):
        hatch = "////" if colour == GAIN else ""
        place.barh(
            row,
            stop - start,
            left=start,
            height=0.62,
            facecolor="white" if hatch else colour,
            edgecolor=colour,
            hatch=hatch,
            zorder=3,
        )
        if row + 1 < len(rows) - 1:
            place.plot([stop, stop], [row, row + 1], color=SOFT_INK, linewidth=0.6, zorder=2)
        shown = stop if row in (0, len(rows) - 1) else stop - start
        sign = "+" if 0 < row < len(rows) - 1 and shown >= 0.05 else ""
        text = sign + f"{shown + 0.0:.1f}".replace("-0.0", "0.0").replace("-", "\N{MINUS SIGN}")
        beside = min(start, stop) - 0.01 * (highest - lowest)
        place.text(beside, row, text, ha="right", va="center", fontsize=8, zorder=5)
    if explained.arrival.order:
        place.axvline(target, color=INK, linewidth=1.0, linestyle=(0, (5, 2)), zorder=2)
        place.text(target, -0.75, f"target {level_words(target)}", ha="center", va="bottom", fontsize=7.5)
    place.set_yticks(range(len(rows)), [name for name, *_ in rows], fontsize=8)
    place.set_ylim(len(rows) - 0.4, -0.6)
    place.set_xlim(lowest, highest)
    place.grid(axis="x", color=HAIRLINE, linewidth=0.4, alpha=0.6)
    for spine in ("top", "right", "left"):
        place.spines[spine].set_visible(False)
    place.tick_params(axis="y", length=0)
    octave = hertz(float(explained.bands.nominal_hz[band]))
    place.set_xlabel("dB re direct sound of that octave")
    place.set_title(
        f"what takes how much at {octave}, its worst octave", fontsize=9, color=SOFT_INK, pad=16, loc="left"
    )


def draw_breakdown(figure: Figure, results: Results, explained: Explanation, left: float, top: float) -> None:
    """The same for every octave that is judged, as numbers."""
    height, width = figure.get_figheight(), figure.get_figwidth()
    shown = shown_octaves(explained)
    heads = [hertz(float(explained.bands.nominal_hz[b])) for b in shown]
    rows: list[tuple[str, list[str], bool]] = [("dB, by octave", heads, True)]
    rows.append(("carried by", [explained.drivers[b] for b in shown], False))
    for loss in explained.losses if explained.arrival.order else ():
        rows.append((_short(explained.name_of(loss)), [_cell(float(loss.level_db[b])) for b in shown], False))
    if explained.arrival.order:
        rows.append(("this arrival", [_cell(float(explained.arrival.level_db[b])) for b in shown], True))
    line = min(0.2, 2.1 / len(rows))
    first = left + NAMES_IN / width
    for row, (name, cells, bold) in enumerate(rows):
        style: dict[str, Any] = {"fontsize": 7.8, "va": "top", "fontweight": "bold" if bold else "normal"}
        y = top - line * row / height
        figure.text(left, y, name, **style)
        for column, cell in enumerate(cells):
            figure.text(first + COLUMN_IN * (column + 1) / width, y, cell, ha="right", **style)
    below = (
        f"Below {results.responses.transition_hz:.0f} Hz nothing is judged. Lengths in {results.scene.blueprint.units}."
    )
    figure.text(left, top - (line * len(rows) + 0.08) / height, below, fontsize=7.2, va="top", color=SOFT_INK)


def _cell(level: float) -> str:
    return f"{level + 0.0:.1f}".replace("-0.0", "0.0").replace("-", "\N{MINUS SIGN}") if level > FAINTEST_DB else "-"


def _short(words: str, most: int = 34) -> str:
    return words if len(words) <= most else words[: most - 1].rstrip() + "…"


# A vertical section along a way, unrolled: each leg stands in its own upright plane, one leg after the other.

BEYOND_M = 0.55
"""How far the section reaches behind the loudspeaker and behind the ear."""
UPRIGHT_M = 1e-6


@dataclass(frozen=True, slots=True)
class Section:
    """What the upright planes of a way cut.

    Attributes
    ----------
    lines
        (n, 2, 2) in metres: along the way from the loudspeaker, and up.
    of_room
        (n,) whether each belongs to the room itself.
    owners
        (n,) names of the bodies.
    way
        (k + 2, 2) corners of the way in the same coordinates.
    """

    lines: FloatArray
    of_room: BoolArray
    owners: tuple[str, ...]
    way: FloatArray


def section_along(room: Room, points: FloatArray) -> Section:
    """Cut everything along a polyline of points (k + 2, 3), from a little before it to a little after it."""
    steps = np.diff(points[:, :2], axis=0)
    lengths = np.linalg.norm(steps, axis=1)
    along = np.concatenate([[0.0], np.cumsum(lengths)])
    lines: list[FloatArray] = []
    owners: list[int] = []
    for leg, (step, length) in enumerate(zip(steps, lengths, strict=True)):
        if length < UPRIGHT_M:
            continue
        low = -BEYOND_M if leg == 0 else 0.0
        high = length + BEYOND_M if leg == len(steps) - 1 else length
        found, whose = cut_upright(room, points[leg], step / length, low, high)
        lines.extend(found + np.array([along[leg], 0.0]))
        owners.extend(whose)
    flat = np.array(lines).reshape(-1, 2, 2)
    return Section(
        frozen(flat),
        frozen(np.array(owners, dtype=np.int64) == 0),
        tuple(room.owners[n] for n in owners),
        frozen(np.column_stack([along, points[:, 2]])),
    )


def cut_upright(
    room: Room, start: FloatArray, direction: FloatArray, low_m: float, high_m: float
) -> tuple[FloatArray, list[int]]:
    """Lines (n, 2, 2) that an upright plane cuts out of all triangles, and the number of the body of each.

    start (3,) and the level unit vector direction (2,) span the plane; the first coordinate runs along it from the
    start and is cut off at both ends.  Triangles that lie in the plane add nothing.
    """
    across = np.array([-direction[1], direction[0]])
    relative = room.triangles[:, :, :2] - start[:2]
    beside, ahead, up = relative @ across, relative @ direction, room.triangles[:, :, 2]
    lines, owners = [], []
    for n in np.flatnonzero((beside.min(axis=1) < 0.0) & (beside.max(axis=1) >= 0.0)):
        ends = []
        for i, j in ((0, 1), (1, 2), (2, 0)):
            a, b = beside[n, i], beside[n, j]
            if (a < 0.0) != (b < 0.0):
                fraction = a / (a - b)
                ends.append(
                    (ahead[n, i] + fraction * (ahead[n, j] - ahead[n, i]), up[n, i] + fraction * (up[n, j] - up[n, i]))
                )
        line = _clipped(np.array(ends), low_m, high_m)
        if line is not None:
            lines.append(line)
            owners.append(int(room.owner_of_triangle[n]))
    return np.array(lines).reshape(-1, 2, 2), owners


def _clipped(line: FloatArray, low: float, high: float) -> FloatArray | None:
    """The part of a line (2, 2) whose first coordinate lies between two values."""
    line = line[np.argsort(line[:, 0], kind="stable")]
    (a, up_a), (b, up_b) = line
    if b < low or a > high:
        return None
    if b - a < 1e-12:
        return line
    wanted = np.clip([a, b], low, high)
    return np.column_stack([wanted, up_a + (wanted - a) / (b - a) * (up_b - up_a)])
