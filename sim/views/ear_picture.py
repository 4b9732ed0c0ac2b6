"""Response at the ear: direct sound alone, everything, and everything but the strongest surface."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import FixedLocator, NullLocator

from ..acoustics.bands import OCTAVES_HZ
from ..arrays import ComplexArray, FloatArray
from ..responses.results import Results
from .labels import headline
from .style import HAIRLINE, INK, SOFT_INK, house_style, looks, new_figure, save

LOWEST_HZ, HIGHEST_HZ = 100.0, 16000.0
LEVELS_DB = (-24.0, 12.0)


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


def strongest_surface(results: Results, loudspeaker: int, listener: int) -> int:
    """Number, in the response, of the surface whose paths carry most energy in the target band; -1 for none."""
    response, target = results.responses.response, results.scene.blueprint.target
    inside = (response.frequencies_hz >= target.band_hz[0]) & (response.frequencies_hz <= target.band_hz[1])
    if not response.surfaces or not inside.any():
        return -1
    energy = np.abs(response.by_surface[loudspeaker, listener][:, inside]) ** 2
    weights = np.gradient(np.log(response.frequencies_hz[inside])) if inside.sum() > 1 else np.ones(1)
    return int(np.argmax(energy @ weights))


def prepare_axes(place: Axes, transition_hz: float) -> None:
    """Frequency axis in octaves, levels in dB, and the part that is not judged shaded and named."""
    place.set_xscale("log")
    place.set_xlim(LOWEST_HZ, HIGHEST_HZ)
    place.set_ylim(*LEVELS_DB)
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
            middle, LEVELS_DB[0] + 1.0, f"not judged below {transition_hz:.0f} Hz", ha="center", va="bottom",
            fontsize=7, color=SOFT_INK, zorder=5, rotation=90 if edge < 3.0 * LOWEST_HZ else 0,
        )  # fmt: skip


def ear_figure(results: Results, *, listener: int = 0) -> Figure:
    """Draw one panel for each loudspeaker and, with several, one that lays them over each other."""
    response, stage = results.responses.response, results.stage
    ways = looks([loudspeaker.name for loudspeaker in stage.loudspeakers])
    frequencies = response.frequencies_hz
    shown = (frequencies >= 0.5 * LOWEST_HZ) & (frequencies <= 1.2 * HIGHEST_HZ)
    frequencies = frequencies[shown]
    rows = len(ways) + (len(ways) > 1)
    height_in = 0.75 + 2.95 * rows
    with house_style():
        figure = new_figure(11.0, height_in)
        title = f"{results.scene.blueprint.title}: response at the {stage.listener_names[listener]}"
        headline(figure, (0.02, 1.0 - 0.28 / height_in), title, size=11)
        figure.text(
            0.02, 1.0 - 0.50 / height_in, "bold lines: energy mean over a third-octave; thin line: as calculated",
            fontsize=8, color=SOFT_INK,
        )  # fmt: skip
        panels = [
            figure.add_axes((0.07, (height_in - 2.95 * (row + 1)) / height_in - 0.01, 0.62, 2.1 / height_in))
            for row in range(rows)
        ]
        for number, (place, look) in enumerate(zip(panels, ways, strict=False)):
            total = response.total[number, listener][shown]
            direct = response.direct[number, listener][shown]
            prepare_axes(place, results.responses.transition_hz)
            place.plot(
                frequencies, 20.0 * np.log10(np.maximum(np.abs(total), 1e-6)), color=HAIRLINE, linewidth=0.6,
                label="everything, as calculated", zorder=1.5,
            )  # fmt: skip
            place.plot(
                frequencies, third_octave_db(frequencies, direct), color=INK, linewidth=1.1, linestyle=(0, (1, 1.3)),
                label="direct sound alone", zorder=2,
            )  # fmt: skip
            place.plot(
                frequencies, third_octave_db(frequencies, total), color=look.colour, linestyle=look.line,
                linewidth=2.2, label="everything", zorder=2.4,
            )  # fmt: skip
            strongest = strongest_surface(results, number, listener)
            if strongest >= 0:
                without = total - response.by_surface[number, listener, strongest][shown]
                place.plot(
                    frequencies, third_octave_db(frequencies, without), color="#4d4d4d", linewidth=1.5,
                    marker="|", markevery=max(1, len(frequencies) // 60), markersize=6,
                    label=f"everything but what touches\nthe {response.surfaces[strongest]}", zorder=2.3,
                )  # fmt: skip
            _legend(place, f"{look.letter}: {look.name} loudspeaker")
        if len(ways) > 1:
            prepare_axes(panels[-1], results.responses.transition_hz)
            for number, look in enumerate(ways):
                panels[-1].plot(
                    frequencies, third_octave_db(frequencies, response.total[number, listener][shown]),
                    color=look.colour, linestyle=look.line, linewidth=2.0, label=f"{look.letter}: {look.name}",
                )  # fmt: skip
            _legend(panels[-1], "everything, side by side")
        panels[-1].set_xlabel("Hz")
    return figure


def _legend(place: Axes, title: str) -> None:
    place.legend(
        loc="upper left", bbox_to_anchor=(1.015, 1.02), borderaxespad=0.0, handlelength=3.4, title=title,
        alignment="left", title_fontproperties={"weight": "bold", "size": 8.5}, labelspacing=0.8,
    )  # fmt: skip
