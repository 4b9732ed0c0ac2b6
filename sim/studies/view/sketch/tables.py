"""A scene file as lines: tables taken out without the comments that follow them, and an outline in a box's place.

The library that keeps comments counts those between two tables to the first of them, and would take them along.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Sequence
from typing import Any, Final

from sim.blueprint.toml_text import key_lines
from sim.errors import SceneError
from sim.studies.view.sketch.form import Form
from sim.studies.view.sketch.plan import Plan, tape_text

_HEADER: Final = re.compile(r"\s*\[")
_BARE: Final = re.compile(r"\s*(#.*)?$")


def without(text: str, tables: Sequence[tuple[str, str]]) -> str:
    """Return the text of a file without tables, each told by its list ("furniture") and its name.

    Raises
    ------
    SceneError
        If one cannot be taken out without a change to anything else.
    """
    for key, name in tables:
        text = _without(text, key, name)
    return text


def _without(text: str, key: str, name: str) -> str:
    parts = key.split(".")
    document = tomllib.loads(text)
    number = next(n for n, item in enumerate(_list_in(document, parts)) if item.get("name", item.get("kind")) == name)
    lines = text.splitlines(keepends=True)
    start = key_lines(text).get((*parts, number), 0) - 1
    if start < 0 or not _HEADER.match(lines[start]):
        raise _stuck(key, name)
    end = next((n for n in range(start + 1, len(lines)) if _HEADER.match(lines[n])), len(lines))
    while end > start + 1 and _BARE.match(lines[end - 1].rstrip("\r\n")):
        end -= 1
    if end < len(lines) and not lines[end].strip() and (start == 0 or not lines[start - 1].strip()):
        end += 1  # one of the two blank lines round it
    rest = "".join(lines[:start] + lines[end:])
    things = _list_in(document, parts)
    del things[number]
    if not things:
        del _list_home(document, parts)[parts[-1]]
    try:
        same = tomllib.loads(rest) == document
    except tomllib.TOMLDecodeError:
        same = False
    if not same:
        raise _stuck(key, name)
    return rest


def _list_home(document: dict[str, Any], parts: list[str]) -> dict[str, Any]:
    home = document
    for part in parts[:-1]:
        home = home[part]
    return home


def _list_in(document: dict[str, Any], parts: list[str]) -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = _list_home(document, parts)[parts[-1]]
    return found


def _stuck(key: str, name: str) -> SceneError:
    return SceneError(f'{key} "{name}"', "it cannot be taken out of the file from here", "take it out by hand")


def outlined(text: str, form: Form, plan: Plan) -> str:
    """Return the text of a first scene with the outline of a form where it has a box."""
    units = form["units"]
    lines = text.split("\n")
    at = next(n for n, line in enumerate(lines) if line.startswith("box = "))
    corners = []
    for front, left in plan.corners:
        ahead, across = (_toml(tape_text(metres, units)) for metres in (front, left))
        corners.append(f"    {{ from_front = {ahead}, from_left = {across} }},")
    names = ", ".join(_toml(name) for name in plan.walls)
    lines[at : at + 2] = [
        "# Once round the floor; each wall runs from its corner to the next.",
        "outline = [",
        *corners,
        "]",
        f"height = {_toml(tape_text(plan.height_m, units))}",
        f"wall_names = [{names}]",
        '# Surfaces: these walls, "floor", "ceiling"; or "walls", or "all".',
    ]
    return "\n".join(lines)


def opened(text: str, tables: Sequence[Any]) -> str:
    """Return the text of a first scene with more tables of openings, after those that it has."""
    if not tables:
        return text
    lines = text.split("\n")
    at = lines.index("#[[keep_clear]]")
    while lines[at - 1].startswith("#"):
        at -= 1
    return _inserted(lines, at, [("openings", table) for table in tables])


def furnished(text: str, tables: Sequence[tuple[str, Any]]) -> str:
    """Return the text of a first scene with beams and radiators, each with its list, where the template has them."""
    lines = text.split("\n")
    return _inserted(lines, next(n for n, line in enumerate(lines) if line.startswith("# Boxes: ")), tables)


def _inserted(lines: list[str], at: int, tables: Sequence[tuple[str, Any]]) -> str:
    lines[at:at] = [line for key, one in tables for line in (f"[[{key}]]", *one.as_string().strip().split("\n"), "")]
    return "\n".join(lines)


def _toml(text: str) -> str:
    """A length or a name as TOML: a bare number, or a text."""
    if re.fullmatch(r"-?\d+(\.\d+)?", text):
        return text
    escaped = text.replace("\\", "\\\\").replace('"', '\\"')
    return '"' + "".join(c if c.isprintable() else f"\\u{ord(c):04X}" for c in escaped) + '"'
