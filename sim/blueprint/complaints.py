"""Turn what the records refuse into one sentence: where, what was found, what would work."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from difflib import get_close_matches
from types import UnionType
from typing import Annotated, Any, Union, get_args, get_origin

from pydantic import BaseModel, ValidationError
from pydantic_core import ErrorDetails

from ..errors import SceneError
from .examples import EXAMPLES, SECTIONS
from .locations import Key, Locations
from .schema import Blueprint

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
    "string_type": 'a text in quotes, such as "left"',
    "model_type": "a table, such as { ... }",
    "model_attributes_type": "a table, such as { ... }",
    "dict_type": "a table, such as { ... }",
    "tuple_type": "a list in square brackets",
    "finite_number": "a finite number",
    "string_too_short": "a text that is not empty",
}


def complaint(refused: ValidationError, document: Mapping[str, Any], locations: Locations) -> SceneError:
    """Return the one error that helps most: an unknown key first, then wrong values, then what is missing."""
    problems = refused.errors(include_url=False)
    keyed = [(_key_in_file(problem, document), problem) for problem in problems]

    def usefulness(item: tuple[Key, ErrorDetails]) -> tuple[int, int]:
        key, problem = item
        rank = {"extra_forbidden": 0, "missing": 2}.get(problem["type"], 1)
        return rank, locations.lines.get(key, 1_000_000)

    key, problem = min(keyed, key=usefulness)
    same_key = [other for other_key, other in keyed if other_key == key]
    found, remedy = _found_and_remedy(key, problem, same_key, document)
    where = key[:-1] if problem["type"] in ("missing", "extra_forbidden") else key
    line_key = key if key in locations.lines else where
    return SceneError(locations.where(*(line_key if problem["type"] != "missing" else where)), found, remedy)


def closest(name: str, known: Iterable[str], *, what: str = "known") -> str:
    """Return a remedy that names the closest of the known names, or all of them when they are few."""
    names = list(dict.fromkeys(known))
    near = get_close_matches(name.lower(), [entry.lower() for entry in names], n=3, cutoff=0.6)
    near_names = [entry for entry in names if entry.lower() in near]
    if near_names:
        hint = f"did you mean {_either(near_names)}?"
        return f"{hint} {what} are {_listed(names)}" if len(names) <= 12 else hint
    return f"{what} are {_listed(names)}" if names else f"there is none {what}"


def shown(value: Any) -> str:
    """Write a value as it would stand in the scene file, shortened."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        text = f'"{value}"'
    elif isinstance(value, float):
        text = repr(value)
    elif isinstance(value, Mapping):
        text = "{ " + ", ".join(f"{key} = {shown(entry)}" for key, entry in value.items()) + " }"
    elif isinstance(value, list):
        text = "[" + ", ".join(shown(entry) for entry in value) + "]"
    else:
        text = str(value)
    return text if len(text) <= 60 else text[:57] + "..."


def _found_and_remedy(
    key: Key, problem: ErrorDetails, same_key: Sequence[ErrorDetails], document: Mapping[str, Any]
) -> tuple[str, str]:
    kind, context = problem["type"], problem.get("ctx", {})
    value = _value_at(key, document)
    if kind == "extra_forbidden":
        return _unknown_key(key, document)
    if kind == "missing":
        return _missing(key, document)
    if kind == "value_error":
        found, _, remedy = str(context["error"]).partition("; ")
        return found, remedy or "correct it"
    if kind in ("union_tag_not_found", "union_tag_invalid"):
        kinds = _quoted_words(str(context.get("expected_tags", ""))) or _furniture_kinds()
        if kind == "union_tag_not_found":
            return 'it has no "kind"', f"add kind = one of {_listed(kinds)}"
        return f"its kind is {shown(context.get('tag'))}", closest(str(context.get("tag")), kinds, what="kinds")
    if kind in _NUMBER_LIMITS:
        name, words = _NUMBER_LIMITS[kind]
        return f"it is {shown(value)}", f"it must be {words} {context[name]:g}"
    if kind in ("too_short", "too_long"):
        limit = context.get("min_length", context.get("max_length"))
        return f"it has {len(value) if isinstance(value, list) else 1} entries", f"it needs {limit}"
    expected = [_expected(other) for other in same_key]
    choices = [word for other in same_key for word in _choices(other)]
    hint = ""
    if isinstance(value, str) and choices:
        near = get_close_matches(value.lower(), choices, n=1, cutoff=0.6)
        hint = f'did you mean "{near[0]}"? ' if near else ""
    return f"it is {shown(value)}", f"{hint}it must be {' or '.join(dict.fromkeys(expected))}"


def _expected(problem: ErrorDetails) -> str:
    words = _choices(problem)
    if words:
        quoted = [f'"{word}"' if re.search(r"[A-Za-z]", word) else word for word in words]
        return quoted[0] if len(quoted) == 1 else "one of " + ", ".join(quoted)
    return _WRONG_TYPE.get(problem["type"], "a value of another kind")


def _choices(problem: ErrorDetails) -> list[str]:
    if problem["type"] != "literal_error":
        return []
    expected = str(problem.get("ctx", {}).get("expected", ""))
    return _quoted_words(expected) or re.findall(r"[\w.+-]+", expected.replace(" or ", ", "))


def _unknown_key(key: Key, document: Mapping[str, Any]) -> tuple[str, str]:
    record = _record_at(key[:-1], document)
    allowed = list(record.model_fields) if record else []
    name = str(key[-1])
    near = get_close_matches(name, allowed, n=1, cutoff=0.5)
    hint = f'did you mean "{near[0]}"? ' if near else ""
    return f'unknown key "{name}"', f"{hint}known here are {', '.join(allowed)}"


def _missing(key: Key, document: Mapping[str, Any]) -> tuple[str, str]:
    name = key[-1]
    if isinstance(name, int):
        found = _value_at(key[:-1], document)
        return f"it is {shown(found)}", "it needs two lengths, from and to, such as [0.55, 1.30]"
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
    for part in loc:
        if isinstance(value, Mapping):
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
    if get_origin(annotation) in (Annotated, Union, UnionType, tuple, dict):
        return [record for entry in get_args(annotation) for record in _records_in(entry)]
    return []


def _furniture_kinds() -> list[str]:
    records = _records_in(Blueprint.model_fields["furniture"].annotation)
    return [kind for record in records for kind in get_args(record.model_fields["kind"].annotation)]


def _quoted_words(text: str) -> list[str]:
    return re.findall(r"'([^']*)'", text)


def _listed(names: Sequence[str]) -> str:
    return ", ".join(f'"{name}"' for name in names)


def _either(names: Sequence[str]) -> str:
    return " or ".join(f'"{name}"' for name in names)
