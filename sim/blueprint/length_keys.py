"""Which keys of a scene file hold lengths, read off the records themselves so that no list of them can go stale."""

from __future__ import annotations

from functools import cache
from typing import Any

from .schema import Blueprint


def is_length(key: str) -> bool:
    """Whether numbers under a key are lengths, which have the unit of the scene; a key means the same everywhere."""
    return key in _length_keys()


@cache
def _length_keys() -> frozenset[str]:
    schema = Blueprint.model_json_schema()
    records = (schema, *schema["$defs"].values())
    return frozenset(
        key for record in records for key, value in record.get("properties", {}).items() if _holds_length(value)
    )


def _holds_length(value: Any) -> bool:
    """Whether a length is among what a value may be: it is what takes a text with a unit, told by a pattern."""
    if isinstance(value, dict):
        return "pattern" in value or any(_holds_length(inner) for inner in value.values())
    return isinstance(value, list) and any(_holds_length(inner) for inner in value)
