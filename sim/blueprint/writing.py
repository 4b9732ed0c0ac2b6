"""Write a scene back as TOML, its JSON Schema, and which of its keys hold lengths."""

from __future__ import annotations

import json
import shutil
from functools import cache
from pathlib import Path
from typing import Any

import tomli_w

from sim.blueprint.named_files import named_files
from sim.blueprint.schema import Blueprint


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


# Write a scene back as TOML, and the JSON Schema that lets an editor complete and check scene files.


def to_toml(blueprint: Blueprint) -> str:
    """Return the scene as TOML in metres; what was left to its default is left out again.

    Reading the text gives an equal blueprint, save that its `units` are "m".
    """
    document = blueprint.model_dump(exclude_unset=True, exclude_none=True)
    return tomli_w.dumps({"title": blueprint.title, **document, "units": "m"})


def schema() -> dict[str, Any]:
    """Return the JSON Schema (draft 2020-12) of a scene file.

    It knows keys, types and ranges.  What needs more than one key, such as a desk that a loudspeaker stands on,
    is checked only when the scene is read.
    """
    described = {"$schema": "https://json-schema.org/draft/2020-12/schema", "title": "bounceplan scene"}
    return {**described, **_without_titles(Blueprint.model_json_schema())}


def json_schema_text() -> str:
    """Return the JSON Schema as text, the same for every run."""
    return json.dumps(schema(), indent=2, ensure_ascii=False) + "\n"


def _without_titles(part: Any) -> Any:
    """Drop the titles made from key names, which only repeat the key; a key called "title" has a table below."""
    if isinstance(part, dict):
        return {
            key: _without_titles(value) for key, value in part.items() if key != "title" or not isinstance(value, str)
        }
    return [_without_titles(value) for value in part] if isinstance(part, list) else part


def copy_named_files(blueprint: Blueprint, folder: Path, home: Path) -> None:
    """Copy the files that a scene names in `folder` to the same places in `home`; raises OSError."""
    for named in named_files(blueprint, folder):
        beside = home / named.relative_to(folder)
        beside.parent.mkdir(parents=True, exist_ok=True)
        shutil.copyfile(named, beside)
