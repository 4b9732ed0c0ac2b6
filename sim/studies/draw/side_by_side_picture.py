"""Two or more results on one page: rooms with one scale of colours, curves on the same axes, bars per octave."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from sim.arrays import FloatArray
from sim.errors import PictureError
from sim.responses.records import Results
from sim.showing.labels import headline
from sim.showing.numbers import hertz, level_words
from sim.showing.style import HAIRLINE, INK, SCALE, SOFT_INK, Look, case_looks, house_style, looks, new_figure, save
from sim.showing.words import BEFORE_MS, CEILING_DB, FLOOR_DB, last_shown_ms
from sim.studies.draw.curve_picture import show_limit
from sim.studies.draw.ear_picture import HIGHEST_HZ, LOWEST_HZ, prepare_axes, third_octave_db
from sim.studies.draw.room_picture import VIEWS, add_scene, label_scene

SCENE_PX = (900, 780)
BARS_HZ = (250.0, 500.0, 1000.0, 2000.0, 4000.0, 8000.0)


def draw_rooms(many: Sequence[Results], path: Path, *, view: str = VIEWS[0], band_hz: float = 2000.0) -> Path:
    """Write the rooms of several results side by side as PNG, with one scale of colours."""
    return save(rooms_figure(many, view=view, band_hz=band_hz), path)


def draw_differences(many: Sequence[Results], path: Path, *, listener: int = 0) -> Path:
    """Write curves, ear responses and early energy per octave of several results as PNG."""
    return save(differences_figure(many, listener=listener), path)


def rooms_figure(many: Sequence[Results], *, view: str = VIEWS[0], band_hz: float = 2000.0) -> Figure:
    """Draw the rooms in a row, all seen from the same side.  Raises ValueError for an unknown octave."""
    columns = min(len(many), 2)
    rows = -(-len(many) // columns)
    width_px, height_px = columns * SCENE_PX[0] + 230, rows * (SCENE_PX[1] + 60) + 110
    with house_style():
        figure = new_figure(width_px / 150, height_px / 150)
        title = f"early-reflection map, {hertz(band_hz)} octave"
        title += f", all monitors together; seen {view}"
        headline(figure, (20 / width_px, 1.0 - 42 / height_px), title, size=11)
        ways = looks([loudspeaker.name for loudspeaker in many[0].built.loudspeakers])
        lines = [f"{look.letter}: {look.name}, {'dashed' if number else 'solid'}" for number, look in enumerate(ways)]
        words = "lines: paths with one reflection; " + "; ".join(lines)
        headline(figure, (20 / width_px, 1.0 - 72 / height_px), words, size=8.5, color=SOFT_INK)
        for number, (results, look) in enumerate(zip(many, case_looks(len(many)), strict=True)):
            left = 10 + (number % columns) * SCENE_PX[0]
            low = height_px - 110 - (number // columns + 1) * (SCENE_PX[1] + 60)
            corner = (left / width_px, (low + 20) / height_px)
            place, camera = add_scene(figure, corner, results, view, band_hz, SCENE_PX)
            label_scene(figure, place, results, camera, SCENE_PX, size=7.0, names=False)
            spot = ((left + 20) / width_px, (low + SCENE_PX[1] + 40) / height_px)
            right = (left + SCENE_PX[0] - 10) / width_px
            headline(
                figure, spot, f"{look.letter}: {results.scene.blueprint.title}", size=10, right=right, fontweight="bold"
            )
        bar = figure.add_axes((1.0 - 170 / width_px, 0.5 - 250 / height_px, 28 / width_px, 480 / height_px))
        SCALE.draw_bar(figure, bar)
    return figure


def early_energy_db(results: Results, loudspeaker: int, listener: int) -> FloatArray:
    """Energy sum (band,) of all arrivals but the direct sound within the target window, dB re direct sound."""
    start, stop = results.scene.blueprint.target.window_ms
    name, seat = results.built.loudspeakers[loudspeaker].name, results.built.listener_names[listener]
    energy = np.zeros(len(results.responses.bands))
    for arrival in results.responses.arrivals:
        mine = (arrival.loudspeaker, arrival.listener) == (name, seat) and arrival.order > 0
        if mine and start <= arrival.main.delay_ms <= stop:
            energy += 10.0 ** (arrival.level_db / 10.0)
    return np.asarray(10.0 * np.log10(np.maximum(energy, 1e-9)))


def differences_figure(many: Sequence[Results], *, listener: int = 0) -> Figure:
    """Draw, for each loudspeaker, the results over each other: curve, ear response, early energy per octave.

    Loudspeakers are taken for the same when they have the same name.  Raises PictureError when none is in all.
    """
    cases = case_looks(len(many))
    names = [loudspeaker.name for loudspeaker in many[0].built.loudspeakers]
    names = [name for name in names if all(name in _names(results) for results in many)]
    if not names:
        raise PictureError(
            "pictures: no monitor name is in all of the results, so there is nothing to compare; give the"
            ' monitors of all scenes the same names, such as "left" and "right".'
        )
    row_in = 7.1
    height_in = 1.0 + row_in * len(names)
    with house_style():
        figure = new_figure(12.5, height_in)
        handles: list[Artist] = []
        for row, name in enumerate(names):
            top = height_in - 0.95 - row_in * row
            curve = figure.add_axes((0.07, (top - 2.75) / height_in, 0.90, 2.4 / height_in))
            ear = figure.add_axes((0.07, (top - 6.3) / height_in, 0.44, 2.6 / height_in))
            bars = figure.add_axes((0.58, (top - 6.3) / height_in, 0.39, 2.6 / height_in))
            figure.text(
                0.02,
                top / height_in,
                f"{name} monitor, at the {many[0].built.listener_names[listener]}",
                fontsize=10.5,
                fontweight="bold",
            )
            handles = _curves(curve, many, cases, name, listener)
            _ears(ear, many, cases, name, listener)
            _bars(bars, many, cases, name, listener)
        titles = [f"{look.letter}: {results.scene.blueprint.title}" for look, results in zip(cases, many, strict=True)]
        figure.legend(
            handles,
            titles,
            loc="upper left",
            ncols=min(len(many), 3),
            bbox_to_anchor=(0.01, 1.0),
            handlelength=3.6,
            fontsize=9.5,
        )
    return figure


def _names(results: Results) -> list[str]:
    return [loudspeaker.name for loudspeaker in results.built.loudspeakers]


def _curves(place: Axes, many: Sequence[Results], cases: Sequence[Look], name: str, listener: int) -> list[Artist]:
    handles: list[Artist] = []
    for results, look in zip(many, cases, strict=True):
        curve = results.responses.energy_time
        level = curve.broadband_db[_names(results).index(name), listener]
        handles += place.plot(curve.time_ms, level, color=look.colour, linestyle=look.line, linewidth=1.2, zorder=3)
    place.set_xlim(BEFORE_MS, max(last_shown_ms(results) for results in many))
    place.set_ylim(FLOOR_DB, CEILING_DB)
    place.grid(color=HAIRLINE, linewidth=0.4, alpha=0.6)
    show_limit(place, many[0].scene.blueprint.target)
    place.set_xlabel("ms after the direct sound")
    place.set_ylabel("dB re direct peak")
    place.set_title("energy-time curve, broadband; shaded: above the target of A", loc="left", fontsize=9)
    return handles


def _ears(place: Axes, many: Sequence[Results], cases: Sequence[Look], name: str, listener: int) -> None:
    prepare_axes(place, max(results.responses.transition_hz for results in many))
    for results, look in zip(many, cases, strict=True):
        response = results.responses.response
        frequencies = response.frequencies_hz
        shown = (frequencies >= 0.5 * LOWEST_HZ) & (frequencies <= 1.2 * HIGHEST_HZ)
        total = third_octave_db(frequencies[shown], response.total[_names(results).index(name), listener][shown])
        place.plot(frequencies[shown], total, color=look.colour, linestyle=look.line, linewidth=2.0, zorder=2.4)
    place.set_xlabel("Hz")
    place.set_title("response at the ear, energy mean over a third-octave", loc="left", fontsize=9)


def _bars(place: Axes, many: Sequence[Results], cases: Sequence[Look], name: str, listener: int) -> None:
    """Early energy per octave of each result re the first; below zero is quieter than the first."""
    nominal = many[0].responses.bands.nominal_hz
    shown = np.flatnonzero(np.isin(nominal, BARS_HZ))
    levels = [early_energy_db(results, _names(results).index(name), listener)[shown] for results in many]
    width = 0.8 / max(len(many) - 1, 1)
    for number, (level, look) in enumerate(zip(levels[1:], cases[1:], strict=True)):
        spots = np.arange(len(shown)) + (number - 0.5 * (len(many) - 2)) * width
        place.bar(
            spots,
            level - levels[0],
            0.9 * width,
            facecolor="white",
            edgecolor=look.colour,
            hatch=look.hatch,
            linewidth=1.3,
            zorder=3,
        )
        for spot, change in zip(spots, level - levels[0], strict=True):
            place.annotate(
                level_words(change, 1).removesuffix(" dB"),
                (spot, change),
                xytext=(0, 3 if change >= 0 else -3),
                textcoords="offset points",
                ha="center",
                va="bottom" if change >= 0 else "top",
                fontsize=7,
                zorder=4,
            )
    changes = np.concatenate([level - levels[0] for level in levels[1:]] or [np.zeros(1)])
    reach = max(3.0, 1.3 * float(np.abs(changes).max()))
    place.set_ylim(-reach, reach)
    place.axhline(0.0, color=INK, linewidth=0.8)
    transition = max(results.responses.transition_hz for results in many)
    words = [hertz(float(nominal[band])) for band in shown]
    marks = ["" if nominal[band] >= transition else "\nnot judged" for band in shown]
    place.set_xticks(range(len(shown)), [word + mark for word, mark in zip(words, marks, strict=True)])
    place.grid(axis="y", color=HAIRLINE, linewidth=0.4, alpha=0.6)
    start, stop = many[0].scene.blueprint.target.window_ms
    place.set_ylabel("dB re A")
    place.set_title(f"early reflected energy, {start:g} to {stop:g} ms, change from A", loc="left", fontsize=9)
    place.text(
        0.99, 0.02, "below zero: quieter than A", transform=place.transAxes, ha="right", fontsize=7, color=SOFT_INK
    )
