"""Picture of a tolerance study: where reflection points may lie, from above and from the side, and ranges of levels.

Each blob is the ellipse that holds 95 % of a mirror point; on surfaces seen edge on it is a line.  Points that are not
always there have a dashed rim.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from sim.arrays import FloatArray
from sim.showing.labels import Label, headline, on_figure, write_labels
from sim.showing.numbers import hertz_range, level_words
from sim.showing.style import FURNITURE, HAIRLINE, INK, SOFT_INK, Look, house_style, looks, new_figure, save
from sim.showing.surface_views import PLAN, SIDE_VIEW, Side, bodies, inner_lines, rings_of, silhouette
from sim.studies.tolerance.findings import HIGH, LOW, Blob, ReflectionRange, blobs, early_ranges, reflection_ranges
from sim.studies.tolerance.tolerance import Tolerance

LOWEST_DB, HIGHEST_DB = -40.0, 3.0
ALWAYS = 0.995
EDGE_ON_M = 0.004
ROW_IN = 0.2


def draw_tolerance(found: Tolerance, path: Path) -> Path:
    """Write the picture of a tolerance study as PNG."""
    return save(tolerance_figure(found), path)


def tolerance_figure(found: Tolerance) -> Figure:
    """Draw the plan on the left, the side view and the bars of all levels on the right."""
    shell = found.built.room.triangles[found.built.room.owner_of_triangle == 0].reshape(-1, 3)
    low, high = shell.min(axis=0), shell.max(axis=0)
    depth, width, height = high - low
    scale = min(5.6 / width, 7.6 / depth)  # inches of paper for a metre, both views alike
    rows = reflection_ranges(found)
    lines = len(rows) + len(found.loudspeakers) + 0.4 * len({row.surface for row in rows})
    plan_in, side_in = (width * scale, depth * scale), (depth * scale, height * scale)
    bars_in = max(ROW_IN * lines, plan_in[1] - side_in[1] - 0.65)
    width_in = 0.5 + plan_in[0] + 1.5 + side_in[0] + 0.5
    top = max(plan_in[1], side_in[1] + 0.65 + bars_in) + 0.75
    height_in = top + 1.35
    with house_style():
        figure = new_figure(width_in, height_in)
        headline(figure, (0.5 / width_in, 1.0 - 0.36 / height_in), f"{found.scene.blueprint.title}: tolerance", size=11)
        caption = (
            "Reflection points: 95 % of each are inside its outline, dashed where it is not always there. Filled: "
            "below the"
            " ear, or from the side, left of it. Open: above, or right of it."
        )
        figure.text(0.5 / width_in, 1.0 - 0.62 / height_in, caption, fontsize=8, color=SOFT_INK)
        ways = looks(found.loudspeakers)
        left = 0.5
        drawn = blobs(found)
        for side, size, words in ((PLAN, plan_in, "seen from above"), (SIDE_VIEW, side_in, "seen from the left side")):
            place = figure.add_axes(
                (left / width_in, (top - size[1]) / height_in, size[0] / width_in, size[1] / height_in)
            )
            place.set_xlim(low[side.across], high[side.across])
            place.set_ylim(low[side.upward], high[side.upward])
            place.set_axis_off()
            if side is PLAN:
                place.invert_yaxis()
            place.set_title(words, fontsize=9, color=SOFT_INK, pad=8)
            _room(place, found, side, ways)
            _blobs(figure, place, drawn, side, found.built.ears[0], ways)
            left += size[0] + 1.5
        floor = top - side_in[1] - 0.65 - bars_in
        bars = figure.add_axes(
            ((0.5 + plan_in[0] + 1.5) / width_in, floor / height_in, side_in[0] / width_in, bars_in / height_in)
        )
        _bars(bars, found, rows, ways)
    return figure


def _room(place: Axes, found: Tolerance, side: Side, ways: Sequence[Look]) -> None:
    """Room, furniture, loudspeakers, and the box the head stays in."""
    room = found.built.room
    boxes = found.built.boxes
    for ring in rings_of(silhouette(room, "room", side)):
        place.plot(*ring.T, color=INK, linewidth=1.6, clip_on=False, zorder=2)
    for ring in inner_lines(room, side):
        place.plot(*ring.T, color=HAIRLINE, linewidth=0.7, linestyle=(0, (5, 3)), zorder=1)
    for owner in bodies(room, boxes):
        for ring in rings_of(silhouette(room, owner, side)):
            place.fill(*ring.T, facecolor=FURNITURE, edgecolor=HAIRLINE, linewidth=0.6, alpha=0.6, zorder=1.2)
    for one, look in zip(found.built.loudspeakers, ways, strict=True):
        if one.body in room.owners[1:] and not one.built_into:
            for ring in rings_of(silhouette(room, one.body, side)):
                place.fill(*ring.T, facecolor="white", edgecolor=look.colour, linewidth=1.2, zorder=1.5)
    ear, half = side.flatten(found.built.ears[0]), 0.5 * side.flatten(found.built.head_box)
    corners = ear + np.array([[-1, -1], [1, -1], [1, 1], [-1, 1], [-1, -1]]) * half
    place.plot(*corners.T, color=INK, linewidth=0.8, zorder=3)
    place.plot(*ear, marker="+", markersize=7, color=INK, zorder=3)


def _blobs(
    figure: Figure, place: Axes, drawn: Sequence[Blob], side: Side, ear: FloatArray, ways: Sequence[Look]
) -> None:
    """Ellipses, lines where they are seen edge on, and the name of each surface once, beside them."""
    by_name = {look.name: look for look in ways}
    middles: dict[str, list[FloatArray]] = {}
    taken: list[FloatArray] = []
    for blob in drawn:
        look, flat = by_name[blob.loudspeaker], side.flatten(blob.outline())
        dashed = (0, (2.5, 1.5)) if blob.reaches < ALWAYS else "-"
        if _thickness(flat) < EDGE_ON_M:
            place.plot(
                *flat.T, color=look.colour, linewidth=3.5, alpha=0.55, solid_capstyle="butt", zorder=4, clip_on=False
            )
        else:
            if blob.middle[side.sight] < ear[side.sight]:
                place.fill(*flat.T, facecolor=look.colour, alpha=0.22, linewidth=0.0, zorder=4, clip_on=False)
            place.plot(*flat.T, color=look.colour, linewidth=1.0, linestyle=dashed, zorder=4.5, clip_on=False)
        pixels = on_figure(place, flat)
        taken.append(np.concatenate([pixels.min(axis=0), pixels.max(axis=0)]))
        middles.setdefault(blob.surface, []).append(side.flatten(blob.middle))
    labels = []
    for surface, points in middles.items():
        spot = on_figure(place, np.array(points[:1]))[0]  # one of them, so that a line to it ends on a blob
        labels.append(Label(surface, (float(spot[0]), float(spot[1])), SOFT_INK, size=7.0))
    write_labels(figure, labels, place.bbox, taken)


def _thickness(flat: FloatArray) -> float:
    """Width (m) of a closed line (n, 2) at its narrowest."""
    return float(np.linalg.svd(flat - flat.mean(axis=0), compute_uv=False)[-1] / np.sqrt(len(flat)))


def _bars(place: Axes, found: Tolerance, rows: Sequence[ReflectionRange], ways: Sequence[Look]) -> None:
    """One bar a reflection, loudspeakers of a surface together, the loudest surface first."""
    by_name = {look.name: look for look in ways}
    surfaces = sorted(
        dict.fromkeys(row.surface for row in rows),
        key=lambda name: -max(row.level.middle for row in rows if row.surface == name),
    )
    y, marks, words = 0.0, [], []
    early = [(name, spread[0], 1.0) for name, spread in zip(found.loudspeakers, early_ranges(found), strict=True)]
    groups = [("all together", early)]
    for name in surfaces:
        groups.append((name, [(row.loudspeaker, row.level, row.reaches) for row in rows if row.surface == name]))
    target = found.scene.blueprint.target.level_db
    least = min([target, *(spread.low for _, bars in groups for _, spread, _ in bars if np.isfinite(spread.low))])
    lowest = max(LOWEST_DB, 5.0 * np.floor((least - 1.0) / 5.0))
    for group, bars in groups:
        start = y
        for loudspeaker, spread, reaches in bars:
            look = by_name[loudspeaker]
            low, high = max(spread.low, lowest), max(spread.high, lowest)
            always = reaches > ALWAYS
            place.barh(
                y,
                high - low,
                left=low,
                height=0.62,
                color=look.colour,
                alpha=0.75 if always else 0.3,
                edgecolor=look.colour,
                linestyle="-" if always else "--",
                linewidth=0.8,
            )
            place.plot([spread.middle] * 2, [y - 0.31, y + 0.31], color="white", linewidth=1.4)
            if np.isfinite(spread.nominal) and spread.nominal > lowest:
                place.plot(spread.nominal, y, marker="o", markersize=4, markerfacecolor="white", color=INK, zorder=5)
            fraction = "" if always else f"  there in {100.0 * reaches:.0f} %"
            place.text(high + 0.3, y, f"{look.letter}{fraction}", va="center", fontsize=7, color=look.colour)
            y += 1.0
        marks.append(0.5 * (start + y - 1.0))
        words.append(group)
        y += 0.4
    place.axvline(target, color=INK, linewidth=1.0, linestyle=(0, (6, 3)), zorder=0)
    place.text(target, -0.75, f" target {level_words(target)}", fontsize=7.5, ha="left", va="bottom")
    place.set_ylim(y - 0.6, -0.7)
    place.set_xlim(lowest, HIGHEST_DB)
    place.set_yticks(marks, words)
    place.tick_params(axis="y", length=0)
    place.grid(axis="x", color=HAIRLINE, linewidth=0.4)
    place.set_axisbelow(True)
    for edge in ("top", "right", "left"):
        place.spines[edge].set_visible(False)
    band = found.scene.blueprint.target.band_hz
    place.set_xlabel(
        f"dB re direct sound, highest octave from {hertz_range(*band)}\n"
        f"bar: {LOW:g} to {HIGH:g} % of the samples; white line: median; ring: as written",
        fontsize=8,
    )
