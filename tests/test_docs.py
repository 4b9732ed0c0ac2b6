"""Documents and code cannot drift apart."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path
from typing import Any, Literal, get_args, get_origin

import pytest
from pydantic import BaseModel

from sim.acoustics.materials import library
from sim.blueprint import furniture, records, room, schema
from sim.blueprint.reader import parse_scene
from sim.blueprint.units import text_to_metres
from sim.cli import parser
from sim.pipeline import trace_scene

HOME = Path(__file__).resolve().parent.parent
PAGES = sorted([*HOME.glob("*.md"), *(HOME / "docs").rglob("*.md"), *(HOME / "scenes").rglob("*.md")])


def commands() -> list[str]:
    choices = next(action.choices for action in parser()._actions if action.dest == "command")
    assert isinstance(choices, dict)
    return list(choices)


def test_every_command_is_documented_and_every_documented_command_exists() -> None:
    page = (HOME / "docs" / "reference" / "commands.md").read_text(encoding="utf-8")
    documented = set(re.findall(r"^## `bounceplan (\w+)", page, flags=re.MULTILINE))
    assert documented == set(commands())


def test_every_option_is_documented() -> None:
    page = (HOME / "docs" / "reference" / "commands.md").read_text(encoding="utf-8")
    choices = next(action.choices for action in parser()._actions if action.dest == "command")
    for command in choices.values():
        for action in command._actions:
            for option in action.option_strings:
                if option.startswith("--") and option != "--help":
                    assert f"`{option}" in page, option


@pytest.mark.parametrize("page", PAGES, ids=lambda p: str(p.relative_to(HOME)))
def test_links_lead_somewhere(page: Path) -> None:
    for target in re.findall(r"\]\(([^)#]+)(?:#[^)]*)?\)", page.read_text(encoding="utf-8")):
        if not target.startswith("http"):
            assert (page.parent / target).exists(), target


@pytest.mark.parametrize("page", PAGES, ids=lambda p: str(p.relative_to(HOME)))
def test_commands_in_pages_can_be_parsed(page: Path) -> None:
    """Every line of a code block that starts with `bounceplan` names a command and options that exist."""
    blocks = re.findall(r"```\w*\n(.*?)```", page.read_text(encoding="utf-8"), flags=re.DOTALL)
    for line in "\n".join(blocks).splitlines():
        if line.startswith("bounceplan ") and "..." not in line and "--version" not in line:
            parser().parse_args(line.split("#")[0].split()[1:])


SCENE_PAGE = HOME / "docs" / "reference" / "scene-files.md"
RECORDS: dict[str, type[BaseModel]] = {
    "At the top of the file": schema.Blueprint,
    "`[room]`": room.Room,
    "`box`": room.BoxRoom,
    "Corners of `outline`": records.FloorCorner,
    "`[[room.slopes]]`": room.Slope,
    "`frame`": records.MeshFrame,
    "`[[room.tape]]`": records.TapeCheck,
    "`side_check`": records.SideCheck,
    "`[[room.surfaces]]`": records.NamedSurface,
    "Points": records.Point,
    "`[listener]`": schema.Listener,
    "`head_box`": schema.HeadBox,
    "`second_seat`": room.SecondSeat,
    "`[[loudspeakers]]`": schema.Loudspeaker,
    "`acoustic_axis`": records.AxisPoint,
    '`[models."a name"]`': schema.LoudspeakerModel,
    '`kind = "desk"`': furniture.Desk,
    '`kind = "shelf"`, `"bridge"`, `"rack"`, `"cupboard"`, `"beam"` or `"block"`': furniture.Block,
    '`kind = "screen"`': furniture.Screen,
    '`kind = "sofa"`': furniture.Sofa,
    '`kind = "mesh"`': furniture.MeshFurniture,
    "`[[openings]]`": room.Opening,
    "`[[keep_clear]]`": room.KeepClear,
    '`[materials."a name"]`': schema.MaterialRecord,
    "`[air]`": schema.AirRecord,
    "`[target]`": schema.Target,
    "`[method]`": schema.Method,
}
"""Which section of the page on scene files describes which record."""


def documented_keys(heading: str) -> dict[str, str]:
    """Keys of the table below a heading, each with what stands in the column of defaults."""
    page = SCENE_PAGE.read_text(encoding="utf-8")
    section = re.split(r"^#+ ", page.split(f"# {heading}\n", 1)[1], maxsplit=1, flags=re.MULTILINE)[0]
    return dict(re.findall(r"^\| `(\w+)` \| [^|]+ \| ([^|]+) \| [^|]+ \|$", section, flags=re.MULTILINE))


def records_below(record: type[BaseModel]) -> set[type[BaseModel]]:
    """All records that a record can hold, itself included."""
    found = {record}
    waiting: list[Any] = [field.annotation for field in record.model_fields.values()]
    while waiting:
        annotation = waiting.pop()
        if isinstance(annotation, type) and issubclass(annotation, BaseModel):
            if annotation not in found:
                found |= records_below(annotation)
        else:
            waiting.extend(get_args(annotation))
    return found


def test_every_record_of_a_scene_has_a_section() -> None:
    assert records_below(schema.Blueprint) == set(RECORDS.values())


@pytest.mark.parametrize("heading", RECORDS)
def test_every_key_of_a_scene_is_documented_with_its_default(heading: str) -> None:
    fields = RECORDS[heading].model_fields
    told = documented_keys(heading)
    assert set(told) == set(fields)
    for key, field in fields.items():
        default = field.get_default(call_default_factory=True)
        if field.is_required():
            assert told[key] == "needed", key
        elif default in (None, (), {}) or isinstance(default, BaseModel):
            assert told[key] == "-", key
        else:
            value = tomllib.loads(f"value = {told[key].strip('`')}")["value"]
            if isinstance(value, str) and isinstance(default, float):
                value = text_to_metres(value)
            assert value == (list(default) if isinstance(default, tuple) else default), key


@pytest.mark.parametrize("heading", RECORDS)
def test_every_choice_of_a_key_is_documented(heading: str) -> None:
    """A word that a key may take stands somewhere in its row or in its heading."""
    page = SCENE_PAGE.read_text(encoding="utf-8")
    section = heading + re.split(r"^#+ ", page.split(f"# {heading}\n", 1)[1], maxsplit=1, flags=re.MULTILINE)[0]
    for key, field in RECORDS[heading].model_fields.items():
        row = re.search(rf"^\| `{key}` .*$", section, flags=re.MULTILINE)
        assert row, key
        for choice in literals(field.annotation):
            if not re.fullmatch(r"[+-][xyz]", str(choice)):
                assert re.search(rf"\b{re.escape(str(choice))}\b", heading + row.group()), (key, choice)


def literals(annotation: Any) -> list[Any]:
    if get_origin(annotation) is Literal:
        return list(get_args(annotation))
    return [choice for inner in get_args(annotation) for choice in literals(inner)]


def test_every_material_is_documented() -> None:
    page = SCENE_PAGE.read_text(encoding="utf-8")
    for name in library():
        assert f"`{name}`" in page, name


def test_the_shortest_scene_has_ten_lines_and_runs() -> None:
    (example,) = re.findall(r"```toml\n(.*?)```", SCENE_PAGE.read_text(encoding="utf-8"), flags=re.DOTALL)
    assert len(example.splitlines()) == 10
    results = trace_scene(parse_scene(example, Path("nowhere")), order=1)
    assert {arrival.way for arrival in results.responses.arrivals if arrival.loudspeaker == "left"} >= {
        "left wall", "right wall", "ceiling", "floor", "rear wall"
    }  # fmt: skip
