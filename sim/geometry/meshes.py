"""Meshes become rooms and furniture: read, put into the room's frame, checked, named and given materials."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np

from ..acoustics.materials import library
from ..arrays import FloatArray, IntArray, frozen
from ..blueprint.furniture import MeshFurniture
from ..blueprint.room import LARGEST_ROOM_M, Room
from ..blueprint.schema import Blueprint
from ..errors import MeshError
from .faces import Group
from .facets import triangle_planes
from .finishes import Finishes, group_of
from .frames import check_side, check_size, check_tape, corner_notes, fitting_units, in_room
from .mesh_checks import checked_surface
from .mesh_files import read_mesh
from .patches import Patch
from .surface_names import renamed, side_names, surface_names

SMALLEST_FURNITURE_M = 0.02


def mesh_room(blueprint: Blueprint, folder: Path) -> tuple[tuple[Patch, ...], tuple[str, ...]]:
    """Return the surfaces of a mesh room, facing inward, and notes on what was assumed or put right.

    Surfaces are called by the groups of the file; a file without groups by direction.  `room.surfaces` renames
    the surface at a point.  The material of a surface is, in this order: that of its `room.surfaces` entry, of
    its name in `room.materials`, of its file material in `room.materials`, its file material where that is a
    known one, its group ("walls", "ceiling", "floor"), "all", the default.

    Raises
    ------
    MeshError
        If the file cannot be read, is no closed and consistently wound surface, has the wrong size for its
        unit, or does not fit a tape distance or the side check.
    SceneError
        If a name in `room.surfaces` or `room.materials` fits nothing.
    """
    room = blueprint.room
    assert room.mesh is not None and room.frame is not None  # the schema sees to it
    where = f'room.mesh "{room.mesh}"'
    file = read_mesh(folder / room.mesh, where)
    triangles = in_room(file.triangles, room.frame, where)
    sizes = np.ptp(triangles, axis=(0, 1))
    check_size(sizes, room.frame, where)
    surface = checked_surface(triangles, where, hollow=True, repair=room.repair, allow_open=room.allow_open)

    groups, file_materials = file.groups[surface.parents], file.materials[surface.parents]
    names = surface_names(surface, [file.group_names[group] for group in groups.tolist()], file_materials)
    names, given = renamed(surface, names, room.surfaces)
    whole = {name: surface.triangles[_members(names, name)] for name in dict.fromkeys(names)}
    middle = 0.5 * float(triangles[..., 1].min() + triangles[..., 1].max())
    notes = [*surface.notes, *_confirmed(room, sizes, whole, middle, where)]
    if room.frame.origin == "corner":
        notes += corner_notes(surface.triangles[surface.bodies == 0])

    finishes = Finishes(room.materials, list(whole), [name for name in file.material_names if name])
    known = {*library(), *blueprint.materials}
    patches: list[Patch] = []
    for name, pieces in whole.items():
        chosen = [file.material_names[number] for number in file_materials[_members(names, name)].tolist()]
        materials = _materials(name, pieces, chosen, finishes, given, known)
        patches += _by_material(name, pieces, materials)
    return tuple(patches), tuple(notes)


def _members(names: Sequence[str], name: str) -> IntArray:
    return np.array([index for index, each in enumerate(names) if each == name], dtype=np.int64)


def _confirmed(room: Room, sizes: FloatArray, surfaces: dict[str, FloatArray], middle: float, where: str) -> list[str]:
    """Hold tape and side against the mesh; returns what to tell the person."""
    assert room.frame is not None
    worst = check_tape(room.tape, room.frame, sizes, surfaces, where)
    notes = [f"the mesh fits the tape within {1e3 * worst:.0f} mm ({len(room.tape)} distances)"]
    if room.side_check is None:
        notes.append("left and right of the mesh were not confirmed; a side_check in the scene would do it")
    else:
        check_side(room.side_check, room.frame, surfaces, middle, where)
    return notes


def _materials(
    name: str,
    triangles: FloatArray,
    file_materials: Sequence[str],
    finishes: Finishes,
    given: dict[str, str],
    known: set[str],
) -> list[str]:
    """Material of each triangle (n, 3, 3) of one surface."""
    exact = given.get(name) or finishes.exact(name)
    if exact:
        return [exact] * len(triangles)
    normals, _ = triangle_planes(triangles)
    groups: list[Group] = [group_of(normal) for normal in normals]
    materials = []
    for group, written in zip(groups, file_materials, strict=True):
        by_file = (finishes.exact(written) if written else None) or (written if written in known else None)
        materials.append(by_file or finishes.material(name, group))
    return materials


def _by_material(name: str, triangles: FloatArray, materials: Sequence[str]) -> list[Patch]:
    """Return one patch for each material; the one with most area keeps the name, the material joins the others."""
    areas = triangle_planes(triangles)[1]
    shares = {each: float(areas[_members(materials, each)].sum()) for each in dict.fromkeys(materials)}
    patches: list[Patch] = []
    for material in sorted(shares, key=lambda each: -shares[each]):
        called = name if not patches else f"{name} ({material})"
        patches.append(Patch(called, "room", material, frozen(triangles[_members(materials, material)])))
    return patches


def mesh_furniture_patches(item: MeshFurniture, folder: Path) -> tuple[Patch, ...]:
    """Return the surfaces of a piece of furniture given as a mesh, facing outward.

    With origin "corner" its front-left-floor corner stands at `at`; with "as given" the zero point of the file
    does. Surfaces are called by the groups of the file or, without groups, by the side they look to.

    Raises MeshError when the file cannot be read, is not closed, or has the wrong size for its unit.
    """
    where = f'furniture "{item.name}", mesh "{item.file}"'
    file = read_mesh(folder / item.file, where)
    triangles = in_room(file.triangles, item.frame, where)
    size = float(np.ptp(triangles, axis=(0, 1)).max())
    if not SMALLEST_FURNITURE_M <= size <= LARGEST_ROOM_M:
        units = fitting_units(item.frame, lambda scale: SMALLEST_FURNITURE_M <= scale * size <= LARGEST_ROOM_M)
        raise MeshError(
            f"{where}, frame.unit",
            f'with unit = "{item.frame.unit}" it is {size:.3g} m long',
            f"unit = {' or '.join(units) or 'none of m, cm, mm, in, ft'} would fit",
        )
    surface = checked_surface(triangles, where, hollow=False, repair=item.repair)
    written = [file.group_names[group] for group in file.groups[surface.parents].tolist()]
    names = [f"{item.name} {name}" for name in written] if len(set(written)) > 1 else side_names(surface, item.name)
    placed = surface.triangles + np.array(item.at.coordinates)
    return tuple(
        Patch(name, item.name, item.material, frozen(placed[_members(names, name)])) for name in dict.fromkeys(names)
    )
