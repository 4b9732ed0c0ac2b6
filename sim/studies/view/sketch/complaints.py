"""Which field a complaint belongs to: the program names options, keys of a file or things; the form has fields."""

from __future__ import annotations

import re
from typing import Any, Final

from sim.errors import SceneError
from sim.studies.view.sketch.filling import named
from sim.studies.view.sketch.form import BLOCKS, Form, as_text, first_of

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


def beside(fault: SceneError) -> str:
    """A complaint as it stands beside its field: what was found, and what would work."""
    found = fault.found if "_" in fault.found.split(" ")[0] else f"{fault.found[:1].upper()}{fault.found[1:]}"
    return f"{found}; {fault.remedy}."


def field_of(where: str, document: Any, form: Form) -> str:
    """The field or group of fields that a complaint is about; empty where that is not clear."""
    place = IN_A_FILE.sub("", where)
    if place in OPTIONS:
        return OPTIONS[place]
    if (
        place in form.lengths()
        or re.fullmatch(r"(slopes|openings|corners|beams|radiators)\.\d+", place)
        or place == "corners"
    ):
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
    if place.startswith("listener.second_seat"):
        return "second"
    if found := re.match(r"(openings|furniture|loudspeakers|room\.slopes)\[(\d+)\]", place):
        home = document.get("room", {}) if found[1] == "room.slopes" else document
        things = home.get(found[1].removeprefix("room."), ())
        return _thing(things[int(found[2])], found[1], document, form) if int(found[2]) < len(things) else ""
    return _by_name(where, document, form)


def _thing(item: Any, kind: str, document: Any, form: Form) -> str:
    if kind == "furniture":
        for name in ("desk", "screen"):
            if first_of(document, name) == item:
                return name
        name = item.get("name", item.get("kind"))
        rows = [f"{what}.{n}" for what in BLOCKS for n, row in enumerate(form.rows[what]) if row.get("name") == name]
        return rows[0] if rows else ""
    what = kind.removeprefix("room.")
    name = as_text(item.get("name", ""))
    found = _row(form, what, lambda row: row.get("name") == name)
    if found == what:  # names are given as scenes are made: told apart by their order then
        of_kind = [n for n, row in enumerate(named(form, set())) if row["name"] == name] if what == "openings" else []
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
