"""One arrival as a picture: the way from above and along it, and what each thing on it takes."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
import shapely
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from sim.arrays import FloatArray
from sim.responses.records import Results
from sim.showing.labels import Label, headline, on_figure, write_labels
from sim.showing.numbers import format_length, hertz, in_unit, level_words
from sim.showing.style import FURNITURE, GLASS, HAIRLINE, INK, SOFT_INK, Look, house_style, looks, new_figure, save
from sim.showing.surface_views import PLAN, bodies, facet_spans, inner_lines, rings_of, silhouette
from sim.studies.explain.records import Explanation
from sim.studies.explain.side_pictures import Section, draw_breakdown, draw_waterfall, section_along, table_width_in

PLAN_IN, BARS_IN, SECTION_IN = (4.8, 4.4), (4.6, 3.3), (6.6, 3.0)
"""Most room for the plan, for the bars and for the section, in inches."""
NORMAL_M = 0.35
PANEL = "#009e73"
ONE_PLANE_M = 0.02
"""A way whose corners stand nearer than this to one upright plane is not unrolled."""


def draw_explanation(results: Results, explained: Explanation, path: Path) -> Path:
    """Write one arrival as PNG, lengths in the unit of the scene file."""
    return save(explanation_figure(results, explained), path)


def explanation_figure(results: Results, explained: Explanation) -> Figure:
    """Draw one arrival: plan and ledger above, the section along its way below."""
    built, blueprint, arrival = results.built, results.scene.blueprint, explained.arrival
    ways = looks([one.name for one in built.loudspeakers])
    look = next(way for way in ways if way.name == arrival.loudspeaker)
    corners = built.room.triangles[built.room.owner_of_triangle == 0].reshape(-1, 3)
    depth, width, height = np.ptp(corners, axis=0)
    scale = min(PLAN_IN[0] / width, PLAN_IN[1] / depth)
    plan_in = (width * scale, depth * scale)
    section = section_along(built.room, explained.points)
    reach = float(np.ptp(np.vstack([section.lines.reshape(-1, 2), section.way])[:, 0]))
    section_scale = min(SECTION_IN[0] / reach, SECTION_IN[1] / height)
    section_in = (reach * section_scale, height * section_scale)
    right_in = max(0.6 + plan_in[0] + 2.4, 0.75 + section_in[0] + 0.7)
    width_in = max(right_in + BARS_IN[0] + 0.35, right_in + table_width_in(explained) + 0.35)
    upper_in = max(plan_in[1], BARS_IN[1])
    lower_in = max(section_in[1], 2.5)
    height_in = 1.3 + upper_in + 0.75 + lower_in + 0.55
    with house_style():
        figure = new_figure(width_in, height_in)

        def axes(left: float, low: float, size: tuple[float, float]) -> Axes:
            return figure.add_axes((left / width_in, low / height_in, size[0] / width_in, size[1] / height_in))

        number = f"arrival {arrival.number}: {arrival.via}" if arrival.order else "direct sound"
        title = f"{blueprint.title}: {arrival.loudspeaker} at the {arrival.listener}, {number}"
        headline(figure, (0.3 / width_in, 1.0 - 0.3 / height_in), title, size=11)
        headline(figure, (0.3 / width_in, 1.0 - 0.56 / height_in), _summary(results, explained), size=9, color=SOFT_INK)
        top, lower = height_in - 1.25, 0.5 + lower_in
        _plan(figure, axes(0.6, top - plan_in[1], plan_in), results, explained, look)
        bars_left = width_in - BARS_IN[0] - 0.35
        if arrival.order:
            draw_waterfall(axes(bars_left, top - BARS_IN[1], BARS_IN), results, explained)
        _section(figure, axes(0.75, lower - section_in[1], section_in), results, explained, section, look)
        draw_breakdown(
            figure, results, explained, 1.0 - (table_width_in(explained) + 0.35) / width_in, lower / height_in
        )
    return figure


def _summary(results: Results, explained: Explanation) -> str:
    main, target = explained.arrival.main, results.scene.blueprint.target
    unit = results.scene.blueprint.units
    if not explained.arrival.order:
        return f"{main.flight_time_ms:.2f} ms of flight, {format_length(main.length_m, unit)}"
    return (
        f"{level_words(explained.arrival.worst_db, 1)} re direct sound at {hertz(explained.arrival.worst_band_hz)} "
        f"(target {level_words(target.level_db)}); {main.flight_time_ms:.2f} ms after it left the monitor "
        f"({format_length(main.length_m, unit)}), {main.delay_ms:.2f} ms after the direct sound "
        f"({format_length(main.extra_path_m, unit)} longer)"
    )


def _plan(figure: Figure, place: Axes, results: Results, explained: Explanation, look: Look) -> None:
    built, per_metre = results.built, in_unit(1.0, results.scene.blueprint.units)
    room = built.room
    corners = room.triangles[room.owner_of_triangle == 0].reshape(-1, 3)
    low, high = corners.min(axis=0), corners.max(axis=0)
    place.set_xlim(low[1] * per_metre, high[1] * per_metre)
    place.set_ylim(high[0] * per_metre, low[0] * per_metre)
    place.set_axis_off()
    for ring in rings_of(silhouette(room, "room", PLAN)):
        place.plot(*(ring * per_metre).T, color=INK, linewidth=2.0, clip_on=False, zorder=6)
    for ring in inner_lines(room, PLAN):
        place.plot(*(ring * per_metre).T, color=SOFT_INK, linewidth=0.6, linestyle=(0, (5, 3)), zorder=1)
    named: list[tuple[FloatArray, str, str]] = []
    boxes = built.boxes
    for owner in bodies(room, frozenset()):
        box = owner in boxes
        lowest = float(room.triangles[room.owner_of_triangle == room.owner_number(owner), :, 2].min())
        overhead = lowest > float(built.ears[:, 2].max()) + 0.3
        for ring in rings_of(silhouette(room, owner, PLAN)):
            face = "none" if overhead else "white" if box else FURNITURE
            place.fill(
                *(ring * per_metre).T,
                facecolor=face,
                edgecolor=SOFT_INK,
                linewidth=0.8,
                zorder=3 if box else 2,
                linestyle=(0, (7, 3)) if overhead else "-",
            )
        if not box:
            middle = silhouette(room, owner, PLAN).centroid
            named.append((np.array([middle.x, middle.y]) * per_metre, owner, SOFT_INK))
    met = {panel.name for touch in explained.touches for panel in touch.panels}
    for panel in built.panels:
        shape: Any = shapely.MultiPoint(PLAN.flatten(panel.body)).convex_hull
        hull = np.asarray(shape.exterior.coords)
        place.fill(*(hull * per_metre).T, facecolor="none", edgecolor=PANEL, hatch="xxxx", linewidth=1.0, zorder=5)
        if panel.name in met:
            named.append((hull.mean(axis=0) * per_metre, panel.name, PANEL))
    for opening in results.scene.blueprint.openings:
        for span in facet_spans(room, opening.name, PLAN):
            if len(span) == 2:
                ends = (span * per_metre).T
                place.plot(*ends, color=GLASS, linewidth=4.5, solid_capstyle="butt", clip_on=False, zorder=7)
                named.append((span.mean(axis=0) * per_metre, opening.name, GLASS))
    flat = PLAN.flatten(explained.points) * per_metre
    _draw_path(
        figure, place, explained, flat, look, PLAN.flatten(_normals(results, explained)) * NORMAL_M * per_metre, named
    )
    for words, at, away, turn in (
        ("front", (0.5, 1.0), (0.0, 9.0), 0),
        ("rear", (0.5, 0.0), (0.0, -9.0), 0),
        ("left", (0.0, 0.5), (-9.0, 0.0), 90),
        ("right", (1.0, 0.5), (9.0, 0.0), 90),
    ):
        place.annotate(
            words,
            at,
            xycoords="axes fraction",
            xytext=away,
            textcoords="offset points",
            ha="center",
            va="center",
            rotation=turn,
            fontsize=8.5,
            fontweight="bold",
        )
    place.set_title("seen from above", fontsize=9, pad=20, color=SOFT_INK)


def _section(
    figure: Figure, place: Axes, results: Results, explained: Explanation, section: Section, look: Look
) -> None:
    """The way unrolled: along it and up; a dashed upright line marks where the plane of the section turns."""
    unit = results.scene.blueprint.units
    per_metre = in_unit(1.0, unit)
    for line, of_room in zip(section.lines * per_metre, section.of_room, strict=True):
        colour, thick = (INK, 1.8) if of_room else (SOFT_INK, 1.1)
        place.plot(*line.T, color=colour, linewidth=thick, zorder=2, solid_capstyle="round")
    everything = np.vstack([section.lines.reshape(-1, 2), section.way])
    (left, low), (right, high) = everything.min(axis=0), everything.max(axis=0)
    place.set_xlim(left * per_metre, right * per_metre)
    place.set_ylim(low * per_metre, high * per_metre)
    unrolled = not in_one_plane(explained.points)
    for along in section.way[1:-1, 0] if unrolled else ():
        place.axvline(along * per_metre, color=HAIRLINE, linewidth=0.7, linestyle=(0, (4, 3)), zorder=1)
    normals = _normals(results, explained)
    steps = np.diff(explained.points[:, :2], axis=0)
    slanted = np.zeros((len(normals), 2))
    for turn, normal in enumerate(normals):
        length = float(np.linalg.norm(steps[turn]))
        if length > 1e-6:
            slanted[turn] = normal[:2] @ steps[turn] / length, normal[2]
    named = [
        (spot * per_metre, owner, SOFT_INK)
        for owner, spot in _spots(section.lines, section.owners)
        if owner != "room" and owner not in results.built.boxes
    ]
    _draw_path(
        figure,
        place,
        explained,
        section.way * per_metre,
        look,
        slanted * NORMAL_M * per_metre,
        named,
        straight=not unrolled,
        names=False,
    )
    for spine in ("top", "right"):
        place.spines[spine].set_visible(False)
    place.set_xlabel(f"along the path in plan, from the {explained.arrival.main.driver} ({unit})")
    place.set_ylabel(f"up ({unit})")
    turned = ", unrolled: its plane turns at each dashed line" if unrolled else ""
    place.set_title(f"vertical section along the path{turned}", fontsize=9, color=SOFT_INK, loc="left")


def in_one_plane(points: FloatArray) -> bool:
    """Whether points (n, 3) run on over ground in one upright plane without turning back."""
    whole = points[-1, :2] - points[0, :2]
    length = float(np.linalg.norm(whole))
    if length < ONE_PLANE_M:
        return len(points) == 2
    away = (points[:, :2] - points[0, :2]) @ (np.array([-whole[1], whole[0]]) / length)
    ahead = np.diff(points[:, :2] @ whole) / length
    return bool(np.abs(away).max() < ONE_PLANE_M and ahead.min() > -ONE_PLANE_M)


def _spots(lines: FloatArray, owners: tuple[str, ...]) -> list[tuple[str, FloatArray]]:
    """A place (2,) to write the name of each body that is cut."""
    found = []
    for owner in dict.fromkeys(owners):
        mine = lines[[name == owner for name in owners]].reshape(-1, 2)
        found.append((owner, 0.5 * (mine.min(axis=0) + mine.max(axis=0))))
    return found


def _normals(results: Results, explained: Explanation) -> FloatArray:
    """Normals (k, 3) of the surfaces of a way; zero for an edge."""
    rows = [results.built.room.facets[t.facet].normal if t.facet >= 0 else np.zeros(3) for t in explained.touches]
    return np.array(rows, dtype=np.float64).reshape(-1, 3)


def _draw_path(
    figure: Figure,
    place: Axes,
    explained: Explanation,
    flat: FloatArray,
    look: Look,
    normals: FloatArray,
    named: list[tuple[FloatArray, str, str]],
    *,
    straight: bool = True,
    names: bool = True,
) -> None:
    """The way (k + 2, 2), its ends, numbers and angles at what it meets, and the names of things around."""
    chain = explained.arrival.diffracted and not len(explained.arrival.main.points)
    line: Any = (0, (2.0, 1.4)) if explained.arrival.diffracted else "-"
    if explained.arrival.order and straight:
        place.plot(*flat[[0, -1]].T, color=SOFT_INK, linewidth=0.9, linestyle=(0, (1.0, 1.6)), zorder=4)
    place.plot(*flat.T, color=look.colour, linewidth=1.9, linestyle=line, zorder=8, clip_on=False)
    place.plot(*flat[0], marker=look.marker, markersize=7, color=look.colour, zorder=9, clip_on=False)
    place.plot(*flat[-1], marker="+", markersize=11, markeredgewidth=2.0, color=INK, zorder=9)
    spots = flat[1:-1].mean(axis=0, keepdims=True) if chain else flat[1:-1]
    words = [
        (flat[0], f"{explained.arrival.loudspeaker}, {explained.arrival.main.driver}", look.colour),
        (flat[-1], explained.arrival.listener, INK),
    ]
    for turn, (touch, spot) in enumerate(zip(explained.touches, spots, strict=True)):
        place.plot(
            *spot,
            marker="o",
            markersize=5.5,
            markerfacecolor="white",
            markeredgecolor=look.colour,
            markeredgewidth=1.6,
            zorder=10,
            clip_on=False,
        )
        if np.linalg.norm(normals[turn]) > 0.0:
            tip = spot + normals[turn]
            place.plot(*np.stack([spot, tip]).T, color=INK, linewidth=0.9, linestyle=(0, (4, 2)), zorder=7)
        angle = f"{touch.angle_deg:.0f}° {'to its normal' if touch.kind == 'surface' else 'round it'}"
        words.append((spot, f"{turn + 1}: {touch.name}, {angle}" if names else f"{turn + 1}: {angle}", INK))
    pixels = on_figure(place, np.array([spot for spot, _, _ in [*words, *named]]))
    taken = [np.concatenate([spot - 5.0, spot + 5.0]) for spot in on_figure(place, flat)]
    fractions = np.linspace(0.0, 1.0, 24)[1:-1, None]
    for start, stop in pairwise(flat):
        along = on_figure(place, start + fractions * (stop - start))
        taken += [np.concatenate([spot - 3.0, spot + 3.0]) for spot in along]
    own = len(words)
    labels = [
        Label(text, (float(x), float(y)), colour, size=8.0 if n < own else 7.5, bold=n < 2, centred=n >= own)
        for n, ((x, y), (_, text, colour)) in enumerate(zip(pixels, [*words, *named], strict=True))
    ]
    frame = place.bbox.padded(8.0)
    # names of furniture that a label of the way already says are not written again
    met = {touch.owner for touch in explained.touches}
    left_out = write_labels(figure, [label for label in labels if label.words not in met], frame, taken)
    short = [
        replace(one, words=f"{one.words.split(':')[0]}") for one in labels if one.words in left_out and ":" in one.words
    ]
    write_labels(figure, short, place.bbox.padded(25.0), taken)
