"""Patches: named pieces of surface, the common currency between shapes, meshes and cabinets and the room."""

from __future__ import annotations

from dataclasses import dataclass

from ..arrays import FloatArray


@dataclass(frozen=True, slots=True)
class Patch:
    """A piece of surface of one name and one material; need not be flat.

    Attributes
    ----------
    name
        What a person calls it: "left wall", "desk top", "left slope".
    owner
        "room", or the name of the furniture or loudspeaker it belongs to.
    material
        Name of its material.
    triangles
        (n, 3, 3) corners in metres, wound counter-clockwise when seen from the air.
    """

    name: str
    owner: str
    material: str
    triangles: FloatArray
