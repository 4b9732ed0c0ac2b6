"""A scene as TOML text: read within limits, where each key stands, and why a text is not TOML.

What a person did not write is told apart before the parser sees it, because the parser's own time grows with the square
of the parts of a dotted key.
"""

from __future__ import annotations

import codecs
import re
import stat
from bisect import bisect_left
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from tomllib import TOMLDecodeError
from typing import Final

from sim.errors import SceneError

LARGEST_FILE_BYTES: Final = 1_000_000
"""No scene that a person wrote is larger (common practice, no source)."""
MOST_PARTS: Final = 16
"""The deepest key of a scene has five parts."""
_PART: Final = r"(?:[A-Za-z0-9_-]+|\"[^\"\n]*\"|'[^'\n]*')"
_DEEP: Final = re.compile(rf"(?:^|[\[{{,])[ \t]*(?:{_PART}[ \t]*\.[ \t]*){{{MOST_PARTS}}}", re.MULTILINE)
_OTHER_WAYS: Final = (
    (codecs.BOM_UTF32_LE, "UTF-32"),
    (codecs.BOM_UTF32_BE, "UTF-32"),
    (codecs.BOM_UTF16_LE, "UTF-16"),
    (codecs.BOM_UTF16_BE, "UTF-16"),
)
_AS_UTF_8: Final = "save the file as UTF-8 in a text editor"


def scene_text(file: Path) -> str:
    """Read the text of a file.

    Raises
    ------
    SceneError
        If it is no file, larger than any scene, or not UTF-8 text.
    """
    try:
        known = file.stat()
        if not stat.S_ISREG(known.st_mode):
            raise SceneError(str(file), "it is no file", "name a scene file or its folder")
        if known.st_size > LARGEST_FILE_BYTES:
            raise SceneError(
                str(file), f"it has {known.st_size:,} bytes", "name the scene file, not a mesh or a recording"
            )
        raw = file.read_bytes()
    except OSError as fault:
        raise SceneError(str(file), f"it cannot be read ({fault.strerror})", "check who may read the file") from None
    way = next((name for mark, name in _OTHER_WAYS if raw.startswith(mark)), None)
    if way is not None:
        raise SceneError(str(file), f"it is {way} text", _AS_UTF_8)
    if b"\0" in raw:
        line = raw.count(b"\n", 0, raw.index(b"\0")) + 1
        raise SceneError(f"{file}, line {line}", "it holds a zero byte, so it is no text", _AS_UTF_8)
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError as fault:
        raise SceneError(str(file), f"byte {fault.start} is not UTF-8 text", _AS_UTF_8) from None


def refuse_deep_keys(text: str, file: str) -> None:
    """Refuse keys of so many dotted parts that no person can have written them.

    Raises SceneError with the line of the first one.
    """
    found = _DEEP.search(text)
    if found is not None:
        line = text.count("\n", 0, found.end()) + 1
        raise SceneError(
            f"{file}, line {line}", f"a key in it has more than {MOST_PARTS} parts", "check that this is a scene file"
        )


# Where each key of a TOML text stands, so that a complaint can name the line.
#
# `tomllib` keeps no line numbers.  This scanner only runs on text that `tomllib` has already accepted, so it need
# not find faults, only keep count; an unknown key falls back to the line of the table around it.

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


# Say in one sentence why a text is not TOML, with a guess at the usual slips.

_PLACE = re.compile(r"\(at line (?P<line>\d+), column (?P<column>\d+)\)")
_HINTS: tuple[tuple[str, str], ...] = (
    (r"^[^\"#]*\"[^\"]*$", "close the quote that is opened in this line"),
    (r"=\s*-?\d+,\d+\s*([,#}]|$)", 'write the decimal point as ".", for example 4.20'),
    (
        r"=\s*-?[\d.,/ ]+\s*(mm|cm|m|in|ft|inch|feet|'|\")\s*(#|$)",
        'a length with its own unit goes in quotes, for example "24 in"',
    ),
    (r"^\s*[\w.-]+\s*:\s*", 'write "=" between key and value, for example width = 3.40'),
    (r"=\s*(True|False|yes|no|on|off)\b", "write true or false, in small letters and without quotes"),
    (r"=\s*[A-Za-z][^\"'\[{]*$", 'put texts in quotes, for example name = "left"'),
    (r"[\[{,]\s*$", "close the bracket or brace that is opened here"),
    (r"^\s*\[\[?[^\]]*$", "close the section name with ], for example [room]"),
)


def syntax_error(text: str, fault: TOMLDecodeError, file: str) -> SceneError:
    """Return the sentence for a text that `tomllib` refused."""
    message = str(fault)
    place = _PLACE.search(message)
    lines = text.splitlines()
    number = int(place["line"]) if place else max(len(lines), 1)
    if "overwrite" in message or "twice" in message or "namespace" in message:
        # the fault is noticed at the end of the line that repeats, which may be the start of the next one
        number = number if number <= len(lines) and lines[number - 1].strip() else number - 1
        line = lines[number - 1].strip() if 0 < number <= len(lines) else ""
        return SceneError(
            f"{file}, line {number}",
            f"{_quoted(line)} gives the same key or section a second time",
            "keep one of them; loudspeakers, furniture and openings use double brackets, [[loudspeakers]]",
        )
    line = lines[number - 1].strip() if number <= len(lines) else ""
    if not line:
        return SceneError(
            f"{file}, line {number}",
            "the text ends or breaks off within a value",
            "close every quote, bracket and brace that was opened before this line",
        )
    remedy = next(
        (hint for pattern, hint in _HINTS if re.search(pattern, line)),
        "write key = value, texts in quotes, lists in [ ], tables in { }, and comments after #",
    )
    return SceneError(f"{file}, line {number}", f"{_quoted(line)} cannot be read as TOML", remedy)


def _quoted(line: str) -> str:
    return line if len(line) <= 60 else line[:57] + "..."
