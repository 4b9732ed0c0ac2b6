"""Many layouts in one table, as words and as a file."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Final

import numpy as np

from ..acoustics.decibels import SILENCE_DB
from ..studies.many import EQUAL_DB, Many
from .cells import number_cell, write_table
from .paragraphs import write_lines

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
        f"  no other layout here is lower over the target, more alike left and right, or has {third}, without being",
        f"  worse in something else; differences up to {EQUAL_DB:g} dB count as none",
        "  early: energy of all that arrives inside the target's window, mean of its octaves; above it: arrivals above",
        "  the target; left-right: early level of the first loudspeaker less that of the last; desk notch: the first",
        "  one that the desk's top makes",
        "",
        "What each changes against A",
    ]
    for number in range(1, len(many.titles)):
        told = [one.words for one in many.changes[number]]
        lines.append(f"  {many.letters[number]}: {_short(many.titles[number])}")
        lines += [f"    - {words}" for words in told[:MOST_CHANGES] or ["nothing"]]
        if len(told) > MOST_CHANGES:
            lines.append(f"    - and {len(told) - MOST_CHANGES} more; many.csv has all")
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
    yield ["layout", "title", *keys, "above_target", "left_right_db", "panels", "mass_kg", "price", "worth_a_look",
           "changes"]  # fmt: skip
    for number, (letter, title) in enumerate(zip(many.letters, many.titles, strict=True)):
        numbers = [
            *(_number(level, 2) for level in many.early_db[number]),
            *(_number(level, 2) for level in many.over_target_db[number]),
            *(_number(notch, 0) for notch in many.desk_notch_hz[number]),
        ]
        yield [
            letter, title, *numbers, str(many.above_target[number]), _number(many.left_right_db[number], 2),
            str(many.panels[number]), _number(many.mass_kg[number], 1), _number(many.price[number], 2),
            "yes" if many.front[number] else "no", "; ".join(one.words for one in many.changes[number]),
        ]  # fmt: skip


def _cells(many: Many, number: int) -> list[str]:
    """One row of the table on screen."""
    notch = many.desk_notch_hz[number]
    told = [_number(hz, 0) for hz in notch if np.isfinite(hz)]
    cells = [_number(level, 1) or "nothing" for level in many.early_db[number]]
    cells += [_number(float(many.over_target_db[number].max()), 1) or "nothing", str(many.above_target[number])]
    cells += [_number(many.left_right_db[number], 1) or "-"]
    cells += [f"{' / '.join(dict.fromkeys(told))} Hz" if told else "none"]
    cells += [str(many.panels[number]), _number(many.mass_kg[number], 1)]
    return cells + ([_number(many.price[number], 2) or "-"] if many.cost_word == "price" else [])


def _number(value: float, decimals: int) -> str:
    """A cell; a mean over loudspeakers of which one sends nothing tells nothing either."""
    return number_cell(value, decimals) if value > 0.5 * SILENCE_DB else ""


def _short(title: str) -> str:
    return title if len(title) <= MOST_TITLE else title[: MOST_TITLE - 2].rstrip() + "…"
