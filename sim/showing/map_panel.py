"""One panel of a flat map: the surface, its levels as colours and contours, and what is marked on it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import shapely
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import PathPatch
from matplotlib.path import Path as Outline

from sim.arrays import FloatArray
from sim.geometry.room import Room
from sim.placement.panels import PlacedPanel
from sim.responses.records import Results, SurfaceMap
from sim.showing.labels import Label, on_figure, write_labels
from sim.showing.numbers import in_unit, level_words
from sim.showing.style import HAIRLINE, INK, SCALE, SOFT_INK, SURFACE, Look
from sim.showing.surface_views import Elevation, FlatSurface, facet_rings, middle_of

CONTOURS_DB = (-20.0, -15.0, -10.0)
CONTOUR_LINES: tuple[Any, ...] = ((0, (1.0, 1.5)), (0, (5.0, 2.0)), "-")


def draw_panel(place: Axes, results: Results, surface: FlatSurface, drawing: Elevation, band_hz: float) -> None:
    """Draw the facets of a surface with the level of all loudspeakers together in one octave."""
    room, unit = results.built.room, results.scene.blueprint.units
    per_metre = in_unit(1.0, unit)
    maps = {surface_map.facet: surface_map for surface_map in results.responses.maps}
    heard = False
    for number in surface.facets:
        rings = [drawing.flatten(ring) * per_metre for ring in facet_rings(room, number)]
        outline = Outline.make_compound_path(*(Outline(ring, closed=True) for ring in rings))
        place.add_patch(PathPatch(outline, facecolor=SURFACE, edgecolor="none", zorder=1))
        if number in maps:
            heard |= _cells(place, maps[number], band_number(results, band_hz), drawing, per_metre, outline)
        place.add_patch(PathPatch(outline, facecolor="none", edgecolor=INK, linewidth=0.9, zorder=5))
    for panel in panels_on(results, surface):
        ring = drawing.flatten(panel.corners_m[[0, 1, 2, 3, 0]]) * per_metre
        place.add_patch(
            PathPatch(
                Outline(ring, closed=True), facecolor="none", edgecolor=SOFT_INK, hatch="//", linewidth=0, zorder=4.4
            )
        )
        place.plot(*ring.T, color=INK, linewidth=1.6, zorder=5.2)
    place.set_aspect("equal")
    place.autoscale_view()
    place.margins(0.03)
    if drawing.across.turned:
        place.invert_xaxis()
    if drawing.upward.turned:
        place.invert_yaxis()
    place.set_xlabel(f"{drawing.across.words}, {unit}")
    place.set_ylabel(f"{drawing.upward.words}, {unit}")
    for side in place.spines.values():
        side.set_visible(False)
    if not heard:
        x, y = middle_of(drawing.flatten(surface_corners(room, surface))) * per_metre
        place.text(
            x,
            y,
            f"nothing above {level_words(SCALE.low_db)}\ncomes this way",
            ha="center",
            va="center",
            fontsize=7.5,
            zorder=8,
            bbox={"facecolor": "white", "edgecolor": HAIRLINE, "boxstyle": "round,pad=0.4"},
        )


def panels_on(results: Results, surface: FlatSurface) -> list[PlacedPanel]:
    """Panels that hang on a surface or what is flush in it."""
    planes = {int(results.built.room.arrays.plane[number]) for number in surface.facets}
    names = {results.built.room.facets[number].name for number in surface.facets}
    return [panel for panel in results.built.panels if panel.plane in planes and panel.surface in names]


def band_number(results: Results, band_hz: float) -> int:
    """Number of the octave around a nominal frequency; ValueError when there is none."""
    found = np.flatnonzero(results.responses.bands.nominal_hz == band_hz)
    if len(found) == 0:
        raise ValueError(f"{band_hz:g} Hz is not one of the octaves that were calculated")
    return int(found[0])


def _cells(
    place: Axes, surface_map: SurfaceMap, band: int, drawing: Elevation, per_metre: float, outline: Outline
) -> bool:
    """Draw the cells of a map and its contours, clipped to the surface; says whether there was anything."""
    levels = surface_map.both_db[band]
    if not (levels >= SCALE.low_db).any():
        return False
    sheets = map_sheet(surface_map, levels, drawing.flatten(surface_map.points) * per_metre)
    edges = SCALE.edges_db
    filled = place.contourf(
        *sheets,
        levels=[*edges, max(edges[-1] + 1.0, levels.max() + 1.0)],
        zorder=2,
        colors=[*SCALE.paint(edges[:-1] + 0.1), *SCALE.paint(edges[-1:] + 0.1)],
    )
    filled.set_clip_path(outline, place.transData)
    shown = [(level, line) for level, line in zip(CONTOURS_DB, CONTOUR_LINES, strict=True) if _crossed(levels, level)]
    if shown:
        rings = place.contour(
            *sheets,
            levels=[level for level, _ in shown],
            colors=INK,
            linestyles=[line for _, line in shown],
            linewidths=0.9,
            zorder=4,
        )
        rings.set_clip_path(outline, place.transData)
    return True


def map_sheet(surface_map: SurfaceMap, levels_db: FloatArray, places: FloatArray) -> FloatArray:
    """Return (3, m, n): across, upward and level on a whole grid, one cell larger on every side than the map.

    Places outside the surface, which the picture clips away, get the level of the nearest cell, so that colours
    run up to the very edge.  places (g, 2) are the drawing coordinates of the cells.
    """
    from scipy.ndimage import distance_transform_edt

    steps = cell_steps(surface_map, places)
    size = tuple(count + 2 for count in surface_map.shape)
    index = tuple(surface_map.cell.T + 1)
    level = np.full(size, np.nan)
    level[index] = np.maximum(levels_db, SCALE.low_db - 30.0)
    nearest = distance_transform_edt(np.isnan(level), return_distances=False, return_indices=True)
    grid = np.stack(np.meshgrid(*(np.arange(count) for count in size), indexing="ij"), axis=-1)
    spots = places[0] + (grid - 1 - surface_map.cell[0]) @ steps
    return np.stack([spots[..., 0], spots[..., 1], level[tuple(nearest)]])


def _crossed(levels: FloatArray, level: float) -> bool:
    return bool(levels.max() > level > levels.min())


def cell_steps(surface_map: SurfaceMap, places: FloatArray) -> FloatArray:
    """Return (2, k): how far places (g, k) of the cells move from one cell to the next in each grid direction."""
    known = np.column_stack([surface_map.cell, np.ones(len(places))])
    solved = np.linalg.lstsq(known, places, rcond=None)[0][:2]
    for direction in range(2):  # a map one cell wide cannot tell; take a square cell
        if np.ptp(surface_map.cell[:, direction]) == 0:
            other = solved[1 - direction]
            solved[direction] = [-other[1], other[0]] if len(other) == 2 else 0.0
    return np.asarray(solved, dtype=np.float64)


def panel_marks(
    place: Axes, results: Results, surface: FlatSurface, drawing: Elevation, ways: Sequence[Look]
) -> dict[int, FloatArray]:
    """Mark the reflection points of every driver, one marker for each loudspeaker; returns loudspeaker -> (n, 2)."""
    per_metre = in_unit(1.0, results.scene.blueprint.units)
    marked: dict[int, FloatArray] = {}
    for number, look in enumerate(ways):
        points = [
            surface_map.mirror_points[number].reshape(-1, 3)
            for surface_map in results.responses.maps
            if surface_map.facet in surface.facets
        ]
        known = np.concatenate(points) if points else np.zeros((0, 3))
        known = known[np.isfinite(known).all(axis=1)]
        if len(known) == 0:
            continue
        marked[number] = drawing.flatten(known) * per_metre
        place.plot(
            *marked[number].T,
            linestyle="none",
            marker=look.marker,
            markersize=6.5,
            zorder=7,
            markerfacecolor="white",
            markeredgecolor=look.colour,
            markeredgewidth=1.8,
        )
    return marked


def surface_corners(room: Room, surface: FlatSurface) -> FloatArray:
    """Corners (n, 3) of all facets of a surface."""
    return np.concatenate([room.facets[number].corners for number in surface.facets])


def name_parts(
    figure: Figure,
    place: Axes,
    results: Results,
    surface: FlatSurface,
    drawing: Elevation,
    ways: Sequence[Look],
    marked: dict[int, FloatArray],
) -> None:
    """Name the parts of the surface, and show on level surfaces where loudspeakers and seat are."""
    built, unit = results.built, results.scene.blueprint.units
    per_metre = in_unit(1.0, unit)
    labels = []
    if drawing.upward.turned:  # as only plans are
        for loudspeaker, look in zip(built.loudspeakers, ways, strict=True):
            corners = loudspeaker.corners
            if corners is None:
                corners = loudspeaker.driver_points
            flat = drawing.flatten(corners) * per_metre
            hull = shapely.convex_hull(shapely.multipoints(flat))
            if isinstance(hull, shapely.Polygon):
                ring = np.asarray(hull.exterior.coords)
                place.fill(*ring.T, facecolor="white", alpha=0.55, edgecolor="none", zorder=5.5)
                place.plot(*ring.T, color=look.colour, linestyle=look.line, linewidth=1.3, zorder=6)
            labels.append((middle_of(flat), look.letter, look.colour))
        ear = drawing.flatten(built.ears[:1])[0] * per_metre
        place.plot(*ear, marker="+", markersize=11, color=INK, markeredgewidth=1.6, zorder=7)
        labels.append((ear, "ear", INK))
    if len(surface.facets) > 1:
        for number in surface.facets:
            facet = built.room.facets[number]
            if facet.name != surface.name:
                labels.append((middle_of(drawing.flatten(facet.corners)) * per_metre, facet.name, INK))
    for panel in panels_on(results, surface):
        labels.append((middle_of(drawing.flatten(panel.corners_m)) * per_metre, panel.name, INK))
    place.apply_aspect()
    figure.canvas.draw()  # axes with equal scales get their final size only now
    words = [
        Label(text, (float(x), float(y)), colour, bold=len(text) == 1, centred=text != "ear")
        for (spot, text, colour) in labels
        for x, y in on_figure(place, np.asarray(spot)[None])
    ]
    spots = on_figure(place, np.concatenate([np.zeros((0, 2)), *marked.values()]))
    taken = [np.concatenate([spot - 6.0, spot + 6.0]) for spot in spots]
    write_labels(figure, words, place.bbox.expanded(1.02, 1.02), taken)
