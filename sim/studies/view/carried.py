"""What goes along with what is moved: a pair as its mirror image, and what stands on a desk or a stand with it.

Pairs are monitors left and right, and panels that hang as mirror images of each other.

A monitor whose height is given keeps standing: on a stand the stand grows with it, on a desk the blocks under it.  A
desk takes the monitors on it along, and the screens over it (our choice; else a drag would leave something in the air).
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any, Final

from sim.blueprint.schema import Blueprint
from sim.errors import SceneError
from sim.layouts.fields import find_field
from sim.layouts.values import value_of
from sim.studies.view.hanging import partner_of

Value = float | str
"""Metres, degrees or a plain number; or the word "ear" for a loudspeaker that is aimed there."""
DESK_MOVES: Final = {"height": "height", "from_front": "from_front", "from_left": "from_left"}
SCREEN_MOVES: Final = {"height": "at.up", "from_front": "at.from_front", "from_left": "at.from_left"}


def number_in(blueprint: Blueprint, name: str) -> float:
    """Value of a field in metres, degrees or as it is; nan where it follows from something else."""
    return value_of(blueprint, find_field(blueprint, name, tied=False))


def with_all_that_follows(blueprint: Blueprint, wanted: Mapping[str, Value], *, alone: bool) -> dict[str, Value]:
    """Values that are wanted, with those of partners (unless `alone`) and of what is carried.

    A partner moves as far as the one that is moved, in its mirror image: what was not quite symmetric stays so.

    Raises
    ------
    SceneError
        If there is no such field.
    """
    found: dict[str, Value] = {}
    for name, value in wanted.items():
        found |= _with_partner(blueprint, name, value, alone)
    for name, value in list(found.items()):
        if isinstance(value, float | int):
            for carried, new in _carried(blueprint, name, float(value)).items():
                found.setdefault(carried, new)
    return found


def _with_partner(blueprint: Blueprint, name: str, value: Value, alone: bool) -> dict[str, Value]:
    held = find_field(blueprint, name, tied=not alone)
    if not alone and isinstance(value, float | int) and held.places[0][0] == "panels":
        return {name: value, **_other_panel(blueprint, name, int(held.places[0][1]), value)}
    if len(held.places) < 2:
        return {name: value}
    partner = f"{blueprint.loudspeakers[int(held.places[1][1])].name}.{_key(blueprint, name)}"
    if isinstance(value, str):
        return {name: value, partner: value}
    sign = -1.0 if held.rules[1] in ("mirror", "negate") else 1.0
    before, its = number_in(blueprint, name), number_in(blueprint, partner)
    if math.isfinite(before) and math.isfinite(its):
        return {name: value, partner: its + sign * (value - before)}
    return {name: value, partner: 2.0 * held.middle_m - value if held.rules[1] == "mirror" else sign * value}


def _other_panel(blueprint: Blueprint, name: str, number: int, value: float) -> dict[str, Value]:
    """The same number of the panel that is this one's mirror image, if there is one."""
    panel = blueprint.panels[number]
    found = partner_of(blueprint, panel.name)
    if found is None:
        return {}
    other, middle_m = found
    key = name[len(panel.name) + 1 :]
    if key == "from_left" and panel.from_left is not None:
        return {f"{other.name}.{key}": 2.0 * middle_m - value - (panel.from_left[1] - panel.from_left[0])}
    return {f"{other.name}.{key}": value}


def _key(blueprint: Blueprint, name: str) -> str:
    """What follows the loudspeaker in a field's name."""
    thing = max((one.name for one in blueprint.loudspeakers if name.startswith(f"{one.name}.")), key=len)
    return name[len(thing) + 1 :]


def _carried(blueprint: Blueprint, name: str, value: float) -> dict[str, Value]:
    thing, _, key = name.rpartition(".")
    before = number_in(blueprint, name)
    if not math.isfinite(before):
        return {}
    by = value - before
    for one in blueprint.loudspeakers:
        if one.name == thing and key == "height":
            return _standing(one, by)
    if key not in DESK_MOVES or thing not in {item.name for item in blueprint.furniture}:
        return {}
    found: dict[str, Value] = {}
    for one in blueprint.loudspeakers:
        if one.standing == "desk" and one.stands_on == thing:
            found |= _moved(blueprint, f"{one.name}.{DESK_MOVES[key]}", by)
    desk = next(item for item in blueprint.furniture if item.name == thing)
    for other in blueprint.furniture:
        if other.kind == "screen" and _over(desk, other):
            found |= _moved(blueprint, f"{other.name}.{SCREEN_MOVES[key]}", by)
    return found


def _standing(one: Any, by: float) -> dict[str, Value]:
    """A stand or blocks that grow with the height of what stands on them; none that would be less than nothing."""
    if one.standing == "stand" and one.stand_height is not None and one.stand_height + by > 0.0:
        return {f"{one.name}.stand_height": one.stand_height + by}
    if one.standing == "desk" and one.acoustic_axis.up is not None and one.pad + by >= 0.0:
        return {f"{one.name}.pad": one.pad + by}
    return {}


def _moved(blueprint: Blueprint, name: str, by: float) -> dict[str, Value]:
    try:
        before = number_in(blueprint, name)
    except SceneError:
        return {}
    return {name: before + by} if math.isfinite(before) else {}


def _over(desk: Any, screen: Any) -> bool:
    """Whether a screen hangs or stands over a desk."""
    at, spans = getattr(screen, "at", None), (getattr(desk, "from_front", None), getattr(desk, "from_left", None))
    if at is None or not all(isinstance(span, tuple) for span in spans):
        return False
    places = (at.from_front, at.from_left)
    return all(span[0] <= place <= span[1] for span, place in zip(spans, places, strict=True))  # type: ignore[index]
