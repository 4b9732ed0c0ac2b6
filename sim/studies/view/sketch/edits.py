"""What a hand does to a form besides typing: another shape or unit, rows that come and go, corners that are dragged."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Final

from sim.blueprint.first_layout import BUILT_IN_M
from sim.blueprint.units import UNIT_M, is_imperial
from sim.errors import SceneError
from sim.studies.view.sketch.form import BLOCKS, MOST_ROWS, Form
from sim.studies.view.sketch.plan import Corner, Plan, length_m, tape_text

STEPS_M: Final = (0.005, 0.001)
INCH_STEPS_M: Final = (UNIT_M["in"] / 4.0, UNIT_M["in"] / 16.0)
"""A drag goes in steps of 5 mm or a quarter of an inch; finer in 1 mm or a sixteenth."""
LEAST_M: Final = 0.05
_BEAMS_AT: Final = (0.5, 0.75, 0.25, 0.625, 0.875, 0.375, 0.125)
"""Where new beams begin, as fractions of the depth, until somebody measures them (our choice)."""
FARTHEST_M: Final = 200.0


def steps_m(units: str) -> tuple[float, float]:
    """Coarse and fine step of a drag in metres."""
    return INCH_STEPS_M if is_imperial(units) else STEPS_M


def snapped(metres: float, units: str, *, fine: bool) -> float:
    """A dragged length on a mark of the tape."""
    step = steps_m(units)[fine]
    return round(round(metres / step) * step, 7) + 0.0


def reshaped(form: Form, shape: str, plan: Plan | None) -> Form:
    """The form with another shape, as near as it gets to the floor that it had; raises SceneError for no such shape."""
    put = form.put("shape", shape)
    if plan is None or shape == form["shape"]:
        return put
    units = form["units"]
    if shape == "outline":
        rows = [
            {"front": tape_text(front, units), "left": tape_text(left, units), "wall": wall}
            for (front, left), wall in zip(plan.corners, plan.walls, strict=True)
        ]
        return put.with_rows("corners", rows)
    width, depth = plan.size_m
    texts = {**put.texts, "width": tape_text(width, units), "depth": tape_text(depth, units)}
    if form["shape"] != "outline":
        texts |= {key: form[key] or texts[key] for key in ("width", "depth")}
    if shape == "L":
        for key, whole in (("cut_width", width), ("cut_depth", depth)):
            third = tape_text(snapped(whole / 3.0, units, fine=False), units)
            texts[key] = form[key] or third
    return replace(put, texts=texts)


def in_units(form: Form, units: str) -> Form:
    """The form in another unit: bare numbers are written anew, texts that carry a unit stay."""
    old = form["units"]
    put = form.put("units", units)
    for name, text in form.lengths().items():
        try:
            bare = text.strip() and math.isfinite(float(text))
        except ValueError:
            continue
        if bare:
            put = put.put(name, tape_text(round(length_m(name, text, old), 4), units))
    return put


def stood(form: Form, on: str, plan: Plan | None, *, from_file: bool) -> Form:
    """The form with monitors on stands, on the desk, or built in: their axes then lie just before the wall in front."""
    put = form.put("monitors_on", on)
    if on != "built in" or on == form["monitors_on"] or plan is None:
        return put
    rows = []
    for row in form.rows["loudspeakers"]:
        front = ""
        if from_file:
            at = [length_m(key, row[key], form["units"]) for key in ("front", "left")]
            wall = plan.in_front_of(*at)
            front = row["front"] if wall is None else tape_text(round(wall[1] + BUILT_IN_M, 4), form["units"])
        rows.append({**row, "front": front, "stand": ""})
    return put.with_rows("loudspeakers", rows)


def renamed(form: Form, name: str, text: str, plan: Plan | None) -> Form:
    """The form with another name for a wall; windows, doors, slopes and radiators of that wall go along."""
    put = form.put(name, text)
    number = int(name.split(".")[1])
    if plan is None or number >= len(plan.walls) or not text:
        return put
    old = plan.walls[number]
    for what in ("openings", "slopes", "radiators"):
        rows = [{**row, "wall": text if row["wall"] == old else row["wall"]} for row in put.rows[what]]
        put = put.with_rows(what, rows)
    return put


def with_row(form: Form, what: str, kind: str, plan: Plan | None) -> Form:
    """The form with one more opening, slope, beam or radiator, with lengths to begin with.

    Raises
    ------
    SceneError
        If there are too many, or there is nothing of this kind.
    """
    if what not in ("openings", "slopes", *BLOCKS):
        raise SceneError(what[:40], "there is nothing of this kind to add", "load the page again")
    rows, units = list(form.rows[what]), form["units"]
    if len(rows) >= MOST_ROWS:
        raise SceneError(what, f"there are {len(rows)}", "no room has more; take one away first")

    def text(metres: float) -> str:
        return tape_text(snapped(metres, units, fine=False), units)

    width = plan.size_m[0] if plan is not None else 3.0
    height = plan.height_m if plan is not None else 2.4
    if what == "slopes":
        taken = {row["wall"] for row in rows}
        wall = next((w for w in ("left wall", "right wall", "rear wall", "front wall") if w not in taken), "left wall")
        return form.with_rows(what, [*rows, {"wall": wall, "knee": text(0.6 * height), "run": text(0.25 * width)}])
    if what == "beams":
        depth = plan.size_m[1] if plan is not None else 4.0
        others = [length_m("", row["from"], units) for row in rows if _is_length(row["from"], units)]
        at = max(
            (f * depth for f in _BEAMS_AT), key=lambda one: min([0.2 * depth, *(abs(one - two) for two in others)])
        )
        beam = {"direction": "across", "from": text(at), "to": text(at + 0.2)}
        return form.with_rows(what, [*rows, {**beam, "under": text(height - 0.2), "top": ""}])
    if what == "radiators":
        wall, low, high = _free_wall(plan, "right wall", {row["wall"] for row in rows})
        start = low + 0.3 * (high - low)
        row = {"wall": wall, "from": text(start), "to": text(min(start + 0.8, high))}
        return form.with_rows(what, [*rows, {**row, "low": text(0.1), "high": text(0.7), "face": text(0.1)}])
    wall, low, high = _free_wall(plan, "rear wall" if kind == "door" else "left wall", {row["wall"] for row in rows})
    if kind == "door":
        start = max(high - 0.95, low)
        row = {"wall": wall, "from": text(start), "to": text(max(high - 0.15, start + 0.1)), "low": "0"}
        return form.with_rows(what, [*rows, {"kind": kind, **row, "high": text(min(2.0, height))}])
    start = low + 0.15 * (high - low)
    row = {"wall": wall, "from": text(start), "to": text(min(start + 0.9, high)), "low": text(min(0.9, 0.4 * height))}
    return form.with_rows(what, [*rows, {"kind": "window", **row, "high": text(min(1.7, 0.9 * height))}])


def _is_length(text: str, units: str) -> bool:
    try:
        length_m("", text, units)
    except SceneError:
        return False
    return True


def _free_wall(plan: Plan | None, wanted: str, taken: set[str]) -> tuple[str, float, float]:
    """A wall for an opening, and where it begins and ends: the wanted one, else the longest that has none yet."""
    if plan is None:
        return wanted, 0.0, 3.0
    spans = {}
    for name, (a, b), (c, d) in zip(plan.walls, plan.corners, (*plan.corners[1:], plan.corners[0]), strict=True):
        ends = (a, c) if plan.runs_in_depth(name) else (b, d)
        spans[name] = (min(ends), max(ends))
    free = {name: span for name, span in spans.items() if name not in taken} or spans
    name = wanted if wanted in free else max(free, key=lambda one: free[one][1] - free[one][0])
    return name, *free[name]


def without_row(form: Form, what: str, number: int) -> Form:
    """The form without a row; raises SceneError where there is none, or the outline would have too few corners."""
    rows = list(form.rows.get(what, ()))
    if what == "loudspeakers" or not 0 <= number < len(rows):
        raise SceneError(what[:40], "there is no such row", "load the page again")
    if what == "corners" and len(rows) <= 3:
        raise SceneError("corners", "an outline has three corners or more", "move them instead")
    del rows[number]
    return form.with_rows(what, rows)


def split(form: Form, plan: Plan, number: int) -> Form:
    """The form with a corner in the middle of a wall; the wall keeps its name, its second half gets one of its own."""
    form = reshaped(form, "outline", plan)
    rows = list(form.rows["corners"])
    if not 0 <= number < len(rows) or len(rows) >= MOST_ROWS:
        raise SceneError("corners", f"there is no wall {number + 1} that could be parted", "choose another")
    (a, b), (c, d) = plan.corners[number], plan.corners[(number + 1) % len(plan.corners)]
    units, taken = form["units"], {row.get("wall", "") for row in rows}
    wall = rows[number].get("wall", "")
    if wall:
        wall = next(name for name in (f"{wall} {n}" for n in range(2, 2 * MOST_ROWS)) if name not in taken)
    middle = [tape_text(snapped(0.5 * (x + y), units, fine=False), units) for x, y in ((a, c), (b, d))]
    rows.insert(number + 1, {"front": middle[0], "left": middle[1], "wall": wall})
    return form.with_rows("corners", rows)


def traced(form: Form, corners: Sequence[Corner]) -> Form:
    """The form with an outline that was clicked over a picture, beginning at the front and the left wall.

    Raises
    ------
    SceneError
        If there are too few corners or too many.
    """
    if not 3 <= len(corners) <= MOST_ROWS:
        raise SceneError("corners", f"{len(corners)} were clicked", f"click 3 to {MOST_ROWS}, once round the floor")
    units = form["units"]
    least = [min(corner[axis] for corner in corners) for axis in (0, 1)]

    def text(corner: Corner, axis: int) -> str:
        return tape_text(snapped(corner[axis] - least[axis], units, fine=False), units)

    rows = [{"front": text(corner, 0), "left": text(corner, 1), "wall": ""} for corner in corners]
    return form.put("shape", "outline").with_rows("corners", rows)


# Corners that are dragged, in any shape.


def dragged(form: Form, plan: Plan, moves: Mapping[str, float], *, fine: bool) -> Form:
    """The form with corners where they were dragged to: "corner.2.front" and "corner.2.left" in metres.

    A box stays a box and an L an L: their sizes follow, and front and left wall stay, since the tape begins there.  Of
    an outline only this corner moves.

    Raises
    ------
    SceneError
        If there is no such corner, or a number is none.
    """
    for name, value in moves.items():
        thing, _, rest = name.partition(".")
        number, _, key = rest.partition(".")
        if thing != "corner" or key not in ("front", "left") or not number.isdecimal():
            raise SceneError(name[:40], "it cannot be dragged", "load the page again")
        if int(number) >= len(plan.corners) or not abs(value) < FARTHEST_M:
            raise SceneError(name[:40], "there is no such corner", "load the page again")
        to = snapped(value, form["units"], fine=fine)
        if form["shape"] == "outline":
            form = form.put(f"corners.{number}.{key}", tape_text(to, form["units"]))
        else:
            form = _resized(form, plan, plan.corners[int(number)][0 if key == "front" else 1], key, to)
    return form


def _resized(form: Form, plan: Plan, was: float, key: str, to: float) -> Form:
    """A box or L of which one line was dragged: that of the walls at `was`, in depth ("front") or across ("left")."""
    units = form["units"]
    size, cut, low = ("depth", "cut_depth", "front") if key == "front" else ("width", "cut_width", "left")
    whole = plan.size_m[1 if key == "front" else 0]

    def put(form: Form, name: str, metres: float) -> Form:
        return form.put(name, tape_text(max(snapped(metres, units, fine=True), LEAST_M), units))

    if abs(was) < 1e-6:
        return form  # the front and the left wall are where the tape begins
    if abs(was - whole) < 1e-6:
        return put(form, size, to)
    return put(form, cut, to if low in form["cut_corner"].split() else whole - to)
