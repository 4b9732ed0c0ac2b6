from __future__ import annotations

import tomllib
from typing import Any

from hypothesis import given
from hypothesis import strategies as st

from sim.blueprint.toml_text import Key, Locations, dotted, key_lines

TEXT = '''# first
title = "a # [no] { comment }"

[room]
box = { width = 3.4, depth = 4.2, height = 2.4 }
outline = [
  { from_front = 0, from_left = 0 },   # corner
  { from_front = 0, from_left = 3 }
]
materials = { "front wall" = "brick", rear.wall = 'x' }
notes = """
[not a table]
key = 1
"""

[[loudspeakers]]
name = "left"
acoustic_axis.up = 1.2

[[loudspeakers]]
name = "right"

[loudspeakers.acoustic_axis]
up = 1.3

[models."five inch"]
width = 0.2
'''


def test_lines_of_keys_tables_and_items() -> None:
    lines = key_lines(TEXT)
    text_lines = TEXT.splitlines()

    def line(part: str, nth: int = 0) -> int:
        return [number for number, text in enumerate(text_lines, 1) if part in text][nth]

    assert lines["title",] == 2
    assert lines["room",] == 4
    assert lines["room", "box", "height"] == 5
    assert lines["room", "outline", 1, "from_left"] == line("from_left = 3")
    assert lines["room", "materials", "front wall"] == line("materials")
    assert lines["room", "materials", "rear", "wall"] == line("materials")
    assert ("not a table",) not in lines
    assert ("room", "key") not in lines
    assert lines["loudspeakers", 0, "acoustic_axis", "up"] == line("acoustic_axis.up")
    assert lines["loudspeakers", 1] == line("[[loudspeakers]]", 1)
    assert lines["loudspeakers", 1, "acoustic_axis", "up"] == line("up = 1.3")
    assert lines["models", "five inch", "width"] == line("width = 0.2")


def test_an_unknown_key_falls_back_to_its_table() -> None:
    locations = Locations("scene.toml", key_lines(TEXT))
    assert locations.where("room", "box", "widht") == "scene.toml, line 5, room.box.widht"
    assert locations.where("nothing") == "scene.toml, nothing"
    assert locations.where() == "scene.toml"


def test_keys_are_written_as_people_read_them() -> None:
    assert dotted(("furniture", 0, "from_front", 1)) == "furniture[0].from_front[1]"


names = st.text(st.characters(codec="ascii", min_codepoint=97, max_codepoint=122), min_size=1, max_size=4)
plain = st.one_of(
    st.integers(-99, 99),
    st.floats(-9, 9),
    st.booleans(),
    st.text(st.characters(codec="utf-8", exclude_categories=["C"])),
)
values = st.recursive(
    plain, lambda inner: st.lists(inner, max_size=3) | st.dictionaries(names, inner, max_size=3), max_leaves=8
)


def written(value: Any, newline: str) -> str:
    """Write a value as TOML on its own; lists may run over lines."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return '"' + value.replace("\\", "\\\\").replace('"', '\\"') + '"'
    if isinstance(value, list):
        return "[" + newline + ("," + newline).join(written(entry, newline) for entry in value) + "]"
    if isinstance(value, dict):
        return "{" + ", ".join(f"{key} = {written(entry, '')}" for key, entry in value.items()) + "}"
    return repr(value)


def all_keys(value: Any, key: Key = ()) -> set[Key]:
    inner = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    found = {key} if key else set()
    for part, entry in inner:
        found |= all_keys(entry, (*key, part))
    return found


@given(st.dictionaries(names, values, min_size=1, max_size=4), st.sampled_from(["", "\n", "  # [x] = {\n"]))
def test_every_key_of_any_document_is_found_on_its_line(document: dict[str, Any], newline: str) -> None:
    text, first_lines = "", {}
    for key, value in document.items():
        first_lines[key] = text.count("\n") + 1
        text += f"{key} = {written(value, newline)}\n"
    assert all_keys(tomllib.loads(text)) == all_keys(document)
    lines = key_lines(text)
    assert set(lines) == all_keys(document)
    assert {key: lines[(key,)] for key in document} == first_lines
