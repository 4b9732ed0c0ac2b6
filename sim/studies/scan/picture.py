"""A scan over the room that was made of it: the plan, and a map of each surface with the distance in centimetres."""

from __future__ import annotations

from pathlib import Path
from typing import Any, Final

import matplotlib
import numpy as np
from matplotlib.axes import Axes
from matplotlib.cm import ScalarMappable
from matplotlib.colors import BoundaryNorm, ListedColormap
from matplotlib.figure import Figure
from matplotlib.patches import Rectangle

from sim.arrays import FloatArray
from sim.blueprint.units import is_imperial, length_words, small_words
from sim.showing.labels import headline
from sim.showing.numbers import in_unit
from sim.showing.style import FURNITURE, HAIRLINE, INK, SOFT_INK, SURFACE, house_style, new_figure, save
from sim.surveying.scan.records import ScannedRoom, SurfaceDistances

CLASSES_CM: Final = (-8.0, -5.0, -3.0, -2.0, -1.0, 1.0, 2.0, 3.0, 5.0, 8.0)
CLASSES_IN: Final = (-3.0, -2.0, -1.0, -0.75, -0.5, 0.5, 0.75, 1.0, 2.0, 3.0)
ACROSS: Final = 3
PANEL_IN, PLAN_IN = 1.9, 4.6
GAP_IN: Final = 0.7


def draw_scan(found: ScannedRoom, path: Path) -> Path:
    """Write the picture as PNG."""
    return save(scan_figure(found), path)


def scan_figure(found: ScannedRoom) -> Figure:
    """Draw the plan with what was found, and below it the distance of the scan from each surface."""
    rows = -(-len(found.maps) // ACROSS)
    height_in = 0.9 + PLAN_IN + rows * (PANEL_IN + GAP_IN) + 0.3
    with house_style():
        figure = new_figure(11.0, height_in)
        state = "confirmed by tape" if found.confirmed else "not confirmed by tape"
        headline(figure, (0.03, 1.0 - 0.28 / height_in), f"{found.title}: scan and scene, {state}", size=11)
        _plan(figure, found, height_in)
        _words(figure, found, height_in)
        colours, classes = _scale(found.units)
        for number, surface in enumerate(found.maps):
            row, column = divmod(number, ACROSS)
            bottom = height_in - 0.9 - PLAN_IN - (row + 1) * (PANEL_IN + GAP_IN) + 0.1
            place = figure.add_axes((0.05 + column * 0.315, bottom / height_in, 0.27, (PANEL_IN - 0.15) / height_in))
            place.set_anchor("W")
            words = _map(place, found, surface, colours, classes)
            figure.text(0.05 + column * 0.315, (bottom + PANEL_IN - 0.08) / height_in, words, fontsize=8.5)
    return figure


def _small_unit(unit: str) -> str:
    return "in" if is_imperial(unit) else "cm"


def _scale(unit: str) -> tuple[Any, Any]:
    edges = CLASSES_IN if is_imperial(unit) else CLASSES_CM
    shades = matplotlib.colormaps["PuOr_r"](np.linspace(0.04, 0.96, len(edges) - 1))
    shades[len(shades) // 2] = (0.96, 0.96, 0.96, 1.0)
    colours = ListedColormap([tuple(shade) for shade in shades]).with_extremes(over="#3d1c02", under="#1f0a3d")
    return colours, BoundaryNorm(edges, len(edges) - 1)


def _plan(figure: Figure, found: ScannedRoom, height_in: float) -> None:
    """The room from above, front wall at the top, as plans of scenes have it."""
    bottom = height_in - 0.75 - PLAN_IN
    place = figure.add_axes((0.05, bottom / height_in, 0.46, (PLAN_IN - 0.1) / height_in))
    corners = np.array([wall.start_m for wall in found.walls])
    place.fill(corners[:, 1], corners[:, 0], facecolor=SURFACE, edgecolor="none", zorder=1)
    for block in found.blocks:
        low, high = block.low_m, block.high_m
        beam = block.kind == "beam"
        box = Rectangle((low[1], low[0]), high[1] - low[1], high[0] - low[0], edgecolor=SOFT_INK, linewidth=0.8)
        box.set(facecolor="none" if beam else FURNITURE, linestyle="--" if beam else "-")
        place.add_patch(box)
        place.text(
            0.5 * (low[1] + high[1]), 0.5 * (low[0] + high[0]), block.name, ha="center", va="center", fontsize=7.0
        )
    place.scatter(found.slice_m[:, 1], found.slice_m[:, 0], s=0.6, color="#0072b2", linewidths=0.0, zorder=3)
    for wall in found.walls:
        start, end = np.array(wall.start_m), np.array(wall.end_m)
        line = (0, (3, 2)) if wall.unsure else "-"
        place.plot([start[1], end[1]], [start[0], end[0]], color=INK, linewidth=1.0, linestyle=line, zorder=4)
        _name(place, wall.name, length_words(wall.length_m, found.units), 0.5 * (start + end), wall.outward)
    for hole in found.not_seen:
        if hole.behind:
            continue
        wall = next(each for each in found.walls if each.name == hole.wall)
        along = np.subtract(wall.end_m, wall.start_m) / wall.length_m
        ends = np.array([np.array(wall.start_m) + reach * along for reach in hole.along_m])
        place.plot(ends[:, 1], ends[:, 0], color="#d55e00", linewidth=4.0, solid_capstyle="butt", zorder=5)
        inside = ends.mean(axis=0) - 0.12 * wall.outward
        place.text(inside[1], inside[0], "?", color="#d55e00", ha="center", va="center", fontsize=9, zorder=6)
    place.set_aspect("equal")
    place.margins(0.16)
    place.invert_yaxis()
    place.set_axis_off()


def _name(place: Axes, name: str, length: str, middle: FloatArray, outward: FloatArray) -> None:
    """Name and length of a wall, outside it, level."""
    spot = middle + 0.08 * outward
    sideways = abs(outward[1]) > 0.5
    across = ("right" if outward[1] < 0.0 else "left") if sideways else "center"
    upward = "center" if abs(outward[0]) < 0.9 else "bottom" if outward[0] < 0.0 else "top"
    words = f"{name}\n{length}" if sideways and abs(outward[0]) < 0.5 else f"{name}, {length}"
    place.text(spot[1], spot[0], words, ha=across, va=upward, fontsize=7.0, linespacing=1.1)


def _words(figure: Figure, found: ScannedRoom, height_in: float) -> None:
    kind = "triangles" if found.faces else "points"

    def length(metres: float) -> str:
        return length_words(metres, found.units)

    said = [
        f"{found.file}: {found.count:,} {kind}, unit {found.unit}, {found.up} up",
        f"height {length(found.height_m)}" + ("" if found.flat else " under the slopes"),
        *(f"{one.name}: from {length(one.knee_m)}, {one.angle_deg:.1f} degrees" for one in found.slopes),
        f"95 % of the scan lies within {small_words(found.away_95_m, found.units)} of the scene",
        f"{found.unexplained:.1%} lies farther than {small_words(0.2, found.units)} from all of it",
        *(f"{one.between}: tape {length(one.tape_m)}, scan {length(one.scan_m)}" for one in found.tape),
        *([f"lengths multiplied by {found.factor:.4f} to fit the tape"] if found.factor != 1.0 else []),
        *(f"the {wall.name} is unsure (broken line)" for wall in found.walls if wall.unsure),
        "dots: the scan, half a metre to 1.3 m up" if not is_imperial(found.units) else "dots: the scan, 2 to 4 ft up",
    ]
    if any(not hole.behind for hole in found.not_seen):
        said.append("?: no depth there; window, door or mirror")
    top = 1.0 - 0.95 / height_in
    for number, line in enumerate(said[:16]):
        figure.text(0.56, top - number * 0.235 / height_in, line, fontsize=8.5, color=INK, va="top")
    place = figure.add_axes((0.56, (height_in - 0.75 - PLAN_IN + 0.35) / height_in, 0.38, 0.16 / height_in))
    colours, classes = _scale(found.units)
    bar = figure.colorbar(
        ScalarMappable(classes, colours),
        cax=place,
        orientation="horizontal",
        extend="both",
        ticks=CLASSES_IN if is_imperial(found.units) else CLASSES_CM,
    )
    bar.set_label(f"scan from surface, {_small_unit(found.units)}; positive: in the room; grey: not seen", fontsize=8.0)
    bar.ax.tick_params(labelsize=7.5)


def _map(place: Axes, found: ScannedRoom, surface: SurfaceDistances, colours: Any, classes: Any) -> str:
    """One surface: walls as seen from inside, floor and ceiling from above with the front wall at the top.

    Returns its heading.
    """
    size = np.array(surface.inside.shape) * in_unit(surface.square_m, found.units)
    wall = next((each for each in found.walls if each.name == surface.name), None)
    values = np.where(surface.inside, surface.distance_m * in_unit(1.0, _small_unit(found.units)), np.nan)
    there = np.where(surface.inside, 1.0, np.nan)
    grey = ListedColormap([HAIRLINE])
    if wall is not None:  # from inside, the start of a wall that runs counter-clockwise is on the right
        place.imshow(there[::-1].T, cmap=grey, origin="lower", extent=(0.0, size[0], 0.0, size[1]), aspect="equal")
        place.imshow(values[::-1].T, cmap=colours, norm=classes, origin="lower", extent=(0.0, size[0], 0.0, size[1]))
    else:
        extent = (0.0, size[1], size[0], 0.0)
        place.imshow(there, cmap=grey, origin="upper", extent=extent, aspect="equal")
        place.imshow(values, cmap=colours, norm=classes, origin="upper", extent=extent, aspect="equal")
    seen = np.isfinite(surface.distance_m) & surface.inside
    share = float(seen.sum()) / max(int(surface.inside.sum()), 1)
    typical = float(np.nanquantile(np.abs(values), 0.95)) if seen.any() else float("nan")
    place.tick_params(labelsize=7.0)
    place.set_xlabel(f"{found.units}, seen from {'inside' if wall is not None else 'above'}", fontsize=7.5)
    for side in place.spines.values():
        side.set_color(HAIRLINE)
    return f"{surface.name}: {share:.0%} seen, 95 % within {typical:.1f} {_small_unit(found.units)}"
