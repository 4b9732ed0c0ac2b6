"""The mirror formula by hand for the demo scenes: a slow twin that knows only planes written out here.

Planes are told as a point and a normal in (depth, across, up), not taken from the built geometry, so that a scene
file and its `expected.toml` are compared with the drawing and not with themselves.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Vector = NDArray[np.float64]
SPEED_OF_SOUND = 343.0

DESK_TOPS = {
    "bedroom": ("desk top", 1.30, 0.74, 0.0),
    "attic": ("desk top", 1.75, 0.72, 0.0),
    "control-room": ("console top", 2.35, 0.78, 0.20 / 0.80),
}
"""Name, depth and height of the listener-side edge, and rise per metre toward the front."""


@dataclass(frozen=True)
class Arrival:
    point: Vector
    delay_ms: float
    level_db: float


def planes(scene: str) -> dict[str, tuple[Vector, Vector]]:
    """Planes of a demo room by the name of the surface that lies in each."""
    room = next(key for key in DESK_TOPS if scene.startswith(key))
    if room == "bedroom":
        found = _box(3.40, 4.20, 2.40)
        found["window"] = found["left wall"]
    elif room == "control-room":
        found = _box(5.20, 6.80, 2.90)
        found["glass door"] = found["left wall"]
    elif scene == "attic-turned":
        found = {"left slope": ((0.0, 0.0, 1.05), (1.0, 0.0, -1.0))}
    else:
        found = {
            "floor": ((0.0, 0.0, 0.0), (0.0, 0.0, 1.0)),
            "flat ceiling": ((0.0, 0.0, 2.60), (0.0, 0.0, 1.0)),
            "front gable": ((0.0, 0.0, 0.0), (1.0, 0.0, 0.0)),
            "rear gable": ((5.40, 0.0, 0.0), (1.0, 0.0, 0.0)),
            "left knee wall": ((0.0, 0.0, 0.0), (0.0, 1.0, 0.0)),
            "right knee wall": ((0.0, 4.60, 0.0), (0.0, 1.0, 0.0)),
            "dormer window": ((0.0, 4.60, 0.0), (0.0, 1.0, 0.0)),
            "left slope": ((0.0, 0.0, 1.05), (0.0, 1.0, -1.0)),
            "right slope": ((0.0, 4.60, 1.05), (0.0, -1.0, -1.0)),
        }
    name, depth, up, rise = DESK_TOPS[room]
    found[name] = ((depth, 0.0, up), (rise, 0.0, 1.0))
    return {key: (np.array(point), np.array(normal)) for key, (point, normal) in found.items()}


_Plain = tuple[tuple[float, float, float], tuple[float, float, float]]


def _box(width: float, depth: float, height: float) -> dict[str, _Plain]:
    return {
        "front wall": ((0.0, 0.0, 0.0), (1.0, 0.0, 0.0)),
        "rear wall": ((depth, 0.0, 0.0), (1.0, 0.0, 0.0)),
        "left wall": ((0.0, 0.0, 0.0), (0.0, 1.0, 0.0)),
        "right wall": ((0.0, width, 0.0), (0.0, 1.0, 0.0)),
        "floor": ((0.0, 0.0, 0.0), (0.0, 0.0, 1.0)),
        "ceiling": ((0.0, 0.0, height), (0.0, 0.0, 1.0)),
    }


def mirrored(source: Vector, ear: Vector, plane: tuple[Vector, Vector]) -> Arrival:
    """Mirror the source in the plane; hard surface, equal radiation, spreading loss only."""
    corner, normal = plane
    unit = normal / np.linalg.norm(normal)
    from_source, from_ear = float((source - corner) @ unit), float((ear - corner) @ unit)
    image = source - 2.0 * from_source * unit
    point = image + (ear - image) * from_source / (from_source + from_ear)
    direct, length = float(np.linalg.norm(ear - source)), float(np.linalg.norm(ear - image))
    return Arrival(point, (length - direct) / SPEED_OF_SOUND * 1e3, 20.0 * float(np.log10(direct / length)))


def on_the_front(axis: Vector, toe_in_deg: float, right_m: float, up_m: float, roll_deg: float) -> Vector:
    """A driver of a level box: so far right of and above the axis point of the upright box, then rolled and toed in.

    Toe-in is counter-clockwise from above.  Roll by quarter turns only: +90 brings the top to the right.
    """
    right_m, up_m = {
        0.0: (right_m, up_m),
        90.0: (up_m, -right_m),
        180.0: (-right_m, -up_m),
        -90.0: (-up_m, right_m),
    }[roll_deg]
    turn = np.radians(toe_in_deg)
    return np.asarray(axis + np.array([-np.sin(turn) * right_m, np.cos(turn) * right_m, up_m]))


def hits(start: Vector, end: Vector, triangles: Vector) -> NDArray[np.bool_]:
    """Which triangles (n, 3, 3) the open stretch from start to end passes through, by solving 3 equations each."""
    found = np.zeros(len(triangles), dtype=np.bool_)
    for index, (a, b, c) in enumerate(triangles):
        matrix = np.column_stack([b - a, c - a, start - end])
        if abs(np.linalg.det(matrix)) > 1e-12:
            u, v, along = np.linalg.solve(matrix, start - a)
            inside = u >= -1e-9 and v >= -1e-9 and u + v <= 1.0 + 1e-9
            found[index] = inside and 1e-6 < along < 1.0 - 1e-6
    return found
