"""Furniture as closed solids with outward faces: desks, blocks, screens, sofas and meshes of one's own.

Every solid is named face by face the way a person in the seat would: the far side looks at the front wall, the
listener side at the seat, left and right are those of the seat.  The names stay with the faces when the piece
is turned.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np

from sim.arrays import FloatArray, frozen
from sim.blueprint.furniture import Block, Desk, Furniture, MeshFurniture, Screen, Sofa
from sim.errors import SceneError
from sim.geometry.meshes import mesh_furniture_patches
from sim.geometry.patches import Patch

PANEL_THICKNESS_M = 0.02
"""Thickness of the panel that closes a desk below its far edge (common board, common practice, no source)."""

SIDES = {
    "top": (7, 6, 5, 4),
    "underside": (0, 1, 2, 3),
    "far side": (0, 4, 5, 1),
    "right side": (1, 5, 6, 2),
    "listener side": (2, 6, 7, 3),
    "left side": (3, 7, 4, 0),
}
"""Corners of each face, counter-clockwise from outside; corners 0-3 are the lower ring far left, far right,
listener right, listener left, and 4-7 the upper ring in the same order."""

SCREEN_SIDES = {"listener side": "face", "far side": "back"}


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
    if isinstance(item, Desk):
        return _desk(item)
    if isinstance(item, Block):
        name = item.name or item.kind
        ring = _ring(item.from_front, item.from_left)
        solid = _upright(ring, item.up[0], item.up[1])
        return _faces(name, name, item.material, _turned(solid, _middle(ring), item.turn_deg))
    if isinstance(item, Screen):
        return _screen(item)
    if isinstance(item, Sofa):
        return _sofa(item)
    if isinstance(item, MeshFurniture):
        return mesh_furniture_patches(item, folder)
    raise TypeError(f"no shape is known for {type(item).__name__}")


def furniture_solids(item: Furniture, folder: Path) -> tuple[FloatArray, ...]:
    """Convex solids (8, 3) of which a piece of furniture is made, corners as in `SIDES`; none for a mesh.

    Raises as `furniture_patches`.
    """
    if isinstance(item, MeshFurniture):
        return ()
    patches = furniture_patches(item, folder)
    solids = []
    for first in range(0, len(patches), len(SIDES)):
        top, underside = patches[first].triangles, patches[first + 1].triangles
        upper, lower = (np.concatenate([pair[0], pair[1][2:]]) for pair in (top, underside))
        solids.append(frozen(np.concatenate([lower, upper[::-1]])))
    return tuple(solids)


def _desk(desk: Desk) -> tuple[Patch, ...]:
    """Build plate, plate with a far panel, or a prism down to the floor.

    The listener-side edge of the top is the hinge: `top` is its height, and a positive tilt raises the far edge
    without changing the plan of the top.  The plate's thickness is measured normal to the top.
    """
    where = f'furniture "{desk.name}"'
    ring = _ring(desk.from_front, desk.from_left)
    tilt = np.radians(desk.tilt_deg)
    far, near = desk.from_front
    far_height = desk.top + (near - far) * float(np.tan(tilt))
    top = np.column_stack([ring, [far_height, far_height, desk.top, desk.top]])
    if desk.front == "solid":
        if far_height <= 0.0:
            raise SceneError(
                f"{where}: tilt_deg",
                f"a tilt of {desk.tilt_deg:g} degrees over {near - far:.2f} m puts the far edge in the floor",
                "use a smaller tilt (positive raises the far edge)",
            )
        solid = np.concatenate([np.column_stack([ring, np.zeros(4)]), top])
        return _faces(desk.name, desk.name, desk.material, _turned(solid, _middle(ring), desk.turn_deg))

    normal = np.array([np.sin(tilt), 0.0, np.cos(tilt)])
    below = top - desk.thickness * normal
    if below[:, 2].min() < 0.0:
        raise SceneError(
            f"{where}: top",
            f"the underside of the top would lie {-below[:, 2].min():.3f} m below the floor",
            'raise "top", or make thickness or tilt smaller',
        )
    plate = np.concatenate([below, top])
    patches = _faces(desk.name, desk.name, desk.material, _turned(plate, _middle(ring), desk.turn_deg))
    if desk.front == "open" or below[0, 2] <= 0.0:
        return patches
    # The panel's upper end follows the underside, so that nothing overlaps and no slit is left.
    under = float(below[0, 0])
    panel_ring = _ring((under, under + PANEL_THICKNESS_M), desk.from_left)
    drop = PANEL_THICKNESS_M * float(np.tan(tilt))
    heights = below[0, 2] - np.array([0.0, 0.0, drop, drop])
    if heights.min() <= 0.0:
        return patches
    panel = np.concatenate([np.column_stack([panel_ring, np.zeros(4)]), np.column_stack([panel_ring, heights])])
    turned = _turned(panel, _middle(ring), desk.turn_deg)
    return patches + _faces(f"{desk.name} panel", desk.name, desk.material, turned)


def _screen(screen: Screen) -> tuple[Patch, ...]:
    """Build the slab behind the face; `at`, the middle of the face's lower edge, stays where it is."""
    tilt = np.radians(screen.tilt_deg)
    facing = np.array([np.cos(tilt), 0.0, np.sin(tilt)])
    rising = np.array([-np.sin(tilt), 0.0, np.cos(tilt)])
    at = np.array(screen.at.coordinates)
    half = np.array([0.0, 0.5 * screen.width, 0.0])
    behind = -screen.thickness * facing
    lower = np.stack([at - half + behind, at + half + behind, at + half, at - half])
    solid = np.concatenate([lower, lower + screen.height * rising])
    return _faces(screen.name, screen.name, screen.material, _turned(solid, at[:2], screen.turn_deg), SCREEN_SIDES)


def _sofa(sofa: Sofa) -> tuple[Patch, ...]:
    """Build a seat block and a back block that touch and do not overlap."""
    where = f'furniture "{sofa.name}"'
    depth, across = sofa.from_front, sofa.from_left
    along = depth if sofa.back in ("rear", "front") else across
    if sofa.back_depth >= along[1] - along[0]:
        raise SceneError(
            f"{where}: back_depth",
            f"a back of {sofa.back_depth:.2f} m leaves no seat in {along[1] - along[0]:.2f} m",
            "make back_depth smaller than the sofa in that direction",
        )
    if sofa.back in ("rear", "right"):
        split = along[1] - sofa.back_depth
        seat_span, back_span = (along[0], split), (split, along[1])
    else:
        split = along[0] + sofa.back_depth
        seat_span, back_span = (split, along[1]), (along[0], split)
    by_depth = sofa.back in ("rear", "front")
    blocks = (("seat", seat_span, sofa.seat_height), ("back", back_span, sofa.back_height))
    patches: tuple[Patch, ...] = ()
    for part, span, height in blocks:
        ring = _ring(span, across) if by_depth else _ring(depth, span)
        patches += _faces(f"{sofa.name} {part}", sofa.name, sofa.material, _upright(ring, 0.0, height))
    return patches


def _ring(depth: tuple[float, float], across: tuple[float, float]) -> FloatArray:
    """Corners (4, 2) in plan: far left, far right, listener right, listener left."""
    return np.array([[depth[0], across[0]], [depth[0], across[1]], [depth[1], across[1]], [depth[1], across[0]]])


def _middle(ring: FloatArray) -> FloatArray:
    return np.asarray(ring.mean(axis=0), dtype=np.float64)


def _upright(ring: FloatArray, low: float, high: float) -> FloatArray:
    return np.concatenate([np.column_stack([ring, np.full(4, low)]), np.column_stack([ring, np.full(4, high)])])


def _turned(corners: FloatArray, about: FloatArray, turn_deg: float) -> FloatArray:
    """Turn corners (8, 3) about an upright line through `about` (2,), counter-clockwise from above."""
    angle = np.radians(turn_deg)
    turn = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
    turned = corners.copy()
    turned[:, :2] = about + (corners[:, :2] - about) @ turn.T
    return turned


def _faces(
    name: str, owner: str, material: str, corners: FloatArray, other_names: dict[str, str] | None = None
) -> tuple[Patch, ...]:
    """Turn the eight corners of a solid into six named faces of two triangles each."""
    renamed = other_names or {}
    patches = []
    for side, (a, b, c, d) in SIDES.items():
        triangles = np.stack([corners[[a, b, c]], corners[[a, c, d]]])
        patches.append(Patch(f"{name} {renamed.get(side, side)}", owner, material, frozen(triangles)))
    return tuple(patches)
