"""Layouts side by side in a report: early energy per octave, and what got better or worse."""

from __future__ import annotations

from collections.abc import Sequence

from ..studies.compare import Comparison, silent
from .report_looks import Look
from .report_markup import bullets, escaped, number, row, table, typeset

LOWEST_HZ = 125.0


def layouts_part(comparison: Comparison, looks: Sequence[Look]) -> str:
    """Compare each layout with the first, in numbers and in sentences."""
    octaves = [i for i, hz in enumerate(comparison.bands.nominal_hz) if hz >= LOWEST_HZ]
    headings = ["Loudspeaker", "Layout", *(_octave(float(comparison.bands.nominal_hz[i])) for i in octaves)]
    rows = []
    for speaker, name in enumerate(comparison.loudspeakers):
        for layout, look in enumerate(looks):
            levels = [float(comparison.early_db[layout, speaker, i]) for i in octaves]
            first = [float(comparison.early_db[0, speaker, i]) for i in octaves]
            cells = [_cell(level, before, layout) for level, before in zip(levels, first, strict=True)]
            rows.append(row([escaped(name), f"{look.letter}: {escaped(look.name)}", *cells], words=2))
    parts = [f'<p class="caution">{typeset(caution)}.</p>' for caution in comparison.cautions]
    parts.append(
        table(
            "Everything that arrives inside the target window, dB re direct, per octave (energies added); "
            "in small print the change against A",
            headings, rows, words=2,
        )
    )  # fmt: skip
    for layout, look in enumerate(looks[1:]):
        parts.append(f"<h3>{look.letter} against A: {escaped(look.name)}</h3>")
        for heading, told in (
            ("Better", comparison.improved[layout]),
            ("Worse", comparison.worse[layout]),
            ("No change worth naming, under 1 dB", comparison.unchanged[layout]),
        ):
            parts.append(f"<h4>{heading}</h4>{bullets(told, 'Nothing.')}")
    return "".join(parts)


def _cell(level: float, before: float, layout: int) -> str:
    if silent(level):
        return "\N{EN DASH}"
    change = "" if layout == 0 or silent(before) else f"<small>{_signed(level - before)}</small>"
    return number(level, 1) + change


def _signed(change_db: float) -> str:
    return ("+" if round(change_db, 1) > 0 else "") + number(change_db, 1)


def _octave(hz: float) -> str:
    return f"{hz / 1000:g} kHz" if hz >= 1000 else f"{hz:g} Hz"
