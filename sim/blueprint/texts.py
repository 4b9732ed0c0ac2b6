"""Names, other texts and lists of a scene, before anything is made of them: short enough, and printable.

Names end up in file names, tables, drawings, web pages and terminals.  What would be taken for a command there is
refused here, in one place, so that no writer has to think of it.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any, Final

from sim.blueprint.toml_text import Key, Locations
from sim.errors import UNPRINTABLE, SceneError, printable

LONGEST_NAME: Final = 80
"""Characters; a longer one fits no table and no drawing, and four bytes each stay below the 255 that file systems take
for a name (POSIX NAME_MAX on common systems)."""
LONGEST_TEXT: Final = 1000
_NAMES: Final = ("name", "title", "surface", "wall", "material", "model", "stands_on")
_OF_LINES: Final = ("source", "strap", "notes")
"""Texts for people to read, which may run over several lines."""
MOST_ENTRIES: Final = 500
"""Of one list or table; loudspeakers meet every surface, and each other, so there may be fewer."""
MOST_LOUDSPEAKERS: Final = 64
DEEPEST: Final = 40
"""Tables and lists inside each other; a scene needs five."""


def refuse_odd_texts(document: Mapping[str, Any], locations: Locations) -> None:
    """Refuse keys and texts with control characters, and those too long for what they are.

    Lists and tables of more entries than a room has things are refused as well.

    Raises SceneError for the first one in the order of the file, RecursionError for tables nested beyond all measure.
    """
    _refuse_crowds(document, (), locations)
    for key, text, is_key in _texts(document, ()):
        name = next((str(part) for part in reversed(key) if isinstance(part, str)), "")
        named = is_key or name in _NAMES
        plain = text.replace("\n", " ").replace("\r", " ").replace("\t", " ") if name in _OF_LINES else text
        odd = UNPRINTABLE.search(plain)
        if odd is not None:
            raise SceneError(_where(key, locations), f"{_short(text)} holds {_called(odd[0])}", "type it again without")
        longest = LONGEST_NAME if named else LONGEST_TEXT
        if len(text) > longest:
            raise SceneError(
                _where(key, locations), f"{_short(text)} has {len(text)} characters", f"write at most {longest}"
            )


def _refuse_crowds(value: Any, key: Key, locations: Locations) -> None:
    if len(key) > DEEPEST:
        raise RecursionError
    if not isinstance(value, Mapping | list):
        return
    most = MOST_LOUDSPEAKERS if key == ("loudspeakers",) else MOST_ENTRIES
    if len(value) > most:
        raise SceneError(_where(key, locations), f"it has {len(value)} entries", f"give at most {most}")
    for name, entry in value.items() if isinstance(value, Mapping) else enumerate(value):
        _refuse_crowds(entry, (*key, name), locations)


def _texts(value: Any, key: Key) -> Iterator[tuple[Key, str, bool]]:
    """Every key and text with its place, and whether it is a key."""
    if isinstance(value, str):
        yield key, value, False
    elif isinstance(value, Mapping):
        for name, entry in value.items():
            yield (*key, name), name, True
            yield from _texts(entry, (*key, name))
    elif isinstance(value, list):
        for number, entry in enumerate(value):
            yield from _texts(entry, (*key, number))


def _called(character: str) -> str:
    if character in "\r\n\t":
        return "a tab" if character == "\t" else "a line break"
    return f"the control character {printable(character)}"


def _where(key: Key, locations: Locations) -> str:
    """Where a text stands; names of one's own may be odd themselves and are cut short."""
    return locations.where(
        *(part if isinstance(part, int) or len(part) <= LONGEST_NAME else _cut(part) for part in key)
    )


def _short(text: str) -> str:
    return f'"{_cut(text)}"'


def _cut(text: str) -> str:
    return text if len(text) <= 40 else text[:37] + "..."
