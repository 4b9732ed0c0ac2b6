"""The response at the ear drawn: direct sound alone, everything, and the few things that do most to it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final, TypeAlias

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import FixedLocator, NullLocator

from sim.acoustics.bands import OCTAVES_HZ
from sim.arrays import BoolArray, ComplexArray, FloatArray
from sim.responses.records import Results
from sim.showing.labels import headline
from sim.showing.numbers import short_hertz
from sim.showing.style import HAIRLINE, INK, SOFT_INK, Look, house_style, looks, new_figure, save

MOST: Final = 4
"""More lines than this are not told apart at a glance."""
LEAST_DB: Final = 0.3
"""What changes third-octaves by less (root mean square) is not drawn."""
Line: TypeAlias = tuple[str, Any]
"""Colour and dashes."""
LINES: Final[tuple[Line, ...]] = (
    ("#1a1a1a", "-"),
    ("#b07d00", (0, (5.0, 1.5))),
    ("#8c4a79", (0, (1.2, 1.2))),
    ("#00785a", (0, (6.0, 1.5, 1.2, 1.5))),
)
"""Other colours than those of loudspeakers; told apart by lightness and line as well, for any colour blindness."""


@dataclass(frozen=True, slots=True)
class Influence:
    """One thing (a "surface" of the room, a "piece" or a "panel"), how much it does, and what it adds (f,)."""

    kind: str
    name: str
    rms_db: float
    adds: ComplexArray


def most_influential(results: Results, loudspeaker: int, listener: int) -> tuple[Influence, ...]:
    """Return at most four things that change the response most, by the root mean square over judged third-octaves.

    A panel is among them if there is one, so that one sees what it does.
    """
    response, transition_hz = results.responses.response, results.responses.transition_hz
    levels = response.levels
    judged = levels.bands.lower_hz >= transition_hz
    if not judged.any():
        return ()
    table = levels.whole_db[loudspeaker, listener][:, judged]
    strength = np.sqrt(np.mean((table[0] - table) ** 2, axis=1))
    ranked = [int(case) for case in np.argsort(-strength, kind="stable") if case and strength[case] >= LEAST_DB]
    panels = [case for case in ranked if levels.kinds[case] == "panel"]
    chosen = ranked[:MOST]
    if panels and panels[0] not in chosen:
        chosen[-1] = panels[0]
    return tuple(
        Influence(
            levels.kinds[case],
            levels.without[case],
            float(strength[case]),
            _adds(results, levels.kinds[case], levels.without[case])[loudspeaker, listener],
        )
        for case in chosen
    )


def _adds(results: Results, kind: str, name: str) -> ComplexArray:
    response = results.responses.response
    names, adds = {
        "surface": (response.surfaces, response.by_surface),
        "piece": (response.pieces, response.by_piece),
        "panel": (response.panels, response.by_panel),
    }[kind]
    return np.asarray(adds[:, :, names.index(name)])


def lines_of(chosen: Sequence[Sequence[Influence]]) -> list[list[Line]]:
    """A line for each thing of each loudspeaker; what has one at an earlier loudspeaker keeps it where it can."""
    kept: dict[tuple[str, str], Line] = {}
    given = []
    for things in chosen:
        keys = [(thing.kind, thing.name) for thing in things]
        mine: dict[tuple[str, str], Line] = {}
        for key in keys:
            if key in kept and kept[key] not in mine.values():
                mine[key] = kept[key]
        free = iter([line for line in LINES if line not in mine.values()])
        for key in keys:
            mine.setdefault(key, mine[key] if key in mine else next(free))
        kept = mine | kept
        given.append([mine[key] for key in keys])
    return given


def draw_influences(
    place: Axes,
    frequencies_hz: FloatArray,
    changes_db: Sequence[FloatArray],
    things: Sequence[Influence],
    lines: Sequence[Line],
) -> None:
    """Draw what each thing does, in dB, over frequencies (f,), and write its name where its line ends."""
    low, high = place.get_ylim()
    shown = frequencies_hz <= place.get_xlim()[1]
    ends = np.array([float(np.clip(change[shown][-1], low, high)) for change in changes_db])
    for change, (colour, line) in zip(changes_db, lines, strict=True):
        place.plot(frequencies_hz, change, color=colour, linestyle=line, linewidth=1.6, zorder=2.4)
    for thing, end, spot, (colour, line) in zip(things, ends, spread(ends, 0.15 * (high - low)), lines, strict=True):
        words = f"panel {thing.name}" if thing.kind == "panel" else thing.name
        right = place.get_xlim()[1]
        ink = {"color": colour, "linestyle": line, "linewidth": 1.6, "clip_on": False}
        place.plot([right, right * 1.10, right * 1.45], [end, spot, spot], **ink)
        place.text(right * 1.52, spot, words, color=colour, fontsize=8.5, va="center", clip_on=False)


def spread(values: FloatArray, apart: float) -> FloatArray:
    """Places (n,) as near to values (n,) as they can be in the same order and at least `apart` from each other."""
    order = np.argsort(values, kind="stable")
    groups: list[list[int]] = []
    middles: list[float] = []
    for number in order:
        groups.append([int(number)])
        middles.append(float(values[number]))
        # two groups that are too near become one, around the mean of their wishes
        while len(groups) > 1 and middles[-1] - middles[-2] < apart * 0.5 * (len(groups[-1]) + len(groups[-2])):
            last = groups.pop()
            middles.pop()
            groups[-1] += last
            middles[-1] = float(np.mean(values[groups[-1]]))
    places = np.empty(len(values))
    for group, middle in zip(groups, middles, strict=True):
        places[group] = middle + apart * (np.arange(len(group)) - 0.5 * (len(group) - 1))
    return places


# Response at the ear: direct sound alone, everything, and what the few things that matter most do to it.

LOWEST_HZ, HIGHEST_HZ = 100.0, 16000.0
LEVELS_DB = (-24.0, 12.0)
CHANGES_DB = 10.0
"""What single things do is drawn to this many dB either way, further where one of them does more."""
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
    place.set_xticklabels([short_hertz(octave) for octave in octaves])
    place.grid(color=HAIRLINE, linewidth=0.4, alpha=0.6)
    place.axhline(0.0, color=SOFT_INK, linewidth=0.6)
    place.set_ylabel("dB re direct on axis")
    edge = float(np.clip(transition_hz, LOWEST_HZ, HIGHEST_HZ))
    if edge > LOWEST_HZ:
        place.axvspan(LOWEST_HZ, edge, facecolor="#e4e4e4", edgecolor="none", zorder=2.6, alpha=0.85)
        middle = float(np.sqrt(LOWEST_HZ * edge))
        place.text(
            middle,
            levels_db[0] + 0.03 * (levels_db[1] - levels_db[0]),
            f"not judged below {transition_hz:.0f} Hz",
            ha="center",
            va="bottom",
            fontsize=7,
            color=SOFT_INK,
            zorder=5,
            rotation=90 if edge < 3.0 * LOWEST_HZ else 0,
        )


def ear_figure(results: Results, *, listener: int = 0) -> Figure:
    """Draw for each loudspeaker the response and what single things do to it; with several, all over each other."""
    response, built = results.responses.response, results.built
    ways = looks([loudspeaker.name for loudspeaker in built.loudspeakers])
    shown = (response.frequencies_hz >= 0.5 * LOWEST_HZ) & (response.frequencies_hz <= 1.2 * HIGHEST_HZ)
    frequencies = response.frequencies_hz[shown]
    height_in = 0.75 + (RESPONSE_IN + CHANGES_IN) * len(ways) + RESPONSE_IN * (len(ways) > 1)
    with house_style():
        figure = new_figure(11.0, height_in)
        title = f"{results.scene.blueprint.title}: response at the {built.listener_names[listener]}"
        headline(figure, (0.02, 1.0 - 0.28 / height_in), title, size=11)
        figure.text(
            0.02,
            1.0 - 0.50 / height_in,
            "bold lines: energy mean over a third-octave; thin line: as calculated",
            fontsize=8,
            color=SOFT_INK,
        )
        top = height_in - 0.80
        chosen = [most_influential(results, number, listener) for number in range(len(ways))]
        lines = lines_of(chosen)
        for number, look in enumerate(ways):
            upper = figure.add_axes((0.07, (top - 2.1) / height_in, 0.62, 2.1 / height_in))
            lower = figure.add_axes((0.07, (top - 4.35) / height_in, 0.62, 1.65 / height_in))
            _draw_response(upper, results, (number, listener), shown, look)
            things = chosen[number]
            heard = response.total[number, listener]
            changes = [
                third_octave_db(frequencies, heard[shown]) - third_octave_db(frequencies, (heard - thing.adds)[shown])
                for thing in things
            ]
            most = max((float(np.abs(change[frequencies >= LOWEST_HZ]).max()) for change in changes), default=0.0)
            reach = 5.0 * np.ceil(max(most, CHANGES_DB) / 5.0)
            prepare_axes(lower, results.responses.transition_hz, (-reach, reach))
            draw_influences(lower, frequencies, changes, things, lines[number])
            lower.set_ylabel("dB with it re without")
            lower.set_title(f"{look.name} monitor: what each adds; below zero it takes away", loc="left", fontsize=8.5)
            lower.set_xlabel("Hz")
            top -= RESPONSE_IN + CHANGES_IN
        if len(ways) > 1:
            place = figure.add_axes((0.07, (top - 2.1) / height_in, 0.62, 2.1 / height_in))
            prepare_axes(place, results.responses.transition_hz)
            for number, look in enumerate(ways):
                place.plot(
                    frequencies,
                    third_octave_db(frequencies, response.total[number, listener][shown]),
                    color=look.colour,
                    linestyle=look.line,
                    linewidth=2.0,
                    label=f"{look.letter}: {look.name}",
                )
            _legend(place, "everything, side by side")
            place.set_xlabel("Hz")
    return figure


def _draw_response(place: Axes, results: Results, pair: tuple[int, int], shown: BoolArray, look: Look) -> None:
    """Response of one loudspeaker at one listener: everything, direct sound alone, and its deepest notches."""
    response = results.responses.response
    frequencies, total, direct = response.frequencies_hz[shown], response.total[pair], response.direct[pair]
    prepare_axes(place, results.responses.transition_hz)
    place.plot(
        frequencies,
        20.0 * np.log10(np.maximum(np.abs(total[shown]), 1e-6)),
        color=HAIRLINE,
        linewidth=0.6,
        label="everything, as calculated",
        zorder=1.5,
    )
    place.plot(
        frequencies,
        third_octave_db(frequencies, direct[shown]),
        color=INK,
        linewidth=1.1,
        linestyle=(0, (1, 1.3)),
        label="direct sound alone",
        zorder=2,
    )
    place.plot(
        frequencies,
        third_octave_db(frequencies, total[shown]),
        color=look.colour,
        linestyle=look.line,
        linewidth=2.2,
        label="everything",
        zorder=2.4,
    )
    reported = "\n".join(_notch_lines(results, pair))
    if reported:
        place.text(
            1.018,
            0.0,
            reported,
            transform=place.transAxes,
            fontsize=7.5,
            va="bottom",
            linespacing=1.35,
        )
    _legend(place, f"{look.letter}: {look.name} monitor")


def _notch_lines(results: Results, pair: tuple[int, int]) -> list[str]:
    """Words for the deepest notches, and for the deepest one that a panel keeps away."""
    names = results.built.loudspeakers[pair[0]].name, results.built.listener_names[pair[1]]
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
        loc="upper left",
        bbox_to_anchor=(1.015, 1.02),
        borderaxespad=0.0,
        handlelength=3.4,
        title=title,
        alignment="left",
        title_fontproperties={"weight": "bold", "size": 8.5},
        labelspacing=0.8,
    )
