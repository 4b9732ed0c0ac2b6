"""The form: everything that a person tells of a room, as texts just as they were typed or stand in the file.

Texts are what is kept, sent and undone; metres are made of them where a room is built (`sim.studies.view.sketch.plan`).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any, Final

from sim.blueprint.first_room import CORNERS, DIRECTIONS, MONITORS, PLACES
from sim.blueprint.units import UNIT_M
from sim.errors import SceneError

Row = Mapping[str, str]
SHAPES: Final = ("box", "L", "outline")
OPENINGS: Final = ("window", "door", "sliding door", "hatch", "opening")
LENGTHS: Final = {
    "width": "width of the room",
    "depth": "depth of the room",
    "height": "height of the room",
    "cut_width": "width of the missing corner",
    "cut_depth": "depth of the missing corner",
    "seat.front": "ear from the front wall",
    "seat.left": "ear from the left wall",
    "seat.up": "ear above the floor",
    "second.front": "second ear from the front wall",
    "second.left": "second ear from the left wall",
    "second.up": "second ear above the floor",
    "desk.far": "far edge of the desk from the front wall",
    "desk.near": "near edge of the desk from the front wall",
    "desk.left": "left end of the desk from the left wall",
    "desk.right": "right end of the desk from the left wall",
    "desk.top": "height of the desk",
    "screen.front": "screen from the front wall",
    "screen.left": "middle of the screen from the left wall",
    "screen.up": "lower edge of the screen above the floor",
    "screen.width": "width of the screen",
    "screen.height": "height of the screen",
}
"""Lengths that stand alone, and what they are called."""
WORDS: Final = ("units", "title", "shape", "cut_corner", "monitors_on", "model", "desk", "screen", "second")
CHOICES: Final = {
    "units": tuple(UNIT_M),
    "shape": SHAPES,
    "cut_corner": CORNERS,
    "monitors_on": ("", *PLACES),
    "model": ("", *MONITORS),
    "desk": ("", "yes"),
    "screen": ("", "yes"),
    "second": ("", "yes"),
    "kind": OPENINGS,
    "direction": DIRECTIONS,
}
BLOCKS: Final = {"beams": ("from", "to", "under", "top"), "radiators": ("from", "to", "low", "high", "face")}
"""Lengths of what hangs below the ceiling and on walls; a beam without a top reaches the ceiling."""
ROW_LENGTHS: Final = {
    "corners": ("front", "left"),
    "slopes": ("knee", "run"),
    "openings": ("from", "to", "low", "high"),
    "loudspeakers": ("front", "left", "up", "stand"),
    **BLOCKS,
}
ROW_WORDS: Final = {
    "corners": ("wall",),
    "slopes": ("wall",),
    "openings": ("kind", "wall"),
    "loudspeakers": (),
    "beams": ("direction",),
    "radiators": ("wall",),
}
"""Words of a row that can be set; its name, by which it is found in the file, is none of them."""
MOST_ROWS: Final = 64
LONGEST_TEXT: Final = 120


@dataclass(frozen=True, slots=True)
class Form:
    """Everything that is given.

    Attributes
    ----------
    texts
        Lengths and words that stand alone, by name; an empty text: not given.
    rows
        Corners, slopes, openings, loudspeakers, beams and radiators, each a row of texts.
    """

    texts: Mapping[str, str]
    rows: Mapping[str, tuple[Row, ...]]

    def __getitem__(self, name: str) -> str:
        """A text that stands alone; empty where there is none."""
        return self.texts.get(name, "")

    def text(self, name: str) -> str:
        """The text of any field, "width" or "corners.2.front"; raises SceneError where there is no such field."""
        what, number, key = _parts(name)
        if what:
            rows = self.rows[what]
            if number >= len(rows):
                raise _no_field(name)
            return rows[number].get(key, "")
        return self[name]

    def put(self, name: str, text: str) -> Form:
        """The form with another text in a field; raises SceneError for no such field, or a word it cannot be."""
        what, number, key = _parts(name)
        if key in CHOICES and text not in CHOICES[key]:
            raise SceneError(name, f'"{text[:40]}" cannot be chosen', f"choose one of {', '.join(CHOICES[key])}")
        if not what:
            return replace(self, texts={**self.texts, name: text})
        self.text(name)
        rows = list(self.rows[what])
        rows[number] = {**rows[number], key: text}
        return self.with_rows(what, rows)

    def with_rows(self, what: str, rows: Any) -> Form:
        """The form with other rows of one kind."""
        return replace(self, rows={**self.rows, what: tuple(rows)})

    def lengths(self) -> dict[str, str]:
        """Texts of all lengths that matter in this shape, by the names of their fields."""
        alone = [name for name in LENGTHS if _matters(self, name)]
        found = {name: self[name] for name in alone}
        for what, keys in ROW_LENGTHS.items():
            if what == "corners" and self["shape"] != "outline":
                continue
            for number, row in enumerate(self.rows[what]):
                found |= {f"{what}.{number}.{key}": row.get(key, "") for key in keys}
        return found


def _matters(form: Form, name: str) -> bool:
    shape, (thing, dot, _) = form["shape"], name.partition(".")
    if name in ("width", "depth"):
        return shape != "outline"
    if name.startswith("cut_"):
        return shape == "L"
    return not dot or thing == "seat" or form[thing] == "yes"


def _parts(name: str) -> tuple[str, int, str]:
    """What kind of row a field is in ("" for none), its number and its key."""
    parts = name.split(".")
    if len(parts) == 3 and parts[0] in ROW_LENGTHS and parts[1].isdecimal() and len(parts[1]) < 4:
        if parts[2] in (*ROW_LENGTHS[parts[0]], *ROW_WORDS[parts[0]]):
            return parts[0], int(parts[1]), parts[2]
    elif name in LENGTHS or name in WORDS:
        return "", 0, name
    raise _no_field(name)


def _no_field(name: str) -> SceneError:
    return SceneError(name[:LONGEST_TEXT], "there is no such field", "load the page again")


# A form of nothing but a room, and one of what a file says.


def blank_form(units: str, sizes: tuple[str, str, str], title: str) -> Form:
    """A box with everything in it left to be proposed."""
    width, depth, height = sizes
    given = {"units": units, "title": title, "shape": "box", "width": width, "depth": depth, "height": height}
    given |= {"cut_corner": "rear right", "monitors_on": "stands", "model": "5-inch", "desk": "yes"}
    pair = tuple({"name": name, "standing": "stand"} for name in ("left", "right"))
    return Form(given, {**dict.fromkeys(ROW_LENGTHS, ()), "loudspeakers": pair})


def form_of(document: Mapping[str, Any], runs: Mapping[str, str]) -> Form:
    """What a scene file says, as texts; `runs` has for each slope how far in the ceiling is level again."""
    room, box = document["room"], document["room"].get("box", {})
    outline, names = room.get("outline", ()), room.get("wall_names", ())
    ear = document["listener"]["ear"]
    given = {
        "units": document.get("units", "m"),
        "title": document.get("title", ""),
        "shape": "outline" if outline else "box",
        "width": box.get("width", ""),
        "depth": box.get("depth", ""),
        "height": box.get("height", room.get("height", "")),
        "cut_corner": "rear right",
        **_place("seat", ear),
    }
    second = document["listener"].get("second_seat")
    if second is not None:
        given |= {"second": "yes", **_place("second", second["ear"])}
    desk, screen = (first_of(document, kind) for kind in ("desk", "screen"))
    if desk is not None:
        (far, near), (left, right) = desk["from_front"], desk["from_left"]
        given |= {"desk": "yes", "desk.far": far, "desk.near": near, "desk.left": left, "desk.right": right}
        given["desk.top"] = desk["top"]
    if screen is not None:
        given |= {"screen": "yes", **_place("screen", screen["at"])}
        given |= {"screen.width": screen["width"], "screen.height": screen["height"]}
    rows: dict[str, list[dict[str, Any]]] = {what: [] for what in ROW_LENGTHS}
    for number, corner in enumerate(outline):
        wall = names[number] if number < len(names) else ""
        rows["corners"].append({"front": corner["from_front"], "left": corner["from_left"], "wall": wall})
    for slope in room.get("slopes", ()):
        name = slope["name"]
        knee = slope["starts_at_height"]
        rows["slopes"].append({"name": name, "wall": slope["wall"], "knee": knee, "run": runs.get(name, "")})
    for opening in document.get("openings", ()):
        if is_in_a_wall(opening):
            along, up = opening.get("from_front", opening.get("from_left")), opening["up"]
            row = {"name": opening["name"], "kind": opening["kind"], "wall": opening["surface"]}
            rows["openings"].append({**row, "from": along[0], "to": along[1], "low": up[0], "high": up[1]})
    for one in document["loudspeakers"]:
        axis = one["acoustic_axis"]
        row = {"name": one["name"], "standing": one.get("standing", "position"), "front": axis["from_front"]}
        rows["loudspeakers"].append(
            {**row, "left": axis["from_left"], "up": axis.get("up", ""), "stand": one.get("stand_height", "")}
        )
    ways = {one["standing"] for one in rows["loudspeakers"]}
    given["monitors_on"] = {"stand": "stands"}.get(way := ways.pop(), way) if len(ways) == 1 else ""
    if given["monitors_on"] not in PLACES:
        given["monitors_on"] = ""
    return Form(
        {name: as_text(value) for name, value in given.items()},
        {what: tuple({k: as_text(v) for k, v in row.items()} for row in kept) for what, kept in rows.items()},
    )


def is_in_a_wall(opening: Mapping[str, Any]) -> bool:
    """Whether an opening of a file stands in the form: one span along a wall and one upward."""
    return "up" in opening and ("from_front" in opening) != ("from_left" in opening)


def first_of(document: Mapping[str, Any], kind: str) -> Any:
    """The first piece of furniture of a kind in a document, or None."""
    return next((item for item in document.get("furniture", ()) if item.get("kind") == kind), None)


def as_text(value: Any) -> str:
    """A value of a file as a field shows it."""
    return value if isinstance(value, str) else f"{value:.10g}" if isinstance(value, float) else str(value)


def _place(thing: str, at: Mapping[str, Any]) -> dict[str, Any]:
    return {f"{thing}.front": at["from_front"], f"{thing}.left": at["from_left"], f"{thing}.up": at.get("up", "")}
