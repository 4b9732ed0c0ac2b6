from __future__ import annotations

import json
from pathlib import Path

import pytest

from sim.blueprint.reader import parse_scene, read_scene
from sim.blueprint.schema import Blueprint
from sim.blueprint.template import new_scene
from sim.blueprint.writing import json_schema_text, schema, to_toml
from tests.blueprint.scene_texts import TEN_LINES

PROJECT = Path(__file__).resolve().parents[2]
SCENES = sorted((PROJECT / "scenes").glob("*/scene.toml"))


@pytest.mark.parametrize("path", SCENES, ids=lambda path: path.parent.name)
def test_a_scene_survives_writing_and_reading(path: Path) -> None:
    scene = read_scene(path)
    again = parse_scene(to_toml(scene.blueprint), scene.folder)
    assert again.blueprint == scene.blueprint
    assert again.defaulted == scene.defaulted


@pytest.mark.parametrize("units", ["cm", "mm", "in", "ft"])
def test_other_units_are_written_as_metres(units: str, tmp_path: Path) -> None:
    read = parse_scene(new_scene(3.4, 4.2, 2.4, title="inches", units=units), tmp_path).blueprint
    again = parse_scene(to_toml(read), tmp_path).blueprint
    assert again.units == "m"
    assert again.model_copy(update={"units": units}) == read


def test_a_changed_value_is_written_even_when_it_was_a_default(tmp_path: Path) -> None:
    read = parse_scene(TEN_LINES, tmp_path).blueprint
    colder = read.model_copy(update={"air": read.air.model_copy(update={"temperature_c": 5.0})})
    assert parse_scene(to_toml(colder), tmp_path).blueprint == colder


def test_the_schema_in_the_reference_is_current() -> None:
    """Write it anew with: bounceplan schema > docs/reference/scene.schema.json"""
    kept = (PROJECT / "docs" / "reference" / "scene.schema.json").read_text(encoding="utf-8")
    assert kept == json_schema_text()


def test_the_schema_knows_every_section_and_refuses_unknown_keys() -> None:
    described = schema()
    assert set(described["properties"]) == set(Blueprint.model_fields)
    records = [record for record in described["$defs"].values() if record["type"] == "object"]
    assert records
    assert all(record["additionalProperties"] is False for record in [described, *records])
    assert described["required"] == ["room", "listener", "loudspeakers"]
    assert json.loads(json_schema_text()) == described


def test_the_schema_takes_a_length_as_number_or_text() -> None:
    width = schema()["$defs"]["BoxRoom"]["properties"]["width"]
    assert [choice["type"] for choice in width["anyOf"]] == ["number", "string"]
    assert width["anyOf"][0]["exclusiveMinimum"] == 0.0
