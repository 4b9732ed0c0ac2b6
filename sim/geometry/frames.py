"""From the axes and the unit of a mesh file into the room, and the proofs that they were stated rightly.

A mesh with left and right swapped looks like a room and gives wrong answers, so the frame is checked three
times: it must be right-handed, a tape distance must fit, and a surface known to be on one side must be there.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np

from sim.arrays import FloatArray
from sim.blueprint.complaints import either
from sim.blueprint.records import MeshFrame, SideCheck, TapeCheck
from sim.blueprint.room import LARGEST_ROOM_M, SMALLEST_ROOM_M
from sim.blueprint.units import UNIT_M
from sim.errors import MeshError
from sim.geometry.facets import SAME_DIRECTION, SAME_PLANE_M, triangle_planes

DIRECTIONS = ("depth", "width", "height")
PARALLEL_DEG = 2.0
"""Surfaces turned against each other by more than this have no one distance (common practice, no source)."""


def place(point: FloatArray) -> str:
    """Name a point (3,) the way a person measures it."""
    return f"from_front {point[0]:.3f}, from_left {point[1]:.3f}, up {point[2]:.3f} m"


def frame_rows(frame: MeshFrame, where: str) -> FloatArray:
    """Rows (3, 3) that turn file coordinates into depth, across, up.

    Raises MeshError when two of the three use one axis, or when the frame is left-handed.
    """
    keys = {"depth": frame.depth, "across": frame.across, "up": frame.up}
    letters = [axis[1] for axis in keys.values()]
    if len(set(letters)) < 3:
        told = ", ".join(f'{key} = "{axis}"' for key, axis in keys.items())
        raise MeshError(
            f"{where}, frame",
            f"two directions use the same axis ({told})",
            "give each direction an axis of its own",
        )
    rows = np.zeros((3, 3))
    for row, axis in zip(rows, keys.values(), strict=True):
        row["xyz".index(axis[1])] = 1.0 if axis[0] == "+" else -1.0
    if np.linalg.det(rows) < 0.0:
        swapped = _opposite(frame.across)
        raise MeshError(
            f"{where}, frame",
            f'depth = "{frame.depth}", across = "{frame.across}", up = "{frame.up}" is left-handed '
            "and would swap left and right",
            f'across = "{swapped}" makes it right-handed; if the front wall is at the other end, '
            f'depth = "{_opposite(frame.depth)}" does too',
        )
    return rows


def in_room(triangles: FloatArray, frame: MeshFrame, where: str) -> FloatArray:
    """Triangles (n, 3, 3) of the file in the room's axes and metres; origin "corner" moves them to zero."""
    turned = triangles @ frame_rows(frame, where).T * UNIT_M[frame.unit]
    if frame.origin == "corner":
        turned = turned - turned.min(axis=(0, 1))
    return np.asarray(turned, dtype=np.float64)


def corner_notes(triangles: FloatArray) -> list[str]:
    """Tell when distances count from a niche rather than from the largest wall (or floor) on that side.

    triangles: (n, 3, 3) of the room's shell, facing inward, its bounding box starting at zero.
    """
    notes = []
    normals, areas = triangle_planes(triangles)
    for axis, (key, side) in enumerate((("from_front", "front"), ("from_left", "left"), ("up", "lower"))):
        looking_in = normals[:, axis] > SAME_DIRECTION
        if looking_in.any():
            levels = np.rint(triangles[looking_in, :, axis].mean(axis=1) / SAME_PLANE_M).astype(np.int64)
            places, number = np.unique(levels, return_inverse=True)
            away = float(places[np.argmax(np.bincount(number, weights=areas[looking_in]))]) * SAME_PLANE_M
            if away > 5.0 * SAME_PLANE_M:
                notes.append(
                    f"{key} counts from the outermost surface of the mesh; the largest one on the {side} side "
                    f"lies at {key} {away:.3f} m"
                )
    return notes


def check_size(sizes_m: FloatArray, frame: MeshFrame, tape: Sequence[TapeCheck], where: str) -> None:
    """Refuse a room whose overall sizes (3,) show that its unit is wrong; the tape tells which unit is right."""
    if _is_room(sizes_m):
        return
    told = " by ".join(f"{size:.4g}" if size < 1e4 else f"{size:.0f}" for size in sizes_m)
    units = fitting_units(frame, lambda scale: _is_room(scale * sizes_m))
    along = [(DIRECTIONS.index(check.along), check) for check in tape if check.along is not None]
    by_tape = fitting_units(frame, lambda scale: any(_fits(scale * sizes_m[axis], check) for axis, check in along))
    likely = [unit for unit in units if unit in by_tape] or units
    raise MeshError(
        f"{where}, frame.unit",
        f'with unit = "{frame.unit}" the room is {told} m (depth by width by height), '
        f"outside {SMALLEST_ROOM_M:g} to {LARGEST_ROOM_M:g} m",
        f"unit = {either(likely)} would fit" if likely else "no unit makes a room of it; check the mesh",
    )


def _fits(found_m: float, check: TapeCheck) -> bool:
    """Whether a length agrees with the tape, with half a percent to spare when only the unit is looked for."""
    return abs(found_m - check.distance) <= max(check.tolerance, 0.005 * check.distance)


def fitting_units(frame: MeshFrame, fits: Callable[[float], bool]) -> list[str]:
    """Units for which `fits`, given how many times larger the mesh would become, says yes."""
    return [unit for unit, size in UNIT_M.items() if unit != frame.unit and fits(size / UNIT_M[frame.unit])]


def check_tape(
    checks: tuple[TapeCheck, ...],
    frame: MeshFrame,
    sizes_m: FloatArray,
    surfaces: dict[str, FloatArray],
    where: str,
) -> float:
    """Compare tape distances with the mesh and return the largest difference in metres.

    Parameters
    ----------
    sizes_m
        (3,) overall depth, width and height.
    surfaces
        Triangles (n, 3, 3) of each named surface.

    Raises
    ------
    MeshError
        If a distance does not fit, or names surfaces that are missing or not parallel.
    """
    worst = 0.0
    for number, check in enumerate(checks):
        key = f"{where}, tape[{number}]"
        if check.between is not None:
            first, second = check.between
            found, told = surface_distance(surfaces, first, second, key), f'between "{first}" and "{second}"'
        elif check.along is not None:
            found, told = float(sizes_m[DIRECTIONS.index(check.along)]), f"along {check.along}"
        else:
            raise MeshError(
                key,
                "it does not say what was measured",
                'add along = "depth" or between = ["front wall", "rear wall"]',
            )
        difference = abs(found - check.distance)
        if difference > check.tolerance:
            raise MeshError(key, *_tape_sentence(check, frame, found, told, sizes_m))
        worst = max(worst, difference)
    return worst


def _tape_sentence(check: TapeCheck, frame: MeshFrame, found: float, told: str, sizes_m: FloatArray) -> tuple[str, str]:
    sentence = (
        f"the mesh measures {found:.3f} m {told} and the tape {check.distance:.3f} m, "
        f"{found / check.distance:.4g} times as much"
    )
    units = fitting_units(frame, lambda scale: _fits(scale * found, check))
    if units:
        return sentence, f"unit = {either(units)} would fit"
    others = [
        name
        for name, size in zip(DIRECTIONS, sizes_m, strict=True)
        if name != check.along and abs(size - check.distance) <= check.tolerance
    ]
    if check.along and others:
        return (
            sentence,
            f"the {others[0]} of the mesh fits the tape, so check depth, across and up in the frame",
        )
    return sentence, "no unit makes it fit; measure again, or check whether the mesh shows this room"


def surface_distance(surfaces: dict[str, FloatArray], first: str, second: str, where: str) -> float:
    """Distance in metres between the planes of two parallel surfaces.

    Raises MeshError when a name is unknown or the surfaces are not parallel within two degrees.
    """
    for name in (first, second):
        if name not in surfaces:
            listed = ", ".join(f'"{each}"' for each in surfaces)
            raise MeshError(where, f'no surface is called "{name}"', f"the surfaces are {listed}")
    (normal, middle), (other_normal, other_middle) = _mean_plane(surfaces[first]), _mean_plane(surfaces[second])
    angle = float(np.degrees(np.arccos(min(1.0, abs(float(normal @ other_normal))))))
    if angle > PARALLEL_DEG:
        raise MeshError(
            where,
            f'"{first}" and "{second}" are {angle:.1f} degrees from parallel and have no one distance',
            "measure between two parallel surfaces, or along depth, width or height",
        )
    return abs(float((other_middle - middle) @ normal))


def check_side(check: SideCheck, frame: MeshFrame, surfaces: dict[str, FloatArray], middle: float, where: str) -> None:
    """Refuse a mesh whose known surface lies on the wrong side of the room's middle (from the left wall, m)."""
    key = f"{where}, side_check"
    if check.surface not in surfaces:
        listed = ", ".join(f'"{each}"' for each in surfaces)
        raise MeshError(f"{key}.surface", f'no surface is called "{check.surface}"', f"the surfaces are {listed}")
    across = float(_mean_plane(surfaces[check.surface])[1][1])
    if (across < middle) != (check.side == "left") or across == middle:
        raise MeshError(
            key,
            f'"{check.surface}" should be on the {check.side} and lies {across:.3f} m from the left, '
            f"{abs(across - middle):.3f} m {'left' if across < middle else 'right'} of the middle, "
            "so left and right seem to be swapped",
            f'across = "{_opposite(frame.across)}" with depth = "{_opposite(frame.depth)}" turns the room '
            "around; if front and rear are then swapped, the mesh itself is mirrored and must be exported again",
        )


def _mean_plane(triangles: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Unit normal and middle, both weighted by area, of triangles (n, 3, 3)."""
    crossed = np.cross(triangles[:, 1] - triangles[:, 0], triangles[:, 2] - triangles[:, 0])
    weights = np.linalg.norm(crossed, axis=1)
    normal = crossed.sum(axis=0)
    middle = np.average(triangles.mean(axis=1), axis=0, weights=weights)
    return normal / max(float(np.linalg.norm(normal)), 1e-300), np.asarray(middle, dtype=np.float64)


def _is_room(sizes_m: FloatArray) -> bool:
    return bool(sizes_m.max() <= LARGEST_ROOM_M and sizes_m.min() >= SMALLEST_ROOM_M)


def _opposite(axis: str) -> str:
    return ("-" if axis[0] == "+" else "+") + axis[1]
