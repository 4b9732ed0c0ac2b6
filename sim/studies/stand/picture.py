"""A stack with its monitor from the side and from the front: heights, centre of gravity, how far it may lean."""

from __future__ import annotations

from itertools import accumulate
from pathlib import Path

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Polygon, Rectangle

from sim.arrays import FloatArray
from sim.blueprint.units import is_imperial, mass_words
from sim.showing.numbers import drawn_length, format_length, unit_words
from sim.showing.style import FURNITURE, HAIRLINE, INK, PAPER, SOFT_INK, house_style, new_figure, save
from sim.studies.stand.pieces import TIP_WARNING_DEG
from sim.studies.stand.stack import Layer, Stack, Wish

FILLS = {
    "block": ("#d9d9d9", ""),
    "plate": ("#b8a98c", ""),
    "pad": ("#f2e6b3", "...."),
    "isolator": ("#9fb7c9", "xxxx"),
    "stand": ("#8f8f8f", ""),
}
GRAVITY, WARNED = "#0072b2", "#d55e00"
STEM_FRACTION = 0.35
"""A column of a stand is drawn this much as wide as its base."""
LABEL_GAP_MM = 26.0


def draw_stand(stack: Stack, wish: Wish, path: Path, unit: str = "mm") -> Path:
    """Write the picture of one stack as PNG."""
    return save(stand_figure(stack, wish, unit), path)


def stand_figure(stack: Stack, wish: Wish, unit: str = "mm") -> Figure:
    """Draw a side view (the listener to the right) and a front view to one scale."""
    with house_style():
        figure = new_figure(10.0, 7.4)
        side, front = figure.add_axes((0.045, 0.10, 0.58, 0.77)), figure.add_axes((0.65, 0.10, 0.33, 0.77))
        top = 1000.0 * max(stack.height_m + wish.height_m + wish.depth_m * 0.25, wish.axis_height_m) + 90.0
        for place, title in ((side, "from the side: the listener is to the right"), (front, "from the front")):
            place.set_aspect("equal", adjustable="box")
            place.set_axis_off()
            place.set_title(title, loc="left", fontsize=9, color=SOFT_INK)
            place.set_ylim(-95.0, top)
        span = top + 95.0
        middle = 60.0
        side.set_xlim(
            middle - 0.5 * span * 0.58 * 10.0 / (0.77 * 7.4), middle + 0.5 * span * 0.58 * 10.0 / (0.77 * 7.4)
        )
        front.set_xlim(-0.5 * span * 0.33 * 10.0 / (0.77 * 7.4), 0.5 * span * 0.33 * 10.0 / (0.77 * 7.4))
        for place in (side, front):
            place.axhline(0.0, color=INK, linewidth=1.2)
        _side(side, stack, wish, unit)
        _front(front, stack, wish, unit)
        figure.text(0.02, 0.965, _headline(stack, unit), fontsize=11, fontweight="bold", va="top")
        figure.text(
            0.02,
            0.045,
            f"dot: centre of gravity of it all ({mass_words(stack.mass_kg, unit, 1)}); thin lines: from it to the "
            f"edge of the foot. Angles: lean at which it tips first, over any joint. {unit_words(unit)}.",
            fontsize=8,
            color=SOFT_INK,
        )
    return figure


def _headline(stack: Stack, unit: str) -> str:
    error = stack.error_m
    off = format_length(abs(error), unit if is_imperial(unit) else "mm")
    words = "axis at ear height" if abs(error) < 0.0005 else f"axis {off} too {'high' if error > 0 else 'low'}"
    if abs(stack.tilt_deg) >= 0.05:
        words += f", tilted {abs(stack.tilt_deg):.1f}° {'down' if stack.tilt_deg > 0 else 'up'} at the ear"
    if stack.tips.least_deg < TIP_WARNING_DEG:
        words += f"; WARNING: tips before {TIP_WARNING_DEG:.0f}°"
    return words


def _side(place: Axes, stack: Stack, wish: Wish, unit: str) -> None:
    _layers(place, stack, depth=True)
    box = 1000.0 * stack.outline_m
    place.add_patch(Polygon(box, closed=True, facecolor=FURNITURE, edgecolor=INK, linewidth=1.1, zorder=3))
    up = (box[2] - box[1]) / (1000.0 * wish.height_m)
    axis = box[1] + 1000.0 * wish.axis_in_cabinet_m * up
    along = (box[1] - box[0]) / np.linalg.norm(box[1] - box[0])
    place.plot(*axis, marker="o", color=INK, markersize=4, zorder=5)
    place.annotate(
        "", axis + 230.0 * along, axis, arrowprops={"arrowstyle": "->", "color": INK, "linewidth": 1.0}, zorder=5
    )
    reach = place.get_xlim()[1] - 12.0
    ear = 1000.0 * wish.axis_height_m
    place.plot([axis[0] + 40.0, reach], [ear, ear], color=SOFT_INK, linewidth=0.8, linestyle=(0, (4.0, 3.0)))
    place.text(
        reach,
        ear + 8.0,
        f"wanted {drawn_length(0.001 * ear, unit)}",
        ha="right",
        va="bottom",
        fontsize=8,
        color=SOFT_INK,
    )
    if abs(axis[1] - ear) > 0.5:
        tip, below = axis + 240.0 * along, axis[1] <= ear
        beside = min(float(tip[1]), ear) - 8.0 if below else max(float(tip[1]), ear) + 8.0
        place.text(
            float(tip[0]),
            beside,
            f"axis {drawn_length(0.001 * float(axis[1]), unit)}",
            ha="left",
            va="top" if below else "bottom",
            fontsize=8,
        )
    _heights(place, stack, box, unit)
    _gravity(place, stack, depth=True)


def _front(place: Axes, stack: Stack, wish: Wish, unit: str) -> None:
    _layers(place, stack, depth=False)
    box, half = 1000.0 * stack.outline_m, 500.0 * wish.width_m
    low, high = float(box[:, 1].min()), float(box[:, 1].max())
    place.add_patch(
        Rectangle((-half, low), 2.0 * half, high - low, facecolor=FURNITURE, edgecolor=INK, linewidth=1.1, zorder=3)
    )
    up = (box[2] - box[1]) / (1000.0 * wish.height_m)
    place.plot(0.0, float((box[1] + 1000.0 * wish.axis_in_cabinet_m * up)[1]), "o", color=INK, markersize=4, zorder=5)
    place.text(
        0.0,
        high + 12.0,
        f"{drawn_length(wish.width_m, unit)} wide, {mass_words(wish.mass_kg, unit, 1)}",
        ha="center",
        fontsize=8,
    )
    _gravity(place, stack, depth=False)
    if stack.layers:
        place.text(0.0, -66.0, f"foot {drawn_length(stack.layers[0].width_m, unit)} wide", ha="center", fontsize=8)


def _layers(place: Axes, stack: Stack, *, depth: bool) -> None:
    bottom = 0.0
    for layer in stack.layers:
        wide = 1000.0 * (layer.depth_m if depth else layer.width_m)
        high = 1000.0 * layer.height_m
        face, hatch = FILLS[layer.piece.kind]
        for left, width in _pieces(layer, wide, depth=depth):
            foot = 12.0 if layer.piece.kind == "stand" else high
            place.add_patch(
                Rectangle((left, bottom), width, foot, facecolor=face, edgecolor=INK, hatch=hatch, linewidth=0.8)
            )
            if layer.piece.kind == "stand":
                stem = STEM_FRACTION * width
                place.add_patch(
                    Rectangle(
                        (-0.5 * stem, bottom + 12.0), stem, high - 24.0, facecolor=face, edgecolor=INK, linewidth=0.8
                    )
                )
                place.add_patch(
                    Rectangle((left, bottom + high - 12.0), width, 12.0, facecolor=face, edgecolor=INK, linewidth=0.8)
                )
        bottom += high


def _pieces(layer: Layer, wide: float, *, depth: bool) -> list[tuple[float, float]]:
    """Left ends and widths of what is seen of a layer."""
    if layer.piece.kind == "isolator":
        one = 1000.0 * (layer.piece.depth_m if depth else layer.piece.width_m)
        return [(-0.5 * wide, one), (0.5 * wide - one, one)]
    count = 1 if depth else layer.piece.in_layer
    return [(-0.5 * wide + number * wide / count, wide / count) for number in range(count)]


def _heights(place: Axes, stack: Stack, box: FloatArray, unit: str) -> None:
    """Height of every joint in a column on the left, moved apart where they would run into each other."""
    tops = [1000.0 * top for top in accumulate((layer.height_m for layer in stack.layers), initial=0.0)]
    left = place.get_xlim()[0]
    reach = min([-500.0 * layer.depth_m for layer in stack.layers] + [float(box[:, 0].min())])
    right = max([500.0 * layer.depth_m for layer in stack.layers] + [float(box[:, 0].max())]) + 40.0
    shown, reported = -np.inf, -np.inf
    for number, top in enumerate(tops):
        at = max(top, shown + LABEL_GAP_MM)
        shown = at
        place.plot([left + 62.0, left + 78.0, reach - 6.0], [at, top, top], color=HAIRLINE, linewidth=0.6, zorder=1)
        if number:
            place.text(left + 58.0, at, drawn_length(0.001 * top, unit), ha="right", va="center", fontsize=8)
        if number < len(stack.layers):
            layer = stack.layers[number]
            named = max(top + 500.0 * layer.height_m, reported + LABEL_GAP_MM, 0.6 * LABEL_GAP_MM)
            reported = named
            edge = 500.0 * layer.depth_m
            place.plot([edge + 4.0, right - 4.0], [top + 500.0 * layer.height_m, named], color=HAIRLINE, linewidth=0.6)
            place.text(right, named, layer.words.replace(" mm", ""), ha="left", va="center", fontsize=7.5)


def _gravity(place: Axes, stack: Stack, *, depth: bool) -> None:
    """Centre of gravity, lines to the edges of the foot, and the least tip angles."""
    forward, up = (1000.0 * value for value in stack.centre_of_gravity_m)
    if not stack.layers:
        return
    half = 500.0 * (stack.layers[0].depth_m if depth else stack.layers[0].width_m)
    at = forward if depth else 0.0
    tips = stack.tips
    ways = ((-half, tips.rearward_deg, "right"), (half, tips.forward_deg, "left"))
    if not depth:
        ways = ((-half, tips.sideways_deg, "right"), (half, tips.sideways_deg, "left"))
    for edge, angle, side in ways:
        colour = WARNED if angle < TIP_WARNING_DEG else GRAVITY
        place.plot([at, edge], [up, 0.0], color=colour, linewidth=0.9, linestyle=(0, (3.0, 2.0)), zorder=7)
        place.text(
            edge + (10.0 if edge > 0 else -10.0),
            -14.0,
            f"{angle:.1f}°",
            ha=side,
            va="top",
            fontsize=9,
            color=colour,
            fontweight="bold",
        )
    place.plot([at, at], [up, 0.0], color=GRAVITY, linewidth=0.9, zorder=7)
    place.plot(at, up, "o", color=GRAVITY, markersize=7, markeredgecolor=PAPER, zorder=8)
