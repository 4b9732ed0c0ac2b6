"""Which material each room surface is made of: by its name, by the group it belongs to, or by default."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from ..arrays import FloatArray
from ..errors import SceneError
from .faces import Group

DEFAULT_MATERIALS: Mapping[Group, str] = {
    "walls": "plasterboard on studs",
    "ceiling": "plasterboard on studs",
    "floor": "wood floor",
}
GROUPS = ("walls", "ceiling", "floor", "all")
STEEPEST_CEILING = float(np.cos(np.radians(75.0)))
"""A surface steeper than 75 degrees against the horizontal is a wall; a flatter one looking down is ceiling."""


class Finishes:
    """The `room.materials` of a scene: surface name before group ("walls", "ceiling", "floor") before "all".

    Raises SceneError when a key is neither a group nor one of the names that the room has.
    """

    def __init__(self, assigned: Mapping[str, str], names: Sequence[str], also: Sequence[str] = ()) -> None:
        """Keep the assignment; `names` are the room's surfaces, `also` further keys such as file materials."""
        unknown = [key for key in assigned if key not in (*names, *also, *GROUPS)]
        if unknown:
            listed = ", ".join(f'"{name}"' for name in dict.fromkeys((*names, *also)))
            raise SceneError(
                f'room.materials."{unknown[0]}"',
                "no surface of the room has this name",
                f'the surfaces are {listed}; or use "walls", "ceiling", "floor", "all"',
            )
        self._assigned = assigned

    def exact(self, name: str) -> str | None:
        """Material assigned to this very name, which must not be read as a group; None when there is none."""
        return self._assigned.get(name)

    def material(self, name: str, group: Group) -> str:
        """Material of a surface that belongs to a group."""
        for key in (name, group, "all"):
            if key in self._assigned:
                return self._assigned[key]
        return DEFAULT_MATERIALS[group]


def group_of(inward: FloatArray) -> Group:
    """Return the group of a surface whose unit normal (3,) toward the air is given.

    Upright within 15 degrees: walls.  Otherwise looking down: ceiling, slopes included; looking up: floor,
    steps and ramps included (common practice, no source).
    """
    if abs(float(inward[2])) < STEEPEST_CEILING:
        return "walls"
    return "floor" if inward[2] > 0.0 else "ceiling"
