"""What one scene changes against another, in words: which values differ, what is new and what is gone.

Things are matched by their names; values are told in the unit of the first scene.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

from ..blueprint.length_keys import is_length
from ..blueprint.schema import Blueprint
from ..blueprint.units import UNIT_M

NAMED: Final = ("loudspeakers", "furniture", "openings", "panels", "keep_clear")
UNTOLD: Final = ("title", "notes", "units", "note")
SPANS: Final = ("from_front", "from_left", "up")
SAME: Final = 1.0e-6


@dataclass(frozen=True, slots=True)
class Difference:
    """One thing that differs.

    Attributes
    ----------
    things
        Names of what it is about; several when the same happens to all, such as left and right.
    key
        The key in the scene file, empty when the thing itself is new or gone.
    before, after
        The values as words; empty where there is none.
    """

    things: tuple[str, ...]
    key: str
    before: str
    after: str

    @property
    def words(self) -> str:
        """The whole in words: "left and right: tilt_deg 0, then 4"."""
        who = self.things[0] if len(self.things) == 1 else f"{', '.join(self.things[:-1])} and {self.things[-1]}"
        if not self.key:
            return f"{who} {'is' if len(self.things) == 1 else 'are'} {'new' if self.after else 'gone'}"
        return f"{who}: {self.key} {self.before or 'not told'}, then {self.after or 'not told'}"


def differences(first: Blueprint, other: Blueprint) -> tuple[Difference, ...]:
    """Find what differs in another scene, in the order of the scene file; titles and notes do not count."""
    before, after = dict(_values(first)), dict(_values(other))
    things = [dict.fromkeys(thing for thing, _ in one) for one in (before, after)]
    found: list[Difference] = []
    for thing, key in dict.fromkeys([*before, *after]):
        if (thing in things[0]) != (thing in things[1]):
            if not any(one.things == (thing,) for one in found):
                found.append(Difference((thing,), "", "there" if thing in things[0] else "",
                                        "there" if thing in things[1] else ""))  # fmt: skip
            continue
        pair = before.get((thing, key)), after.get((thing, key))
        if not _same(*pair):
            told = [_told(key, value, first.units) for value in pair]
            if told[0] != told[1]:
                found.append(Difference((thing,), key, told[0], told[1]))
    return _together(found)


def _together(found: Sequence[Difference]) -> tuple[Difference, ...]:
    """Tell what happens alike to several things once."""
    groups: dict[tuple[str, str, str], list[str]] = {}
    for one in found:
        groups.setdefault((one.key, one.before, one.after), []).extend(one.things)
    return tuple(Difference(tuple(things), *what) for what, things in groups.items())


def _values(blueprint: Blueprint) -> Iterator[tuple[tuple[str, str], Any]]:
    """Every value of a scene under the thing it belongs to and its dotted key."""
    told = blueprint.model_dump()
    for section, content in told.items():
        if section in UNTOLD:
            continue
        if section in NAMED:
            for item in content:
                for key, value in _leaves({k: v for k, v in item.items() if k != "name"}, ""):
                    yield (item["name"], key), value
        elif section in ("models", "materials"):
            for name, item in content.items():
                for key, value in _leaves(item, ""):
                    yield (f"{section[:-1]} {name}", key), value
        else:
            for key, value in _leaves(content, ""):
                yield (section.replace("listener", "seat"), key), value


def _leaves(value: Any, key: str) -> Iterator[tuple[str, Any]]:
    if isinstance(value, Mapping):
        for name, inner in value.items():
            if name not in UNTOLD:
                yield from _leaves(inner, f"{key}.{name}" if key else str(name))
    elif value is not None:
        yield key, value


def _same(one: Any, other: Any) -> bool:
    if isinstance(one, float | int) and isinstance(other, float | int):
        return abs(one - other) < SAME
    if isinstance(one, list | tuple) and isinstance(other, list | tuple):
        return len(one) == len(other) and all(_same(a, b) for a, b in zip(one, other, strict=True))
    return bool(one == other)


def _told(key: str, value: Any, units: str) -> str:
    """A value as words: lengths in the unit, everything else as it is."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, str):
        return f'"{value}"'
    last = key.rpartition(".")[2]
    if isinstance(value, int | float):
        if is_length(last):
            return f"{round(float(value) / UNIT_M[units], 4) + 0.0:g} {units}"
        return f"{round(float(value), 4) + 0.0:g}"
    if isinstance(value, list | tuple):
        if last in SPANS and len(value) == 2:
            return " to ".join(_told(last, end, units) for end in value)
        inner = [_told(last, each, units) for each in value if not isinstance(each, Mapping)]
        return ", ".join(inner) if len(inner) == len(value) else f"{len(value)} of them"
    return str(value)
