"""Turn what the records refuse into one sentence: where, what was found, what would work."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from difflib import get_close_matches
from itertools import islice
from typing import Any, get_args

from pydantic import BaseModel, ValidationError
from pydantic_core import ErrorDetails

from sim.blueprint.schema import Blueprint
from sim.blueprint.toml_text import Key, Locations
from sim.blueprint.units import NOT_A_LENGTH
from sim.errors import SceneError, one_line

SECTIONS: dict[str, tuple[str, str]] = {
    "room": ("[room]", "[room] with the line box = { width = 3.40, depth = 4.20, height = 2.40 }"),
    "listener": (
        "[listener]",
        "[listener] with the line ear = { from_front = 1.60, from_left = 1.70, up = 1.20 }",
    ),
    "loudspeakers": (
        "[[loudspeakers]]",
        '[[loudspeakers]] with the lines name = "left" and'
        " acoustic_axis = { from_front = 0.42, from_left = 1.08, up = 1.22 }",
    ),
}
"""Section as it is written, and the lines that would make it whole."""

LISTS: dict[str, str] = {
    "absorption": "[0.10, 0.10, 0.10, 0.10, 0.10, 0.10, 0.10, 0.10]",
    "band_hz": "[1000, 8000]",
    "between": '["floor", "ceiling"]',
    "crossovers_hz": "[2200]",
    "from_front": "[0.55, 1.30]",
    "from_left": "[0.90, 2.50]",
    "up": "[0.95, 2.05]",
    "window_ms": "[0, 20]",
}
"""Keys that hold a list."""

EXAMPLES: dict[str, str] = {
    "absorption": "absorption = [0.10, 0.10, 0.10, 0.10, 0.10, 0.10, 0.10, 0.10], octaves 63 Hz to 8 kHz",
    "acoustic_axis": "acoustic_axis = { from_front = 0.42, from_left = 1.08, up = 1.22 }",
    "angle_deg": "angle_deg = 45",
    "at": "at = { from_front = 0.75, from_left = 1.70, up = 0.86 }",
    "depth": "depth = 4.20",
    "distance": "distance = 5.40",
    "ear": "ear = { from_front = 1.60, from_left = 1.70, up = 1.20 }",
    "file": 'file = "chair.obj"',
    "frame": 'frame = { unit = "m" }',
    "from_front": "from_front, the distance from the front wall",
    "from_left": "from_left, the distance from the left wall",
    "height": "height = 2.40",
    "kind": 'kind, for example kind = "two-way" or kind = "window"',
    "name": 'name = "left"',
    "side": 'side = "left"',
    "source": 'source = "where the numbers come from"',
    "starts_at_height": "starts_at_height = 1.05",
    "surface": 'surface = "left wall"',
    "top": "top = 0.74, the height of its top",
    "unit": 'unit = "m" (or cm, mm, in, ft)',
    "up": "up, the height above the floor",
    "wall": 'wall = "left wall"',
    "width": "width = 3.40",
}


# Turn what the records refuse into one sentence: where, what was found, what would work.

_NUMBER_LIMITS = {
    "greater_than": ("gt", "more than"),
    "greater_than_equal": ("ge", "at least"),
    "less_than": ("lt", "less than"),
    "less_than_equal": ("le", "at most"),
}
_WRONG_TYPE = {
    "float_type": "a number",
    "float_parsing": "a number",
    "int_type": "a whole number",
    "int_parsing": "a whole number",
    "int_from_float": "a whole number",
    "bool_type": "true or false",
    "bool_parsing": "true or false",
    "string_type": "a text in quotes",
    "model_type": "a table, such as { ... }",
    "model_attributes_type": "a table, such as { ... }",
    "dict_type": "a table, such as { ... }",
    "tuple_type": "a list in square brackets",
    "finite_number": "a finite number",
    "string_too_short": "a text that is not empty",
}


def scene_error(refused: ValidationError, document: Mapping[str, Any], locations: Locations) -> SceneError:
    """Return the one error that helps most: an unknown key first, then wrong values, then what is missing."""
    problems = refused.errors(include_url=False)
    keyed = [(_key_in_file(problem, document), problem) for problem in problems]
    # a list whose entries are all refused counts as empty, which is no news to a person who sees them there
    keyed = [item for item in keyed if not _only_follows(*item, document)] or keyed

    def usefulness(item: tuple[Key, ErrorDetails]) -> tuple[int, int]:
        key, problem = item
        rank = {"extra_forbidden": 0, "missing": 2}.get(problem["type"], 1)
        return rank, locations.lines.get(key, 1_000_000)

    key, problem = min(keyed, key=usefulness)
    same_key = [other for other_key, other in keyed if other_key == key]
    found, remedy = _found_and_remedy(key, problem, same_key, document)
    at = key[:-1] if problem["type"] == "missing" else key
    return SceneError(locations.where(*at), found, remedy)


def _only_follows(key: Key, problem: ErrorDetails, document: Mapping[str, Any]) -> bool:
    """Whether a list is called too short although the file has entries enough."""
    value = _value_at(key, document)
    return problem["type"] == "too_short" and isinstance(value, list) and len(value) >= problem["ctx"]["min_length"]


def closest(name: str, known: Iterable[str], *, what: str) -> str:
    """Return a remedy that names the closest of the known names, and all of them when they are few."""
    names = list(dict.fromkeys(known))
    small = [entry.lower() for entry in names]
    near = get_close_matches(name.lower(), small, n=1, cutoff=0.85) or get_close_matches(name.lower(), small, n=3)
    likely = sorted((entry for entry in names if entry.lower() in near), key=lambda e: near.index(e.lower()))
    everything = f"{what} are {_listed(names)}"
    if not likely:
        return everything
    return f"perhaps you mean {either(likely)}" + (f" ({everything})" if len(names) <= 12 else "")


def number_of(what: str, name: str, known: Sequence[str]) -> int:
    """Number of the one that is called so; SceneError that names the closest where none is."""
    if name not in known:
        raise SceneError(what, f'none is called "{name}"', closest(name, known, what=f"the {what}s"))
    return known.index(name)


def shown(value: Any, longest: int = 60) -> str:
    """Write a value as it would stand in the scene file, shortened to one line; long ones are not read to the end."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        text = f'"{value[: 2 * longest]}"'
    elif isinstance(value, float):
        text = repr(value)
    elif isinstance(value, Mapping):
        inside = [f"{key} = {shown(entry, longest // 2)}" for key, entry in islice(value.items(), longest)]
        text = "{ " + ", ".join(inside) + " }"
    elif isinstance(value, list):
        text = "[" + ", ".join(shown(entry, longest // 2) for entry in value[:longest]) + "]"
    elif isinstance(value, int) and abs(value) >= 10**60:
        text = "a number of more than 60 digits"
    else:
        text = str(value)
    text = one_line(text)
    return text if len(text) <= longest else text[: max(longest - 3, 0)] + "..."


def _found_and_remedy(
    key: Key, problem: ErrorDetails, same_key: Sequence[ErrorDetails], document: Mapping[str, Any]
) -> tuple[str, str]:
    kind, context = problem["type"], problem.get("ctx", {})
    value = _value_at(key, document)
    name = str(next((part for part in reversed(key) if isinstance(part, str)), ""))
    if kind == "extra_forbidden":
        return _unknown_key(key, document)
    if kind == "missing":
        return _missing(key, document)
    if kind == "value_error":
        found, _, remedy = str(context["error"]).partition("; ")
        return found.replace(NOT_A_LENGTH, f"{shown(value)} is not a length"), remedy
    if kind in ("union_tag_not_found", "union_tag_invalid"):
        kinds = _furniture_kinds()
        if kind == "union_tag_not_found":
            return 'it has no "kind"', f"add kind = one of {_listed(kinds)}"
        tag = _value_at((*key, "kind"), document)
        return f"its kind is {shown(tag)}", closest(str(tag), kinds, what="the kinds")
    if kind in _NUMBER_LIMITS and len(same_key) == 1:
        limit, words = _NUMBER_LIMITS[kind]
        return f"it is {shown(value)}", f"it must be {words} {context[limit]:g}{_such_as(name)}"
    if kind in ("too_short", "too_long"):
        count = len(value) if isinstance(value, list) else 0
        entries = "1 entry" if count == 1 else f"{count} entries"
        wanted = context["min_length"] if kind == "too_short" else context["max_length"]
        return f"it has {entries}", f"give {'at least ' if kind == 'too_short' else ''}{wanted}{_such_as(name)}"
    return _wrong_kind(key, value, same_key)


def _wrong_kind(key: Key, value: Any, problems: Sequence[ErrorDetails]) -> tuple[str, str]:
    """Say what a value of the wrong kind should be; a key that may be one of two kinds has two problems."""
    if len(key) == 1 and isinstance(value, Mapping) and problems[0]["type"] == "tuple_type":
        return f"[{key[0]}] stands in single brackets", f"write [[{key[0]}]], once for each"
    if len(key) == 1 and isinstance(value, list) and problems[0]["type"] == "model_type":
        return f"[[{key[0]}]] stands in double brackets", f"write [{key[0]}], for there is only one"
    expected = " or ".join(dict.fromkeys(_expected(problem) for problem in problems))
    choices = [word for problem in problems for word in _choices(problem)]
    near = get_close_matches(value.lower(), choices, n=1, cutoff=0.6) if isinstance(value, str) else []
    remedy = f'perhaps you mean "{near[0]}" (it must be {expected})' if near else f"it must be {expected}"
    example = _such_as(str(key[-1])) if isinstance(key[-1], str) and not choices else ""
    return f"it is {shown(value)}", remedy + example


def _such_as(name: str) -> str:
    """Return an example of a list or a number for keys that have one."""
    if name in LISTS:
        return f", such as {name} = {LISTS[name]}"
    example = EXAMPLES.get(name, "")
    return f", such as {example}" if re.fullmatch(r"\w+ = [\d.]+", example) else ""


def _expected(problem: ErrorDetails) -> str:
    words = _choices(problem)
    if words:
        quoted = [f'"{word}"' if re.search(r"[A-Za-z]", word) else word for word in words]
        return quoted[0] if len(quoted) == 1 else "one of " + ", ".join(quoted)
    if problem["type"] in _NUMBER_LIMITS:
        limit, number = _NUMBER_LIMITS[problem["type"]]
        return f"a number of {number} {problem['ctx'][limit]:g}"
    return _WRONG_TYPE.get(problem["type"], "a value of another kind")


def _choices(problem: ErrorDetails) -> list[str]:
    if problem["type"] != "literal_error":
        return []
    expected = str(problem.get("ctx", {}).get("expected", ""))
    return re.findall(r"'([^']*)'", expected) or re.findall(r"[\w.+-]+", expected.replace(" or ", ", "))


def _unknown_key(key: Key, document: Mapping[str, Any]) -> tuple[str, str]:
    record = _record_at(key[:-1], document)
    allowed = list(record.model_fields) if record else []
    name = str(key[-1])
    near = get_close_matches(name, allowed, n=1, cutoff=0.5)
    known = f"known here are {', '.join(allowed)}"
    return f'unknown key "{name}"', f'perhaps you mean "{near[0]}" ({known})' if near else known


def _missing(key: Key, document: Mapping[str, Any]) -> tuple[str, str]:
    name = key[-1]
    if isinstance(name, int):
        found, list_name = _value_at(key[:-1], document), str(key[-2])
        return f"it is {shown(found)}", f"it needs more entries{_such_as(list_name)}"
    if len(key) == 1:
        return f"the section {SECTIONS[name][0]} is missing", f"add {SECTIONS[name][1]}"
    return f'"{name}" is missing', f"add {EXAMPLES.get(name, f'{name} = ...')}"


def _key_in_file(problem: ErrorDetails, document: Mapping[str, Any]) -> Key:
    """Drop from a key what is not in the file: the kind of furniture, the branch of a union."""
    loc = problem["loc"]
    if loc[:1] == ("furniture",) and len(loc) > 2:
        loc = (*loc[:2], *loc[3:])
    kept: Key = ()
    value: Any = document
    for place, part in enumerate(loc):
        if isinstance(value, Mapping):
            if part in value or (problem["type"] == "missing" and place == len(loc) - 1):
                kept, value = (*kept, part), value.get(part)
        elif isinstance(value, list) and isinstance(part, int):
            kept, value = (*kept, part), value[part] if part < len(value) else None
        else:
            break
    return kept


def _value_at(key: Key, document: Mapping[str, Any]) -> Any:
    value: Any = document
    for part in key:
        if isinstance(value, Mapping):
            value = value.get(str(part))
        elif isinstance(value, list) and isinstance(part, int) and part < len(value):
            value = value[part]
        else:
            return None
    return value


def _record_at(key: Key, document: Mapping[str, Any]) -> type[BaseModel] | None:
    """Return the record class that a table of the file is read into."""
    record: type[BaseModel] | None = Blueprint
    for depth, part in enumerate(key):
        if isinstance(part, int) or record is None:
            continue
        if part not in record.model_fields:  # a name of one's own, under [models] or [materials]
            continue
        candidates = _records_in(record.model_fields[part].annotation)
        if len(candidates) > 1:
            kind = (_value_at(key[: depth + 2], document) or {}).get("kind")
            candidates = [entry for entry in candidates if kind in get_args(entry.model_fields["kind"].annotation)]
        record = candidates[0] if candidates else None
    return record


def _records_in(annotation: Any) -> list[type[BaseModel]]:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return [annotation]
    return [record for entry in get_args(annotation) for record in _records_in(entry)]  # however the hint is spelled


def _furniture_kinds() -> list[str]:
    records = _records_in(Blueprint.model_fields["furniture"].annotation)
    return [kind for record in records for kind in get_args(record.model_fields["kind"].annotation)]


def _listed(names: Sequence[str]) -> str:
    return ", ".join(f'"{name}"' for name in names)


def either(names: Sequence[str]) -> str:
    """Write names to choose from: "m" or "cm", each in quotes."""
    return " or ".join(f'"{name}"' for name in names)
