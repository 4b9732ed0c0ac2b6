"""Response at the ear: direct sound alone, everything, and what the few things that matter most do to it."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import FixedLocator, NullLocator

from ..acoustics.bands import OCTAVES_HZ
from ..arrays import BoolArray, ComplexArray, FloatArray
from ..responses.results import Results
from .influence import draw_influences, lines_of, most_influential
from .labels import headline
from .style import HAIRLINE, INK, SOFT_INK, Look, house_style, looks, new_figure, save

LOWEST_HZ, HIGHEST_HZ = 100.0, 16000.0
LEVELS_DB = (-24.0, 12.0)
CHANGES_DB = (-10.0, 10.0)
RESPONSE_IN, CHANGES_IN = 2.75, 2.45
LISTED_NOTCHES = 4


def draw_ear_response(results: Results, path: Path, *, listener: int = 0) -> Path:
    """Write the responses at a listener as PNG."""
    return save(ear_figure(results, listener=listener), path)


def third_octave_db(frequencies_hz: FloatArray, response: ComplexArray) -> FloatArray:
    """Energy mean over a third-octave around each frequency, in dB, shapes (f,) to (f,).

    Exact for energy that runs straight between the given frequencies on a logarithmic axis; at the ends the
    window is cut short.
    """
    place = np.log2(np.maximum(frequencies_hz, 1e-3))
    energy = np.abs(response) ** 2
    steps = np.diff(place)
    summed = np.concatenate([[0.0], np.cumsum(0.5 * (energy[1:] + energy[:-1]) * steps)])
    # The running integral is a parabola between neighbours; straight interpolation is near enough for
    # frequencies that lie closer than the window is wide.
    low, high = np.maximum(place - 1.0 / 6.0, place[0]), np.minimum(place + 1.0 / 6.0, place[-1])
    mean = (np.interp(high, place, summed) - np.interp(low, place, summed)) / (high - low)
    return np.asarray(10.0 * np.log10(np.maximum(mean, 1e-12)))


def prepare_axes(place: Axes, transition_hz: float, levels_db: tuple[float, float] = LEVELS_DB) -> None:
    """Frequency axis in octaves, levels in dB, and the part that is not judged shaded and named."""
    place.set_xscale("log")
    place.set_xlim(LOWEST_HZ, HIGHEST_HZ)
    place.set_ylim(*levels_db)
    octaves = [octave for octave in OCTAVES_HZ if LOWEST_HZ <= octave <= HIGHEST_HZ]
    place.xaxis.set_major_locator(FixedLocator(octaves))
    place.xaxis.set_minor_locator(NullLocator())
    place.set_xticklabels([f"{octave / 1000:g}k" if octave >= 1000 else f"{octave:g}" for octave in octaves])
    place.grid(color=HAIRLINE, linewidth=0.4, alpha=0.6)
    place.axhline(0.0, color=SOFT_INK, linewidth=0.6)
    place.set_ylabel("dB re direct on axis")
    edge = float(np.clip(transition_hz, LOWEST_HZ, HIGHEST_HZ))
    if edge > LOWEST_HZ:
        place.axvspan(LOWEST_HZ, edge, facecolor="#e4e4e4", edgecolor="none", zorder=2.6, alpha=0.85)
        middle = float(np.sqrt(LOWEST_HZ * edge))
        place.text(
            middle, levels_db[0] + 0.03 * (levels_db[1] - levels_db[0]), f"not judged below {transition_hz:.0f} Hz",
            ha="center", va="bottom", fontsize=7, color=SOFT_INK, zorder=5,
            rotation=90 if edge < 3.0 * LOWEST_HZ else 0,
        )  # fmt: skip


def ear_figure(results: Results, *, listener: int = 0) -> Figure:
    """Draw for each loudspeaker the response and what single things do to it; with several, all over each other."""
    response, stage = results.responses.response, results.stage
    ways = looks([loudspeaker.name for loudspeaker in stage.loudspeakers])
    shown = (response.frequencies_hz >= 0.5 * LOWEST_HZ) & (response.frequencies_hz <= 1.2 * HIGHEST_HZ)
    frequencies = response.frequencies_hz[shown]
    height_in = 0.75 + (RESPONSE_IN + CHANGES_IN) * len(ways) + RESPONSE_IN * (len(ways) > 1)
    with house_style():
        figure = new_figure(11.0, height_in)
        title = f"{results.scene.blueprint.title}: response at the {stage.listener_names[listener]}"
        headline(figure, (0.02, 1.0 - 0.28 / height_in), title, size=11)
        figure.text(
            0.02, 1.0 - 0.50 / height_in, "bold lines: energy mean over a third-octave; thin line: as calculated",
            fontsize=8, color=SOFT_INK,
        )  # fmt: skip
        top = height_in - 0.80
        chosen = [most_influential(results, number, listener) for number in range(len(ways))]
        lines = lines_of(chosen)
        for number, look in enumerate(ways):
            upper = figure.add_axes((0.07, (top - 2.1) / height_in, 0.62, 2.1 / height_in))
            lower = figure.add_axes((0.07, (top - 4.35) / height_in, 0.62, 1.65 / height_in))
            _draw_response(upper, results, (number, listener), shown, look)
            things = chosen[number]
            heard = response.total[number, listener]
            prepare_axes(lower, results.responses.transition_hz, CHANGES_DB)
            changes = [
                third_octave_db(frequencies, heard[shown]) - third_octave_db(frequencies, (heard - thing.adds)[shown])
                for thing in things
            ]
            draw_influences(lower, frequencies, changes, things, lines[number])
            lower.set_ylabel("dB with it re without")
            lower.set_title(
                f"{look.name} loudspeaker: what each adds; below zero it takes away", loc="left", fontsize=8.5
            )
            lower.set_xlabel("Hz")
            top -= RESPONSE_IN + CHANGES_IN
        if len(ways) > 1:
            place = figure.add_axes((0.07, (top - 2.1) / height_in, 0.62, 2.1 / height_in))
            prepare_axes(place, results.responses.transition_hz)
            for number, look in enumerate(ways):
                place.plot(
                    frequencies, third_octave_db(frequencies, response.total[number, listener][shown]),
                    color=look.colour, linestyle=look.line, linewidth=2.0, label=f"{look.letter}: {look.name}",
                )  # fmt: skip
            _legend(place, "everything, side by side")
            place.set_xlabel("Hz")
    return figure


def _draw_response(place: Axes, results: Results, pair: tuple[int, int], shown: BoolArray, look: Look) -> None:
    """Response of one loudspeaker at one listener: everything, direct sound alone, and its deepest notches."""
    response = results.responses.response
    frequencies, total, direct = response.frequencies_hz[shown], response.total[pair], response.direct[pair]
    prepare_axes(place, results.responses.transition_hz)
    place.plot(
        frequencies, 20.0 * np.log10(np.maximum(np.abs(total[shown]), 1e-6)), color=HAIRLINE, linewidth=0.6,
        label="everything, as calculated", zorder=1.5,
    )  # fmt: skip
    place.plot(
        frequencies, third_octave_db(frequencies, direct[shown]), color=INK, linewidth=1.1, linestyle=(0, (1, 1.3)),
        label="direct sound alone", zorder=2,
    )  # fmt: skip
    place.plot(
        frequencies, third_octave_db(frequencies, total[shown]), color=look.colour, linestyle=look.line,
        linewidth=2.2, label="everything", zorder=2.4,
    )  # fmt: skip
    told = "\n".join(_notch_lines(results, pair))
    if told:
        place.text(
            1.018, 0.0, told, transform=place.transAxes, fontsize=7.5, va="bottom", linespacing=1.35,
        )  # fmt: skip
    _legend(place, f"{look.letter}: {look.name} loudspeaker")


def _notch_lines(results: Results, pair: tuple[int, int]) -> list[str]:
    """Words for the deepest notches, and for the deepest one that a panel keeps away."""
    names = results.stage.loudspeakers[pair[0]].name, results.stage.listener_names[pair[1]]
    mine = [notch for notch in results.responses.notches if (notch.loudspeaker, notch.listener) == names]
    lines = [
        f"{notch.frequency_hz:.0f} Hz, {notch.depth_db:.0f} dB: {notch.surface or 'several surfaces'}"
        for notch in mine
        if notch.present
    ][:LISTED_NOTCHES]
    lines += [f"{notch.frequency_hz:.0f} Hz: kept away by panel {notch.panel}" for notch in mine if not notch.present][
        :1
    ]
    return ["deepest notches, and what makes them", *lines] if lines else []


def _legend(place: Axes, title: str) -> None:
    place.legend(
        loc="upper left", bbox_to_anchor=(1.015, 1.02), borderaxespad=0.0, handlelength=3.4, title=title,
        alignment="left", title_fontproperties={"weight": "bold", "size": 8.5}, labelspacing=0.8,
    )  # fmt: skip
