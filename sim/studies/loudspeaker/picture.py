"""One loudspeaker drawn: polars in both planes, what reaches head, desk, ceiling and walls, and balloons."""

from __future__ import annotations

import textwrap
from pathlib import Path
from typing import Any, Final, TypeAlias

import numpy as np
from matplotlib.figure import Figure

from sim.acoustics.air import Air
from sim.acoustics.bands import octave_bands, sample_frequencies
from sim.arrays import FloatArray
from sim.loudspeakers.assembled import ONE_POINT
from sim.loudspeakers.loudspeaker import Loudspeaker
from sim.showing.numbers import hertz, level_words
from sim.showing.style import HAIRLINE, INK, SCALE, SOFT_INK, case_looks, house_style, new_figure, save
from sim.studies.loudspeaker.energy_picture import TOWARD, draw_head, draw_toward, write_standard
from sim.studies.loudspeaker.text import band_energy

FLOOR_DB: Final = -30.0
POLAR_STEP_DEG, BALLOON_STEP_DEG = 2.0, 5.0
OCTAVES_HZ: Final = (250.0, 1000.0, 2000.0, 8000.0)
WIDTH_IN: Final = 12.0
HEIGHT_IN: Final = 11.6
LINE_IN: Final = 0.145
LINES_WITH_ROOM: Final = 1
"""Lines of small print above the drawings; for each further one the picture grows."""
LONGEST_LINE: Final = 150
Place: TypeAlias = tuple[float, float, float, float]


def draw_loudspeaker(loudspeaker: Loudspeaker, air: Air, path: Path) -> Path:
    """Write the picture of one loudspeaker as PNG."""
    return save(loudspeaker_figure(loudspeaker, air), path)


def loudspeaker_figure(loudspeaker: Loudspeaker, air: Air) -> Figure:
    """Draw both polars and the head above, then desk, ceiling and walls, four balloons, and the standard's numbers."""
    speed = air.speed_of_sound_m_s
    reported = _reported(loudspeaker)
    height = HEIGHT_IN + LINE_IN * max(0, len(reported) - LINES_WITH_ROOM)

    def place(left: float, low_in: float, width: float, high_in: float) -> Place:
        """A place told in shares of the width and inches from the lower edge; it keeps its size."""
        return left, low_in / height, width, high_in / height

    with house_style():
        figure = new_figure(WIDTH_IN, height)
        figure.text(0.02, 1.0 - 0.21 / height, loudspeaker.name, fontsize=11, fontweight="bold", va="top")
        figure.text(0.02, 1.0 - 0.44 / height, "\n".join(reported), fontsize=8, color=SOFT_INK, va="top")
        _polar(figure, place(0.04, 7.35, 0.235, 2.9), loudspeaker, speed, upright=False)
        _polar(figure, place(0.345, 7.35, 0.235, 2.9), loudspeaker, speed, upright=True)
        draw_head(figure.add_axes(place(0.665, 7.5, 0.315, 2.55)), loudspeaker, speed)
        for number, name in enumerate(TOWARD):
            spot = figure.add_axes(place(0.055 + 0.238 * number, 5.0, 0.205, 1.5))
            draw_toward(spot, name, loudspeaker, speed)
            if number:
                spot.tick_params(labelleft=False)
            else:
                spot.set_ylabel("dB re on axis")
        for number, octave in enumerate(OCTAVES_HZ):
            _balloon(figure, place(0.005 + 0.225 * number, 2.05, 0.225, 2.6), loudspeaker, octave, speed)
        SCALE.draw_bar(figure, figure.add_axes(place(0.925, 2.35, 0.012, 1.9)))
        figure.axes[-1].set_xlabel("")
        figure.axes[-1].set_ylabel("dB re on axis")
        figure.text(
            0.02,
            1.98 / height,
            "Balloons: distance from the middle and colour are the level; the line with the dot is the axis, seen from "
            "in front and from the right. Means over octaves, far away.",
            fontsize=8,
            color=SOFT_INK,
        )
        write_standard(figure, loudspeaker, speed, 1.72, height)
    return figure


def _reported(loudspeaker: Loudspeaker) -> list[str]:
    """Lines on what it is and all that was assumed."""
    if loudspeaker.data:
        reported = "; ".join(f"measured: {data.source}, {len(data.directions)} directions" for data in loudspeaker.data)
    elif loudspeaker.flush:
        reported = "model: pistons in a wall"
    else:
        reported = "a point" if loudspeaker.kind == "point" else "model: discs in the front of a rigid box"
    notes = list(dict.fromkeys(note for data in loudspeaker.data for note in data.notes))
    notes += [ONE_POINT] * (loudspeaker.kind == "measured")
    notes += [note for note in loudspeaker.notes if "waveguide" in note]
    return [reported, *(line for note in notes for line in textwrap.wrap(f"assumed: {note}", LONGEST_LINE))]


def _polar(figure: Figure, place: Place, loudspeaker: Loudspeaker, speed: float, *, upright: bool) -> None:
    """One orbit: from above with the seat at the bottom, as in plans, or from the side with the seat on the right."""
    axes: Any = figure.add_axes(place, projection="polar")
    angles = np.radians(np.arange(-180.0, 180.0 + POLAR_STEP_DEG, POLAR_STEP_DEG))
    ways = np.zeros((len(angles), 3))
    ways[:, 0], ways[:, 2 if upright else 1] = np.cos(angles), np.sin(angles)
    axes.set_theta_zero_location("E" if upright else "S")
    for look, octave in zip(case_looks(len(OCTAVES_HZ)), OCTAVES_HZ, strict=True):
        levels = _octave_levels(loudspeaker, ways, octave, speed)
        axes.plot(
            angles,
            np.maximum(levels, FLOOR_DB),
            color=look.colour,
            linestyle=look.line,
            linewidth=1.4,
            label=hertz(octave),
        )
    axes.set_ylim(FLOOR_DB, 3.0)
    axes.set_rgrids(
        [-20.0, -10.0, 0.0],
        labels=["", level_words(-10), "0"],
        angle=158 if upright else 248,
        fontsize=7,
        color=SOFT_INK,
    )
    words = ("above", "below") if upright else ("right", "left")
    named = {0: "on axis", 90: words[0], 270: words[1], 180: "behind"}
    axes.set_thetagrids(np.arange(0, 360, 30), labels=[named.get(a, f"{min(a, 360 - a)}°") for a in range(0, 360, 30)])
    axes.tick_params(axis="x", labelsize=7.5, pad=1.0)
    axes.grid(color=HAIRLINE, linewidth=0.4, alpha=0.7)
    axes.spines["polar"].set_color(HAIRLINE)
    title = "vertical orbit, seen from the side" if upright else "horizontal orbit, seen from above"
    axes.set_title(title, fontsize=9, pad=14.0)
    if not upright:
        axes.legend(loc="upper left", bbox_to_anchor=(-0.1, -0.08), ncols=4, fontsize=8, handlelength=3.2)


def _balloon(figure: Figure, place: Place, loudspeaker: Loudspeaker, octave: float, speed: float) -> None:
    axes: Any = figure.add_axes(place, projection="3d", computed_zorder=True)
    off = np.radians(np.arange(0.0, 180.0 + BALLOON_STEP_DEG, BALLOON_STEP_DEG))
    about = np.radians(np.arange(0.0, 360.0 + BALLOON_STEP_DEG, BALLOON_STEP_DEG))
    ways = np.stack(
        [
            np.cos(off)[:, None] + 0.0 * about,
            np.sin(off)[:, None] * np.cos(about),
            np.sin(off)[:, None] * np.sin(about),
        ],
        axis=-1,
    )
    levels = _octave_levels(loudspeaker, ways.reshape(-1, 3), octave, speed).reshape(ways.shape[:2])
    reach = np.clip((levels - FLOOR_DB) / -FLOOR_DB, 0.0, 1.2)
    colours = SCALE.paint((0.25 * (levels[:-1, :-1] + levels[1:, :-1] + levels[:-1, 1:] + levels[1:, 1:])).ravel())
    points = ways * reach[..., None]
    axes.plot_surface(
        points[..., 0],
        points[..., 1],
        points[..., 2],
        facecolors=colours.reshape(len(off) - 1, -1, 4),
        rstride=1,
        cstride=1,
        linewidth=0.15,
        edgecolor="#00000030",
        antialiased=True,
        shade=False,
    )
    axes.plot([0.0, 1.45], [0.0, 0.0], [0.0, 0.0], color=INK, linewidth=1.0)
    axes.plot([1.45], [0.0], [0.0], color=INK, marker="o", markersize=3.5)
    axes.set_box_aspect((1.0, 1.0, 1.0), zoom=1.35)
    for setter in (axes.set_xlim, axes.set_ylim, axes.set_zlim):
        setter(-1.0, 1.0)
    axes.view_init(elev=22.0, azim=52.0)
    axes.set_axis_off()
    axes.set_title(hertz(octave), fontsize=9, y=0.98)


def _octave_levels(loudspeaker: Loudspeaker, ways: FloatArray, octave: float, speed: float) -> FloatArray:
    """Levels (m,) in dB re on axis in one octave."""
    samples = sample_frequencies(octave_bands(int(octave), int(octave)), 24)
    energy = band_energy(loudspeaker, ways, samples, speed)[:, 0]
    return np.asarray(10.0 * np.log10(np.maximum(energy, 1e-12)))
