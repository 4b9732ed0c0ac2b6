"""Where each key of a TOML text stands, so that a complaint can name the line.

`tomllib` keeps no line numbers.  This scanner only runs on text that `tomllib` has already accepted, so it need
not find faults, only keep count; an unknown key falls back to the line of the table around it.
"""

from __future__ import annotations

import re
from bisect import bisect_left
from collections.abc import Mapping
from dataclasses import dataclass

Key = tuple[str | int, ...]

_PLAIN = re.compile(r"[A-Za-z0-9_-]+")
_BLANK = re.compile(r"(?:[ \t\r\n]|#[^\n]*)*")
_TEXT = re.compile(r'"""(?:[^\\]|\\.)*?"""|' + r"'''.*?'''|" + r'"(?:[^"\\\n]|\\.)*"|' + r"'[^'\n]*'", re.DOTALL)
_SCALAR = re.compile(r"[^,\]}#\n]*")


def dotted(key: Key) -> str:
    """Write a key as people read it: furniture[0].from_front."""
    text = ""
    for part in key:
        text += f"[{part}]" if isinstance(part, int) else f".{part}" if text else part
    return text


@dataclass(frozen=True)
class Locations:
    """The name of a scene file and the line of every key in it."""

    file: str
    lines: Mapping[Key, int]

    def where(self, *key: str | int) -> str:
        """Return "scene.toml, line 12, furniture[0].from_front", with the nearest known line."""
        line = next((self.lines[key[:end]] for end in range(len(key), 0, -1) if key[:end] in self.lines), None)
        parts = [self.file]
        if line is not None:
            parts.append(f"line {line}")
        if key:
            parts.append(dotted(key))
        return ", ".join(parts)


def key_lines(text: str) -> dict[Key, int]:
    """Return the line, counted from 1, of every table, key and list item of a valid TOML text."""
    return _Scanner(text).run()


class _Scanner:
    def __init__(self, text: str) -> None:
        self.text = text
        self.position = 0
        self.lines: dict[Key, int] = {}
        self.list_lengths: dict[Key, int] = {}
        self.line_ends = [found.start() for found in re.finditer("\n", text)]

    def run(self) -> dict[Key, int]:
        table: Key = ()
        self._skip_blank()
        while self.position < len(self.text):
            if self.text[self.position] == "[":
                table = self._header()
            else:
                self._pair(table)
            self._skip_blank()
        return self.lines

    def _line(self) -> int:
        return bisect_left(self.line_ends, self.position) + 1

    def _note(self, key: Key, line: int) -> None:
        """Note a key and the tables around it, innermost first: around one that is known all are known."""
        for end in range(len(key), 0, -1):
            if key[:end] in self.lines:
                return
            self.lines[key[:end]] = line

    def _skip_blank(self) -> None:
        found = _BLANK.match(self.text, self.position)
        self.position = found.end() if found else self.position

    def _header(self) -> Key:
        line, is_list = self._line(), self.text.startswith("[[", self.position)
        self.position += 2 if is_list else 1
        key = self._inside_lists(self._names(), is_list)
        self._note(key, line)
        self.position += 2 if is_list else 1
        return key

    def _inside_lists(self, names: list[str], is_list: bool) -> Key:
        """Put the running number behind every name that is a list of tables."""
        key: Key = ()
        for depth, name in enumerate(names):
            key = (*key, name)
            if is_list and depth == len(names) - 1:
                self.list_lengths[key] = self.list_lengths.get(key, 0) + 1
            if key in self.list_lengths:
                key = (*key, self.list_lengths[key] - 1)
        return key

    def _names(self) -> list[str]:
        names = []
        while True:
            self._skip_blank()
            found = _TEXT.match(self.text, self.position)
            if found:
                names.append(found.group()[1:-1])
            else:
                found = _PLAIN.match(self.text, self.position)
                names.append(found.group() if found else "")
            self.position = found.end() if found else self.position + 1
            self._skip_blank()
            if not self.text.startswith(".", self.position):
                return names
            self.position += 1

    def _pair(self, table: Key) -> None:
        line = self._line()
        key = (*table, *self._names())
        self._note(key, line)
        self.position += 1  # the equals sign
        self._value(key)

    def _value(self, key: Key) -> None:
        self._skip_blank()
        opening = self.text[self.position : self.position + 1]
        if opening in ("[", "{"):
            self._items(key, closing="]" if opening == "[" else "}")
            return
        found = _TEXT.match(self.text, self.position) or _SCALAR.match(self.text, self.position)
        self.position = max(self.position + 1, found.end() if found else 0)

    def _items(self, key: Key, closing: str) -> None:
        self.position += 1
        number = 0
        self._skip_blank()
        while self.position < len(self.text) and self.text[self.position] != closing:
            if closing == "}":
                self._pair(key)
            else:
                self._note((*key, number), self._line())
                self._value((*key, number))
            number += 1
            self._skip_blank()
            if self.text.startswith(",", self.position):
                self.position += 1
            self._skip_blank()
        self.position += 1
