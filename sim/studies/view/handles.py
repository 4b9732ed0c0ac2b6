"""What can be taken hold of: every thing with its place, the numbers of it that move, and how they are written."""

from __future__ import annotations

import math
from typing import Any, Final

from sim.blueprint.schema import Blueprint
from sim.errors import SceneError
from sim.layouts.fields import Field, part_at
from sim.layouts.values import value_of
from sim.placement.built_scene import BuiltScene
from sim.studies.view.state import held_field, step_of

LOUDSPEAKER: Final = (
    ("from_front", "from front"),
    ("from_left", "from left"),
    ("height", "height of axis"),
    ("toe_in", "toe-in"),
    ("tilt", "tilt down"),
)
EAR: Final = (("from_front", "from front"), ("from_left", "from left"), ("height", "height"))
FURNITURE: Final = (
    ("from_front", "from front"),
    ("from_left", "from left"),
    ("height", "height of top"),
    ("tilt", "tilt"),
    ("far_edge", "far edge"),
    ("listener_edge", "near edge"),
    ("width", "width"),
    ("at.from_front", "from front"),
    ("at.from_left", "from left"),
    ("at.up", "lower edge"),
    ("turn", "turn"),
    ("up", "lower edge"),
)
PANEL: Final = (("from_front", "from front"), ("from_left", "from left"), ("up", "lower edge"), ("thickness", "wool"))
_PLACES: Final = {
    "from_front": 0,
    "at.from_front": 0,
    "from_left": 1,
    "at.from_left": 1,
    "height": 2,
    "up": 2,
    "at.up": 2,
}
"""Which of (depth, across, up) a number moves along."""


Known = dict[str, Field | None]
"""Fields that were looked for before, by name; None for those that there are not."""


def handles(blueprint: Blueprint, built: BuiltScene, known: Known) -> list[dict[str, Any]]:
    """Everything that can be moved in a built scene: loudspeakers, seat, furniture, panels, in this order.

    `known` is kept from call to call while the same things are there, since names mean the same as long.
    """
    found = []
    for one in built.loudspeakers:
        turned = {"toe_in": one.toe_in_deg, "tilt": one.tilt_deg, "height": float(one.axis_point[2])}
        axis = one.rotation[:, 0]
        found.append(
            {
                "kind": "loudspeaker",
                "name": one.name,
                "body": one.body,
                "at": _rounded(one.axis_point),
                "axis": _rounded(axis),
                "inward": {"left": 1, "right": -1}.get(one.side, 0),
                "fields": _fields(blueprint, one.name, LOUDSPEAKER, turned, known),
            }
        )
    ear = {"kind": "ear", "name": "ear", "body": "", "at": _rounded(built.ears[0])}
    found.append(ear | {"fields": _fields(blueprint, "ear", EAR, {}, known)})
    for item in blueprint.furniture:
        corners = _corners(built, item.name)
        if corners is None:
            continue
        low, high = corners
        middle = [0.5 * (low[i] + high[i]) for i in range(3)]
        middle[2] = high[2]
        desk = bool(getattr(item, "worked_at", False))
        found.append(
            {
                "kind": "desk" if desk else "furniture",
                "name": item.name,
                "body": item.name,
                "at": [round(one, 4) for one in middle],
                "low": low,
                "high": high,
                "fields": _fields(blueprint, item.name, FURNITURE, {}, known),
            }
        )
    for panel in built.panels:
        at = panel.body[4:].mean(axis=0)
        found.append(
            {
                "kind": "panel",
                "name": panel.name,
                "body": panel.name,
                "at": _rounded(at),
                "fields": _fields(blueprint, panel.name, PANEL, {}, known),
            }
        )
    return found


def _fields(
    blueprint: Blueprint, thing: str, keys: tuple[tuple[str, str], ...], turned: dict[str, float], known: Known
) -> list[dict[str, Any]]:
    """The numbers of a thing that it has, with their value, unit, step and whether they follow the ear."""
    found: list[dict[str, Any]] = []
    told: set[str] = set()
    for key, words in keys:
        name = f"{thing}.{key}"
        if name not in known:
            known[name] = _found(blueprint, name)
        held = known[name]
        if held is None:
            continue
        value = value_of(blueprint, held)
        if words in told or (held.rules[0] == "set" and part_at(blueprint, held.places[0]) is None and key != "height"):
            continue
        follows = math.isnan(value)
        value = turned.get(key, value) if follows else value
        if not math.isfinite(value):
            continue
        told.add(words)
        found.append(
            {
                "key": key,
                "name": held.name,
                "words": words,
                "kind": held.kind,
                "value": round(value, 6),
                "follows": follows,
                "along": _PLACES.get(key, -1),
                "step": step_of(held.kind, blueprint.units, fine=False),
                "fine": step_of(held.kind, blueprint.units, fine=True),
            }
        )
    return found


def _found(blueprint: Blueprint, name: str) -> Field | None:
    """A field of this name that holds a number, or None."""
    try:
        held = held_field(blueprint, name)
        value_of(blueprint, held)
    except (SceneError, TypeError, AttributeError):
        return None
    return held


def _corners(built: BuiltScene, body: str) -> tuple[list[float], list[float]] | None:
    if body not in built.room.owners:
        return None
    mine = built.room.triangles[built.room.owner_of_triangle == built.room.owner_number(body)]
    if not len(mine):
        return None
    points = mine.reshape(-1, 3)
    return _rounded(points.min(axis=0)), _rounded(points.max(axis=0))


def _rounded(values: Any) -> list[float]:
    return [round(float(one), 5) for one in values]
