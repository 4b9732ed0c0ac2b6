"""The form in metres: lengths, the floor's outline, and a first room in it that proposes monitors, desk and seat."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from typing import Any, Final

import numpy as np
from pydantic import TypeAdapter, ValidationError

from sim.blueprint.first_layout import FirstLayout, laid_out
from sim.blueprint.first_room import EAR_UP_M, SEAT_FRACTION, SIDES, FirstOpening, FirstRoom, FirstSlope
from sim.blueprint.units import Length, is_imperial
from sim.errors import SceneError
from sim.geometry.patches import compass_name, numbered
from sim.layouts.written_back import number_text
from sim.showing.numbers import SIXTEENTHS, format_length, in_unit
from sim.studies.view.sketch.form import Form, Row

Corner = tuple[float, float]
_BEHIND_M: Final = 0.1
"""A monitor that is built in may be given so far behind the face of its wall (our choice)."""
_READ: Final[TypeAdapter[float]] = TypeAdapter(Length)


def length_m(name: str, text: str, units: str) -> float:
    """A length as a scene file reads it: a bare number is in the unit of the file, a text may carry its own.

    Raises
    ------
    SceneError
        If it is none, or longer than anything in a room.
    """
    plain = text.strip().replace("\N{MINUS SIGN}", "-")
    value: float | str = plain
    with suppress(ValueError):
        value = float(plain)
    try:
        return _READ.validate_python(value, context={"unit": units})
    except ValidationError as fault:
        found, _, remedy = str(fault.errors()[0]["msg"]).removeprefix("Value error, ").partition("; ")
        raise SceneError(name, found, remedy or 'write 3.41, "341 cm" or "11 ft 2 1/4 in"') from None


def tape_text(metres: float, units: str) -> str:
    """A length as a field shows and a file keeps it: a bare number, or feet and inches where a tape has such a mark."""
    if is_imperial(units):
        sixteenths = in_unit(metres, "in") * SIXTEENTHS
        if abs(sixteenths - round(sixteenths)) < 1e-4:
            return format_length(metres, units)
    return number_text(in_unit(metres, units))


@dataclass(frozen=True, slots=True)
class Plan:
    """The floor in metres.

    Attributes
    ----------
    corners
        Once round, from_front and from_left of each.
    walls
        Name of the wall from each corner to the next.
    height_m
        Height of the flat ceiling.
    """

    corners: tuple[Corner, ...]
    walls: tuple[str, ...]
    height_m: float

    @property
    def size_m(self) -> tuple[float, float]:
        """Width and depth of the box round it."""
        depths, acrosses = zip(*self.corners, strict=True)
        return max(acrosses) - min(acrosses), max(depths) - min(depths)

    def runs_in_depth(self, wall: str) -> bool:
        """Whether a wall runs more from front to rear than across, so that places along it are given from the front."""
        if wall not in self.walls:
            return wall in ("left wall", "right wall")
        at = self.walls.index(wall)
        (a, b), (c, d) = self.corners[at], self.corners[(at + 1) % len(self.corners)]
        return abs(c - a) > abs(d - b)

    def in_front_of(self, front: float, left: float) -> tuple[str, float] | None:
        """The nearest wall toward the front from a place, and its distance from_front there; None where none lies."""
        found = []
        for name, (a, b), (c, d) in zip(self.walls, self.corners, (*self.corners[1:], self.corners[0]), strict=True):
            if b != d and min(b, d) <= left <= max(b, d):
                at = a + (c - a) * (left - b) / (d - b)
                found += [(at, name)] if at <= front + _BEHIND_M else []
        if not found:
            return None
        nearest, wall = max(found)
        return wall, nearest


def named(corners: Sequence[Corner]) -> tuple[str, ...]:
    """Names that walls without any have: after the direction that each lies in, numbered where several lie there."""
    ends = np.array(corners)
    sides = np.roll(ends, -1, axis=0) - ends
    lengths = np.linalg.norm(sides, axis=1)
    if not (lengths > 0.0).all():
        raise SceneError(
            f"corners.{int(np.argmin(lengths))}",
            "this corner and the next are the same point",
            "move one, or leave it out",
        )
    following = np.roll(ends, -1, axis=0)
    turn = 1.0 if float(np.sum(ends[:, 0] * following[:, 1] - ends[:, 1] * following[:, 0])) >= 0.0 else -1.0
    outward = turn * np.column_stack([sides[:, 1], -sides[:, 0], np.zeros(len(sides))]) / lengths[:, None]
    return tuple(numbered([compass_name(each) for each in outward], lengths.tolist()))


def plan_of(form: Form, metres: dict[str, float]) -> Plan:
    """The floor that a form tells, with the metres of its lengths by field."""
    height = metres["height"]
    if form["shape"] == "outline":
        rows = form.rows["corners"]
        if len(rows) < 3:
            raise SceneError("corners", f"the outline has {len(rows)} corners", "give three or more, once round")
        corners = tuple((metres[f"corners.{n}.front"], metres[f"corners.{n}.left"]) for n in range(len(rows)))
        walls = (row.get("wall", "").strip() or name for row, name in zip(rows, named(corners), strict=True))
        return Plan(corners, tuple(walls), height)
    corner = None
    if form["shape"] == "L":
        corner = (form["cut_corner"], metres["cut_width"], metres["cut_depth"])
    found = FirstRoom(metres["width"], metres["depth"], height, corner).outline()
    return Plan(tuple((f, a) for _, f, a in found), tuple(name for name, _, _ in found), height)


# A first room that proposes places: a box or L as it is, for an outline where `new` would put them.


def room_within(plan: Plan, form: Form, metres: Mapping[str, float]) -> FirstRoom:
    """The room of a plan with its slopes, without anything in it."""
    walls = tuple((name, front, left) for name, (front, left) in zip(plan.walls, plan.corners, strict=True))
    slopes = tuple(
        FirstSlope(row["wall"].replace(" wall", "", 1), metres[f"slopes.{n}.knee"], metres[f"slopes.{n}.run"])
        for n, row in enumerate(form.rows["slopes"])
        if row["wall"] in plan.walls and metres.get(f"slopes.{n}.run", 0.0) > 0.0
    )
    return FirstRoom(*plan.size_m, plan.height_m, slopes=slopes, walls=walls)


def proposal(form: Form, metres: dict[str, float], plan: Plan) -> tuple[FirstRoom, FirstLayout | None]:
    """The first room that the template of a scene is made of, and for an outline where things go in it.

    Raises
    ------
    SceneError
        If no place for monitors, desk and seat is found in the outline.
    """
    openings = []
    for number, row in enumerate(form.rows["openings"]):
        if is_told_first(form, row):
            low, high, sill, head = (metres[f"openings.{number}.{key}"] for key in ("from", "to", "low", "high"))
            openings.append(FirstOpening(row["kind"], side_of(row["wall"]), (low, high), (sill, head)))
    given: dict[str, Any] = {
        "monitors_on": form["monitors_on"] or "stands",
        "monitor": form["model"] or "5-inch",
        "openings": tuple(openings),
    }
    if form["second"] == "yes":
        given["second_seat"] = _second_seat(plan, metres)
    if form["shape"] == "outline":
        return FirstRoom(*plan.size_m, plan.height_m, **given), _laid_out(plan, form, metres)
    corner = (form["cut_corner"], metres["cut_width"], metres["cut_depth"]) if form["shape"] == "L" else None
    slopes = tuple(
        FirstSlope(side, metres[f"slopes.{n}.knee"], metres[f"slopes.{n}.run"])
        for n, row in enumerate(form.rows["slopes"])
        if (side := side_of(row["wall"]))
    )
    return FirstRoom(metres["width"], metres["depth"], plan.height_m, corner, slopes, **given), None


def _second_seat(plan: Plan, metres: dict[str, float]) -> tuple[float, float, float]:
    """Ear of a second seat as given, else half a metre behind where the first one usually is."""
    width, depth = plan.size_m
    usual = {"front": min(SEAT_FRACTION * depth + 0.5, depth - 0.3), "left": 0.5 * width, "up": EAR_UP_M}
    front, left, up = (metres.get(f"second.{key}", value) for key, value in usual.items())
    return front, left, up


def is_told_first(form: Form, row: Row) -> bool:
    """Whether a first room knows this opening: a window or door in one of the four sides of a box or L."""
    return form["shape"] != "outline" and bool(side_of(row["wall"])) and row["kind"] in ("window", "door")


def side_of(wall: str) -> str:
    """The side that a wall's plain name tells, "left" of "left wall"; empty for any other wall."""
    side = wall.removesuffix(" wall")
    return side if side in SIDES and wall.endswith(" wall") else ""


def _laid_out(plan: Plan, form: Form, metres: Mapping[str, float]) -> FirstLayout:
    from shapely import Polygon

    polygon = Polygon(plan.corners)
    if not polygon.is_valid or polygon.area < 0.01:
        raise SceneError("corners", "the outline crosses or touches itself", "go around the floor once")
    room = replace(room_within(plan, form, metres), monitors_on=form["monitors_on"] or "stands")
    try:
        return laid_out(replace(room, monitor=form["model"] or "5-inch"))
    except SceneError:
        raise SceneError(
            "corners", "no place for monitors, desk and seat was found in it", "check the corners"
        ) from None
