"""A comparison of layouts as words and as a table file."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import numpy as np

from ..studies.at_the_ear import EarChange
from ..studies.compare import Comparison, letter_of
from ..studies.surface_changes import silent
from .cells import number_cell, write_table, yes_cell

NOTHING = "-"
"""Stands where nothing arrives and there is no level."""


def comparison_lines(comparison: Comparison) -> list[str]:
    """Write what improved, what got worse and what did not change, one line a fact."""
    lines = [f"{letter_of(i)}: {title}" for i, title in enumerate(comparison.titles)]
    lines += [f"Note: {caution}." for caution in comparison.cautions]
    lines += ["", "Everything that arrives inside the target window, dB re direct, per octave (energies added)"]
    octaves = [i for i, f in enumerate(comparison.bands.nominal_hz) if f >= 125.0]
    header = "".join(f"{_octave(comparison.bands.nominal_hz[i]):>8}" for i in octaves)
    lines.append(f"{'':24}{header}")
    for s, name in enumerate(comparison.loudspeakers):
        for layout in range(len(comparison.titles)):
            levels = "".join(_cell(float(comparison.early_db[layout, s, i])) for i in octaves)
            lines.append(f"{name + ', ' + letter_of(layout):24}{levels}")
        for layout in range(1, len(comparison.titles)):
            before, after = comparison.early_db[0, s].tolist(), comparison.early_db[layout, s].tolist()
            changes = "".join(_step(before[i], after[i]) for i in octaves)
            lines.append(f"{name + ', ' + letter_of(layout) + ' less A':24}{changes}")
    lines += _at_the_ear(comparison)
    for layout in range(1, len(comparison.titles)):
        letter = letter_of(layout)
        for heading, items in (
            (f"{letter} against A: improved", comparison.improved[layout - 1]),
            (f"{letter} against A: worse", comparison.worse[layout - 1]),
            (f"{letter} against A: no change worth naming (under 1 dB)", comparison.unchanged[layout - 1]),
        ):
            lines += ["", heading, *(f"  - {item}" for item in items or ("nothing",))]
    return lines


def _at_the_ear(comparison: Comparison) -> list[str]:
    """What single things add, the notches and what came round edges, a line for each loudspeaker and layout."""
    letters = [letter_of(layout) for layout in range(len(comparison.titles))]
    lines = ["", "What single things do at the ear, edges included: third-octaves with it re without, rms and extremes"]
    for change in comparison.ear:
        thing = f"panel {change.name}" if change.kind == "panel" else change.name
        label = f"{change.loudspeaker}, {thing}"
        lines += [f"{f'{label}, {letter}':40}{_effect(change, layout)}" for layout, letter in enumerate(letters)]
    for heading, table in (
        ("Deepest notches at the ear, and the surface that makes them", comparison.notches),
        ("Strongest sound round an edge inside the target window", comparison.bends),
    ):
        lines += ["", heading]
        for name, row in zip(comparison.loudspeakers, table, strict=False):
            lines += [f"{f'{letter}, {name}':24}{words}" for letter, words in zip(letters, row, strict=True)]
    return lines


def _effect(change: EarChange, layout: int) -> str:
    if not np.isfinite(change.rms_db[layout]):
        return "not there"
    (most, most_hz), (least, least_hz) = change.extremes(layout)
    rms = float(change.rms_db[layout])
    return f"{rms:5.1f} dB rms, {most:+5.1f} at {most_hz:g} Hz, {least:+5.1f} at {least_hz:g} Hz"


def _cell(level: float) -> str:
    return f"{NOTHING:>8}" if silent(level) else f"{level:8.1f}"


def _step(before_db: float, after_db: float) -> str:
    """Difference of two levels; there is none where nothing arrives."""
    return f"{NOTHING:>8}" if silent(before_db) or silent(after_db) else f"{after_db - before_db:+8.1f}"


def _octave(frequency_hz: float) -> str:
    return f"{frequency_hz / 1000:g}k" if frequency_hz >= 1000.0 else f"{frequency_hz:g}"


def write_comparison(comparison: Comparison, path: Path) -> None:
    """Write comparison.csv: one row a loudspeaker, surface and layout; empty cells where nothing arrives.

    Raises
    ------
    OutputError
        If the file cannot be written.
    """
    headings = ["layout", "title", "loudspeaker", "surface", "worst_db", "delay_ms", "first_notch_hz", "margin_m"]
    write_table(path, headings, [*_surface_rows(comparison), *_window_rows(comparison)])


def _surface_rows(comparison: Comparison) -> Iterator[list[str]]:
    for change in comparison.surfaces:
        columns = (change.worst_db, change.delay_ms, change.first_notch_hz, change.margin_m)
        for layout, title in enumerate(comparison.titles):
            shown = [number_cell(float(column[layout]), 4) for column in columns]
            yield [letter_of(layout), title, change.loudspeaker, change.surface, *shown]


def _window_rows(comparison: Comparison) -> Iterator[list[str]]:
    for s, name in enumerate(comparison.loudspeakers):
        for layout, title in enumerate(comparison.titles):
            for i, frequency in enumerate(comparison.bands.nominal_hz):
                early = float(comparison.early_db[layout, s, i])
                level = "" if silent(early) else number_cell(early, 4)
                words = f"all inside the window, {frequency:g} Hz octave"
                yield [letter_of(layout), title, name, words, level, "", "", ""]


def write_ear_comparison(comparison: Comparison, path: Path) -> None:
    """Write comparison_at_the_ear.csv: what each thing adds, one row a loudspeaker, thing, layout and third-octave.

    Cells are empty where a layout has no such thing.

    Raises
    ------
    OutputError
        If the file cannot be written.
    """
    headings = ["layout", "title", "loudspeaker", "kind", "thing", "third_octave_hz", "adds_db", "judged"]
    write_table(path, headings, _ear_rows(comparison))


def _ear_rows(comparison: Comparison) -> Iterator[list[str]]:
    for change in comparison.ear:
        for layout, title in enumerate(comparison.titles):
            for band, frequency in enumerate(change.third_octave_hz):
                yield [
                    letter_of(layout), title, change.loudspeaker, change.kind, change.name, f"{frequency:g}",
                    number_cell(float(change.adds_db[layout, band]), 2), yes_cell(change.judged[band]),
                ]  # fmt: skip
