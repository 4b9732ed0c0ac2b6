"""A setting as a scene file: the file it began with, its comments and layout kept, with other numbers in it."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Final

from sim.errors import OutputError
from sim.layouts.fields import find_field
from sim.layouts.written_back import place_in_file, text_with
from sim.machine.whole_files import write_whole
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
    if not state.values:
        return state.base.raw
    read, changed = state.base.scene, state.scene.blueprint
    places = []
    for name in state.values:
        held = find_field(read.blueprint, name, tied=False)
        places.append((name, place_in_file(held.places[0], held.rules[0]), held.kind == "length"))
    return text_with(state.base.text, read, changed, places).encode()


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
