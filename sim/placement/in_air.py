"""Whether a point is in the air of the room: in no piece of furniture, on no surface, in no solid."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from sim.arrays import FloatArray, IntArray, in_rows
from sim.geometry.room import Room
from sim.placement.solids import first_holding

SURFACE_M = 1.0e-3
"""What is nearer to a surface is on it: tapes tell no more."""
_LOOKS = np.array([[0.8123, 0.3771, 0.4449], [-0.6137, 0.5013, -0.6101], [0.2311, -0.9017, 0.3657]])


@dataclass(frozen=True, slots=True)
class Solids:
    """The convex solids (8, 3) of one piece of furniture."""

    name: str
    parts: tuple[FloatArray, ...]


def held_by(furniture: Sequence[Solids], points: FloatArray) -> list[str]:
    """Say in which piece of furniture each point (n, 3) lies, by its solids; an empty text when in none."""
    whose = [piece.name for piece in furniture for _ in piece.parts]
    if not whose:
        return [""] * len(points)
    found = first_holding(in_rows(part for piece in furniture for part in piece.parts), points, SURFACE_M)
    return [f"inside the {whose[number]}" if number >= 0 else "" for number in found.tolist()]


def on_a_surface(room: Room, point: FloatArray, own: int, but: Sequence[str] = ()) -> str:
    """Say on which surface a point (3,) lies, to a millimetre; empty when on none but those of `own` or named in `but`.

    On a surface, sound and its reflection are one, and no path tells them apart.
    """
    near = np.flatnonzero(np.abs(room.arrays.normal @ point - room.arrays.offset) < SURFACE_M)
    for f in near:
        facet = room.facets[int(f)]
        if room.arrays.owner[f] != own and facet.name not in but and facet.covers(point, SURFACE_M):
            return f"on the {facet.name}"
    return ""


def not_in_air(room: Room, point: FloatArray, own: int) -> str:
    """Say in which solid a point (3,) is, or "outside the room"; an empty text when it is in the air.

    From the air every ray first meets the air side of a surface.
    """
    return out_of_air(room, looks_met(room, point[None], own)[0])


def looks_met(room: Room, points: FloatArray, own: int) -> IntArray:
    """First triangle (n, 3) that is met from each point (n, 3) in each of three directions, or -1."""
    from sim.placement import solid_kernels

    return np.asarray(solid_kernels.looks_met(np.array(points), _LOOKS, own, *room.ray_arrays))


def out_of_air(room: Room, met: IntArray) -> str:
    """What `not_in_air` says, from the first triangles (3,) met."""
    wrong = []
    for look, triangle in zip(_LOOKS, met.tolist(), strict=True):
        if triangle < 0:
            return "outside the room"
        facet = room.facets[room.facet_of_triangle[triangle]]
        if facet.normal @ look > 0.0:
            wrong.append(facet.owner)
    if len(wrong) < 2:  # one odd answer may be a ray that grazes an edge
        return ""
    return "outside the room" if wrong[0] == "room" else f"inside the {wrong[0]}"
