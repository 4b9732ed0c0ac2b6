"""What cannot be: a listener inside a desk, a box through a wall, furniture in furniture.

Pieces known as convex solids are held to each other exactly; a mesh only to the room, by its corners.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np

from sim.arrays import FloatArray, KeptFor, in_rows
from sim.blueprint.furniture import Furniture
from sim.blueprint.schema import Blueprint
from sim.blueprint.units import is_imperial, length_words, small_words
from sim.errors import SceneError
from sim.geometry.meshes import furniture_solids
from sim.geometry.room import Room
from sim.placement.in_air import Solids, held_by, looks_met, on_a_surface, out_of_air
from sim.placement.poses import PlacedLoudspeaker
from sim.placement.solids import (
    depth_inside,
    depths_shared,
    drawn_in,
    fraction_within,
    is_enclosed,
    segments_through,
    shared_depth_m,
)
from sim.placement.supports import silent_loudspeakers

INTO_WALL_M = 0.05
"""A piece may be told so far into a wall, as beams and built-in cupboards often are (our choice)."""
WORTH_SAYING_M = 0.005
"""Two pieces that share less are taken to touch (tapes read to a few millimetres)."""
SAME_PLACE = 0.9
"""Share of a piece inside others from which two things are said to be in one place."""
_NAMED = {True: "the corner of the room", False: "a wall, the floor or the ceiling"}


def solids_of(furniture: Sequence[Furniture]) -> tuple[Solids, ...]:
    """Solids of all pieces; those of a mesh are none."""
    return tuple(
        _solids.find(item) or _solids.keep(Solids(item.name, furniture_solids(item)), item) for item in furniture
    )


_solids: KeptFor[Solids] = KeptFor(256)
_judged: KeptFor[tuple[str, ...]] = KeptFor(1024)
"""What was said of pieces that are where they were before, in the same room or beside the same other piece."""


def standing_solids(blueprint: Blueprint, folder: Path) -> tuple[Solids, ...]:
    """Solids of all pieces, and cabinets of the loudspeakers that stand there and do not play.

    A perforated top is none: waves take every solid as rigid, and most of what meets such a top goes through.
    """
    silent = [one for one in silent_loudspeakers(blueprint, folder) if not one.built_into]
    cabinets = [Solids(one.body, (one.corners,)) for one in silent if one.corners is not None]
    return (*solids_of([item for item in blueprint.furniture if not item.sheets]), *cabinets)


def judge_furniture(room: Room, enclosure: FloatArray, pieces: Sequence[Solids], unit: str = "m") -> list[str]:
    """Raise SceneError for furniture that cannot be where it is; return sentences on what may be meant.

    enclosure: triangles (t, 3, 3) of the room itself.
    """
    notes: list[str] = []
    for piece in pieces:
        said = _judged.find(enclosure, piece, unit) if piece.parts else None
        if said is None:
            said = _judged.keep(_against_the_room(room, enclosure, piece, unit), enclosure, piece, unit)
        notes += said
    for number, piece in enumerate(pieces):
        for other in pieces[number + 1 :]:
            said = _judged.find(piece, other, unit)
            notes += _judged.keep(_against_each_other(piece, other, unit), piece, other, unit) if said is None else said
    return notes


def _against_the_room(room: Room, enclosure: FloatArray, piece: Solids, unit: str) -> tuple[str, ...]:
    where = f'furniture "{piece.name}"'
    bodies = piece.parts or (_corners_of(room, piece.name),)
    corners = np.concatenate(bodies)
    within = is_enclosed(_toward_middle(bodies, WORTH_SAYING_M), enclosure)
    if not within.any():
        middle = enclosure.reshape(-1, 3).mean(axis=0)
        if (corners.min(axis=0) < middle).all() and (corners.max(axis=0) > middle).all():
            raise SceneError(where, "it goes round the whole room", "check its numbers and their units")
        raise SceneError(where, f"it is outside the room, {_span(corners, unit)}", "give distances inside the room")
    deep = is_enclosed(_toward_middle(bodies, INTO_WALL_M), enclosure)
    cut = any(segments_through(drawn_in(part, INTO_WALL_M), _corner_lines(room)).any() for part in piece.parts)
    if not deep.all() or cut:
        raise SceneError(
            where,
            f"it goes through {_NAMED[cut]}, {_span(corners, unit)}",
            "make it smaller or move it, or check the size of the room",
        )
    if within.all():
        return ()
    return (f"The {piece.name} reaches into {_NAMED[False]}; what is behind the surface counts as not there.",)


def _against_each_other(one: Solids, other: Solids, unit: str) -> tuple[str, ...]:
    depth = max((shared_depth_m(a, b) for a in one.parts for b in other.parts), default=0.0)
    if depth <= WORTH_SAYING_M:
        return ()
    for inner, outer in ((one, other), (other, one)):
        if min(fraction_within(part, outer.parts) for part in inner.parts) >= SAME_PLACE:
            raise SceneError(
                f'furniture "{inner.name}"',
                f'it stands in the same place as the furniture "{outer.name}"',
                "leave one of them out, or move it",
            )
    return (
        f"The {one.name} and the {other.name} reach {small_words(depth, unit)} into each other and count as one body "
        "there; measure again if that is not meant.",
    )


def _toward_middle(bodies: Sequence[FloatArray], by_m: float) -> FloatArray:
    """Corners of solids drawn in by so much; those of a mesh moved so far toward its middle."""
    points = []
    for body in bodies:
        if len(body) == 8:
            points.append(drawn_in(body, by_m))
            continue
        ways = body.mean(axis=0) - body
        far = np.linalg.norm(ways, axis=1)[:, None]
        points.append(body + ways * np.minimum(2.0 * by_m / np.maximum(far, 1e-9), 0.5))
    return np.concatenate(points)


def _corners_of(room: Room, name: str) -> FloatArray:
    """Corners (n, 3) of a piece as built, at most some hundreds of a fine mesh."""
    facets = [facet for facet in room.facets if facet.owner == name]
    corners = np.unique(np.concatenate([facet.corners for facet in facets]).round(6), axis=0)
    return np.asarray(corners[:: 1 + len(corners) // 400])


def _corner_lines(room: Room) -> FloatArray:
    """Ends (e, 2, 3) of the edges of the room itself that stick out into it."""
    out = room.edges.sticking_out
    own = room.arrays.owner[room.edges.facets[out, 0]] == 0
    return np.asarray(room.edges.ends[out[own]])


def _span(corners: FloatArray, unit: str) -> str:
    low, high = corners.min(axis=0), corners.max(axis=0)
    named = list(zip(("from_front", "from_left", "up"), low, high, strict=True))
    if is_imperial(unit):
        return ", ".join(f"{name} {length_words(a, unit)} to {length_words(b, unit)}" for name, a, b in named)
    return ", ".join(f"{name} {a:.2f} to {b:.2f} m" for name, a, b in named)


# What cannot be: a listener inside a desk, a driver outside the room, a box through a wall.

PLAY_M = 0.002
"""Boxes are tested this much smaller, so that standing on a desk is not standing in it."""
NEAREST_EAR_M = 0.01
"""Nearer to each other than this, ears and drivers are in one place."""


def refuse_collisions(
    room: Room,
    loudspeakers: Sequence[PlacedLoudspeaker],
    ears: FloatArray,
    listener_names: Sequence[str],
    furniture: Sequence[Solids] = (),
    unit: str = "m",
) -> None:
    """Raise SceneError for the first thing that is where it cannot be; `furniture` as far as it is convex solids.

    Sentences are in the unit of the scene.
    """
    boxes = [one.corners for one in loudspeakers]
    held, met = held_by(furniture, ears), looks_met(room, ears, -1)
    for number, (ear, name) in enumerate(zip(ears, listener_names, strict=True)):
        where = "listener.ear" if name == "ear" else "listener.second_seat.ear"
        for loudspeaker, box in zip(loudspeakers, boxes, strict=True):
            away = np.linalg.norm(loudspeaker.driver_points - ear, axis=1)
            boxed = box is not None and depth_inside(box, ear[None])[0] > 0.0
            if away.min() < NEAREST_EAR_M or boxed:
                into = "inside" if boxed else "at a driver of"
                raise SceneError(
                    where,
                    f'{_reported(ear, unit)} is {into} the monitor "{loudspeaker.name}"',
                    "move one of them",
                )
        inside = held[number] or on_a_surface(room, ear, -1) or out_of_air(room, met[number])
        if inside:
            raise SceneError(where, f"{_reported(ear, unit)} is {inside}", "give a point in the air of the room")
    _refuse_two_in_one_place(loudspeakers, boxes, unit)
    for index, (loudspeaker, box) in enumerate(zip(loudspeakers, boxes, strict=True)):
        where = f"loudspeakers[{index}].acoustic_axis"
        own = room.owner_number(loudspeaker.body)
        points = loudspeaker.driver_points
        held, met = held_by(furniture, points), looks_met(room, points, own)
        for number, (driver, point) in enumerate(zip(loudspeaker.model.drivers, points, strict=True)):
            inside = held[number]
            if box is None:
                inside = inside or on_a_surface(room, point, own, loudspeaker.built_into)
            inside = inside or out_of_air(room, met[number])
            if inside:
                raise SceneError(
                    where,
                    f'the {driver.name} of "{loudspeaker.name}" at {_reported(point, unit)} is {inside}',
                    "move or lift the monitor so that all drivers are in the air of the room",
                )
        pierced = pierced_by_box(room, box, own, furniture, unit) or _shares_space(furniture, box, unit)
        if pierced:
            raise SceneError(
                where,
                f'the cabinet of "{loudspeaker.name}" goes through {pierced}',
                "move, lift or turn it, or check the sizes of both",
            )


def _refuse_two_in_one_place(
    loudspeakers: Sequence[PlacedLoudspeaker], corners: Sequence[FloatArray | None], unit: str
) -> None:
    for index, one in enumerate(loudspeakers):
        for number, other in enumerate(loudspeakers[index + 1 :], index + 1):
            apart = float(np.linalg.norm(one.axis_point - other.axis_point))
            boxes = (corners[index], corners[number])
            shared = apart < NEAREST_EAR_M
            if boxes[0] is not None and boxes[1] is not None:
                shared = shared or shared_depth_m(boxes[0], boxes[1]) > 2.0 * PLAY_M
            if shared:
                raise SceneError(
                    f"loudspeakers[{index}].acoustic_axis",
                    f'"{one.name}" at {_reported(one.axis_point, unit)} is in the same place as the {other.body} at '
                    f"{_reported(other.axis_point, unit)}",
                    "move one of them, or check the sizes of their cabinets",
                )


def _shares_space(furniture: Sequence[Solids], corners: FloatArray | None, unit: str) -> str:
    """Name the piece of furniture that takes up room of a loudspeaker's box and say how deep, or an empty text."""
    if corners is None or not any(piece.parts for piece in furniture):
        return ""
    depths = iter(depths_shared(corners, in_rows(part for piece in furniture for part in piece.parts)).tolist())
    for piece in furniture:
        depth = max((next(depths) for _ in piece.parts), default=0.0)
        if depth > 2.0 * PLAY_M:
            return f"the {piece.name} by {small_words(depth, unit)}"
    return ""


def depth_words(room: Room, facet: int, corners: FloatArray, furniture: Sequence[Solids], unit: str) -> str:
    """Say how far a box (8, 3) reaches into what a facet belongs to: " by 4 cm", the least it has to move.

    Into the solids of a piece of furniture; of the room, a mesh or a cabinet it is the depth behind that facet.
    """
    hit = room.facets[facet]
    parts = next((piece.parts for piece in furniture if piece.name == hit.owner), ())
    depth = max((shared_depth_m(corners, part) for part in parts), default=0.0)
    if depth <= 0.0:
        depth = float(hit.offset_m - (corners @ hit.normal).min())
    return f" by {small_words(depth, unit)}" if depth > 0.0 else ""


def pierced_by_box(
    room: Room, whole: FloatArray | None, own: int, furniture: Sequence[Solids] = (), unit: str = "m"
) -> str:
    """Name the surface that a loudspeaker's box (8, 3) goes through and say by how much, or an empty text."""
    if whole is None:
        return ""
    corners = whole
    middle = corners.mean(axis=0)
    spread = corners - middle
    size = np.linalg.norm(corners[6] - corners[0])
    corners = middle + spread * (1.0 - 4.0 * PLAY_M / size)
    facet = first_through(room, corners, own)
    if facet < 0:
        facet = edge_through_box(room, corners, own)
    return f"the {room.facets[facet].name}{depth_words(room, facet, whole, furniture, unit)}" if facet >= 0 else ""


def first_through(room: Room, corners: FloatArray, own: int = -1) -> int:
    """Facet of a surface of another body that a side of a box (8, 3) goes through, or -1."""
    from sim.placement.solid_kernels import side_met

    triangle = side_met(np.array(corners), own, *room.ray_arrays)
    return int(room.facet_of_triangle[triangle]) if triangle >= 0 else -1


def edge_through_box(room: Room, corners: FloatArray, own: int = -1) -> int:
    """Facet of the first edge of another body that goes through a side of a box (8, 3), or -1."""
    from sim.placement.solid_kernels import edge_met

    facets = room.edges.facets[:, 0]
    edge = edge_met(np.array(corners), PLAY_M, room.edges.ends, room.arrays.owner[facets], own)
    return int(facets[edge]) if edge >= 0 else -1


def _reported(point: FloatArray, unit: str) -> str:
    if is_imperial(unit):
        named = zip(("from_front", "from_left", "up"), point.tolist(), strict=True)
        return ", ".join(f"{name} {length_words(metres, unit)}" for name, metres in named)
    return f"from_front {point[0]:.2f} m, from_left {point[1]:.2f} m, up {point[2]:.2f} m"
