"""Surface maps drawn flat: desk from above, walls as elevations, ceiling as in a mirror on the floor."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.ticker import MaxNLocator

from sim.arrays import FloatArray
from sim.responses.records import Results
from sim.showing.labels import headline
from sim.showing.map_panel import CONTOUR_LINES, CONTOURS_DB, draw_panel, name_parts, panel_marks, surface_corners
from sim.showing.numbers import hertz, in_unit, level_words
from sim.showing.style import INK, SCALE, SOFT_INK, Look, house_style, looks, new_figure, save
from sim.showing.surface_views import Elevation, FlatSurface, elevation_of, flat_surfaces

OCTAVES_HZ = (500.0, 1000.0, 2000.0, 4000.0, 8000.0)
TICK_STEPS = [1.0, 2.0, 2.5, 5.0, 10.0]


def desk_surface(results: Results) -> FlatSurface | None:
    """The top of the largest desk or console, or None without one."""
    room = results.built.room
    desks = {item.name for item in results.scene.blueprint.furniture if item.worked_at}
    tops = [
        surface
        for surface in flat_surfaces(room)
        if surface.owner in desks and room.facets[surface.facets[0]].normal[2] > 0.5
    ]
    return max(tops, key=lambda top: sum(room.facets[n].area_m2 for n in top.facets), default=None)


def worst_surfaces(results: Results, most: int = 6, besides: Sequence[FlatSurface] = ()) -> tuple[FlatSurface, ...]:
    """Surfaces with the highest level on their maps in the target band, loudest first."""
    low, high = results.scene.blueprint.target.band_hz
    nominal = results.responses.bands.nominal_hz
    judged = (nominal >= low) & (nominal <= high)
    loudest: dict[int, float] = {}
    for surface_map in results.responses.maps:
        levels = surface_map.both_db[judged]
        loudest[surface_map.facet] = float(levels.max()) if levels.size else -np.inf
    ranked = [
        (max((loudest.get(number, -np.inf) for number in surface.facets), default=-np.inf), surface)
        for surface in flat_surfaces(results.built.room)
        if surface not in besides
    ]
    ranked.sort(key=lambda entry: -entry[0])
    return tuple(surface for level, surface in ranked[:most] if level > SCALE.low_db)


def draw_map(results: Results, surface: FlatSurface, path: Path, *, bands_hz: Sequence[float] = (2000.0,)) -> Path:
    """Write the map of one surface as PNG, one panel for each octave."""
    return save(map_figure(results, surface, bands_hz=bands_hz), path)


def map_figure(results: Results, surface: FlatSurface, *, bands_hz: Sequence[float] = (2000.0,)) -> Figure:
    """Draw the map of one surface, all loudspeakers together, one panel for each octave.

    Raises ValueError when an octave is not among those calculated.
    """
    room, unit = results.built.room, results.scene.blueprint.units
    first = room.facets[surface.facets[0]]
    corners = surface_corners(room, surface)
    drawing = elevation_of(first, corners)
    extent = in_unit(1.0, unit) * np.ptp(drawing.flatten(corners), axis=0)
    ways = looks([loudspeaker.name for loudspeaker in results.built.loudspeakers])
    single = len(bands_hz) == 1
    with house_style():
        figure, panels, bar = _layout(float(extent[0] / extent[1]), len(bands_hz))
        for place, band_hz in zip(panels, bands_hz, strict=True):
            draw_panel(place, results, surface, drawing, band_hz)
            place.set_title(hertz(band_hz) + " octave" if not single else "")
            if not single:
                place.tick_params(labelsize=6.5)
                place.set_xlabel("")
                place.set_ylabel("")
        SCALE.draw_bar(figure, bar)
        _words(figure, results, surface, drawing, bands_hz)
        for place in panels:
            place.apply_aspect()
            place.xaxis.set_major_locator(
                MaxNLocator(int(np.clip(place.bbox.width / 60, 1, 8)), steps=TICK_STEPS, min_n_ticks=1)
            )
            place.yaxis.set_major_locator(
                MaxNLocator(int(np.clip(place.bbox.height / 40, 1, 8)), steps=TICK_STEPS, min_n_ticks=1)
            )
        marks = [panel_marks(place, results, surface, drawing, ways) for place in panels]
        if single:
            name_parts(figure, panels[0], results, surface, drawing, ways, marks[0])
        figure.legend(
            handles=_legend(ways, marks[0]),
            loc="lower center",
            ncols=3 + len(ways),
            bbox_to_anchor=(0.45, 0.02),
            handlelength=2.2,
        )
    return figure


def _layout(shape: float, panels: int) -> tuple[Figure, list[Axes], Axes]:
    """Panels of one shape (width over height) in a row or two, room for words above and a bar to the right."""
    columns = panels if panels == 1 or shape < 1.0 else min(panels, 3 if shape < 2.2 else 2)
    rows = -(-panels // columns)
    width_in = 9.0 if panels == 1 else 11.0
    usable_in = width_in - 1.9
    panel_height_in = float(np.clip(usable_in / columns / shape, 1.2, 5.6 if rows == 1 else 3.2))
    height_in = rows * (panel_height_in + (0.45 if panels > 1 else 0.0)) + 1.95
    figure = new_figure(width_in, height_in)
    top, bottom = 1.0 - (0.75 if panels == 1 else 1.0) / height_in, 1.1 / height_in
    grid = figure.add_gridspec(
        rows,
        columns,
        left=0.75 / width_in,
        right=1.0 - 1.35 / width_in,
        top=top,
        bottom=bottom,
        wspace=0.18,
        hspace=0.3,
    )
    axes = [figure.add_subplot(grid[number // columns, number % columns]) for number in range(panels)]
    bar_height = min(top - bottom, 3.6 / height_in)
    bar = figure.add_axes((1.0 - 1.05 / width_in, 0.5 * (top + bottom) - 0.5 * bar_height, 0.2 / width_in, bar_height))
    return figure, axes, bar


def _legend(ways: Sequence[Look], marked: dict[int, FloatArray]) -> list[Any]:
    entries: list[Any] = [
        Line2D(
            [],
            [],
            linestyle="none",
            marker=ways[number].marker,
            markerfacecolor="white",
            markeredgecolor=ways[number].colour,
            markeredgewidth=1.8,
            label=f"{ways[number].letter}: reflection points, {ways[number].name}",
        )
        for number in marked
    ]
    entries += [
        Line2D([], [], color=INK, linestyle=line, linewidth=0.9, label=level_words(level))
        for level, line in zip(CONTOURS_DB, CONTOUR_LINES, strict=True)
    ]
    return entries


def _words(
    figure: Figure, results: Results, surface: FlatSurface, drawing: Elevation, bands_hz: Sequence[float]
) -> None:
    names = " and ".join(loudspeaker.name for loudspeaker in results.built.loudspeakers)
    octaves = hertz(bands_hz[0]) + " octave" if len(bands_hz) == 1 else "by octave"
    height = figure.get_figheight()
    words = f"{surface.whole_name}: early-reflection map, {octaves}"
    headline(figure, (0.02, 1.0 - 0.28 / height), words, size=11)
    where = f"{results.scene.blueprint.title}; monitors {names} together; {drawing.words}"
    headline(figure, (0.02, 1.0 - 0.52 / height), where, size=8, color=SOFT_INK)
