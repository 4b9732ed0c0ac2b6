"""Plan and side view of a scene, to be held against the real room before anything is believed."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import shapely
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from sim.arrays import FloatArray
from sim.blueprint.schema import Blueprint
from sim.geometry.room import Room
from sim.placement.built_scene import BuiltScene
from sim.showing.labels import Label, headline, on_figure, write_labels
from sim.showing.numbers import bare_length, format_length, in_unit
from sim.showing.style import FURNITURE, GLASS, HAIRLINE, INK, SOFT_INK, Look, house_style, looks, new_figure, save
from sim.showing.surface_views import (
    DEPTH,
    PLAN,
    SIDE_VIEW,
    Side,
    bodies,
    facet_spans,
    flat_union,
    inner_lines,
    middle_of,
    rings_of,
    silhouette,
)

Words = list[tuple[FloatArray, str, str]]
WHOLE_UNITS = {"in": "inches", "ft": "feet and inches"}
"""Units whose short name reads as another word."""
BESIDE_WALL = 0.025
"""How far from a wall that runs across its name stands, of the room's depth: a line of text."""


def draw_plan(built: BuiltScene, blueprint: Blueprint, path: Path) -> Path:
    """Write plan and side view of a built scene as PNG, lengths in the unit of the scene file."""
    return save(plan_figure(built, blueprint), path)


def plan_figure(built: BuiltScene, blueprint: Blueprint) -> Figure:
    """Draw a built scene from above (front wall at the top) and from the side (front wall at the left)."""
    unit = blueprint.units
    per_metre = in_unit(1.0, unit)
    corners = built.room.triangles[built.room.owner_of_triangle == 0].reshape(-1, 3)
    low, high = corners.min(axis=0), corners.max(axis=0)
    depth, width, height = high - low
    scale = min(5.2 / width, 7.4 / depth, 5.4 / depth)  # inches of paper for a metre, both views alike
    plan_in, side_in = (width * scale, depth * scale), (depth * scale, height * scale)
    rows = 2 + len(built.loudspeakers) + len(built.ears)
    height_in = 1.15 + max(plan_in[1] + 0.5, side_in[1] + 0.75 + 0.21 * rows)
    width_in = plan_in[0] + side_in[0] + 2.9
    with house_style():
        figure = new_figure(width_in, height_in)
        title = f"{blueprint.title}: plan and side view, lengths in {WHOLE_UNITS.get(unit, unit)}"
        headline(figure, (0.3 / width_in, 1.0 - 0.3 / height_in), title, size=11)
        ways = looks([loudspeaker.name for loudspeaker in built.loudspeakers])
        left, top = 0.95, height_in - 1.15
        plan = figure.add_axes(
            (left / width_in, (top - plan_in[1]) / height_in, plan_in[0] / width_in, plan_in[1] / height_in)
        )
        left += plan_in[0] + 1.35
        view = figure.add_axes(
            (left / width_in, (top - side_in[1]) / height_in, side_in[0] / width_in, side_in[1] / height_in)
        )
        for place, side in ((plan, PLAN), (view, SIDE_VIEW)):
            place.set_xlim(low[side.across] * per_metre, high[side.across] * per_metre)
            place.set_ylim(low[side.upward] * per_metre, high[side.upward] * per_metre)
            place.set_axis_off()
        plan.invert_yaxis()
        walls = {PLAN: ("front", "rear", "left", "right"), SIDE_VIEW: ("ceiling", "floor", "front", "rear")}
        for place, side in ((plan, PLAN), (view, SIDE_VIEW)):
            words = _body(place, built, blueprint, side, per_metre)
            words = _set_up(place, built, side, per_metre, ways, unit) + words
            if side is PLAN and blueprint.room.box is None:
                words += _wall_names(built.room, side, per_metre, {opening.name for opening in blueprint.openings})
            _around(place, walls[side], (high - low)[[side.across, side.upward]], unit)
            _write(figure, place, words, side.flatten(built.ears) * per_metre)
        plan.set_title("seen from above", fontsize=9, pad=44, color=SOFT_INK)
        view.set_title("seen from the left side, toward the right wall", fontsize=9, pad=44, color=SOFT_INK)
        _table(figure, built, ways, unit, left / width_in, (top - side_in[1] - 0.6) / height_in)
    return figure


def _body(place: Axes, built: BuiltScene, blueprint: Blueprint, side: Side, per_metre: float) -> Words:
    """Room, openings, furniture and zones to keep clear; returns words to be written."""
    room = built.room
    words: Words = []
    boxes = built.boxes
    for ring in rings_of(silhouette(room, "room", side)):
        place.plot(*(ring * per_metre).T, color=INK, linewidth=2.2, clip_on=False, zorder=6)
    for ring in inner_lines(room, side):
        place.plot(*(ring * per_metre).T, color=SOFT_INK, linewidth=0.7, linestyle=(0, (5, 3)), zorder=1)
    for owner in bodies(room, boxes):
        overhead = side is PLAN and _lowest(room, owner) > float(built.ears[:, 2].max()) + 0.3
        for ring in rings_of(silhouette(room, owner, side)):
            if not overhead:
                place.fill(*(ring * per_metre).T, facecolor=FURNITURE, edgecolor="none", zorder=2)
            line = (0, (7, 3)) if overhead else "-"
            place.plot(*(ring * per_metre).T, color=SOFT_INK, linewidth=0.8, linestyle=line, zorder=2.2)
            words.append((middle_of(ring) * per_metre, owner, SOFT_INK))
    for opening in blueprint.openings:
        for shape in facet_spans(room, opening.name, side):
            edge_on = len(shape) == 2
            place.plot(
                *(shape * per_metre).T,
                color=GLASS,
                linewidth=5.0 if edge_on else 1.0,
                solid_capstyle="butt",
                linestyle="-" if edge_on else (0, (3, 2)),
                zorder=7 if edge_on else 1.5,
                clip_on=False,
            )
            if edge_on or side is PLAN:
                words.append((middle_of(shape) * per_metre, opening.name, GLASS))
    for panel in built.panels:
        hull = shapely.convex_hull(shapely.multipoints(side.flatten(panel.body) * per_metre))
        for ring in rings_of(hull):
            over = side is PLAN and panel.normal[2] < -0.3
            place.fill(*ring.T, facecolor="none", edgecolor=SOFT_INK, hatch="///", linewidth=0.0, zorder=2.6)
            place.plot(*ring.T, color=INK, linewidth=1.1, linestyle=(0, (7, 3)) if over else "-", zorder=2.7)
            words.append((middle_of(ring), panel.name, INK))
    for zone in blueprint.keep_clear:
        spans = np.array([zone.from_front, zone.from_left, zone.up])
        low, high = spans[:, 0] - zone.clearance, spans[:, 1] + zone.clearance
        ring = np.array([[a, b] for a, b in _rectangle(side.flatten(low), side.flatten(high))]) * per_metre
        place.plot(*ring.T, color=SOFT_INK, linewidth=0.9, linestyle=":", zorder=5)
        words.append((middle_of(ring), zone.name, SOFT_INK))
    return words


def _set_up(place: Axes, built: BuiltScene, side: Side, per_metre: float, ways: tuple[Look, ...], unit: str) -> Words:
    """Loudspeakers with where they aim, head box, seats, and the triangle between them."""
    words: Words = []
    ear = built.ears[0]
    for loudspeaker, look in zip(built.loudspeakers, ways, strict=True):
        corners = loudspeaker.corners
        point = side.flatten(loudspeaker.axis_point) * per_metre
        if corners is not None:
            quads = np.array([[0, 1, 2, 3], [5, 4, 7, 6], [3, 2, 6, 7], [4, 5, 1, 0], [4, 0, 3, 7], [1, 5, 6, 2]])
            triangles = np.concatenate([corners[quads[:, [0, 1, 2]]], corners[quads[:, [0, 2, 3]]]])
            for ring in rings_of(flat_union(triangles, side)):
                place.fill(*(ring * per_metre).T, facecolor="white", edgecolor="none", zorder=3)
                place.plot(*(ring * per_metre).T, color=look.colour, linewidth=1.5, linestyle=look.line, zorder=4)
        distance = float(np.linalg.norm(ear - loudspeaker.axis_point))
        tip = loudspeaker.axis_point + distance * loudspeaker.rotation[:, 0]
        place.annotate(
            "",
            xy=tuple(side.flatten(tip) * per_metre),
            xytext=tuple(point),
            zorder=5,
            arrowprops={"arrowstyle": "->", "color": look.colour, "linestyle": look.line, "linewidth": 1.1},
        )
        centre = point if corners is None else middle_of(side.flatten(corners)) * per_metre
        behind = [n for n, (spot, _, _) in enumerate(words) if np.allclose(centre, spot, atol=0.02 * per_metre)]
        if behind:  # one hides the other
            words[behind[0]] = (centre, f"{words[behind[0]][1]}, {look.letter}", INK)
        else:
            words.append((centre, look.letter, look.colour))
        if side is PLAN:
            middle = side.flatten(0.5 * (ear + loudspeaker.axis_point)) * per_metre
            words.append((middle, format_length(distance, unit), look.colour))
    if side is PLAN and len(built.loudspeakers) == 2:
        pair = np.stack([loudspeaker.axis_point for loudspeaker in built.loudspeakers])
        place.plot(*(side.flatten(pair) * per_metre).T, color=HAIRLINE, linewidth=1.0, zorder=2.5)
        apart = float(np.linalg.norm(pair[1] - pair[0]))
        words.append((side.flatten(pair.mean(axis=0)) * per_metre, format_length(apart, unit), INK))
    half = 0.5 * side.flatten(built.head_box)
    centre = side.flatten(ear)
    ring = _rectangle(centre - half, centre + half) * per_metre
    place.plot(*ring.T, color=INK, linewidth=0.9, zorder=5)
    for seat, name in zip(built.ears, built.listener_names, strict=True):
        spot = side.flatten(seat) * per_metre
        place.plot(*spot, marker="+", markersize=9, markeredgewidth=1.5, color=INK, zorder=6)
        words.append((spot + np.array([0.0, half[1] * per_metre * (1 if side is PLAN else -1)]), name, INK))
    return words


def _around(place: Axes, names: tuple[str, str, str, str], size: FloatArray, unit: str) -> None:
    """Name the four sides and write the overall sizes with arrows from end to end."""
    style: dict[str, Any] = {"transform": place.transAxes, "fontsize": 9, "fontweight": "bold", "zorder": 9}
    top, bottom, left, right = names
    offsets = (
        (0.5, 1.0, 0, 9, top, 0),
        (0.5, 0.0, 0, -9, bottom, 0),
        (0.0, 0.5, -9, 0, left, 90),
        (1.0, 0.5, 9, 0, right, 90),
    )
    for x, y, dx, dy, words, turn in offsets:
        place.annotate(
            words,
            (x, y),
            xycoords="axes fraction",
            xytext=(dx, dy),
            textcoords="offset points",
            ha="center",
            va="center",
            rotation=turn,
            **{key: value for key, value in style.items() if key != "transform"},
        )
    arrow = {"arrowstyle": "<->", "color": SOFT_INK, "linewidth": 0.8, "shrinkA": 0.0, "shrinkB": 0.0}
    box = place.bbox
    across_y, up_x = 1.0 + 28.0 * 2.083 / box.height, -28.0 * 2.083 / box.width
    for start, stop, words, turn in (
        ((0.0, across_y), (1.0, across_y), format_length(float(size[0]), unit), 0),
        ((up_x, 0.0), (up_x, 1.0), format_length(float(size[1]), unit), 90),
    ):
        place.annotate(
            "", xy=stop, xytext=start, xycoords="axes fraction", textcoords="axes fraction", arrowprops=arrow
        )
        middle = (0.5 * (start[0] + stop[0]), 0.5 * (start[1] + stop[1]))
        place.annotate(
            words,
            middle,
            xycoords="axes fraction",
            ha="center",
            va="center",
            fontsize=8.5,
            rotation=turn,
            bbox={"facecolor": "white", "edgecolor": "none", "pad": 1.5},
        )


def _wall_names(room: Room, side: Side, per_metre: float, known: set[str]) -> Words:
    """Names of walls and slopes where they stand, so that a mirrored mesh shows."""
    largest: dict[str, int] = {}
    for number, facet in enumerate(room.facets):
        upright = room.arrays.owner[number] == 0 and abs(facet.normal[2]) < 0.98 and facet.name not in known
        if upright and facet.area_m2 > room.facets[largest.get(facet.name, number)].area_m2 - 1e-9:
            largest[facet.name] = number
    ranked = sorted(largest.items(), key=lambda entry: -room.facets[entry[1]].area_m2)
    depth_m = float(np.ptp(room.triangles[:, :, DEPTH]))

    def spot(number: int) -> FloatArray:
        """The middle of a wall, a line's height into the room where the wall runs across: its line hides words."""
        inward = np.zeros(3)
        inward[DEPTH] = BESIDE_WALL * depth_m * room.facets[number].normal[DEPTH]
        return middle_of(side.flatten(room.facets[number].corners + inward))

    return [(spot(number) * per_metre, name, SOFT_INK) for name, number in ranked]


def _write(figure: Figure, place: Axes, words: Words, seats: FloatArray) -> None:
    """Write the words where they do not hide each other or a seat."""
    spots = on_figure(place, np.array([spot for spot, _, _ in words]))
    labels = []
    for (x, y), (_, text, colour) in zip(spots, words, strict=True):
        letters = text.replace(", ", "").isupper()
        labels.append(Label(text, (float(x), float(y)), colour, bold=letters, centred=True, size=9 if letters else 7.5))
    write_labels(figure, labels, place.bbox, [np.concatenate([p - 11.0, p + 11.0]) for p in on_figure(place, seats)])


def _lowest(room: Room, owner: str) -> float:
    """Height of the lowest point of a body."""
    return float(room.triangles[room.owner_of_triangle == room.owner_number(owner), :, 2].min())


def _table(figure: Figure, built: BuiltScene, ways: tuple[Look, ...], unit: str, left: float, top: float) -> None:
    """Distances and turns of everything one has to place, as numbers."""
    height, width = figure.get_figheight(), figure.get_figwidth()
    columns = np.array([0.0, 1.55, 2.35, 3.1, 3.75, 4.4]) / width + left
    head = ("", "from_front", "from_left", "up", "toe-in", "tilt")
    rows: list[tuple[str, ...]] = []
    for loudspeaker, look in zip(built.loudspeakers, ways, strict=True):
        place = [bare_length(float(value), unit) for value in loudspeaker.axis_point]
        angles = [
            f"{value:.1f}°".replace("-", "\N{MINUS SIGN}") for value in (loudspeaker.toe_in_deg, loudspeaker.tilt_deg)
        ]
        rows.append((f"{look.letter}: {look.name}, axis point", *place, *angles))
    for seat, name in zip(built.ears, built.listener_names, strict=True):
        rows.append((name, *(bare_length(float(value), unit) for value in seat), "", ""))
    if len(built.loudspeakers) == 2:
        ways_out = [loudspeaker.axis_point - built.ears[0] for loudspeaker in built.loudspeakers]
        cosine = ways_out[0] @ ways_out[1] / np.prod([np.linalg.norm(way) for way in ways_out])
        angle = float(np.degrees(np.arccos(np.clip(cosine, -1.0, 1.0))))
        rows.append((f"angle {ways[0].letter} to {ways[1].letter} at the ear: {angle:.1f}°", "", "", "", "", ""))
    for row, cells in enumerate((head, *rows)):
        for column, words in zip(columns, cells, strict=True):
            if words:
                figure.text(
                    column,
                    top - 0.21 * row / height,
                    words,
                    fontsize=8,
                    fontweight="normal" if row else "bold",
                    va="top",
                )


def _rectangle(low: FloatArray, high: FloatArray) -> FloatArray:
    return np.array([[low[0], low[1]], [high[0], low[1]], [high[0], high[1]], [low[0], high[1]], [low[0], low[1]]])
