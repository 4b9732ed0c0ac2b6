"""Which way is up in a scan, what its unit is, and the scan turned upright in metres with its floor at zero."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from sim.arrays import FloatArray
from sim.blueprint.units import UNIT_M, length_words
from sim.errors import MeshError
from sim.surveying.scan.cloud import Cloud, cloud_of, peaks
from sim.surveying.scan.reading import ScanPoints

LIKELY_HEIGHT_M: Final = (1.8, 4.6)
"""Heights of rooms; in other units they do not overlap, so that a height names its unit (common practice)."""
SMALLEST_PLAN_M: Final = 1.6
LARGEST_PLAN_M: Final = 30.0
CELL_M: Final = 0.04
LEVEL_DEG: Final = 0.5
"""Phones know where down is; a floor that leans by less is left as it is (common practice, no source)."""
LOOSE: Final = 0.16
"""Of the spread of points around each, so much across the surface on average is no surface (ours; rooms: 0.03)."""
_AXES: Final = {"+x": (1, 0, 0), "-x": (-1, 0, 0), "+y": (0, 1, 0), "-y": (0, -1, 0), "+z": (0, 0, 1), "-z": (0, 0, -1)}
UPS: Final = tuple(_AXES)
_FORWARD: Final = {"x": (1, 2), "y": (2, 0), "z": (0, 1)}
"""Two axes that with a third, in this order after it, are right-handed."""


@dataclass(frozen=True, slots=True)
class Upright:
    """A scan that stands: cloud in metres, floor at 0.

    Attributes
    ----------
    cloud
        Points in metres, third axis up.
    turn, shift, unit_m
        What took the file there: (turn . p + shift) * unit_m.
    up, unit
        Axis of the file that is up, and its unit.
    assumed
        What nobody said and was taken from the scan, in words.
    """

    cloud: Cloud
    turn: FloatArray
    shift: FloatArray
    unit_m: float
    up: str
    unit: str
    assumed: tuple[str, ...]


def upright(scan: ScanPoints, where: str, unit: str | None, up: str | None, units: str = "m") -> Upright:
    """Turn a scan upright, in metres, with its floor at zero; `units` is that of the scene, in which lengths are said.

    Raises
    ------
    MeshError
        If no unit makes it a room, or it has no floor: an object, loose triangles, outdoors.
    """
    assumed: list[str] = []
    low, high = np.percentile(scan.points, [0.5, 99.5], axis=0)
    extents = np.maximum(high - low, 1e-9)
    near = ((scan.points > low - 0.2 * extents) & (scan.points < high + 0.2 * extents)).all(axis=1)
    points = scan.points[near]
    rough = cloud_of(points, max(0.02 * float(np.median(extents)), float(extents.max()) / 300.0))
    if float(np.average(rough.variation, weights=rough.weights)) > LOOSE:
        raise MeshError(
            where, "its triangles are loose: they make no flat surfaces", "scan the room again, slowly, and export it"
        )
    if up is None:
        up = _likely_up(rough, extents, scan.y_up)
        assumed.append(f"{up} of the file is up (--up to say otherwise)")
    axis = np.array(_AXES[up], dtype=np.float64)
    height = float(np.abs(axis) @ extents)
    if unit is None:
        unit = _likely_unit(height, float(np.sort(extents)[1]), where)
        assumed.append(
            f"its unit is {unit}, since the room is {length_words(height * UNIT_M[unit], units)} high then (--unit)"
        )
    unit_m = UNIT_M[unit]
    _refuse_sizes(extents * unit_m, height * unit_m, scan, where, units)
    turn = _upright_frame(up)
    cloud = cloud_of(points @ turn.T * unit_m, CELL_M)
    lean = _level(cloud)
    angle = float(np.degrees(np.arccos(np.clip(lean[2, 2], -1.0, 1.0))))
    if angle > LEVEL_DEG:
        assumed.append(f"the scan leaned by {angle:.1f} degrees and was levelled by its floor and ceiling")
        turn = lean @ turn
        cloud = cloud_of(points @ turn.T * unit_m, CELL_M)
    floor = _floor(cloud, where)
    shift = np.array([0.0, 0.0, -floor / unit_m])
    return Upright(cloud.moved(np.eye(3), shift * unit_m), turn, shift, unit_m, up, unit, tuple(assumed))


def _upright_frame(up: str) -> FloatArray:
    """Rows: two level axes and up, right-handed."""
    third = np.array(_AXES[up], dtype=np.float64)
    first = np.eye(3)[_FORWARD[up[1]][0]]
    return np.stack([first, np.cross(third, first), third])


def _likely_up(rough: Cloud, extents: FloatArray, y_up: bool) -> str:
    """The file axis along which the scan is low and flat; its sign from what stands about, which is on the floor."""
    scores = []
    for number in range(3):
        along = np.abs(rough.normals[:, number])
        flat = float(rough.weights[along > 0.95].sum() / rough.weights.sum())
        habit = (1.0 if number == 1 else 0.0) if y_up else (0.0, 0.25, 0.3)[number]
        scores.append(flat - 2.0 * np.log(extents[number] / extents.min()) + habit)
    number = int(np.argmax(scores))
    level = np.abs(rough.normals[:, number]) > 0.9
    along = rough.points[level, number]
    low, high = np.percentile(rough.points[:, number], [0.5, 99.5])
    place = (along - low) / (high - low)
    weight = rough.weights[level]
    below = float(weight[(place > 0.1) & (place < 0.48)].sum())
    above = float(weight[(place > 0.52) & (place < 0.9)].sum())
    turned = above > 2.0 * below and above > 0.03 * float(rough.weights.sum())
    return ("-" if turned else "+") + "xyz"[number]


def _likely_unit(height: float, middle: float, where: str) -> str:
    lowest, highest = LIKELY_HEIGHT_M
    for unit in ("m", "cm", "mm", "ft", "in"):
        if lowest <= height * UNIT_M[unit] <= highest and middle * UNIT_M[unit] >= SMALLEST_PLAN_M:
            return unit
    raise MeshError(
        where,
        f"it is {height:.3g} high and {middle:.3g} long, which is a room in no unit: an object, or only part of a room",
        "scan the whole room; if it is one, say --unit and --up",
    )


def _refuse_sizes(sizes_m: FloatArray, height_m: float, scan: ScanPoints, where: str, units: str) -> None:
    plan = np.sort(sizes_m)
    if plan[1] < SMALLEST_PLAN_M or height_m < 1.5:
        raise MeshError(
            where,
            f"with this unit it is {' x '.join(length_words(size, units) for size in plan[::-1])}: an object, no room",
            "scan a whole room, or check --unit",
        )
    if plan[2] > LARGEST_PLAN_M:
        raise MeshError(
            where,
            f"it is {length_words(float(plan[2]), units)} long: outdoors, a whole house, or another unit",
            "scan one room, or check --unit",
        )
    if scan.faces and scan.outward > 0.75 and plan[1] < 2.6:
        raise MeshError(
            where,
            f"{scan.outward:.0%} of its surface looks outward: it is an object seen from outside, no room",
            "scan from inside the room",
        )


def _level(cloud: Cloud) -> FloatArray:
    """The turn that makes floors and ceilings level: their mean normal becomes the third axis."""
    up = np.array([0.0, 0.0, 1.0])
    for limit in (0.966, 0.99, 0.996):
        along = cloud.normals @ up
        near = (np.abs(along) > limit) & (cloud.variation < 0.08)
        if float(cloud.weights[near].sum()) < 1.0:
            break
        signed = cloud.normals[near] * np.sign(along[near])[:, None]
        up = (cloud.weights[near, None] * signed).sum(axis=0)
        up /= np.linalg.norm(up)
    across = np.cross(up, [1.0, 0.0, 0.0])
    across /= np.linalg.norm(across)
    return np.stack([np.cross(across, up), across, up])


def _floor(cloud: Cloud, where: str) -> float:
    """Height of the lowest level surface that is large."""
    level = (np.abs(cloud.normals[:, 2]) > 0.9) & (cloud.variation < 0.12)
    heights, areas = peaks(cloud.points[level, 2], cloud.weights[level], 0.01, 0.03)
    large = areas > max(1.5, 0.2 * float(areas.max(initial=0.0)))
    if not large.any():
        raise MeshError(
            where, "no floor was found: no level surface in it is large", "scan the floor and the ceiling too"
        )
    lowest = float(heights[large].min())
    near = level & (np.abs(cloud.points[:, 2] - lowest) < 0.06)
    return float(np.average(cloud.points[near, 2], weights=cloud.weights[near]))
