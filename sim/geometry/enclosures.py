"""The room itself: closed, facing inward, each surface with its name and material.

A box and an outline become flat faces with openings cut into them; a mesh is read and checked elsewhere.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from sim.arrays import FloatArray, KeptFor, frozen
from sim.blueprint.room import Opening
from sim.blueprint.schema import Blueprint
from sim.errors import SceneError
from sim.geometry.mesh_files import FileState, file_state
from sim.geometry.meshes import mesh_room
from sim.geometry.outlines import faces_over_plan
from sim.geometry.patches import MATERIAL_BY_KIND, Face, Finishes, Patch, with_openings
from sim.geometry.seams import ear_faces, edge_balance, has_three_corners, split_at_corners, weld

JOIN_M = 1e-7
"""Corners nearer than this are one corner; far below a tape's millimetre, far above rounding."""


@dataclass(frozen=True, slots=True)
class Enclosure:
    """The surfaces of a room, and what had to be assumed to get them.

    Attributes
    ----------
    patches
        Named surfaces, wound counter-clockwise seen from inside.
    notes
        Sentences worth printing with every result, such as "the mesh was turned inside out".
    """

    patches: tuple[Patch, ...]
    notes: tuple[str, ...] = ()

    @property
    def triangles(self) -> FloatArray:
        """(n, 3, 3) of all surfaces in metres."""
        known = _triangles_of.find(self)
        if known is None:
            known = _triangles_of.keep(frozen(np.concatenate([patch.triangles for patch in self.patches])), self)
        return known


_triangles_of: KeptFor[FloatArray] = KeptFor(16)


def room_patches(blueprint: Blueprint, folder: Path) -> Enclosure:
    """Return the surfaces of the room of a scene; a mesh file is looked for in `folder`.

    A box has "front wall", "rear wall", "left wall", "right wall", "floor" and "ceiling".  An outline names its
    walls as `outlines.faces_over_plan` tells.  Openings become surfaces of their own in both; the openings of a
    mesh room are already in the mesh.

    Raises
    ------
    SceneError
        If an outline, a slope, an opening or a material assignment does not fit the room.
    MeshError
        If a mesh cannot be used as a room.
    """
    mesh = blueprint.room.mesh
    parts: tuple[object, ...] = (blueprint.room, blueprint.openings)
    file = None if mesh is None else file_state(folder / mesh)
    if mesh is not None:
        parts = (blueprint.room, blueprint.materials)
    for kept in _last:
        if kept.file == file and _alike(kept.parts, parts):
            return kept.enclosure
    enclosure = _over_plan(blueprint) if mesh is None else Enclosure(*mesh_room(blueprint, folder))
    _last[:] = [_Built(parts, file, enclosure), *_last[: MOST_KEPT - 1]]
    return enclosure


def _alike(some: tuple[object, ...], others: tuple[object, ...]) -> bool:
    return all(one is other or one == other for one, other in zip(some, others, strict=True))


MOST_KEPT = 4


@dataclass(frozen=True, slots=True)
class _Built:
    """One of the last rooms that were built, kept: many layouts differ in furniture and loudspeakers only.

    `parts` are the records it follows from, `file` the state of its mesh.
    """

    parts: tuple[object, ...]
    file: FileState | None
    enclosure: Enclosure


_last: list[_Built] = []


def _over_plan(blueprint: Blueprint) -> Enclosure:
    """Build a box or a room over an outline."""
    whole = faces_over_plan(blueprint.room)
    # A wall that is one opening from edge to edge has no surface left, but its name may still be used.
    names = [face.name for face in whole] + [opening.name for opening in blueprint.openings]
    _refuse_double_names(names)
    finishes = Finishes(blueprint.room.materials, names)
    faces, cut = with_openings(whole, blueprint.openings)
    materials = [finishes.material(face.name, face.group) for face in faces]
    materials += [_opening_material(opening, finishes) for opening in blueprint.openings]
    return Enclosure(_joined([*faces, *cut], materials))


def _opening_material(opening: Opening, finishes: Finishes) -> str:
    return opening.material or finishes.exact(opening.name) or MATERIAL_BY_KIND[opening.kind]


def _refuse_double_names(names: Sequence[str]) -> None:
    for name in names:
        if names.count(name) > 1:
            raise SceneError(
                "room",
                f'two surfaces are called "{name}"',
                "give each wall, slope and opening its own name",
            )


def _joined(faces: list[Face], materials: list[str]) -> tuple[Patch, ...]:
    """Cut faces into triangles that share their corners with their neighbours, facing inward."""
    pieces = [_triangles(face) for face in faces]
    owner = np.concatenate([np.full(len(piece), index) for index, piece in enumerate(pieces)])
    corners, numbers = weld(np.concatenate(pieces), JOIN_M)
    real = has_three_corners(numbers)
    numbers, owner = numbers[real], owner[real]
    numbers, parents = split_at_corners(corners, numbers, JOIN_M)
    _, uses, balance = edge_balance(numbers)
    if (uses % 2).any() or balance.any():
        raise AssertionError("a room built from its outline is not closed")
    owner = owner[parents]
    return tuple(
        Patch(face.name, "room", material, frozen(corners[numbers[owner == index]]))
        for index, (face, material) in enumerate(zip(faces, materials, strict=True))
    )


def _triangles(face: Face) -> FloatArray:
    pieces = []
    for part in face.region:
        rings = [np.asarray(ring.coords)[:-1, :2] for ring in (part.exterior, *part.interiors)]
        pieces.append(np.concatenate(rings)[ear_faces(rings)])
    triangles = face.lifted(np.concatenate(pieces))
    if float(np.cross(face.first, face.second) @ face.inward) < 0.0:
        triangles = triangles[:, ::-1]
    return np.ascontiguousarray(triangles)
