"""What a loudspeaker does where it matters to someone at a desk: over the head, and toward desk, ceiling and walls.

Levels are dB re on axis, far away, means of energy over an eighth of an octave about each frequency.  Angles are our
choice: the head moves within 10 degrees to either side and 5 up and down (a head box of 30 x 30 x 10 cm seen from 1.2 m
spans 7 and 2.4); a desk lies 20 to 40 degrees below the axis, a ceiling 40 to 60 above it, side walls 40 to 80 beside
it, and the front wall, which the monitors stand before, behind them, 90 to 180 degrees off it.
"""

from __future__ import annotations

from typing import Final

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import FixedLocator, NullLocator

from sim.acoustics.bands import octave_bands, sample_frequencies
from sim.arrays import FloatArray
from sim.loudspeakers.loudspeaker import Loudspeaker
from sim.showing.numbers import short_hertz, tenths
from sim.showing.style import HAIRLINE, INK, SOFT_INK, case_looks
from sim.studies.loudspeaker.text import band_energy, curves_of, directions

HEAD_DEG: Final = (10.0, 5.0)
STEPS: Final = 5
TOWARD: Final[dict[str, tuple[tuple[float, float], ...]]] = {
    "desk": tuple((0.0, -float(up)) for up in range(20, 41, 5)),
    "ceiling": tuple((0.0, float(up)) for up in range(40, 61, 5)),
    "side walls": tuple((sign * float(turn), 0.0) for turn in range(40, 81, 10) for sign in (1.0, -1.0)),
    "front wall": tuple((sign * float(turn), 0.0) for turn in range(90, 181, 15) for sign in (1.0, -1.0)),
}
"""Angles to the right of the axis and above it, in degrees."""
ANGLE_WORDS: Final = {
    "desk": "20 to 40 degrees below the axis",
    "ceiling": "40 to 60 degrees above it",
    "side walls": "40 to 80 degrees beside it",
    "front wall": "90 to 180 degrees off it: behind",
}
LOWEST_HZ, HIGHEST_HZ, POINTS = 100.0, 16000.0, 100
SMOOTHED: Final = 5
"""Points in an eighth of an octave that each point of a curve is the mean of."""
TICKS_HZ: Final = (125.0, 500.0, 2000.0, 8000.0)
FLOOR_DB: Final = -24.0
COLOUR: Final = case_looks(1)[0].colour
STANDARD_ROWS: Final = (
    "listening window",
    "early reflections",
    "sound power",
    "estimated in-room response",
    "index of early reflections",
    "index of sound power",
)


def toward(angles_deg: tuple[tuple[float, float], ...]) -> FloatArray:
    """Unit vectors (n, 3) at angles to the right of the axis and above it."""
    turn, rise = np.radians(np.array(angles_deg)).T
    return np.column_stack([np.cos(rise) * np.cos(turn), np.cos(rise) * np.sin(turn), np.sin(rise)])


def head_directions() -> FloatArray:
    """Unit vectors (n, 3) over the head box, the axis among them."""
    sideways = np.linspace(-HEAD_DEG[0], HEAD_DEG[0], STEPS)
    upward = np.linspace(-HEAD_DEG[1], HEAD_DEG[1], STEPS)
    return toward(tuple((float(turn), float(rise)) for turn in sideways for rise in upward))


def centres_hz() -> FloatArray:
    """Frequencies (f,) of the curves."""
    return np.geomspace(LOWEST_HZ, HIGHEST_HZ, POINTS)


def levels_toward(loudspeaker: Loudspeaker, ways: FloatArray, speed_of_sound_m_s: float) -> FloatArray:
    """Levels (n, f) in dB re on axis toward unit vectors (n, 3) at `centres_hz`."""
    spread = 2.0 ** (np.linspace(-0.5, 0.5, SMOOTHED) / 8.0)
    energy = band_energy(loudspeaker, ways, centres_hz()[:, None] * spread, speed_of_sound_m_s)
    return np.asarray(10.0 * np.log10(np.maximum(energy, 1e-12)))


def draw_head(place: Axes, loudspeaker: Loudspeaker, speed_of_sound_m_s: float) -> None:
    """Draw between which levels the head moves, and where that is widest."""
    levels = levels_toward(loudspeaker, head_directions(), speed_of_sound_m_s)
    low, high = levels.min(axis=0), levels.max(axis=0)
    centres = centres_hz()
    place.fill_between(centres, low, high, color=COLOUR, alpha=0.22, linewidth=0.0)
    for edge in (low, high):
        place.plot(centres, edge, color=COLOUR, linewidth=1.2)
    place.axhline(0.0, color=INK, linewidth=0.9, linestyle=(0, (6.0, 3.0)))
    widest = int(np.argmax(high - low))
    spread = float(high[widest] - low[widest])
    place.set_title("Over the head: even or not", fontsize=9, loc="left")
    words = f"{HEAD_DEG[0]:g} degrees to the sides, {HEAD_DEG[1]:g} up and down; dashed: on axis"
    words += f"\nwidest {tenths(spread)} dB at {centres[widest]:.0f} Hz" if spread >= 0.05 else "\nthe same everywhere"
    place.text(0.02, 0.03, words, transform=place.transAxes, fontsize=7.5, color=SOFT_INK, va="bottom")
    _axis(place, (-9.0, 6.0))
    place.set_ylabel("dB re on axis")


def draw_toward(place: Axes, name: str, loudspeaker: Loudspeaker, speed_of_sound_m_s: float) -> None:
    """Draw the mean energy toward one thing as a filled curve below the level on axis."""
    levels = levels_toward(loudspeaker, toward(TOWARD[name]), speed_of_sound_m_s)
    mean = 10.0 * np.log10(np.mean(10.0 ** (0.1 * levels), axis=0))
    shown = np.maximum(mean, FLOOR_DB)
    place.fill_between(centres_hz(), FLOOR_DB, shown, color=COLOUR, alpha=0.22, linewidth=0.0)
    place.plot(centres_hz(), shown, color=COLOUR, linewidth=1.4)
    place.axhline(0.0, color=INK, linewidth=0.9, linestyle=(0, (6.0, 3.0)))
    place.set_title(f"Toward the {name}", fontsize=9, loc="left")
    place.text(0.02, 0.03, ANGLE_WORDS[name], transform=place.transAxes, fontsize=7.5, color=SOFT_INK, va="bottom")
    _axis(place, (FLOOR_DB, 4.0))


def _axis(place: Axes, limits_db: tuple[float, float]) -> None:
    place.set_xscale("log")
    place.set_xlim(LOWEST_HZ, HIGHEST_HZ)
    place.xaxis.set_major_locator(FixedLocator(list(TICKS_HZ)))
    place.xaxis.set_minor_locator(NullLocator())
    place.set_xticks(list(TICKS_HZ), labels=[f"{short_hertz(tick)} Hz" for tick in TICKS_HZ])
    place.set_ylim(*limits_db)
    place.grid(color=HAIRLINE, linewidth=0.4, alpha=0.6)


def standard_table(loudspeaker: Loudspeaker, speed_of_sound_m_s: float) -> tuple[list[str], list[list[str]]]:
    """Headings and rows of the curves of ANSI/CTA-2034-A, means over octaves, in dB."""
    octaves = octave_bands(125, 16000)
    curves = curves_of(band_energy(loudspeaker, directions(), sample_frequencies(octaves, 24), speed_of_sound_m_s))
    levels = (
        curves.listening_window_db,
        curves.early_reflections_db,
        curves.sound_power_db,
        curves.in_room_db,
        curves.early_reflections_index_db,
        curves.sound_power_index_db,
    )
    headings = ["", *(f"{short_hertz(hz)} Hz" for hz in octaves.nominal_hz)]
    return headings, [
        [name, *(tenths(float(one)) for one in row)] for name, row in zip(STANDARD_ROWS, levels, strict=True)
    ]


def write_standard(figure: Figure, loudspeaker: Loudspeaker, speed: float, top_in: float, height_in: float) -> None:
    """Write the table of the standard, its title `top_in` above the lower edge of a figure `height_in` high."""
    headings, rows = standard_table(loudspeaker, speed)
    title = "Curves of ANSI/CTA-2034-A in octaves: dB re on axis, indices in dB re listening window"
    figure.text(0.04, top_in / height_in, title, fontsize=9, va="top")
    for number, cells in enumerate([headings, *rows]):
        y = (top_in - 0.26 - 0.17 * number) / height_in
        figure.text(0.04, y, cells[0], fontsize=8, va="top")
        for column, cell in enumerate(cells[1:]):
            colour = SOFT_INK if number == 0 else INK
            figure.text(
                0.33 + 0.075 * column,
                y,
                cell.replace("-", "\N{MINUS SIGN}"),
                fontsize=8,
                va="top",
                ha="right",
                color=colour,
            )
