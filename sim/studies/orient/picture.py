"""An orientation study drawn, a row each: the cabinet from the front, the head box as a map, both polars."""

from __future__ import annotations

from pathlib import Path

import matplotlib
import numpy as np
from matplotlib.axes import Axes
from matplotlib.cm import ScalarMappable
from matplotlib.colors import BoundaryNorm, Colormap, ListedColormap
from matplotlib.figure import Figure
from matplotlib.patches import Circle, Polygon
from matplotlib.projections.polar import PolarAxes

from sim.arrays import FloatArray
from sim.loudspeakers.loudspeaker import cabinet_corners
from sim.placement.poses import rotation_of
from sim.showing.numbers import hertz
from sim.showing.style import FURNITURE, HAIRLINE, INK, PAPER, SOFT_INK, house_style, new_figure, save
from sim.studies.orient.findings import find
from sim.studies.orient.study import OrientationStudy, Oriented, highest_crossover_hz

EDGES_DB = np.array([-6.0, -4.0, -3.0, -2.0, -1.0, -0.5, 0.5, 1.0, 2.0, 3.0, 4.0, 6.0])
FLOOR_DB = -24.0
ROW_IN, TOP_IN, FOOT_IN, WIDTH_IN = 2.3, 1.0, 0.75, 10.4
HORIZONTAL, VERTICAL = "#0072b2", "#d55e00"


def draw_orientation(study: OrientationStudy, name: str, path: Path) -> Path:
    """Write the picture of one loudspeaker in all orientations as PNG."""
    return save(orientation_figure(study, name), path)


def orientation_figure(study: OrientationStudy, name: str) -> Figure:
    """Draw every orientation of a loudspeaker in a row of its own, all on one scale."""
    orientations = study.of(name)
    height = TOP_IN + ROW_IN * len(orientations) + FOOT_IN
    middle = highest_crossover_hz(orientations[0].placed)
    found = next(each for each in find(study) if each.name == name)
    with house_style():
        figure = new_figure(WIDTH_IN, height)
        figure.text(
            0.02,
            1.0 - 0.22 / height,
            f"{name}: {orientations[0].placed.model.kind} in {len(orientations)} orientations",
            fontsize=11,
            fontweight="bold",
            va="top",
        )
        figure.text(
            0.02,
            1.0 - 0.46 / height,
            f"maps: the third-octave near {hertz(middle)} that differs most; "
            + ("the acoustic axis point stays" if study.keep == "axis" else "the cabinet stays on its support"),
            fontsize=8.5,
            color=SOFT_INK,
            va="top",
        )
        for row, one in enumerate(orientations):
            low = (FOOT_IN + ROW_IN * (len(orientations) - 1 - row)) / height
            high = ROW_IN / height
            _box(figure.add_axes((0.02, low + 0.06 * high, 0.20, 0.78 * high)), one)
            _map(
                figure.add_axes((0.29, low + 0.16 * high, 0.22, 0.66 * high)),
                study,
                one,
                float(found.whole_db[row]),
                last=row == len(orientations) - 1,
            )
            for left, upright in ((0.56, False), (0.775, True)):
                place = figure.add_axes((left, low + 0.10 * high, 0.20, 0.70 * high), projection="polar")
                assert isinstance(place, PolarAxes)
                _polar(place, one, upright=upright)
                if row == 0:
                    words = "vertical plane: above is up" if upright else "horizontal plane: seat's right is up"
                    place.set_title(words, fontsize=8, color=SOFT_INK, pad=9.0)
        bar = figure.colorbar(
            ScalarMappable(_classes(), _colours()),
            cax=figure.add_axes((0.29, 0.36 / height, 0.22, 0.09 / height)),
            orientation="horizontal",
            ticks=[-6, -3, -1, 1, 3, 6],
            extend="both",
        )
        bar.ax.tick_params(labelsize=7)
        bar.set_label("dB re the ear, distance taken out", fontsize=7.5, labelpad=1.0)
        figure.text(
            0.56,
            0.36 / height,
            "polars at the distance of the ear, dB re the axis, rings 6 dB apart; "
            "the axis\npoints to the right. Cabinets as seen from the seat: cross = acoustic axis.",
            fontsize=7.5,
            color=SOFT_INK,
            va="center",
        )
    return figure


def front_view(one: Oriented) -> tuple[FloatArray | None, FloatArray]:
    """Baffle corners (4, 2) and drivers (d, 2) as seen from the seat, right and up from the axis point, in metres."""
    rolled = rotation_of(0.0, 0.0, one.roll_deg)
    corners = cabinet_corners(one.placed.model)
    drivers = np.array(one.placed.model.driver_offsets_m) @ rolled.T
    # Facing the loudspeaker, the right of the seat lies to the right as across grows from left to right.
    return None if corners is None else (corners[:4] @ rolled.T)[:, 1:], drivers[:, 1:]


def _box(place: Axes, one: Oriented) -> None:
    place.set_aspect("equal", adjustable="box")
    place.set_axis_off()
    outline, drivers = front_view(one)
    if outline is not None:
        place.add_patch(Polygon(outline, closed=True, facecolor=FURNITURE, edgecolor=INK, linewidth=1.0))
        reach = 0.5 * float(np.hypot(*np.ptp(outline, axis=0))) * 1.05
        middle = outline.mean(axis=0)
    else:
        reach, middle = 0.3, np.zeros(2)
    for centre, driver in zip(drivers, one.placed.model.drivers, strict=True):
        place.add_patch(Circle((centre[0], centre[1]), max(driver.radius_m, 0.004), facecolor=PAPER, edgecolor=INK))
    place.plot(0.0, 0.0, marker="+", color=HORIZONTAL, markersize=9, markeredgewidth=1.4)
    place.set_xlim(middle[0] - reach, middle[0] + reach)
    place.set_ylim(middle[1] - reach, middle[1] + reach)
    place.set_title(one.orientation.name, loc="left", fontsize=9, fontweight="bold")


def _map(place: Axes, study: OrientationStudy, one: Oriented, spread_db: float, *, last: bool) -> None:
    depth, across, _ = 50.0 * study.head_box
    grid = one.map_db
    if min(depth, across) <= 0.0:
        place.set_axis_off()
        place.text(0.0, 0.5, "the head box has no area", fontsize=8, color=SOFT_INK)
        return
    place.imshow(
        grid[::-1],
        extent=(-across, across, -depth, depth),
        cmap=_colours(),
        norm=_classes(),
        aspect="equal",
        interpolation="nearest",
    )
    place.plot(0.0, 0.0, marker="o", color=INK, markersize=3)
    place.invert_yaxis()
    place.set_ylabel("toward rear, cm", fontsize=7.5)
    place.tick_params(labelsize=7)
    title = f"spread {spread_db:.1f} dB in the whole box;\nat ear height {grid.min():+.1f} to {grid.max():+.1f} dB"
    place.set_title(title.replace("-", "\N{MINUS SIGN}"), fontsize=8)
    if last:
        place.set_xlabel("to the seat's right, cm", fontsize=7.5, labelpad=1.0)


def _polar(place: PolarAxes, one: Oriented, *, upright: bool) -> None:
    polar = one.polars[-1]
    level = polar.vertical_db if upright else polar.horizontal_db
    colour = VERTICAL if upright else HORIZONTAL
    place.plot(np.radians(polar.angle_deg), np.maximum(level, FLOOR_DB) - FLOOR_DB, color=colour, linewidth=1.4)
    place.set_rlim(0.0, -FLOOR_DB + 3.0)
    place.set_rgrids([-FLOOR_DB - 18.0, -FLOOR_DB - 12.0, -FLOOR_DB - 6.0, -FLOOR_DB], labels=["", "", "", "0 dB"])
    place.set_rlabel_position(200.0)
    place.set_thetagrids(range(0, 360, 30), labels=[""] * 12)
    place.tick_params(labelsize=6.5)
    place.grid(color=HAIRLINE, linewidth=0.4)


def _colours() -> Colormap:
    shades = matplotlib.colormaps["PuOr"](np.linspace(0.06, 0.94, len(EDGES_DB) - 1))
    return ListedColormap([tuple(shade) for shade in shades]).with_extremes(under="#5c2b00", over="#1f0033")


def _classes() -> BoundaryNorm:
    return BoundaryNorm(EDGES_DB.tolist(), len(EDGES_DB) - 1)
