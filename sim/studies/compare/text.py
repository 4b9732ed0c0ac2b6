"""A comparison of layouts as words and as table files, for two or for many."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Final

import numpy as np

from sim.acoustics.levels import SILENCE_DB
from sim.responses.measure import COMPONENTS
from sim.showing.numbers import hertz, number_cell, short_hertz, write_table, yes_cell
from sim.showing.words import letter_of, write_lines
from sim.studies.compare.comparison import Comparison
from sim.studies.compare.many import EQUAL_DB, Many
from sim.studies.compare.surfaces import EarChange, silent

NOTHING = "-"
"""Stands where nothing arrives and there is no level."""


def comparison_lines(comparison: Comparison) -> list[str]:
    """Write what improved, what got worse and what did not change, one line a fact."""
    lines = [f"{letter_of(i)}: {title}" for i, title in enumerate(comparison.titles)]
    lines += [f"Note: {caution}." for caution in comparison.cautions]
    lines += _measures(comparison)
    lines += ["", "Early reflected energy inside the target window, dB re direct, per octave"]
    octaves = [i for i, f in enumerate(comparison.bands.nominal_hz) if f >= 125.0]
    header = "".join(f"{short_hertz(comparison.bands.nominal_hz[i]):>8}" for i in octaves)
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
            (f"{letter} against A: no change (under 1 dB)", comparison.unchanged[layout - 1]),
        ):
            lines += ["", heading, *(f"  - {item}" for item in items or ("nothing",))]
    return lines


def _measures(comparison: Comparison) -> list[str]:
    """The measure and its components, a line for each layout."""
    heads = ["measure", *COMPONENTS]
    lines = ["", "What layouts are judged by, dB (slope: dB per octave); less is better", f"{'':24}"]
    lines[-1] += "".join(f"{head.replace('_', '-'):>12}" for head in heads)
    for layout, measure in enumerate(comparison.measures):
        values = [measure.total_db, *(measure.components[name] for name in COMPONENTS)]
        lines.append(f"{letter_of(layout):24}" + "".join(f"{value:12.1f}" for value in values))
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
        ("Strongest edge diffraction inside the target window", comparison.edge_paths),
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
    return f"{rms:5.1f} dB rms, {most:+5.1f} at {hertz(most_hz)}, {least:+5.1f} at {hertz(least_hz)}"


def _cell(level: float) -> str:
    return f"{NOTHING:>8}" if silent(level) else f"{level:8.1f}"


def _step(before_db: float, after_db: float) -> str:
    """Difference of two levels; there is none where nothing arrives."""
    return f"{NOTHING:>8}" if silent(before_db) or silent(after_db) else f"{after_db - before_db:+8.1f}"


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
                    letter_of(layout),
                    title,
                    change.loudspeaker,
                    change.kind,
                    change.name,
                    f"{frequency:g}",
                    number_cell(float(change.adds_db[layout, band]), 2),
                    yes_cell(change.judged[band]),
                ]


# Many layouts in one table, as words and as a file.

MOST_CHANGES: Final = 8
MOST_TITLE: Final = 52
CELL: Final = 8


def many_lines(many: Many) -> list[str]:
    """Return the lines of many.txt: the table, what is worth a look, and what each layout changes against the first."""
    wide = max(len(letter) for letter in many.letters)
    names = many.loudspeakers[0]
    heads = [f"early {name}" for name in names] + ["over target", "above it", "left-right", "desk notch", "panels"]
    heads += ["kg"] + (["price"] if many.cost_word == "price" else [])
    lines = [f"{len(many.titles)} layouts; levels in dB, early levels re direct; * worth a look", ""]
    room = min(MOST_TITLE, max(len(title) for title in many.titles))
    lines.append(f"  {'':{wide + 1}} {'':{room}}{''.join(f'  {head:>{CELL}}' for head in heads)}")
    for number, (letter, title) in enumerate(zip(many.letters, many.titles, strict=True)):
        star = "*" if many.front[number] else " "
        pairs = zip(heads, _cells(many, number), strict=True)
        cells = "".join(f"  {cell:>{max(CELL, len(head))}}" for head, cell in pairs)
        lines.append(f"{star} {letter + ':':{wide + 1}} {_short(title):{room}}{cells}")
    third = "a lower price" if many.cost_word == "price" else "fewer panels"
    lines += [
        "",
        "Worth a look: " + ", ".join(letter for letter, there in zip(many.letters, many.front, strict=True) if there),
        f"  no other layout here has a lower measure, is more alike left and right, or has {third}, without being",
        f"  worse in something else; differences up to {EQUAL_DB:g} dB count as none",
        "  early: energy of all that arrives inside the target's window, mean of its octaves; above it: arrivals above",
        "  the target; left-right: early level of the first monitor less that of the last; desk notch: the first",
        "  one that the desk's top makes",
        "",
        "What each changes against A",
    ]
    for number in range(1, len(many.titles)):
        reported = [one.words for one in many.changes[number]]
        lines.append(f"  {many.letters[number]}: {_short(many.titles[number])}")
        lines += [f"    - {words}" for words in reported[:MOST_CHANGES] or ["nothing"]]
        if len(reported) > MOST_CHANGES:
            lines.append(f"    - and {len(reported) - MOST_CHANGES} more; many.csv has all")
    return lines


def write_many(many: Many, folder: Path) -> tuple[Path, Path]:
    """Write many.txt and many.csv into a folder: one row a layout.

    Raises
    ------
    OutputError
        If a file cannot be written.
    """
    text, table = folder / "many.txt", folder / "many.csv"
    write_lines(many_lines(many), text)
    headings, *rows = _rows(many)
    write_table(table, headings, rows)
    return text, table


def _rows(many: Many) -> Iterator[list[str]]:
    names = many.loudspeakers[0]
    keys = [f"{key} {name}" for key in ("early_db", "over_target_db", "desk_notch_hz") for name in names]
    yield [
        "layout",
        "title",
        *keys,
        "above_target",
        "left_right_db",
        "panels",
        "mass_kg",
        "price",
        "worth_a_look",
        "changes",
    ]
    for number, (letter, title) in enumerate(zip(many.letters, many.titles, strict=True)):
        numbers = [
            *(_number(level, 2) for level in many.early_db[number]),
            *(_number(level, 2) for level in many.over_target_db[number]),
            *(_number(notch, 0) for notch in many.desk_notch_hz[number]),
        ]
        yield [
            letter,
            title,
            *numbers,
            str(many.above_target[number]),
            _number(many.left_right_db[number], 2),
            str(many.panels[number]),
            _number(many.mass_kg[number], 1),
            _number(many.price[number], 2),
            "yes" if many.front[number] else "no",
            "; ".join(one.words for one in many.changes[number]),
        ]


def _cells(many: Many, number: int) -> list[str]:
    """One row of the table on screen."""
    notch = many.desk_notch_hz[number]
    reported = [_number(hz, 0) for hz in notch if np.isfinite(hz)]
    cells = [_number(level, 1) or "nothing" for level in many.early_db[number]]
    cells += [_number(float(many.over_target_db[number].max()), 1) or "nothing", str(many.above_target[number])]
    cells += [_number(many.left_right_db[number], 1) or "-"]
    cells += [f"{' / '.join(dict.fromkeys(reported))} Hz" if reported else "none"]
    cells += [str(many.panels[number]), _number(many.mass_kg[number], 1)]
    return cells + ([_number(many.price[number], 2) or "-"] if many.cost_word == "price" else [])


def _number(value: float, decimals: int) -> str:
    """A cell; a mean over loudspeakers of which one sends nothing tells nothing either."""
    return number_cell(value, decimals) if value > 0.5 * SILENCE_DB else ""


def _short(title: str) -> str:
    return title if len(title) <= MOST_TITLE else title[: MOST_TITLE - 2].rstrip() + "…"
