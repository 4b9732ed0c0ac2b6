"""Lengths, words and tables written into a document that keeps its comments, where they differ from what is there."""

from __future__ import annotations

from typing import Any, Final

import tomlkit
from tomlkit.items import Array

from sim.studies.view.sketch.plan import length_m

SAME_M: Final = 1e-6
"""Lengths that differ by less are the same: what stands in the file stays."""


class Pen:
    """Writes a length where it differs from what is there."""

    def __init__(self, units: str) -> None:
        self.units, self.wrote = units, False

    def put(self, at: Any, key: str | int, text: str) -> None:
        """Write a length; an empty text leaves what is there."""
        if not text.strip():
            return
        there = at[key] if isinstance(key, int) else at.get(key)
        if there is not None:
            old = length_m(str(key), there if isinstance(there, str) else repr(there), self.units)
            if abs(old - length_m(str(key), text, self.units)) < SAME_M:
                return
        at[key] = value_of(text)
        self.wrote = True

    def word(self, at: Any, key: str, word: Any) -> None:
        """Write a word, or what else is no length."""
        if at.get(key) != word:
            at[key] = word
            self.wrote = True

    def drop(self, at: Any, key: str) -> None:
        """Take a key away."""
        if key in at:
            del at[key]
            self.wrote = True


def value_of(text: str) -> Any:
    """A length as a file writes it: a number, or a text with its unit."""
    plain = text.strip().replace("\N{MINUS SIGN}", "-")
    try:
        number = float(plain)
    except ValueError:
        return plain
    return int(number) if number == int(number) and "." not in plain and "e" not in plain.lower() else number


def span_of(*texts: str) -> Any:
    """Lengths as a list in one line."""
    span = tomlkit.array()
    for text in texts:
        span.append(value_of(text))
    return span


def append(at: Any, key: str, table: Any) -> None:
    """Add a table to a list of tables, or to a list that is written in one line."""
    if key not in at:
        at[key] = tomlkit.aot()
    if isinstance(at[key], Array):
        inline = tomlkit.inline_table()
        inline.update(table.unwrap())
        table = inline
    at[key].append(table)
