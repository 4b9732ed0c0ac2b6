"""What a sweep's pictures say in words: titles, settings and the notes below."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from typing import Final

import numpy as np
from matplotlib.figure import Figure

from ..arrays import FloatArray, IntArray
from ..blueprint.units import UNIT_M
from ..studies.sweep_records import OPEN, Axis, Sweep
from ..studies.sweep_regions import EQUAL_DB, best_point
from .labels import headline
from .lengths import number_only
from .style import SOFT_INK, frequency_words, level_words
from .sweep_picture_curves import Event, impossible_spans

MOST_SPANS: Final = 3
LINE_LETTERS: Final = 125


def plain(axis: Axis, value: float) -> str:
    """One value of an axis with a true minus sign."""
    return axis.told(value).replace("-", "\N{MINUS SIGN}")


def fine(axis: Axis, value: float) -> str:
    """A setting that was narrowed down: to a millimetre or a tenth of a degree."""
    if axis.unit in UNIT_M:
        return f"{number_only(value, axis.unit, fine=True)} {axis.unit}"
    number = f"{value:.1f}" if axis.unit == "degrees" else f"{value:.4g}"
    return f"{number} {axis.unit}".strip().replace("-", "\N{MINUS SIGN}")


def others_at(sweep: Sweep, shown: Sequence[int]) -> str:
    """Say at which values the axes that are not shown stand: those of the best point."""
    plan, best = sweep.plan, best_point(sweep)
    at = [
        f"{axis.field} = {plain(axis, value)}"
        for number, (axis, value) in enumerate(zip(plan.axes, plan.values(best), strict=True))
        if number not in shown
    ]
    return f"at the best {', '.join(at)}" if at else ""


def axis_words(sweep: Sweep, axis: int) -> str:
    """Name an axis with its unit, and what runs beside it."""
    plan = sweep.plan
    told = plan.axes[axis]
    words = f"{told.field}, {told.unit}" if told.unit else told.field
    if plan.together and len(plan.axes) > 1:
        order = np.argsort(told.values)
        others = [
            f"{one.field} from {plain(one, float(one.values[order[0]]))} to {plain(one, float(one.values[order[-1]]))}"
            for number, one in enumerate(plan.axes)
            if number != axis
        ]
        words += f"  (with it {', '.join(others)})"
    return words


def write_title(figure: Figure, sweep: Sweep, axis: int, height: float) -> None:
    """Write the title of a line picture, and what its levels are."""
    plan = sweep.plan
    headline(figure, (0.02, 1.0 - 0.28 / height), f"{plan.title}: {plan.axes[axis].words}", size=11)
    low, high = (frequency_words(frequency) for frequency in plan.target.band_hz)
    start, stop = plan.target.window_ms
    words = f"dB re direct sound, octaves {low} to {high}, {start:g} to {stop:g} ms, first reflections"
    others = "" if plan.together else others_at(sweep, (axis,))
    headline(figure, (0.02, 1.0 - 0.5 / height), words + (f"; {others}" if others else ""), size=8, color=SOFT_INK)


def notes_below(
    sweep: Sweep, line: IntArray, metres: FloatArray, axis: int, marked: Sequence[Event], happens: int,
    left_out: tuple[str, float],
) -> list[str]:  # fmt: skip
    """Return the lines below a line picture: what is marked, shaded, greyed and left out."""
    told = sweep.plan.axes[axis]
    notes = [
        f"{number + 1}   {fine(told, event.value)}: {event.words} ({level_words(event.level_db, 1)})"
        for number, event in enumerate(marked)
    ]
    if happens > len(marked):
        weaker = f"and {happens - len(marked)} weaker" if marked else f"{happens} weak reflections appear or leave"
        notes.append(f"{weaker}, see sweep.txt")
    notes.append(
        f"green: called equal, within {level_words(EQUAL_DB)} of the best early level of the louder loudspeaker"
    )
    spans = impossible_spans(sweep, line, metres)
    for low, high, reason in spans[:MOST_SPANS]:
        where = plain(told, low) if low == high else f"about {plain(told, low)} to {plain(told, high)}"
        notes += textwrap.wrap(f"impossible {where}: {reason}", LINE_LETTERS, subsequent_indent="   ")
    if len(spans) > MOST_SPANS:
        notes.append(f"and {len(spans) - MOST_SPANS} more impossible stretches, see sweep_summary.csv")
    waiting = int((sweep.state[line] == OPEN).sum())
    if waiting:
        notes.append(f"{waiting} settings are not worked out yet")
    if left_out[0]:
        notes.append(f"not drawn: surfaces that never exceed {level_words(left_out[1], 1)} ({left_out[0]} and quieter)")
    return notes
