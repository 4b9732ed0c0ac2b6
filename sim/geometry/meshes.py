"""Meshes become rooms and furniture: read, put into the room's frame, checked, named and given materials."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np

from sim.acoustics.materials import everyday_names, library
from sim.arrays import FloatArray, KeptFor, frozen
from sim.blueprint.furniture import Furniture
from sim.blueprint.pieces import MeshFile
from sim.blueprint.prisms import Solid
from sim.blueprint.room import LARGEST_ROOM_M, Room
from sim.blueprint.schema import Blueprint
from sim.errors import MeshError
from sim.geometry.facets import triangle_planes
from sim.geometry.frames import check_side, check_size, check_tape, corner_notes, fitting_units, in_room
from sim.geometry.mesh_checks import Surface, checked_surface
from sim.geometry.mesh_files import FileState, file_state, read_mesh
from sim.geometry.patches import DEFAULT_MATERIALS, Finishes, Group, Patch, groups_of, members_of
from sim.geometry.surface_names import renamed, side_names, surface_names
from sim.machine.collecting import no_collecting

SMALLEST_FURNITURE_M = 0.02


@no_collecting()
def mesh_room(blueprint: Blueprint, folder: Path) -> tuple[tuple[Patch, ...], tuple[str, ...]]:
    """Return the surfaces of a mesh room, facing inward, and notes on what was assumed or put right.

    Surfaces are called by the groups of the file; a file without groups by direction.  `room.surfaces` renames
    the surface at a point.  The material of a surface is, in this order: that of its `room.surfaces` entry, of
    its name in `room.materials`, of its file material in `room.materials`, its file material where that is a
    known one, its group ("walls", "ceiling", "floor"), "all", the default.  A separate body in the room counts as wall.

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
    check_size(sizes, room.frame, room.tape, where)
    surface = checked_surface(triangles, where, hollow=True, repair=room.repair, allow_open=room.allow_open)

    file_materials = file.materials[surface.parents]
    written = [file.group_names[group] for group in file.groups[surface.parents].tolist()]
    names = surface_names(surface, written, file_materials)
    names, given = renamed(surface, names, room.surfaces)
    members = members_of(names)
    # laid out name by name once, so that each surface is a piece of one array
    order = np.concatenate(list(members.values()))
    sound, ends = frozen(surface.triangles[order]), np.cumsum([len(places) for places in members.values()]).tolist()
    whole = {name: sound[start:end] for name, start, end in zip(members, [0, *ends], ends, strict=False)}
    middle = 0.5 * float(triangles[..., 1].min() + triangles[..., 1].max())
    notes = [*surface.notes, *_confirmed(room, sizes, whole, middle, where)]
    if room.frame.origin == "corner":
        notes += corner_notes(surface.triangles[surface.bodies == 0])

    finishes = Finishes(room.materials, list(whole), [name for name in file.material_names if name])
    known = {*library(), *everyday_names(), *blueprint.materials}
    by_file = [_by_file(name, finishes, known) for name in file.material_names]
    by_group = {group: finishes.of_group(group) for group in DEFAULT_MATERIALS}
    kinds = zip(file_materials.tolist(), _groups(surface), strict=True)
    usual = [by_file[kind] or by_group[group] for kind, group in kinds]
    areas = triangle_planes(surface.triangles)[1]
    patches: list[Patch] = []
    for (name, inside), places in zip(whole.items(), members.values(), strict=True):
        exact = given.get(name) or finishes.exact(name)
        if exact or len(places) == 1:
            patches.append(Patch(name, "room", exact or usual[places[0]], inside))
        else:
            patches += _by_material(name, inside, [usual[face] for face in places.tolist()], areas[places])
    return tuple(patches), tuple(notes)


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


def _by_file(written: str, finishes: Finishes, known: set[str]) -> str | None:
    """Material that the file's own material name stands for; exporters write blanks as underscores."""
    if not written:
        return None
    plain = " ".join(written.replace("_", " ").lower().split())
    return finishes.exact(written) or next((name for name in (written, plain) if name in known), None)


def _groups(surface: Surface) -> list[Group]:
    """Group of each face; bodies that stand in the room are one thing all around and go with the walls."""
    normals, _ = triangle_planes(surface.triangles)
    return ["walls" if body > 0 else own for body, own in zip(surface.bodies.tolist(), groups_of(normals), strict=True)]


def _by_material(name: str, triangles: FloatArray, materials: Sequence[str], areas: FloatArray) -> list[Patch]:
    """Return one patch for each material; the one with most area keeps the name, the material joins the others."""
    if materials.count(materials[0]) == len(materials):
        return [Patch(name, "room", materials[0], frozen(triangles))]
    members = members_of(materials)
    patches: list[Patch] = []
    for material in sorted(members, key=lambda each: -float(areas[members[each]].sum())):
        called = name if not patches else f"{name} ({material})"
        patches.append(Patch(called, "room", material, frozen(triangles[members[material]])))
    return patches


def mesh_furniture_patches(name: str, material: str, mesh: MeshFile, folder: Path) -> tuple[Patch, ...]:
    """Return the surfaces of a piece of furniture given as a mesh, facing outward.

    With origin "corner" its front-left-floor corner stands at `at`; with "as given" the zero point of the file
    does. Surfaces are called by the groups of the file or, without groups, by the side they look to.

    Raises MeshError when the file cannot be read, is not closed, or has the wrong size for its unit.
    """
    where = f'furniture "{name}", mesh "{mesh.file}"'
    file = read_mesh(folder / mesh.file, where)
    triangles = in_room(file.triangles, mesh.frame, where)
    size = float(np.ptp(triangles, axis=(0, 1)).max())
    if not SMALLEST_FURNITURE_M <= size <= LARGEST_ROOM_M:
        units = fitting_units(mesh.frame, lambda scale: SMALLEST_FURNITURE_M <= scale * size <= LARGEST_ROOM_M)
        raise MeshError(
            f"{where}, frame.unit",
            f'with unit = "{mesh.frame.unit}" it is {size:.3g} m long',
            f"unit = {' or '.join(units) or 'none of m, cm, mm, in, ft'} would fit",
        )
    surface = checked_surface(triangles, where, hollow=False, repair=mesh.repair)
    written = [file.group_names[group] for group in file.groups[surface.parents].tolist()]
    sides = side_names(surface, name)
    if len(set(written)) > 1:
        sides = [f"{name} {group}" if group else side for group, side in zip(written, sides, strict=True)]
    placed = surface.triangles + np.array(mesh.at_m)
    return tuple(Patch(side, name, material, frozen(placed[places])) for side, places in members_of(sides).items())


# Furniture as closed surfaces with outward faces, whatever kind it is: of its solids, or of a mesh of one's own.
#
# Every solid is named face by face the way a person in the seat would: the far side looks at the front wall, the
# listener side at the seat, left and right are those of the seat.  The names stay with the faces when the piece
# is turned.

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
    state = None if item.mesh is None else file_state(folder / item.mesh.file)
    known = _pieces.find(item)
    if known is not None and known[0] == state:
        return known[1]
    if item.mesh is not None:
        patches = mesh_furniture_patches(item.name, item.material, item.mesh, folder)
        return _pieces.keep((state, patches), item)[1]
    patches = tuple(patch for solid in item.solids() for patch in _faces(solid, item.name, item.material))
    if not patches:
        raise TypeError(f"{type(item).__name__} is made of nothing: it needs solids or a mesh")
    return _pieces.keep((state, patches), item)[1]


_pieces: KeptFor[tuple[FileState | None, tuple[Patch, ...]]] = KeptFor(256)


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
        name, made_of = f"{solid.name} {solid.sides.get(side, side)}", solid.materials.get(side, material)
        patches.append(Patch(name, owner, made_of, frozen(triangles)))
    return patches
