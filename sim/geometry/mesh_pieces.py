"""What every mesh file is read into: pieces of named triangles, and how much of it is too much."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from sim.arrays import FloatArray, IntArray
from sim.errors import printable
from sim.geometry.facets import plane_frame
from sim.geometry.seams import ear_faces

LARGEST_FILE_BYTES: Final = 100_000_000
MOST_TRIANGLES: Final = 500_000
"""No drawn room needs more, and a scan is thinned out before sound is traced in it (common practice, no source)."""
LONGEST_NAME: Final = 80


@dataclass(frozen=True, slots=True)
class Piece:
    """Triangles (n, 3, 3) of one group and material; an empty name stands for none."""

    group: str
    material: str
    triangles: FloatArray

    def __post_init__(self) -> None:
        """Names in files are anybody's: control characters are spelt out, and what fits no table is cut."""
        object.__setattr__(self, "group", plain_name(self.group))
        object.__setattr__(self, "material", plain_name(self.material))


def plain_name(written: str) -> str:
    """A name of a file as it may stand in a table or on a screen."""
    return printable(written.replace("\n", " ").replace("\t", " ").strip())[:LONGEST_NAME]


def refuse_crowds(triangles: int) -> None:
    """Refuse more triangles than are read.  Raises ValueError."""
    if triangles > MOST_TRIANGLES:
        raise ValueError(f"it has {triangles:,} triangles, the most that are read are {MOST_TRIANGLES:,}")


def chosen_corners(corners: FloatArray, numbers: IntArray) -> FloatArray:
    """Corners by their numbers, counted from 0.  Raises ValueError when there is no such corner."""
    if numbers.size and not (numbers.min() >= 0 and numbers.max() < len(corners)):
        wrong = int(numbers[(numbers < 0) | (numbers >= len(corners))].flat[0])
        raise ValueError(f"a face names corner {wrong}, counted from 0, of {len(corners)}")
    return np.asarray(corners[numbers], dtype=np.float64)


def polygon_triangles(outline: FloatArray) -> FloatArray:
    """Triangles (n, 3, 3) of a polygon (k, 3), cut as `polygon_faces` does.  Raises ValueError as it does."""
    return np.asarray(outline[polygon_faces(outline)], dtype=np.float64)


def polygon_faces(outline: FloatArray) -> IntArray:
    """Cut a polygon (k, 3) into triangles wound like it: numbers (n, 3) of its corners; hollow corners are allowed.

    Corners in the middle of a straight side may be left out; `seams.split_at_corners` brings them back where a
    neighbour needs them.  Raises ValueError for fewer than three corners.
    """
    if len(outline) < 3:
        raise ValueError("a face needs at least three corners")
    second = np.arange(1, len(outline) - 1)
    fan = np.column_stack([np.zeros_like(second), second, second + 1])
    if len(outline) == 3 or not np.isfinite(outline).all():
        return fan
    # Newell's normal, which hollow corners and slightly bent polygons do not upset (Ericson, Real-Time
    # Collision Detection, 2005, 12.4.2).
    following = np.roll(outline, -1, axis=0)
    with np.errstate(over="ignore", invalid="ignore"):
        normal = np.cross(outline - outline[0], following - outline[0]).sum(axis=0)
        size = float(np.linalg.norm(normal))
    if not np.isfinite(size) or size == 0.0:
        return fan
    frame = plane_frame(normal / size, outline[0])
    return ear_faces([(outline - outline[0]) @ frame[1:].T])
