"""Where each loudspeaker is and how it is turned, with its cabinet as patches; those built into a wall.

Turning order: roll about the loudspeaker's own axis, then tilt, then toe-in about the vertical.  Columns of a
rotation are the box's forward, right and up directions (right as seen from the seat, facing the baffle).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path

import numpy as np

from sim.answers import printable
from sim.arrays import FloatArray, IntArray, KeptFor, frozen
from sim.blueprint.schema import Blueprint
from sim.blueprint.schema import Loudspeaker as LoudspeakerRecord
from sim.errors import SceneError
from sim.geometry.facets import Facet
from sim.geometry.patches import Patch
from sim.geometry.room import Room
from sim.loudspeakers.catalogue import Loudspeaker, generic_loudspeaker
from sim.loudspeakers.loudspeaker import FACE_CORNERS, FACE_NAMES, cabinet_corners
from sim.placement.models import given_loudspeaker

CABINET_MATERIAL = "mdf or veneered board"
_HALVES: IntArray = np.array(FACE_CORNERS)[:, [[0, 1, 2], [0, 2, 3]]]
"""Corners (6, 2, 3) of the two triangles of each face."""


@printable
@dataclass(frozen=True, slots=True)
class PlacedLoudspeaker:
    """A loudspeaker in the room.

    Attributes
    ----------
    name, body
        What the person calls it, and the name of its box as an obstacle.
    model
        What it radiates.
    axis_point
        (3,) acoustic axis point in metres.
    rotation
        (3, 3) columns forward, right, up.
    driver_points
        (d, 3) driver centres.
    toe_in_deg, tilt_deg, roll_deg
        As turned; positive toe-in toward the centre line, positive tilt down.
    side
        "left", "right" or "centre" of the ear.
    built_into
        Names of the surfaces its front lies in.
    """

    name: str
    body: str
    model: Loudspeaker
    axis_point: FloatArray
    rotation: FloatArray
    driver_points: FloatArray
    toe_in_deg: float
    tilt_deg: float
    roll_deg: float
    side: str
    built_into: tuple[str, ...]

    def to_box(self, directions: FloatArray) -> FloatArray:
        """Directions (..., 3) of the room in the box's frame (forward, right, up)."""
        return np.asarray(directions @ self.rotation, dtype=np.float64)

    def off_axis_deg(self, directions: FloatArray) -> FloatArray:
        """Angles (...,) in degrees between directions (..., 3) and the loudspeaker's axis."""
        return np.asarray(np.degrees(np.arccos(np.clip(directions @ self.rotation[:, 0], -1.0, 1.0))))

    @property
    def corners(self) -> FloatArray | None:
        """(8, 3) corners of the box in the room, or None when it has none."""
        local = cabinet_corners(self.model)
        return None if local is None else self.axis_point + local @ self.rotation.T

    def patches(self) -> tuple[Patch, ...]:
        """The box as patches with outward normals; none for a loudspeaker without a box or built in."""
        corners = self.corners
        if corners is None:
            return ()
        triangles = frozen(corners[_HALVES])
        return tuple(
            Patch(f"{self.body} {name}", self.body, CABINET_MATERIAL, two)
            for name, two in zip(FACE_NAMES, triangles, strict=True)
        )


def rotation_of(turn_deg: float, tilt_deg: float, roll_deg: float) -> FloatArray:
    """Rotation (3, 3) with columns forward, right, up.

    turn_deg is counter-clockwise from above (from rearward toward the right); tilt down and roll (top toward
    the seat's right) are positive.
    """
    turn, tilt, roll = np.radians([turn_deg, tilt_deg, roll_deg])
    about_vertical = np.array([[np.cos(turn), -np.sin(turn), 0.0], [np.sin(turn), np.cos(turn), 0.0], [0.0, 0.0, 1.0]])
    downward = np.array([[np.cos(tilt), 0.0, np.sin(tilt)], [0.0, 1.0, 0.0], [-np.sin(tilt), 0.0, np.cos(tilt)]])
    rolled = np.array([[1.0, 0.0, 0.0], [0.0, np.cos(roll), np.sin(roll)], [0.0, -np.sin(roll), np.cos(roll)]])
    return np.asarray(about_vertical @ downward @ rolled)


def aim_angles(axis_point: FloatArray, target: FloatArray) -> tuple[float, float]:
    """Turn and tilt in degrees that point the axis from `axis_point` (3,) to `target` (3,)."""
    depth, across, up = target - axis_point
    return float(np.degrees(np.arctan2(across, depth))), float(np.degrees(np.arctan2(-up, np.hypot(depth, across))))


def build_model(blueprint: Blueprint, record: LoudspeakerRecord, folder: Path | None = None) -> Loudspeaker:
    """Build what a loudspeaker record names: a model of the scene, or a generic kind.

    `folder` is the scene's, in which measured data lie; left out, the working folder.

    Raises
    ------
    ValueError
        With a sentence, if it cannot be built.
    SceneError
        If its data cannot be read.
    """
    flush = record.standing == "built in"
    model = blueprint.models.get(record.model)
    if model is None:
        return _generic(record.model, record.name, flush)
    if model.file is not None or any(driver.file is not None for driver in model.drivers):
        return given_loudspeaker(record.model, model, folder if folder is not None else Path(), flush=flush)
    known = _kept.find(model)
    if known is None or (known[0], known[1].flush) != (record.model, flush):
        known = _kept.keep((record.model, given_loudspeaker(record.model, model, Path(), flush=flush)), model)
    return known[1]


_kept: KeptFor[tuple[str, Loudspeaker]] = KeptFor(64)
"""Models without files, which follow from their record alone."""


@lru_cache(maxsize=64)
def _generic(kind: str, name: str, flush: bool) -> Loudspeaker:
    return generic_loudspeaker(kind, name=name, flush=flush)  # type: ignore[arg-type]


def place(
    blueprint: Blueprint, record: LoudspeakerRecord, support_top_m: float, folder: Path | None = None
) -> PlacedLoudspeaker:
    """Turn and place one loudspeaker; support_top_m is the height of what stands below it.

    `folder` and what is raised are those of `build_model`.
    """
    model = build_model(blueprint, record, folder)
    ear = np.array(blueprint.listener.ear.coordinates)
    across_of_ear = blueprint.listener.ear.from_left
    axis = record.acoustic_axis
    inward = np.sign(round(across_of_ear - axis.from_left, 6))
    point = np.array([axis.from_front, axis.from_left, ear[2] if axis.up is None else axis.up])
    roll = record.roll_deg
    for _ in range(8):  # the height depends on the tilt and, when aimed at the ear, the tilt on the height
        behind = ear + record.aim_behind * _level(ear - point)
        turn, tilt = aim_angles(point, behind if record.toe_in_deg == "ear" else ear)
        tilt = aim_angles(point, ear)[1]
        toe_in = turn * inward if inward else turn
        if record.toe_in_deg != "ear":
            toe_in = float(record.toe_in_deg)
        if record.tilt_deg != "ear":
            tilt = float(record.tilt_deg)
        rotation = rotation_of(toe_in * inward if inward else toe_in, tilt, roll)
        if axis.up is not None:
            break
        local = cabinet_corners(model)
        lowest = 0.0 if local is None else float((local @ rotation.T)[:, 2].min())
        point = np.array([point[0], point[1], support_top_m + record.pad - lowest])
    offsets = np.array([driver.offset_m for driver in model.drivers])
    side = {1.0: "left", -1.0: "right"}.get(float(inward), "centre")
    return PlacedLoudspeaker(
        record.name,
        f"{record.name} loudspeaker",
        model,
        frozen(point),
        frozen(rotation),
        frozen(point + offsets @ rotation.T),
        float(toe_in),
        float(tilt),
        roll,
        side,
        record.built_into,
    )


def _level(direction: FloatArray) -> FloatArray:
    flat = direction * np.array([1.0, 1.0, 0.0])
    return np.asarray(flat / max(float(np.linalg.norm(flat)), 1e-12))


# Loudspeakers built into a wall: their drivers lie in the wall's surface, wherever the tape says the axis is.

PROUD_M = 0.001


def pulled_flush(room: Room, index: int, loudspeaker: PlacedLoudspeaker) -> tuple[PlacedLoudspeaker, str]:
    """Move drivers that would lie behind the surface the loudspeaker is built into to just in front of it.

    A tilted box in an upright wall has part of its front behind the wall's face; the builder shapes the wall to
    it.  Here the wall stays flat and the drivers come forward, which changes paths by no more than the move.
    Returns the loudspeaker, whose `body` becomes that of the wall and whose model knows which way the wall faces, and a
    note; both unchanged for others.

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
    into = min(facets, key=lambda facet: abs(float(facet.normal @ loudspeaker.axis_point) - facet.offset_m))
    forward, right, up = loudspeaker.to_box(into.normal).tolist()
    model = replace(loudspeaker.model, wall_normal=(forward, right, up))
    return replace(loudspeaker, model=model, driver_points=frozen(points), body=body), note
