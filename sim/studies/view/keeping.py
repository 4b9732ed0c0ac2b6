"""A setting as a scene file: the file it began with, its comments and layout kept, with other numbers in it."""

from __future__ import annotations

import re
from collections.abc import MutableMapping
from dataclasses import replace
from pathlib import Path
from typing import Any, Final

import tomlkit

from sim.blueprint.reader import SceneFile, parse_scene
from sim.blueprint.treatment import Panel
from sim.errors import BounceplanError, OutputError
from sim.layouts.fields import find_field
from sim.layouts.written_back import place_in_file, plain_number, text_with
from sim.machine.whole_files import write_whole
from sim.showing.numbers import in_unit
from sim.studies.view.edits import panel_of
from sim.studies.view.state import State

NAME: Final = re.compile(r"[A-Za-z0-9][A-Za-z0-9 _.-]{0,60}")
"""Names that a variant may have: a plain file name of its own on every system."""


def file_bytes(state: State) -> bytes:
    """Return the setting as a scene file; with nothing changed it is the file itself, byte for byte.

    Raises
    ------
    BounceplanError
        If the file cannot be written back so that it says the same.
    """
    read, changed = state.ground, state.scene.blueprint
    if not state.values and not state.edits and _plays_alike(state):
        return state.base.raw
    places = []
    for name in state.values:
        held = find_field(read.blueprint, name, tied=False)
        places.append((name, place_in_file(held.places[0], held.rules[0]), held.kind == "length"))
    document = tomlkit.parse(state.base.text)
    _hang(document, state)
    text = text_with(tomlkit.dumps(document), read, changed, places)
    again = parse_scene(text, read.folder, read.path).blueprint
    if [one.name for one in again.panels] != [one.name for one in changed.panels]:
        raise BounceplanError(f"panels: they cannot be written into {read.path.name}; change it there by hand.")
    return text.encode()


def as_filed(state: State) -> SceneFile:
    """The scene as the file of the setting says it, lengths in its unit and all; the setting's own where it cannot.

    What is traced of it is then, to the last bit, what a command traces of the file once it is written.
    """
    base = state.base.scene
    if not state.values and not state.edits:
        return base
    try:
        filed = parse_scene(file_bytes(state).decode(), base.folder, base.path)
    except BounceplanError:
        return state.scene
    return replace(filed, digest=base.digest)


def _plays_alike(state: State) -> bool:
    """Whether the file itself says which set of monitors plays."""
    plays = state.base.scene.blueprint.plays
    return not plays or tomlkit.parse(state.base.text).get("plays") == plays


def _hang(document: MutableMapping[str, Any], state: State) -> None:
    """Take panels out of the document and add those that were hung, each a table of its own."""
    if not state.edits:
        return
    blueprint = state.base.scene.blueprint
    there: Any = document.get("panels")
    for name in state.edits.taken if there is not None else ():
        for number, one in enumerate(list(there)):
            if one.get("name") == name:
                del there[number]
                break
    if there is not None and not len(there):
        del document["panels"]
        there = None
    if not state.edits.hung:
        return
    if there is None:
        document["panels"] = there = tomlkit.aot()
    inline = not isinstance(there, tomlkit.items.AoT)
    for hung in state.edits.hung:
        table = tomlkit.inline_table() if inline else tomlkit.table()
        for key, value in _panel_keys(panel_of(blueprint, hung), blueprint.units).items():
            table[key] = value
        there.append(table)


def _panel_keys(panel: Panel, units: str) -> dict[str, Any]:
    """What a file says of a panel that was hung; nobody has said yet how one over heads is fixed, so it does not."""
    spans = {key: getattr(panel, key) for key in ("from_front", "from_left", "up")}
    given: dict[str, Any] = {"name": panel.name, "surface": panel.surface}
    given |= {key: [plain_number(in_unit(end, units), None) for end in span] for key, span in spans.items() if span}
    given["material"] = panel.material
    if panel.gap > 0.0:
        given["gap"] = plain_number(in_unit(panel.gap, units), None)
    if panel.movable:
        given["movable"] = True
    if panel.held_by != "surface":
        given["held_by"] = panel.held_by
    return given | {key: value for key in ("mass_kg", "price") if (value := getattr(panel, key)) is not None}


def variant_path(state: State, name: str) -> Path:
    """Where a variant of this name lies: beside the scene it began with.

    Raises
    ------
    OutputError
        For a name that is no plain file name.
    """
    plain = name.strip().removesuffix(".toml").strip()
    if not NAME.fullmatch(plain) or plain.endswith("."):
        raise OutputError(
            f'"{plain[:40]}": a variant needs a plain name of letters, digits, blanks, "-" and "_"; give it another.'
        )
    return state.base.scene.path.parent / f"{plain}.toml"


def keep(state: State, name: str, *, ours: frozenset[Path]) -> Path:
    """Write a setting as a variant beside its scene; one that was written from here before is replaced, none else.

    Raises
    ------
    BounceplanError
        If it cannot be written, or a file of this name is there.
    """
    path = variant_path(state, name)
    if path.exists() and path not in ours:
        raise OutputError(f"{path.name} is there already and was not kept from here; give another name.")
    return write_whole(path, file_bytes(state), "the variant")
