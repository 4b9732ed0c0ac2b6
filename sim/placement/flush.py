"""Loudspeakers built into a wall: their drivers lie in the wall's surface, wherever the tape says the axis is."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from ..arrays import frozen
from ..errors import SceneError
from ..geometry.facets import Facet
from ..geometry.room import Room
from .poses import PlacedLoudspeaker

PROUD_M = 0.001


def pulled_flush(room: Room, index: int, loudspeaker: PlacedLoudspeaker) -> tuple[PlacedLoudspeaker, str]:
    """Move drivers that would lie behind the surface the loudspeaker is built into to just in front of it.

    A tilted box in an upright wall has part of its front behind the wall's face; the builder shapes the wall to
    it.  Here the wall stays flat and the drivers come forward, which changes paths by no more than the move.
    Returns the loudspeaker, whose `body` becomes that of the wall, and a note; both unchanged for others.

    Raises
    ------
    SceneError
        If a surface it is said to be built into does not exist.
    """
    if not loudspeaker.built_into:
        return loudspeaker, ""
    facets: list[Facet] = []
    for name in loudspeaker.built_into:
        numbers = room.facet_numbers(name)
        if not numbers:
            known = ", ".join(sorted({facet.name for facet in room.facets}))
            raise SceneError(
                f"loudspeakers[{index}].built_into", f'no surface is called "{name}"', f"choose from {known}"
            )
        facets.extend(room.facets[number] for number in numbers)
    points = np.array(loudspeaker.driver_points)
    moved = 0.0
    for row, point in enumerate(points):
        nearest = min(facets, key=lambda facet: abs(float(facet.normal @ point) - facet.offset_m))
        behind = PROUD_M - (float(nearest.normal @ point) - nearest.offset_m)
        if behind > 0.0:
            points[row] = point + behind * nearest.normal
            moved = max(moved, behind)
    owner = facets[0].owner
    body = owner if owner != room.owners[0] else loudspeaker.body
    note = (
        f"{loudspeaker.name} is drawn flush: its drivers were moved forward by up to {1000 * moved:.0f} mm"
        " so that they lie in the surface it is built into"
        if moved > 0.002
        else ""
    )
    return replace(loudspeaker, driver_points=frozen(points), body=body), note
