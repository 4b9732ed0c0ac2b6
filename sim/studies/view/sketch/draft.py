"""A draft: a form, the file it began with, and the scene that it makes or why it makes none, field by field."""

from __future__ import annotations

import math
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import tomlkit
from tomlkit.exceptions import TOMLKitError

from sim.blueprint.reader import SceneFile, parse_scene
from sim.blueprint.template import first_scene
from sim.blueprint.template_parts import quoted
from sim.blueprint.toml_text import scene_text
from sim.errors import BounceplanError, SceneError
from sim.pipeline import build
from sim.placement.built_scene import BuiltScene
from sim.studies.view.sketch.complaints import IN_A_FILE, beside, field_of
from sim.studies.view.sketch.filling import completed, named
from sim.studies.view.sketch.form import BLOCKS, LENGTHS, Form, first_of, form_of
from sim.studies.view.sketch.hanging import hang, hanging_tables, heat_of, hung_in, named_blocks
from sim.studies.view.sketch.laying import laid, opening_table
from sim.studies.view.sketch.plan import Plan, is_told_first, length_m, plan_of, proposal, room_within, tape_text
from sim.studies.view.sketch.tables import furnished, opened, outlined, without


@dataclass(frozen=True, slots=True)
class Base:
    """A scene file as it was read.

    Attributes
    ----------
    raw
        The file itself.
    form
        What it says.
    """

    raw: bytes
    form: Form

    @property
    def text(self) -> str:
        """The file as text."""
        return self.raw.decode("utf-8-sig", "replace")


@dataclass(frozen=True, slots=True)
class Draft:
    """A form and what it began with: a file, or nothing."""

    form: Form
    base: Base | None = None


@dataclass(frozen=True, slots=True)
class Made:
    """What a draft makes.

    Attributes
    ----------
    faults
        Sentences by the field they belong to; "" for what belongs to none. Where there is one, of all below only the
        floor may be known.
    content
        The scene file.
    scene, built, plan
        The scene read from it, built, and its floor.
    proposed
        The form with every field filled in.
    """

    faults: Mapping[str, str] = field(default_factory=dict)
    content: bytes = b""
    scene: SceneFile | None = None
    built: BuiltScene | None = None
    plan: Plan | None = None
    proposed: Form | None = None


def base_of(path: Path) -> Base:
    """Read a scene file.

    Raises
    ------
    SceneError
        If it cannot be read, or its room is no box and no outline.
    """
    text = scene_text(path)
    scene = parse_scene(text, path.parent, path)
    if scene.blueprint.room.mesh is not None:
        raise SceneError(
            path.name, "its room is a mesh", "correct the mesh where it was made; sketch knows boxes and outlines"
        )
    _document(text)  # says what of its layout cannot be kept
    return Base(path.read_bytes(), _form_in(text, scene))


def _document(text: str) -> Any:
    """A text as a document that keeps its comments; raises SceneError for the little of TOML that it cannot keep."""
    try:
        return tomlkit.parse(text)
    except TOMLKitError as fault:
        raise SceneError(
            "file", f"its layout cannot be kept ({fault})", "write each list of tables in one place"
        ) from None


def _form_in(text: str, scene: SceneFile) -> Form:
    room = scene.blueprint.room
    height = room.box.height if room.box is not None else room.height or 0.0
    units = scene.blueprint.units
    runs = {
        slope.name: tape_text(
            round((height - slope.starts_at_height) / math.tan(math.radians(slope.angle_deg)), 3), units
        )
        for slope in room.slopes
    }
    document = tomllib.loads(text)
    return hung_in(document, form_of(document, runs))


def made(draft: Draft, path: Path, axis_above_m: Mapping[str, float]) -> Made:
    """Make the scene of a draft that will lie at a path; what cannot be is told field by field, nothing is raised."""
    form, units = draft.form, draft.form["units"]
    metres: dict[str, float] = {}
    faults: dict[str, str] = {}
    needed = _needed(draft)
    for name, text in form.lengths().items():
        if not text.strip():
            if name in needed:
                faults[name] = "A length is missing here; write one such as 3.41 or 11 ft 2 1/4 in."
            continue
        try:
            metres[name] = length_m(name, text, units)
        except SceneError as fault:
            faults[name] = beside(fault)
    if faults:
        return Made(faults)
    document: Any = {}
    plan: Plan | None = None
    try:
        plan = plan_of(form, metres)
        text = _begun(draft, metres, plan, path)
        document = _document(text)
        before = draft.base.form if draft.base is not None else _form_in(text, parse_scene(text, path.parent, path))
        form = completed(form, before, document, plan, from_file=draft.base is not None)
        gone = draft.base is not None and bool(_gone(draft))
        wrote = laid(document, before, form, plan, axis_above_m)
        if draft.base is not None:
            wrote |= hang(document, before, form, room_within(plan, form, metres))
        text = tomlkit.dumps(document)
        scene, built = build(parse_scene(text, path.parent, path))
        content = draft.base.raw if draft.base is not None and not wrote and not gone else text.encode()
        return Made({}, content, scene, built, plan, _form_in(text, scene))
    except SceneError as refused:
        name = field_of(refused.where, document, form)
        return Made({name: beside(refused) if name else IN_A_FILE.sub("", str(refused))}, plan=plan)
    except BounceplanError as refused:
        return Made({"": str(refused)}, plan=plan)


def _needed(draft: Draft) -> set[str]:
    """Lengths that nobody proposes: those of the room, and in a file whatever stood in it."""
    form = draft.form
    found = {name for name in form.lengths() if "." not in name or name.split(".")[0] in ("corners", "openings")}
    found |= {name for name in form.lengths() if name.split(".")[0] in ("slopes", *BLOCKS) and name[-4:] != ".top"}
    return found | ({name for name in LENGTHS if draft.base.form[name]} & set(form.lengths()) if draft.base else set())


def _begun(draft: Draft, metres: dict[str, float], plan: Plan, path: Path) -> str:
    """The text that the form is laid into.

    It is the file without the tables that are no more, or the template of a first scene with openings that it lacks.
    """
    if draft.base is not None:
        return without(draft.base.text, _gone(draft))
    form = draft.form
    room, layout = proposal(form, metres, plan)
    text = first_scene(room, title=form["title"] or path.resolve().parent.name, units=form["units"], layout=layout)
    if layout is not None:
        text = outlined(text, form, plan)
        ahead = plan.in_front_of(layout.front, layout.middle)
        if ahead is not None:
            text = text.replace('built_into = ["front wall"]', f"built_into = [{quoted(ahead[0])}]")
    whole = named_blocks(form, set())
    text = furnished(text, hanging_tables(whole, room_within(plan, whole, metres)))
    more = [row for row in named(form, set()) if not is_told_first(form, row)]
    return opened(text, [opening_table(row, plan, form["units"]) for row in more])


def _gone(draft: Draft) -> list[tuple[str, str]]:
    """Tables of the file that are no more: their list, and their names."""
    assert draft.base is not None
    document, before, form = tomllib.loads(draft.base.text), draft.base.form, draft.form
    found = []
    for what, key in (("slopes", "room.slopes"), ("openings", "openings")):
        now = {row.get("name") for row in form.rows[what]}
        found += [(key, row["name"]) for row in before.rows[what] if row["name"] not in now]
    for kind in ("desk", "screen"):
        item = first_of(document, kind)
        if item is not None and form[kind] != "yes":
            found.append(("furniture", item.get("name", kind)))
    clear = {one.get("name") for one in document.get("keep_clear", ())}
    for what in BLOCKS:
        now = {row.get("name") for row in form.rows[what]}
        for name in (row["name"] for row in before.rows[what] if row["name"] not in now):
            found += [("furniture", name), *([("keep_clear", heat_of(name))] if heat_of(name) in clear else [])]
    return found
