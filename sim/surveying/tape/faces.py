"""Whether slopes and openings fit the walls they are on, told while a room is still being asked for."""

from __future__ import annotations

from pathlib import Path

from sim.blueprint.first_layout import laid_out
from sim.blueprint.first_places import along_wall, ceiling_m
from sim.blueprint.reader import parse_scene
from sim.blueprint.template import first_scene
from sim.blueprint.units import length_words
from sim.errors import SceneError
from sim.geometry.outlines import faces_over_plan
from sim.geometry.patches import with_openings
from sim.surveying.tape.given_room import GivenRoom

NEAR_M = 0.01
"""What passes the ceiling by less is as high as it is."""


def refuse_outside(given: GivenRoom, units: str) -> None:
    """Raise SceneError for a slope that cuts nothing or too much, and for an opening that leaves its wall.

    Where monitors, desk and seat do not fit yet, nothing is refused: what is asked next may make room for them.
    """
    room = given.room(units)
    try:
        laid_out(room)
    except SceneError:
        return
    for opening in room.openings:
        if opening.side in room.slope_sides:
            continue
        key, span = along_wall(room, opening.side, opening.along_m)
        _, start, end = room.wall(opening.side)
        axis = ("from_front", "from_left").index(key)
        for value, which in zip(span, ("begins", "ends"), strict=True):
            share = (value - start[axis]) / (end[axis] - start[axis])
            place = [start[each] + share * (end[each] - start[each]) for each in (0, 1)]
            above = ceiling_m(room, place[0], place[1])
            if opening.up_m[1] > above + NEAR_M:
                raise SceneError(
                    f"{opening.kind} {opening.side}",
                    f"the slope over it leaves {length_words(above, units)} where it {which}",
                    "give a lower upper edge, or go back and place it where the ceiling is higher",
                )
    blueprint = parse_scene(first_scene(room, title="asked", units=units), Path("nowhere")).blueprint
    with_openings(faces_over_plan(blueprint.room), blueprint.openings)
