"""Beams and radiators of a form: read from a file, placed in the room, written as the template of a scene has them."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import replace
from typing import Any, Final

import tomlkit

from sim.blueprint.first_places import FirstBlock, along_wall, beam_block, radiator_block
from sim.blueprint.first_room import FirstBeam, FirstRadiator, FirstRoom, refuse_impossible
from sim.blueprint.template_parts import FREE_AT_RADIATOR_M
from sim.errors import SceneError
from sim.studies.view.sketch.form import BLOCKS, Form, Row, as_text
from sim.studies.view.sketch.pen import Pen, append, span_of, value_of
from sim.studies.view.sketch.plan import length_m, plan_of, room_within, tape_text

SAME_PLACE_M: Final = 0.003
"""What a file rounds to: an end that is this near to where it would be is there."""
_RADIATOR: Final = re.compile(r"radiator( \d+)?")
_KINDS: Final = {"beams": ("beam", "beam", "mdf or veneered board"), "radiators": ("radiator", "block", "rigid")}
"""For each list what a thing is called, and its kind and material in a file, as the template of a scene has them."""
Spans = Mapping[str, tuple[str, str]]


def room_of(form: Form) -> FirstRoom:
    """The room of a form without anything in it, to hang things in; raises SceneError where a length is none."""
    units = form["units"]
    metres = {name: length_m(name, text, units) for name, text in form.lengths().items() if text.strip()}
    return room_within(plan_of(form, metres), form, metres)


def _side(wall: str) -> str:
    return wall.replace(" wall", "", 1)


# From a file.


def hung_in(document: Mapping[str, Any], form: Form) -> Form:
    """The form with rows of the beams and radiators of a file; what is turned or leans on no wall is no part of it."""
    room, units = room_of(form), form["units"]
    rows: dict[str, list[Row]] = {what: [] for what in BLOCKS}
    for item in document.get("furniture", ()):
        if item.get("kind") == "beam" and not item.get("turn_deg"):
            rows["beams"].append(_beam_row(item, room, units))
        elif is_radiator(str(item.get("kind")), str(item.get("name", ""))):
            rows["radiators"] += _radiator_rows(item, room, units)
    for what, found in rows.items():
        form = form.with_rows(what, found)
    return form


def _beam_row(item: Mapping[str, Any], room: FirstRoom, units: str) -> Row:
    front, left, (under, top) = (item[key] for key in ("from_front", "from_left", "up"))
    across = _long_m(left, units) >= _long_m(front, units)
    faces = front if across else left
    texts = {"direction": "across" if across else "along", "from": faces[0], "to": faces[1], "under": under}
    row = {"name": item.get("name", "beam"), **{key: as_text(value) for key, value in texts.items()}, "top": ""}
    with suppress(SceneError):
        if abs(_block("beams", row, room, units).up_m[1] - _metres(top, units)) < SAME_PLACE_M:
            return row
    return {**row, "top": as_text(top)}


def _radiator_rows(item: Mapping[str, Any], room: FirstRoom, units: str) -> list[Row]:
    """The row of a radiator on the wall that it is on, in a corner the one along it; none where it is on no wall."""
    found: list[tuple[float, Row]] = []
    given = {key: tuple(_metres(end, units) for end in item[key]) for key in ("from_front", "from_left", "up")}
    middle = [0.5 * sum(given[key]) for key in ("from_front", "from_left")]
    name = str(item["name"])
    for wall, *_ in room.outline():
        _, start, end = room.wall(_side(wall))
        key, _ = along_wall(room, _side(wall), (0.0, 0.0))
        axis = ("from_front", "from_left").index(key)
        thick_m = _length(given["from_left" if axis == 0 else "from_front"])
        unit = [(end[n] - start[n]) / math.dist(start, end) for n in (0, 1)]
        at = start[axis] + unit[axis] * sum((middle[n] - start[n]) * unit[n] for n in (0, 1))
        half = 0.5 * _length(given[key]) * unit[axis]
        texts = {"from": tape_text(at - half, units), "to": tape_text(at + half, units)}
        if abs(unit[1 - axis]) < 1e-9:
            texts = {"from": as_text(item[key][0]), "to": as_text(item[key][1])}
        texts |= {"low": as_text(item["up"][0]), "high": as_text(item["up"][1]), "face": tape_text(thick_m, units)}
        row = {"name": name, "wall": wall, **texts}
        try:
            block = _block("radiators", row, room, units)
        except SceneError:
            continue
        spans = {"from_front": block.from_front_m, "from_left": block.from_left_m}
        near = (abs(a - b) < SAME_PLACE_M for key, span in spans.items() for a, b in zip(span, given[key], strict=True))
        if all(near) and abs(block.turn_deg - float(item.get("turn_deg", 0.0))) < 0.1:
            found.append((thick_m, row))
    return [row for _, row in sorted(found, key=lambda one: one[0])[:1]]


def is_radiator(kind: str, name: str) -> bool:
    """Whether a piece of furniture is what `new` writes for a radiator."""
    return kind == "block" and _RADIATOR.fullmatch(name) is not None


def _metres(value: Any, units: str) -> float:
    return length_m("", as_text(value), units)


def _long_m(span: Sequence[Any], units: str) -> float:
    return _length([_metres(end, units) for end in span])


def _length(span: Sequence[float]) -> float:
    return span[1] - span[0]


# Into a room.


def _given(what: str, row: Row, room: FirstRoom, units: str) -> FirstBeam | FirstRadiator:
    """A row in metres; along a wall a radiator counts from where the wall begins, as a first room has it."""
    metres = {key: length_m(key, text, units) for key in BLOCKS[what] if (text := row.get(key, "")).strip()}
    if what == "beams":
        return FirstBeam(row["direction"], (metres["from"], metres["to"]), metres["under"], metres.get("top"))
    if row["wall"] not in {name for name, *_ in room.outline()}:
        raise SceneError("--radiator", f'no wall is called "{row["wall"]}"', "choose one of the list")
    side = _side(row["wall"])
    _, start, end = room.wall(side)
    axis = ("from_front", "from_left").index(along_wall(room, side, (0.0, 0.0))[0])
    times = math.dist(start, end) / (end[axis] - start[axis])
    if not start[axis] - SAME_PLACE_M <= metres["from"] < metres["to"] <= end[axis] + SAME_PLACE_M:
        raise SceneError(
            "--radiator",
            f"it runs from {row['from']} to {row['to']}",
            f"give the lower end first, between {tape_text(start[axis], units)} and {tape_text(end[axis], units)},"
            f" where the {row['wall']} is",
        )
    low, high = (max((metres[key] - start[axis]) * times, 0.0) for key in ("from", "to"))
    return FirstRadiator(side, (low, high), (metres["low"], metres["high"]), metres["face"])


def _block(what: str, row: Row, room: FirstRoom, units: str) -> FirstBlock:
    given = _given(what, row, room, units)
    return beam_block(room, given) if isinstance(given, FirstBeam) else radiator_block(room, given)


def _checked(what: str, number: int, row: Row, room: FirstRoom, units: str) -> FirstBlock:
    """The box of a row, refused in the words of `new` and beside the row."""
    try:
        given = _given(what, row, room, units)
        key = "beams" if isinstance(given, FirstBeam) else "radiators"
        refuse_impossible(replace(room, slopes=(), **{key: (given,)}))  # type: ignore[arg-type]
        return _block(what, row, room, units)
    except SceneError as fault:
        if fault.where.startswith("the room"):  # smaller than a first room may be, as a file may have it
            return _block(what, row, room, units)
        key = next((BLOCKS[what][n] for n, end in ((2, "underside"), (4, "depth")) if fault.where.endswith(end)), "")
        raise SceneError(f"{what}.{number}{'.' * bool(key)}{key}", fault.found, fault.remedy) from None


def _spans(what: str, row: Row, block: FirstBlock, units: str) -> Spans:
    """The three spans of a box as texts: just as they were typed, where they were."""
    found = {
        key: (tape_text(round(low, 4), units), tape_text(round(high, 4), units))
        for key, (low, high) in zip(
            ("from_front", "from_left", "up"), (block.from_front_m, block.from_left_m, block.up_m), strict=True
        )
    }
    typed = (row["from"], row["to"])
    if what == "beams":
        found["from_front" if row["direction"] == "across" else "from_left"] = typed
        found["up"] = (row["under"], row.get("top", "").strip() or found["up"][1])
        return found
    found["up"] = (row["low"], row["high"])
    if block.turn_deg == 0.0:
        for key in ("from_front", "from_left"):
            if all(
                abs(length_m("", a, units) - length_m("", b, units)) < SAME_PLACE_M
                for a, b in zip(found[key], typed, strict=True)
            ):
                found[key] = typed
    return found


# Into a file.


def hanging_tables(form: Form, room: FirstRoom) -> list[tuple[str, Any]]:
    """Tables of all beams and radiators, each with the list that it belongs to.

    Raises
    ------
    SceneError
        If one has no place in the room.
    """
    units, found = form["units"], []
    for what in BLOCKS:
        for number, row in enumerate(form.rows[what]):
            found += _tables(what, row, _checked(what, number, row, room, units), units)
    return found


def _tables(what: str, row: Row, block: FirstBlock, units: str) -> list[tuple[str, Any]]:
    _, kind, material = _KINDS[what]
    table = tomlkit.table()
    table["kind"], table["name"] = kind, row["name"]
    for key, span in _spans(what, row, block, units).items():
        table[key] = span_of(*span)
    if block.turn_deg:
        table["turn_deg"] = block.turn_deg
    table["material"] = material
    if what == "beams":
        return [("furniture", table)]
    clear = tomlkit.table()
    clear["name"], clear["kind"] = heat_of(row["name"]), "heater"
    for key, span in _around(row, block, units).items():
        clear[key] = span_of(*span)
    clear["clearance"] = value_of(tape_text(FREE_AT_RADIATOR_M, units))
    return [("furniture", table), ("keep_clear", clear)]


def heat_of(name: str) -> str:
    """What the place to keep clear round a radiator is called."""
    return f"heat of {name}"


def _around(row: Row, block: FirstBlock, units: str) -> Spans:
    ahead, across = block.around_m
    around = replace(block, from_front_m=ahead, from_left_m=across)
    return _spans("radiators", row, around if block.turn_deg else block, units)


def hang(document: Any, before: Form, form: Form, room: FirstRoom) -> bool:
    """Write beams and radiators into a file that said `before`; returns whether anything was written.

    Ends that follow from the room go along with it, unless somebody gave them another place.

    Raises
    ------
    SceneError
        If one has no place in the room.
    """
    pen, units, was = Pen(form["units"]), form["units"], room_of(before)
    for what in BLOCKS:
        old = {row["name"]: row for row in before.rows[what]}
        for number, row in enumerate(form.rows[what]):
            known = old.get(row["name"])
            if known is None:
                for key, table in _tables(what, row, _checked(what, number, row, room, units), units):
                    append(document, key, table)
                pen.wrote = True
            elif known != row or was != room:
                _change(pen, document, what, (known, was), (row, room), number)
    return pen.wrote


def _change(
    pen: Pen, document: Any, what: str, was: tuple[Row, FirstRoom], now: tuple[Row, FirstRoom], number: int
) -> None:
    (row, room), units = now, pen.units
    try:
        before = _block(what, *was, units)
    except SceneError:
        before = None  # where it is no rule of ours told
    if before is None and was[0] == row:
        return
    block = _checked(what, number, row, room, units)
    at = next(one for one in document["furniture"] if one.get("name", one["kind"]) == row["name"])
    turned = any(was[0].get(key) != row.get(key) for key in ("direction", "wall"))
    _follow(
        pen,
        at,
        None if before is None or turned else _spans(what, was[0], before, units),
        _spans(what, row, block, units),
    )
    if what == "beams":
        return
    if block.turn_deg or "turn_deg" in at:
        pen.word(at, "turn_deg", block.turn_deg)
    heat = next((one for one in document.get("keep_clear", ()) if one.get("name") == heat_of(row["name"])), None)
    if heat is not None:
        _follow(
            pen, heat, None if before is None or turned else _around(was[0], before, units), _around(row, block, units)
        )


def _follow(pen: Pen, at: Any, before: Spans | None, now: Spans) -> None:
    """Write ends that are elsewhere than before; an end that was not where it would be stays."""
    for key, span in now.items():
        for end, text in enumerate(span):
            there, to = _metres(at[key][end], pen.units), length_m(key, text, pen.units)
            if before is not None:
                from_ = length_m(key, before[key][end], pen.units)
                if abs(from_ - to) < 1e-6 or abs(there - from_) > SAME_PLACE_M:
                    continue
            pen.put(at[key], end, text)


def named_blocks(form: Form, taken: set[Any]) -> Form:
    """The form with a name for each beam and radiator, numbered as the template of a scene does."""
    for what in BLOCKS:
        word = _KINDS[what][0]
        rows, used = [], taken | {row.get("name") for row in form.rows[what]}
        for row in form.rows[what]:
            name = row.get("name") or next(n for n in (word, *(f"{word} {i}" for i in range(2, 99))) if n not in used)
            used.add(name)
            rows.append({**row, "name": name})
        form = form.with_rows(what, rows)
    return form
