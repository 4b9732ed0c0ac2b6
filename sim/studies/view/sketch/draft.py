"""A draft: a form, the file it began with, and the scene that it makes or why it makes none, field by field."""

from __future__ import annotations

import math
import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any, Final

import tomlkit

from sim.blueprint.reader import SceneFile, parse_scene
from sim.blueprint.template import first_scene
from sim.blueprint.toml_text import scene_text
from sim.errors import BounceplanError, SceneError
from sim.pipeline import build
from sim.placement.built_scene import BuiltScene
from sim.studies.view.sketch.form import LENGTHS, Form, as_text, first_of, form_of
from sim.studies.view.sketch.laying import SCREEN_SIZE_M, laid
from sim.studies.view.sketch.plan import Plan, length_m, plan_of, proposal, side_of, tape_text
from sim.studies.view.sketch.tables import outlined, without

IN_A_FILE: Final = re.compile(r"^[^,]*\.toml(?:, line \d+)?(?:, |$)")
OPTIONS: Final = {
    "--box, width": "width",
    "--box, depth": "depth",
    "--box, height": "height",
    "--box": "width",
    "--cut-corner, width": "cut_width",
    "--cut-corner, depth": "cut_depth",
    "--cut-corner": "cut_corner",
    "--monitors-on": "monitors_on",
    "--model": "model",
}
KEYS: Final = {"from_front": "front", "from_left": "left", "up": "up"}


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
            str(path), "its room is a mesh", "correct the mesh where it was made; sketch knows boxes and outlines"
        )
    return Base(path.read_bytes(), _form_in(tomlkit.parse(text), scene))


def _form_in(document: Any, scene: SceneFile) -> Form:
    room = scene.blueprint.room
    height = room.box.height if room.box is not None else room.height or 0.0
    units = scene.blueprint.units
    runs = {
        slope.name: tape_text(
            round((height - slope.starts_at_height) / math.tan(math.radians(slope.angle_deg)), 3), units
        )
        for slope in room.slopes
    }
    return form_of(document.unwrap(), runs)


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
        document, before = _begun(draft, metres, plan, path)
        form = _completed(draft, before, document, plan)
        gone = draft.base is not None and bool(_gone(draft))
        wrote = laid(document, before, form, plan, axis_above_m)
        text = tomlkit.dumps(document)
        scene, built = build(parse_scene(text, path.parent, path))
        content = draft.base.raw if draft.base is not None and not wrote and not gone else text.encode()
        return Made({}, content, scene, built, plan, _form_in(tomlkit.parse(text), scene))
    except SceneError as refused:
        name = field_of(refused.where, document, draft.form)
        return Made({name: beside(refused) if name else IN_A_FILE.sub("", str(refused))}, plan=plan)
    except BounceplanError as refused:
        return Made({"": str(refused)}, plan=plan)


def _needed(draft: Draft) -> set[str]:
    """Lengths that nobody proposes: those of the room, and in a file whatever stood in it."""
    form = draft.form
    found = {name for name in form.lengths() if "." not in name or name.split(".")[0] in ("corners", "openings")}
    found |= {name for name in form.lengths() if name.split(".")[0] == "slopes"}
    return found | ({name for name in LENGTHS if draft.base.form[name]} & set(form.lengths()) if draft.base else set())


def _begun(draft: Draft, metres: dict[str, float], plan: Plan, path: Path) -> tuple[Any, Form]:
    """The document that the form is laid into, and what it says before: the file, or the template of a first scene."""
    if draft.base is not None:
        return tomlkit.parse(without(draft.base.text, _gone(draft))), draft.base.form
    form = draft.form
    proposed = proposal(form, metres, plan)
    title = form["title"] or path.resolve().parent.name
    text = first_scene(proposed.room, title=title, units=form["units"])
    if form["shape"] == "outline":
        text = outlined(text, form, plan)
    document = tomlkit.parse(text)
    before = _form_in(document, parse_scene(text, path.parent, path))
    return document, _shifted(before, proposed.shift_m, form["units"])


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
    return found


def _shifted(before: Form, shift_m: tuple[float, float], units: str) -> Form:
    """Proposed places moved along with the rectangle that they were proposed for."""
    if shift_m == (0.0, 0.0):
        return before
    ways = {"front": 0, "far": 0, "near": 0, "left": 1, "right": 1}

    def moved(key: str, text: str) -> str:
        way = ways.get(key)
        return text if way is None or not text else tape_text(length_m(key, text, units) + shift_m[way], units)

    texts = {name: moved(name.partition(".")[2], text) for name, text in before.texts.items()}
    rows = [{key: moved(key, text) for key, text in row.items()} for row in before.rows["loudspeakers"]]
    return replace(before, texts=texts).with_rows("loudspeakers", rows)


def _completed(draft: Draft, before: Form, document: Any, plan: Plan) -> Form:
    """The form as it is laid: what is not told is as proposed, and rows that are new have names of their own."""
    form = draft.form
    texts = dict(form.texts)
    if draft.base is None:
        for name, text in before.texts.items():
            if "." in name and not texts.get(name, "").strip():
                texts[name] = text
        texts["title"] = texts.get("title") or before["title"]
        rows = [
            {key: row.get(key) or was.get(key, "") for key in was}
            for row, was in zip(form.rows["loudspeakers"], before.rows["loudspeakers"], strict=True)
        ]
        form = form.with_rows("loudspeakers", rows)
        walls = [{**row, "wall": wall} for row, wall in zip(form.rows["corners"], plan.walls, strict=False)]
        form = form.with_rows("corners", walls)
    _guess(texts, form["units"])
    taken = {one.get("name") for one in document.get("openings", ())} if draft.base else set()
    form = form.with_rows("openings", _named(form, taken))
    slopes = [
        {**row, "name": row.get("name") or f"{row['wall'].removesuffix(' wall')} slope"} for row in form.rows["slopes"]
    ]
    return replace(form.with_rows("slopes", slopes), texts=texts)


def _guess(texts: dict[str, str], units: str) -> None:
    """Fill in a desk or screen that was just asked for."""

    def metres(name: str) -> float:
        return length_m(name, texts[name], units)

    def put(name: str, value_m: float) -> None:
        if not texts.get(name, "").strip():
            texts[name] = tape_text(round(value_m, 3), units)

    if texts.get("desk") == "yes" and not all(texts.get(f"desk.{key}") for key in ("far", "near", "left", "right")):
        ear, middle = metres("seat.front"), metres("seat.left")
        for name, value in (("near", ear - 0.3), ("far", ear - 1.0), ("left", middle - 0.8), ("right", middle + 0.8)):
            put(f"desk.{name}", value)
        put("desk.top", 0.74)
    if texts.get("screen") == "yes":
        on_desk = texts.get("desk") == "yes"
        put("screen.front", metres("desk.far") + 0.05 if on_desk else metres("seat.front") - 0.9)
        put("screen.left", metres("seat.left"))
        put("screen.up", metres("desk.top") + 0.12 if on_desk else metres("seat.up") - 0.2)
        for key, size in zip(("width", "height"), SCREEN_SIZE_M, strict=True):
            put(f"screen.{key}", size)


def _named(form: Form, taken: set[Any]) -> list[dict[str, str]]:
    """Openings with a name each; those without one are numbered as the template of a first scene does."""
    rows = [dict(row) for row in form.rows["openings"]]
    plain = [row for row in rows if side_of(row["wall"]) and row["kind"] in ("window", "door")]
    used = {row.get("name") for row in rows} | taken
    for row in (*plain, *(row for row in rows if row not in plain)):
        if not row.get("name"):
            kind = row["kind"]
            row["name"] = next(n for n in (kind, *(f"{kind} {i}" for i in range(2, 99))) if n not in used)
            used.add(row["name"])
    return rows


# Which field a complaint belongs to.


def beside(fault: SceneError) -> str:
    """A complaint as it stands beside its field: what was found, and what would work."""
    found = fault.found if "_" in fault.found.split(" ")[0] else f"{fault.found[:1].upper()}{fault.found[1:]}"
    return f"{found}; {fault.remedy}."


def field_of(where: str, document: Any, form: Form) -> str:
    """The field or group of fields that a complaint is about; empty where that is not clear."""
    place = IN_A_FILE.sub("", where)
    if place in OPTIONS:
        return OPTIONS[place]
    if place in form.lengths() or re.fullmatch(r"(slopes|openings|corners)\.\d+", place) or place == "corners":
        return place
    if found := re.match(r"--(slope|window|door) ?(\w*)(?:, (knee|run))?", place):
        what = "slopes" if found[1] == "slope" else "openings"
        wall, kind = f"{found[2]} wall", found[1]
        row = _row(form, what, lambda row: row["wall"] == wall and row.get("kind", "slope") == kind)
        return f"{row}.{found[3]}" if found[3] and row != what else row
    if found := re.match(r"room\.box\.(\w+)|room\.(height)", place):
        return found[1] or found[2]
    if found := re.match(r"room\.outline\[(\d+)\](?:\.(\w+))?", place):
        key = KEYS.get(found[2] or "", "")
        return f"corners.{found[1]}.{key}" if key else f"corners.{found[1]}"
    if place.startswith(("room.outline", "room.wall_names")):
        return "corners"
    if found := re.match(r"listener\.ear(?:\.(\w+))?", place):
        return f"seat.{KEYS.get(found[1] or '', 'front')}"
    if found := re.match(r"(openings|furniture|loudspeakers|room\.slopes)\[(\d+)\]", place):
        things = document["room"]["slopes"] if found[1] == "room.slopes" else document[found[1]]
        return _thing(things[int(found[2])], found[1], document, form)
    return _by_name(where, document, form)


def _thing(item: Any, kind: str, document: Any, form: Form) -> str:
    if kind == "furniture":
        for name in ("desk", "screen"):
            if first_of(document, name) == item:
                return name
        return ""
    what = kind.removeprefix("room.")
    name = as_text(item.get("name", ""))
    found = _row(form, what, lambda row: row.get("name") == name)
    if found == what:  # names are given as scenes are made: told apart by their order then
        of_kind = [n for n, row in enumerate(_named(form, set())) if row["name"] == name] if what == "openings" else []
        return f"{what}.{of_kind[0]}" if of_kind else what
    return found


def _by_name(where: str, document: Any, form: Form) -> str:
    quoted = re.search(r'"([^"]+)"', where)
    if quoted is None:
        return "seat.front" if re.match(r"(the )?(ear|listener)", where) else ""
    for kind in ("furniture", "loudspeakers", "openings"):
        for item in document.get(kind, ()):
            if item.get("name") == quoted[1]:
                return _thing(item, kind, document, form)
    for item in document.get("room", {}).get("slopes", ()):
        if item.get("name") == quoted[1]:
            return _thing(item, "room.slopes", document, form)
    return ""


def _row(form: Form, what: str, fits: Any) -> str:
    found = next((n for n, row in enumerate(form.rows[what]) if fits(row)), None)
    return what if found is None else f"{what}.{found}"
