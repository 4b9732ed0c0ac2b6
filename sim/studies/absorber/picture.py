"""One build-up drawn: a cut through it, the reflection it leaves against frequency at several angles, what it takes."""

from __future__ import annotations

import textwrap
from itertools import pairwise
from pathlib import Path

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Rectangle
from matplotlib.ticker import FixedLocator, NullLocator

from sim.acoustics.air import Air
from sim.acoustics.layered_reflection import FIELD_INCIDENCE_DEG, random_incidence, reflection_factor_at, within_range
from sim.acoustics.layers import AirGap, BuildUp, PerforatedSheet, PorousLayer, layer_words
from sim.acoustics.levels import pressure_level_db
from sim.acoustics.resonators import tuning
from sim.arrays import BoolArray, FloatArray
from sim.showing.numbers import hertz
from sim.showing.style import HAIRLINE, INK, PAPER, SOFT_INK, case_looks, house_style, new_figure, save

ANGLES_DEG = (0.0, 30.0, 45.0, 60.0)
LOWEST_HZ, HIGHEST_HZ = 50.0, 16000.0
POINTS = 500
FLOOR_DB, BELIEVED_DB = -30.0, -20.0
OCTAVES_HZ = (63.0, 125.0, 250.0, 500.0, 1000.0, 2000.0, 4000.0, 8000.0, 16000.0)
OUTSIDE, UNCERTAIN = "#efefef", "#bdbdbd"
THIN_FRACTION = 0.04
"""Least share of the whole depth that a thin sheet is drawn with."""


def draw_absorber(build_up: BuildUp, air: Air, path: Path) -> Path:
    """Write the picture of one build-up as PNG."""
    return save(absorber_figure(build_up, air), path)


def absorber_figure(build_up: BuildUp, air: Air) -> Figure:
    """Draw a cut to scale on the left, levels of the reflection above and the random-incidence coefficient below."""
    frequencies = np.geomspace(LOWEST_HZ, HIGHEST_HZ, POINTS)
    good = within_range(build_up, frequencies, air)
    with house_style():
        figure = new_figure(11.0, 6.6)
        figure.text(0.02, 0.965, build_up.name, fontsize=11, fontweight="bold", va="top")
        _cut(figure, build_up)
        upper = figure.add_axes((0.41, 0.385, 0.555, 0.505))
        lower = figure.add_axes((0.41, 0.10, 0.555, 0.215))
        _levels(upper, build_up, frequencies, air)
        _coefficient(lower, build_up, frequencies, air)
        for place in (upper, lower):
            _shade_outside(place, frequencies, good)
            _axis_of_frequency(place)
            _mark_tuning(place, build_up, air)
        upper.tick_params(labelbottom=False)
        lower.set_xlabel("frequency")
        _words_below(figure, build_up, air, bool(good.all()))
    return figure


def _levels(place: Axes, build_up: BuildUp, frequencies: FloatArray, air: Air) -> None:
    factor = reflection_factor_at(build_up, frequencies, np.radians(ANGLES_DEG), air)
    levels = pressure_level_db(factor)
    for look, angle, level in zip(case_looks(len(ANGLES_DEG)), ANGLES_DEG, levels, strict=True):
        words = "straight on" if angle == 0.0 else f"{angle:g}° off the normal"
        place.plot(frequencies, level, color=look.colour, linestyle=look.line, linewidth=1.5, label=words, zorder=4)
    place.set_ylim(FLOOR_DB, 3.0)
    place.set_ylabel("reflection, dB re a hard wall")
    place.axhline(0.0, color=SOFT_INK, linewidth=0.6)
    place.fill_between(
        [LOWEST_HZ, HIGHEST_HZ],
        FLOOR_DB,
        BELIEVED_DB,
        facecolor="none",
        edgecolor=UNCERTAIN,
        hatch="....",
        linewidth=0.0,
        zorder=1,
    )
    place.text(
        0.012,
        (BELIEVED_DB - FLOOR_DB) / (3.0 - FLOOR_DB) - 0.025,
        "dotted: lost in a room among edges, frame and cloth",
        transform=place.transAxes,
        fontsize=7.5,
        va="top",
        color=SOFT_INK,
        bbox={"facecolor": PAPER, "edgecolor": "none", "pad": 1.5},
        zorder=5,
    )
    place.legend(loc="lower left", bbox_to_anchor=(0.0, 1.0), ncols=4, handlelength=3.4, columnspacing=1.4)


def _coefficient(place: Axes, build_up: BuildUp, frequencies: FloatArray, air: Air) -> None:
    taken = random_incidence(build_up, frequencies, air=air)
    place.plot(frequencies, taken, color=INK, linewidth=1.5, zorder=4)
    place.set_ylim(0.0, 1.05)
    place.set_ylabel("absorption coefficient")
    place.set_title(
        f"random incidence, 0 to {FIELD_INCIDENCE_DEG:g}°, panel without edges", loc="left", fontsize=8, color=SOFT_INK
    )


def _axis_of_frequency(place: Axes) -> None:
    place.set_xscale("log")
    place.set_xlim(LOWEST_HZ, HIGHEST_HZ)
    place.xaxis.set_major_locator(FixedLocator(list(OCTAVES_HZ)))
    place.xaxis.set_minor_locator(NullLocator())
    place.set_xticks(list(OCTAVES_HZ), labels=[hertz(octave) for octave in OCTAVES_HZ])
    place.grid(color=HAIRLINE, linewidth=0.4, alpha=0.6)


def _shade_outside(place: Axes, frequencies: FloatArray, good: BoolArray) -> None:
    """Grey out the stretches in which a model is out of its range."""
    edges = np.flatnonzero(np.diff(good.astype(np.int64)))
    bounds = [0, *(int(edge) + 1 for edge in edges), len(good)]
    for first, end in pairwise(bounds):
        if not good[first]:
            last = frequencies[min(end, len(good) - 1)]
            place.axvspan(float(frequencies[first]), float(last), facecolor=OUTSIDE, edgecolor="none", zorder=0)


def _mark_tuning(place: Axes, build_up: BuildUp, air: Air) -> None:
    tuned = tuning(build_up, air)
    if tuned is not None and LOWEST_HZ < tuned.frequency_hz < HIGHEST_HZ:
        place.axvline(tuned.frequency_hz, color=SOFT_INK, linewidth=0.9, linestyle=(0, (1.0, 2.0)), zorder=2)


def _cut(figure: Figure, build_up: BuildUp) -> None:
    """Draw the layers to scale, the room on the left and the wall on the right, numbered in a list below."""
    place = figure.add_axes((0.03, 0.52, 0.28, 0.35))
    place.set_axis_off()
    thin = THIN_FRACTION * max(build_up.depth_m, 0.025)
    sizes = [max(float(getattr(layer, "thickness_m", 0.0)), thin) for layer in build_up.layers]
    scale = max(sum(sizes), 0.025)
    place.set_xlim(-0.35 * scale, 1.25 * scale)
    place.set_ylim(0.0, 1.0)
    place.text(-0.33 * scale, 0.5, "room", fontsize=8, color=SOFT_INK, va="center")
    left = 0.0
    for number, (layer, size) in enumerate(zip(build_up.layers, sizes, strict=True), start=1):
        face, hatch = PAPER, ""
        if isinstance(layer, PorousLayer):
            face, hatch = "#e6dfcf", "\\\\\\\\"
        elif isinstance(layer, PerforatedSheet):
            face, hatch = "#8a8a8a", "---"
        elif not isinstance(layer, AirGap):
            face = INK
        place.add_patch(
            Rectangle((left, 0.06), size, 0.80, facecolor=face, edgecolor=SOFT_INK, hatch=hatch, linewidth=0.8)
        )
        place.text(left + 0.5 * size, 0.90, str(number), fontsize=8, fontweight="bold", ha="center")
        left += size
    place.add_patch(
        Rectangle((left, 0.0), 0.25 * scale, 0.92, facecolor="#d2d2d2", edgecolor=INK, hatch="////", linewidth=0.8)
    )
    place.text(left + 0.04 * scale, 0.96, "wall", fontsize=8, color=SOFT_INK)
    place.plot([0.0, left], [-0.02, -0.02], color=INK, linewidth=0.9, marker="|", markersize=6, clip_on=False)
    place.text(0.5 * left, -0.06, f"{1000.0 * build_up.depth_m:.0f} mm", fontsize=8, ha="center", va="top")


def _words_below(figure: Figure, build_up: BuildUp, air: Air, all_good: bool) -> None:
    words = [f"{number}  {layer_words(layer)}" for number, layer in enumerate(build_up.layers, start=1)]
    words.append(f"behind: {build_up.backing.name}")
    if build_up.mass_kg_m2 is not None:
        words.append(f"about {build_up.mass_kg_m2:.1f} kg/m2 with what holds it (estimate)")
    tuned = tuning(build_up, air)
    if tuned is not None:
        words.append(f"fine dotted line, {tuned.frequency_hz:.0f} Hz: {_tuned_words(tuned.kind)}")
    if not all_good:
        words.append("shaded: outside the range the model was made for")
    words.append(f"air {air.temperature_c:g} C; the edges of the panel are left out")
    y = 0.43
    for line in words:
        wrapped = textwrap.wrap(line, width=54, subsequent_indent="    ")
        figure.text(0.03, y, "\n".join(wrapped), fontsize=8, va="top", linespacing=1.25)
        y -= 0.029 * len(wrapped) + 0.008


def _tuned_words(kind: str) -> str:
    if kind == "porous layer":
        return "its face is a quarter wavelength off the wall"
    return f"tuning of the {kind} on the air behind it"
