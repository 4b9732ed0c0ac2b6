"""What a loudspeaker of a scene wishes of a stand: size as it is rolled, mass, where its axis is, where the ear is."""

from __future__ import annotations

import numpy as np

from ..errors import SceneError
from ..loudspeakers.cabinet import cabinet_corners
from .poses import PlacedLoudspeaker, rotation_of
from .stack import UNKNOWN_BOX_KG_M3, Wish
from .stage import Stage

SQUARE_DEG = 1.0
"""A box rolled by further from a right angle stands on an edge."""


def loudspeaker_named(stage: Stage, name: str) -> PlacedLoudspeaker:
    """The loudspeaker of that name, or the first one for an empty name.

    Raises
    ------
    SceneError
        If none is called so.
    """
    for one in stage.loudspeakers:
        if name in ("", one.name):
            return one
    names = ", ".join(one.name for one in stage.loudspeakers)
    raise SceneError("--loudspeaker", f'none is called "{name}"', f"choose from {names}")


def wish_of(stage: Stage, name: str = "", *, mass_kg: float | None = None, forward_m: float = 0.0) -> Wish:
    """Put the axis of a loudspeaker at the height of the first ear; the box lies as it is rolled in the scene.

    Raises
    ------
    SceneError
        If it has no box in the room, or is rolled by no multiple of 90 degrees.
    """
    one = loudspeaker_named(stage, name)
    local = cabinet_corners(one.model)
    if local is None:
        raise SceneError(one.name, "it has no box that could stand on anything", "choose another with --loudspeaker")
    if abs((one.roll_deg + 45.0) % 90.0 - 45.0) > SQUARE_DEG:
        raise SceneError(
            one.name, f"rolled by {one.roll_deg:g} degrees it stands on an edge", "roll it by 0, 90 or 180"
        )
    lying = local @ rotation_of(0.0, 0.0, one.roll_deg).T
    size, lowest = np.ptp(lying, axis=0), lying.min(axis=0)
    ear = stage.ears[0]
    told = mass_kg if mass_kg is not None else one.model.mass_kg
    return Wish(
        axis_height_m=float(ear[2]), distance_m=float(np.hypot(*(ear - one.axis_point)[:2])), width_m=float(size[1]),
        height_m=float(size[2]), depth_m=float(size[0]),
        mass_kg=float(np.prod(size)) * UNKNOWN_BOX_KG_M3 if told is None else told, axis_in_box_m=-float(lowest[2]),
        forward_m=forward_m,
    )  # fmt: skip
