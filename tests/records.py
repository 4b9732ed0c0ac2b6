"""All records that a person can come across who uses the public functions: what these return, and what that holds."""

from __future__ import annotations

import dataclasses
import inspect
import re
from collections.abc import Callable, Iterator
from typing import Any, get_args, get_type_hints

from pydantic import BaseModel

import sim


def public_functions() -> dict[str, Callable[..., Any]]:
    return {name: getattr(sim, name) for name in sim.__all__ if inspect.isfunction(getattr(sim, name))}


def parts(annotation: Any) -> Iterator[Any]:
    """Everything that a type hint is made of."""
    yield annotation
    for inner in get_args(annotation):
        yield from parts(inner)


def ours(kind: Any) -> bool:
    return isinstance(kind, type) and kind.__module__.split(".")[0] == "sim"


def returned_types() -> set[type]:
    found = set()
    for function in public_functions().values():
        found |= {part for part in parts(get_type_hints(function)["return"]) if ours(part)}
    return found


def is_record(kind: Any) -> bool:
    return ours(kind) and (dataclasses.is_dataclass(kind) or issubclass(kind, BaseModel))


def records_within(kinds: set[type]) -> set[type]:
    """The records among the kinds, and all that their fields can hold."""
    found: set[type] = set()
    waiting = [kind for kind in kinds if is_record(kind)]
    while waiting:
        kind = waiting.pop()
        if kind in found:
            continue
        found.add(kind)
        for name, hint in get_type_hints(kind).items():
            if not name.startswith("_"):
                waiting += [part for part in parts(hint) if is_record(part)]
    return found


def documented_fields(kind: type) -> set[str]:
    """Names below "Attributes" in a docstring that have a text of their own."""
    _, _, below = inspect.cleandoc(kind.__doc__ or "").partition("Attributes\n----------\n")
    found: set[str] = set()
    for names in re.findall(r"^(\w[\w, ]*)\n {4}\S", below, flags=re.MULTILINE):
        found |= {name.strip() for name in names.split(",")}
    return found
