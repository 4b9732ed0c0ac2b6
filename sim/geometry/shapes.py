"""Furniture as closed surfaces with outward faces, whatever kind it is: of its solids, or of a mesh of one's own.

Every solid is named face by face the way a person in the seat would: the far side looks at the front wall, the
listener side at the seat, left and right are those of the seat.  The names stay with the faces when the piece
is turned.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np

from sim.arrays import FloatArray, frozen
from sim.blueprint.furniture import Furniture
from sim.blueprint.prisms import Solid
from sim.geometry.meshes import mesh_furniture_patches
from sim.geometry.patches import Patch

SIDES = {
    "top": (7, 6, 5, 4),
    "underside": (0, 1, 2, 3),
    "far side": (0, 4, 5, 1),
    "right side": (1, 5, 6, 2),
    "listener side": (2, 6, 7, 3),
    "left side": (3, 7, 4, 0),
}
"""Corners of each face of a solid, counter-clockwise from outside, numbered as in `sim.blueprint.prisms`."""


def furniture_patches(item: Furniture, folder: Path) -> tuple[Patch, ...]:
    """Return the faces of one piece of furniture; a mesh file is looked for in `folder`.

    Every solid is closed and wound counter-clockwise from outside, where the air is.  Solids of one piece may
    touch (seat and back of a sofa, a desk and its panel).

    Raises
    ------
    SceneError
        If the numbers of a piece contradict each other.
    MeshError
        If a mesh is missing, open, or has another fault.
    """
    if item.mesh is not None:
        return mesh_furniture_patches(item.name, item.material, item.mesh, folder)
    patches = tuple(patch for solid in item.solids() for patch in _faces(solid, item.name, item.material))
    if not patches:
        raise TypeError(f"{type(item).__name__} is made of nothing: it needs solids or a mesh")
    return patches


def furniture_solids(item: Furniture) -> tuple[FloatArray, ...]:
    """Convex solids (8, 3) of which a piece of furniture is made, as in `sim.blueprint.prisms`; none for a mesh.

    Raises SceneError if the numbers of a piece contradict each other.
    """
    return tuple(frozen(solid.corners) for solid in item.solids())


def _faces(solid: Solid, owner: str, material: str) -> list[Patch]:
    """Turn the eight corners of a solid into six named faces of two triangles each."""
    patches = []
    for side, (a, b, c, d) in SIDES.items():
        triangles = np.stack([solid.corners[[a, b, c]], solid.corners[[a, c, d]]])
        patches.append(Patch(f"{solid.name} {solid.sides.get(side, side)}", owner, material, frozen(triangles)))
    return patches
