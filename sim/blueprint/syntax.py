"""Say in one sentence why a text is not TOML, with a guess at the usual slips."""

from __future__ import annotations

import re
from tomllib import TOMLDecodeError

from ..errors import SceneError

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
