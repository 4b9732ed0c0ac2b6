"""The room in space with its hotspots, first-order paths and numbered reflection points."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.transforms import Bbox

from sim.arrays import FloatArray
from sim.blueprint.units import small_words
from sim.geometry.facets import Facet
from sim.geometry.room import Room
from sim.propagation.paths import FRAGILE_M
from sim.responses.records import Results
from sim.showing.labels import Label, headline, write_labels
from sim.showing.numbers import format_length, hertz, hertz_range, level_words
from sim.showing.room_scene import render, shown_facets
from sim.showing.style import INK, SCALE, SOFT_INK, Look, house_style, looks, new_figure, save
from sim.showing.viewpoint import DIRECTIONS, Viewpoint, first_order, stand

VIEWS = tuple(DIRECTIONS)
SCENE_PX = (1200, 1040)
LISTED = 12
NAMED_AREA_M2 = 0.35
BESIDE_M = 0.12
"""Lines of sizes run this far beside the edge that they measure."""
SIZE_ARROW: dict[str, Any] = {
    "arrowstyle": "<->",
    "color": SOFT_INK,
    "linewidth": 0.8,
    "shrinkA": 0.0,
    "shrinkB": 0.0,
    "mutation_scale": 7.0,
}


def draw_room(results: Results, path: Path, *, view: str = VIEWS[0], band_hz: float = 2000.0) -> Path:
    """Write the room as PNG; view is one of `VIEWS`."""
    return save(room_figure(results, view=view, band_hz=band_hz), path)


def room_figure(results: Results, *, view: str = VIEWS[0], band_hz: float = 2000.0) -> Figure:
    """Draw the room with hotspots of all loudspeakers together in one octave.

    Raises ValueError when the octave is not among those calculated.
    """
    ways = looks([loudspeaker.name for loudspeaker in results.built.loudspeakers])
    names = " and ".join(look.name for look in ways)
    with house_style():
        figure = new_figure(12.0, 7.6)
        place, camera = add_scene(figure, (0.005, 0.02), results, view, band_hz, SCENE_PX)
        title = f"{results.scene.blueprint.title}: early-reflection map, {hertz(band_hz)} octave"
        headline(figure, (0.015, 0.962), title, size=11.5)
        words = f"monitors {names} together; seen {view}; {_height(results)} high;"
        words += " surfaces facing away are drawn as edges only"
        headline(figure, (0.015, 0.933), words, size=8.5, color=SOFT_INK)
        label_scene(figure, place, results, camera, SCENE_PX, free_to_px=0.655 * figure.bbox.width)
        SCALE.draw_bar(figure, figure.add_axes((0.70, 0.60, 0.017, 0.30)))
        _lines_legend(figure, ways)
        _list(figure, results, ways)
    return figure


def add_scene(
    figure: Figure, corner: tuple[float, float], results: Results, view: str, band_hz: float, size_px: tuple[int, int]
) -> tuple[Axes, Viewpoint]:
    """Render the room and put it into a figure, pixel for pixel, its lower left corner at a share of the figure."""
    low = [arrival.main.points[0] for arrival in first_order(results) if arrival.owners[0] != "room"]
    spots = np.array(low).reshape(-1, 3)
    camera = stand(results.built.room, view, size_px[0] / size_px[1], results.built.ears[0], spots)
    image = render(results, camera, size_px, band_hz)
    width, height = figure.bbox.width, figure.bbox.height
    place = figure.add_axes((*corner, size_px[0] / width, size_px[1] / height))
    place.imshow(image, extent=(0.0, size_px[0], 0.0, size_px[1]), aspect="auto", interpolation="antialiased")
    place.set_axis_off()
    return place, camera


def label_scene(
    figure: Figure,
    place: Axes,
    results: Results,
    camera: Viewpoint,
    size_px: tuple[int, int],
    *,
    size: float = 8.0,
    names: bool = True,
    free_to_px: float | None = None,
) -> None:
    """Write loudspeakers, numbered reflection points, sizes and surface names beside what they name."""
    built, unit = results.built, results.scene.blueprint.units
    ways = {look.name: look for look in looks([loudspeaker.name for loudspeaker in built.loudspeakers])}
    origin = np.array([place.bbox.x0, place.bbox.y0])

    def at(points: FloatArray) -> FloatArray:
        return origin + camera.project(np.atleast_2d(points), size_px)

    labels, taken = [], []
    for loudspeaker in built.loudspeakers:
        corners = loudspeaker.corners
        flat = at(loudspeaker.axis_point if corners is None else corners)
        spot = (float(flat[:, 0].mean()), float(flat[:, 1].max()))
        labels.append(_label(ways[loudspeaker.name].letter, spot, ways[loudspeaker.name].colour, size + 4, bold=True))
    for seat, name in zip(built.ears, built.listener_names, strict=True):
        (x, y) = at(seat)[0]
        taken.append(np.array([x - 10, y - 10, x + 10, y + 10]))
        labels.append(_label(name, (x, y), INK, size))
    for arrival in first_order(results):
        (x, y) = at(arrival.main.points[0])[0]
        free = 32 if arrival.main.points[0][2] < built.ears[0, 2] else 7  # what lies low has its hotspot seen
        taken.append(np.array([x - free, y - free, x + free, y + free]))
        look = ways[arrival.loudspeaker]
        labels.append(_label(f"{look.letter}{arrival.number}", (x, y), look.colour, size, bold=True))
    for panel in built.panels if names else ():
        (x, y) = at(panel.body[4:].mean(axis=0))[0]
        labels.append(_label(panel.name, (x, y), INK, size, centred=True))
    for words, ends in _sizes(results, unit, on_left=camera.position[1] < camera.focus[1]):
        start, end = ((float(x), float(y)) for x, y in camera.project(ends, size_px))
        place.annotate("", xy=end, xytext=start, arrowprops=SIZE_ARROW)
        (x, y) = at(ends).mean(axis=0)
        labels.append(_label(words, (x, y), SOFT_INK, size, centred=True))
    for words, point in _surface_names(results, camera) if names else ():
        (x, y) = at(point)[0]
        labels.append(_label(words, (x, y), SOFT_INK, size, centred=True))
    right = min(float(place.bbox.x1), free_to_px or np.inf) - 4.0
    frame = Bbox.from_extents(place.bbox.x0 + 4, place.bbox.y0 + 4, right, place.bbox.y1 - 4)
    write_labels(figure, labels, frame, taken)


def _label(
    words: str, spot: tuple[float, float], colour: str, size: float, *, bold: bool = False, centred: bool = False
) -> Label:
    return Label(words, (float(spot[0]), float(spot[1])), colour, size, bold, centred)


def _sizes(results: Results, unit: str, *, on_left: bool) -> list[tuple[str, FloatArray]]:
    """Depth and width with the ends (2, 3) of their lines, beside edges of the room on the viewer's side."""
    room = results.built.room
    corners = room.triangles[room.owner_of_triangle == 0].reshape(-1, 3)
    low, high = corners.min(axis=0), corners.max(axis=0)
    depth, width, _ = (format_length(float(value), unit) for value in high - low)
    near = low[1] - BESIDE_M if on_left else high[1] + BESIDE_M
    behind = high[0] + BESIDE_M
    return [
        (f"{width} wide", np.array([[behind, low[1], low[2]], [behind, high[1], low[2]]])),
        (f"{depth} deep", np.array([[low[0], near, low[2]], [high[0], near, low[2]]])),
    ]


def _height(results: Results) -> str:
    heights = results.built.room.triangles[results.built.room.owner_of_triangle == 0, :, 2]
    return format_length(float(np.ptp(heights)), results.scene.blueprint.units)


def _surface_names(results: Results, camera: Viewpoint) -> list[tuple[str, FloatArray]]:
    """Names of the surfaces that are drawn and large enough, each once, at the middle of the largest piece."""
    room = results.built.room
    boxes = results.built.boxes
    largest: dict[str, int] = {}
    for number in shown_facets(results.built, camera):
        facet = room.facets[number]
        if facet.owner in boxes or not camera.faces(facet.normal[None], np.array([facet.offset_m]))[0]:
            continue
        if _covered(room, facet):
            continue
        name = facet.name if facet.owner == room.owners[0] else facet.owner
        if facet.area_m2 >= NAMED_AREA_M2 or facet.owner != room.owners[0]:
            known = largest.get(name)
            if known is None or facet.area_m2 > room.facets[known].area_m2:
                largest[name] = number
    named = []
    for name, number in sorted(largest.items(), key=lambda entry: -room.facets[entry[1]].area_m2):
        corners = room.facets[number].corners
        named.append((name, 0.5 * (corners.min(axis=0) + corners.max(axis=0))))
    return named


def _covered(room: Room, facet: Facet) -> bool:
    """Whether a piece stands against all of a surface of the room, as a false wall does."""
    return facet.owner == room.owners[0] and any(
        float(other.normal @ facet.normal) < -0.999
        and abs(other.offset_m + facet.offset_m) < 0.001
        and other.area_m2 > 0.98 * facet.area_m2
        for other in room.facets
        if other.owner != room.owners[0]
    )


def _lines_legend(figure: Figure, ways: Sequence[Look]) -> None:
    entries: list[Any] = [
        Line2D(
            [],
            [],
            color=look.colour,
            linestyle=look.line,
            linewidth=2.0,
            marker=look.marker,
            markersize=6,
            label=f"{look.letter}: {look.name} monitor,\npaths with one reflection",
        )
        for look in ways
    ]
    figure.legend(handles=entries, loc="upper left", bbox_to_anchor=(0.78, 0.91), handlelength=4.0, labelspacing=0.8)


def _list(figure: Figure, results: Results, ways: Sequence[Look]) -> None:
    """List the numbered reflection points, worst first."""
    octaves = hertz_range(*results.scene.blueprint.target.band_hz)
    letters = {look.name: look for look in ways}
    ranked = sorted(first_order(results), key=lambda arrival: -arrival.worst_db)
    x = (0.665, 0.71, 0.84, 0.905)
    y = 0.515
    for column, words in zip(x, ("no.", "surface", "ms", "worst octave"), strict=True):
        figure.text(column, y, words, fontsize=8, fontweight="bold")
    for row, arrival in enumerate(ranked[:LISTED]):
        look = letters[arrival.loudspeaker]
        line = y - 0.027 * (row + 1)
        name = arrival.via if len(arrival.via) <= 20 else arrival.via[:19] + "…"
        name += " *" if arrival.fragile else ""
        worst = f"{level_words(arrival.worst_db, 1)}, {hertz(arrival.worst_band_hz)}"
        cells = (f"{look.letter}{arrival.number}", name, f"{arrival.main.delay_ms:.2f}", worst)
        for column, words in zip(x, cells, strict=True):
            first = column == x[0]
            figure.text(
                column,
                line,
                words,
                fontsize=7.8,
                color=look.colour if first else INK,
                fontweight="bold" if first else "normal",
            )
    rest = len(ranked) - LISTED
    more = f"and {rest} more, quieter; " if rest > 0 else ""
    more += f"worst octave of {octaves}; below {level_words(SCALE.low_db)} left out"
    marked = any(arrival.fragile for arrival in ranked[:LISTED])
    near = small_words(FRAGILE_M, results.scene.blueprint.units)
    more += f"\n* within {near} of vanishing: a tape or a chair decides" if marked else ""
    last = y - 0.027 * (min(len(ranked), LISTED) + 1) + 0.01
    headline(figure, (x[0], last), more, size=7.5, color=SOFT_INK, va="top")
