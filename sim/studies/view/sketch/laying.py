"""A form laid into a scene file: what differs is written, its comments and all else stay as they are."""

from __future__ import annotations

import math
from collections.abc import Mapping, MutableMapping, Sequence
from typing import Any, Final

import tomlkit

from sim.errors import SceneError
from sim.studies.view.sketch.form import Form, Row, first_of, is_in_a_wall
from sim.studies.view.sketch.pen import SAME_M, Pen, append, span_of, value_of
from sim.studies.view.sketch.plan import Plan, length_m, tape_text

STANDING: Final = {"stands": "stand", "desk": "desk", "built in": "built in"}
SCREEN_SIZE_M: Final = (0.61, 0.36)
"""A screen until somebody measures it: 27 inches across (our choice)."""

Table = MutableMapping[str, Any]


def laid(document: Any, before: Form, form: Form, plan: Plan, axis_above_m: Mapping[str, float]) -> bool:
    """Lay a form into a document that said `before`; returns whether anything was written.

    `axis_above_m` has, for loudspeakers that are known, how far the acoustic axis is above the bottom of the cabinet.

    Raises
    ------
    SceneError
        If something of the file cannot be changed from here.
    """
    pen = Pen(form["units"])
    if form["title"] != before["title"]:
        document["title"] = form["title"]
        pen.wrote = True
    _room(pen, document["room"], form, plan)
    _slopes(pen, document, before, form, plan)
    _openings(pen, document, form, plan)
    ear = document["listener"]["ear"]
    for key, name in (("from_front", "seat.front"), ("from_left", "seat.left"), ("up", "seat.up")):
        pen.put(ear, key, form[name])
    _second_seat(pen, document["listener"], form)
    _desk(pen, document, before, form)
    _screen(pen, document, form)
    _loudspeakers(pen, document, before, form, plan, axis_above_m)
    return pen.wrote


# The room.


def _room(pen: Pen, room: Table, form: Form, plan: Plan) -> None:
    if form["shape"] == "box" and "box" in room:
        for key in ("width", "depth", "height"):
            pen.put(room["box"], key, form[key])
        return
    if form["shape"] == "box":
        for key in ("outline", "height", "wall_names"):
            pen.drop(room, key)
        box = tomlkit.inline_table()
        for key in ("width", "depth", "height"):
            box[key] = value_of(form[key])
        room["box"] = box
        pen.wrote = True
        return
    rows = _corner_rows(form, plan, pen.units)
    outline = room.get("outline")
    if outline is not None and len(outline) == len(rows):
        for there, row in zip(outline, rows, strict=True):
            pen.put(there, "from_front", row["front"])
            pen.put(there, "from_left", row["left"])
    else:
        pen.drop(room, "box")
        room["outline"] = _outline(rows)
        pen.wrote = True
    pen.put(room, "height", form["height"])
    names = [row["wall"] for row in rows]
    if any(name.strip() for name in names) and names != list(room.get("wall_names", ())):
        room["wall_names"] = names
        pen.wrote = True
    elif not any(name.strip() for name in names):
        pen.drop(room, "wall_names")


def _corner_rows(form: Form, plan: Plan, units: str) -> Sequence[Row]:
    if form["shape"] == "outline":
        rows = form.rows["corners"]
        if not any(row.get("wall", "").strip() for row in rows):
            return rows
        return [{**row, "wall": wall} for row, wall in zip(rows, plan.walls, strict=True)]
    return [
        {"front": tape_text(front, units), "left": tape_text(left, units), "wall": wall}
        for (front, left), wall in zip(plan.corners, plan.walls, strict=True)
    ]


def _outline(rows: Sequence[Row]) -> Any:
    outline = tomlkit.array()
    for row in rows:
        corner = tomlkit.inline_table()
        corner["from_front"], corner["from_left"] = value_of(row["front"]), value_of(row["left"])
        outline.append(corner)
    outline.multiline(True)
    return outline


def _slopes(pen: Pen, document: Any, before: Form, form: Form, plan: Plan) -> None:
    old = {row["name"]: row for row in before.rows["slopes"]}
    rows = form.rows["slopes"]
    for number, row in enumerate(rows):
        known = old.get(row["name"])
        at = next((one for one in document["room"].get("slopes", ()) if one["name"] == row["name"]), None)
        if known is not None and at is not None:
            pen.word(at, "wall", row["wall"])
            pen.put(at, "starts_at_height", row["knee"])
            if any(_differ(known[key], row[key], pen.units) for key in ("knee", "run")) or (
                _differ(before["height"], form["height"], pen.units) and row["run"]
            ):
                angle = _angle(number, row, plan, pen.units)
                if abs(angle - float(at["angle_deg"])) > 0.006:
                    at["angle_deg"] = angle
                    pen.wrote = True
            continue
        table = tomlkit.table()
        table["name"], table["wall"] = row["name"] or f"{row['wall'].removesuffix(' wall')} slope", row["wall"]
        table["starts_at_height"] = value_of(row["knee"])
        table["angle_deg"] = _angle(number, row, plan, pen.units)
        append(document["room"], "slopes", table)
        pen.wrote = True


def _angle(number: int, row: Row, plan: Plan, units: str) -> float:
    where = f"slopes.{number}"
    knee, run = (length_m(f"{where}.{key}", row[key], units) for key in ("knee", "run"))
    if not 0.0 < knee < plan.height_m:
        raise SceneError(f"{where}.knee", f"it is {row['knee']}", "give less than the height of the room")
    if not run > 0.0:
        raise SceneError(f"{where}.run", f"it is {row['run']}", "give how far from that wall the ceiling is level")
    return round(math.degrees(math.atan2(plan.height_m - knee, run)), 2)


def _differ(one: str, other: str, units: str) -> bool:
    if not one.strip() or not other.strip():
        return one.strip() != other.strip()
    return abs(length_m("", one, units) - length_m("", other, units)) > SAME_M


# What is in the walls and in the room.


def _openings(pen: Pen, document: Any, form: Form, plan: Plan) -> None:
    for row in form.rows["openings"]:
        along = "from_front" if plan.runs_in_depth(row["wall"]) else "from_left"
        same = (one for one in document.get("openings", ()) if one["name"] == row["name"] and is_in_a_wall(one))
        at = next(same, None)
        if at is not None:
            pen.word(at, "kind", row["kind"])
            pen.word(at, "surface", row["wall"])
            other = "from_left" if along == "from_front" else "from_front"
            if other in at:
                pen.drop(at, other)
                at[along] = span_of(row["from"], row["to"])
            for place, (key, first) in enumerate((("from", along), ("to", along), ("low", "up"), ("high", "up"))):
                pen.put(at[first], place % 2, row[key])
            continue
        table = opening_table(row, plan, pen.units)
        append(document, "openings", table)
        pen.wrote = True


def opening_table(row: Row, plan: Plan, units: str) -> Any:
    """A window or door as a table of a file; a door swings as wide as it is, and is a way out."""
    table = tomlkit.table()
    table["name"], table["kind"], table["surface"] = row["name"], row["kind"], row["wall"]
    along = "from_front" if plan.runs_in_depth(row["wall"]) else "from_left"
    table[along], table["up"] = span_of(row["from"], row["to"]), span_of(row["low"], row["high"])
    if row["kind"] == "door":
        wide = length_m("", row["to"], units) - length_m("", row["from"], units)
        table["swing"] = value_of(tape_text(max(round(wide, 4), 0.0), units))
        table["escape"] = True
    return table


def _second_seat(pen: Pen, listener: Table, form: Form) -> None:
    if form["second"] != "yes":
        pen.drop(listener, "second_seat")
        return
    texts = {"from_front": form["second.front"], "from_left": form["second.left"], "up": form["second.up"]}
    if "second_seat" in listener:
        for key, text in texts.items():
            pen.put(listener["second_seat"]["ear"], key, text)
        return
    seat, ear = tomlkit.inline_table(), tomlkit.inline_table()
    for key, text in texts.items():
        ear[key] = value_of(text)
    seat["name"], seat["ear"] = "client", ear
    listener["second_seat"] = seat
    pen.wrote = True


def _desk(pen: Pen, document: Any, before: Form, form: Form) -> None:
    desk = first_of(document, "desk")
    if form["desk"] != "yes":
        if desk is not None and before["desk"] == "yes":  # the desk of the template of a first scene
            document["furniture"].remove(desk)
            pen.wrote = True
        return
    if desk is None:
        desk = tomlkit.table()
        desk["kind"], desk["name"] = "desk", _free_name(document, "desk")
        desk["from_front"] = span_of(form["desk.far"], form["desk.near"])
        desk["from_left"] = span_of(form["desk.left"], form["desk.right"])
        desk["top"] = value_of(form["desk.top"])
        append(document, "furniture", desk)
        pen.wrote = True
        return
    for key, names in (("from_front", ("desk.far", "desk.near")), ("from_left", ("desk.left", "desk.right"))):
        for place, name in enumerate(names):
            pen.put(desk[key], place, form[name])
    pen.put(desk, "top", form["desk.top"])


def _screen(pen: Pen, document: Any, form: Form) -> None:
    screen = first_of(document, "screen")
    if form["screen"] != "yes":
        return
    made = screen is None
    if screen is None:
        screen = tomlkit.table()
        screen["kind"], screen["name"], screen["at"] = "screen", _free_name(document, "screen"), tomlkit.inline_table()
    for key, name in (("from_front", "screen.front"), ("from_left", "screen.left"), ("up", "screen.up")):
        pen.put(screen["at"], key, form[name])
    for key in ("width", "height"):
        pen.put(screen, key, form[f"screen.{key}"])
    if made:
        append(document, "furniture", screen)


def _loudspeakers(
    pen: Pen, document: Any, before: Form, form: Form, plan: Plan, axis_above_m: Mapping[str, float]
) -> None:
    gone = {row["wall"] for row in before.rows["corners"]} - set(plan.walls)
    switched = form["monitors_on"] != before["monitors_on"] and form["monitors_on"] in STANDING
    by_name = {row["name"]: row for row in form.rows["loudspeakers"]}
    for one in document["loudspeakers"]:
        row = by_name.get(one["name"])
        if row is None:
            continue
        axis = one["acoustic_axis"]
        for key, name in (("from_front", "front"), ("from_left", "left"), ("up", "up")):
            pen.put(axis, key, row[name])
        pen.put(one, "stand_height", row["stand"])
        if form["monitors_on"] == "built in" and (switched or gone & set(one.get("built_into", ()))):
            _built_in(pen, one, row, plan)
        if not switched:
            continue
        pen.word(one, "standing", STANDING[form["monitors_on"]])
        if form["monitors_on"] == "built in":
            pen.put(axis, "up", row["up"] or form["seat.up"])
            continue
        pen.drop(one, "built_into")
        if form["monitors_on"] == "desk":
            pen.drop(axis, "up")
            pen.drop(one, "stand_height")
            continue
        pen.drop(one, "stands_on")
        pen.drop(one, "pad")
        up = row["up"] or form["seat.up"]
        pen.put(axis, "up", up)
        if one["name"] in axis_above_m and not row["stand"]:
            below = length_m("", up, pen.units) - axis_above_m[one["name"]]
            pen.put(one, "stand_height", tape_text(round(max(below, 0.05), 3), pen.units))


def _built_in(pen: Pen, one: Table, row: Row, plan: Plan) -> None:
    """A monitor with its front in the wall before it: it looks straight ahead, and nothing is below it."""
    front, left = (length_m(key, row[key], pen.units) for key in ("front", "left"))
    if (found := plan.in_front_of(front, left)) is not None:
        pen.word(one, "built_into", [found[0]])
    for key in ("stand_height", "stands_on", "pad"):
        pen.drop(one, key)
    if "toe_in_deg" not in one or one["toe_in_deg"] == "ear":
        pen.word(one, "toe_in_deg", 0)


def _free_name(document: Any, kind: str) -> str:
    taken = {item.get("name") for item in (*document.get("furniture", ()), *document["loudspeakers"])}
    return next(name for name in (kind, *(f"{kind} {n}" for n in range(2, 99))) if name not in taken)
