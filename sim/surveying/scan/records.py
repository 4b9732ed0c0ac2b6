"""What a scan was found to be: walls, ceiling, slopes, blocks, what was not seen, and how far the scan lies from it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, ClassVar, Final

import numpy as np

from sim.answers import Answer, Labelled, printable
from sim.arrays import FloatArray
from sim.blueprint.units import length_words, small_words
from sim.surveying.scan.regular_angles import WallDirection

MOST_ERROR_M: Final = 0.02
MOST_DOUBLED_M: Final = 0.04
LEAST_SEEN: Final = 0.3
"""A wall whose place is less certain, which is there twice farther apart, or of which less was seen, is unsure."""


@printable
@dataclass(frozen=True, slots=True)
class ScannedWall:
    """A wall of the scene, from the corner it starts at to the next.

    Attributes
    ----------
    name
        As the scene has it.
    start_m, end_m
        (from_front, from_left) of its corners.
    error_m, error_deg
        Standard uncertainties of its place and direction.
    seen
        Fraction of its surface that the scan holds.
    doubled_m
        How far a second layer of it lies from the first; 0: there is none.
    off_square_deg
        How far the scan has it from square.
    direction
        What its direction was made: "square", "45 degrees" to the square walls, "mirrored" (the wall at the other side
        of a bay has the same angle), or "as scanned".
    turned_deg
        By how much it was turned for that.
    """

    name: str
    start_m: tuple[float, float]
    end_m: tuple[float, float]
    error_m: float
    error_deg: float
    seen: float
    doubled_m: float
    off_square_deg: float
    direction: WallDirection
    turned_deg: float

    @property
    def length_m(self) -> float:
        """From corner to corner."""
        return float(np.hypot(self.end_m[0] - self.start_m[0], self.end_m[1] - self.start_m[1]))

    @property
    def outward(self) -> FloatArray:
        """Unit vector (2,) out of the room."""
        along = np.subtract(self.end_m, self.start_m) / self.length_m
        return np.array([along[1], -along[0]])

    @property
    def squared(self) -> bool:
        """Whether it was made square."""
        return self.direction == "square"

    @property
    def skewed(self) -> bool:
        """Whether nothing but the scan says its direction, and that so loosely that its ends are uncertain."""
        moved_m = 0.5 * self.length_m * np.tan(np.radians(self.error_deg))
        return bool(self.direction == "as scanned" and moved_m > MOST_ERROR_M)

    @property
    def unsure(self) -> bool:
        """Whether a tape should go there before anybody trusts it."""
        loose = self.error_m > MOST_ERROR_M or self.skewed
        return loose or self.doubled_m > MOST_DOUBLED_M or self.seen < LEAST_SEEN


@printable
@dataclass(frozen=True, slots=True)
class ScannedSlope:
    """A sloped ceiling: its name, the wall it starts on, how high that is, its steepness, and what was seen of it.

    Attributes
    ----------
    name, wall
        Its name, and that of its wall.
    knee_m, angle_deg
        Height of its lower edge on that wall; steepness against the horizontal.
    error_m, error_deg
        Standard uncertainties of its place and steepness.
    area_m2
        Surface of the scan that lies on it.
    """

    name: str
    wall: str
    knee_m: float
    angle_deg: float
    error_m: float
    error_deg: float
    area_m2: float


@printable
@dataclass(frozen=True, slots=True)
class ScannedBlock:
    """Something that stands in the room or hangs from its ceiling.

    Attributes
    ----------
    name, kind
        "block 1"; "block" or "beam".
    low_m, high_m
        Its corners (from_front, from_left, up).
    table
        Whether it is a top with air below.
    """

    name: str
    kind: str
    low_m: tuple[float, float, float]
    high_m: tuple[float, float, float]
    table: bool = False


@printable
@dataclass(frozen=True, slots=True)
class NotSeen:
    """A part of a wall without depth.

    Attributes
    ----------
    wall
        Which wall.
    along_m, up_m
        From and to, along the wall from its start, and up.
    area_m2
        Its area.
    behind
        Name of the block that hides it; empty: nothing hides it, it may be a window, a door or a mirror.
    beyond
        Whether the scan goes on behind it.
    """

    wall: str
    along_m: tuple[float, float]
    up_m: tuple[float, float]
    area_m2: float
    behind: str = ""
    beyond: bool = False


@printable
@dataclass(frozen=True, slots=True)
class SurfaceDistances:
    """How far the scan lies from one surface: a map of squares.

    Attributes
    ----------
    name
        Of the surface.
    square_m
        Side of a square.
    distance_m
        (along, up) mean distance into the room, nan where nothing was seen.
    inside
        (along, up) whether the square belongs to the surface.
    """

    name: str
    square_m: float
    distance_m: FloatArray
    inside: np.ndarray


@printable
@dataclass(frozen=True, slots=True)
class TapeReading:
    """A distance by tape beside that of the scan.

    Attributes
    ----------
    between
        What it lies between.
    tape_m, scan_m
        By tape, and in the scan before it was corrected.
    """

    between: str
    tape_m: float
    scan_m: float


@dataclass(frozen=True, slots=True, repr=False)
class ScannedRoom(Answer):
    """A room out of a scan.

    Attributes
    ----------
    title
        What it is called.
    file, count, faces
        Name of the scan, its triangles or points, and which of them they are.
    unit, up
        Unit of the file, and its axis that is up.
    assumed
        What nobody said and was taken from the scan, in words.
    walls, slopes, blocks
        What was found.
    height_m, height_error_m, flat
        Height of the ceiling or of the ridge, its standard uncertainty, and whether there is a level ceiling.
    not_seen
        Parts of walls without depth.
    maps
        Distance of the scan from each surface.
    away_95_m
        95 % of the scan lies nearer to the scene than this.
    unexplained
        Fraction of the scan that lies farther than 20 cm from everything in the scene.
    tape, factor
        Distances by tape, and by what all lengths were multiplied to fit them.
    turn, shift_m
        What takes a point of the file to the scene: turn . p + shift, in metres after the unit.
    front
        Why the front wall is the front wall, in words.
    slice_m
        (n, 2) points of the scan in the plan, at most 8000, those about a metre up; to draw.
    units
        Unit of the scene file, in which lengths are said.
    text
        The scene file.
    """

    question: ClassVar[str] = "scan"
    title: str
    file: str
    count: int
    faces: bool
    unit: str
    up: str
    assumed: tuple[str, ...]
    walls: tuple[ScannedWall, ...]
    slopes: tuple[ScannedSlope, ...]
    blocks: tuple[ScannedBlock, ...]
    height_m: float
    height_error_m: float
    flat: bool
    not_seen: tuple[NotSeen, ...]
    maps: tuple[SurfaceDistances, ...]
    away_95_m: float
    unexplained: float
    tape: tuple[TapeReading, ...]
    factor: float
    turn: FloatArray
    shift_m: FloatArray
    front: str
    slice_m: FloatArray
    units: str
    text: str

    @property
    def confirmed(self) -> bool:
        """Whether a tape said that the size is right."""
        return bool(self.tape)

    def headline(self) -> str:
        """The answer in one sentence."""
        sizes = np.ptp(np.array([wall.start_m for wall in self.walls]), axis=0)
        kind = "box" if len(self.walls) == 4 and all(wall.squared for wall in self.walls) else "outline"
        slopes = f", {len(self.slopes)} slope{'s' * (len(self.slopes) > 1)}" if self.slopes else ""
        state = "confirmed by tape" if self.confirmed else "not confirmed by tape"
        width, depth, height = (length_words(size, self.units) for size in (sizes[1], sizes[0], self.height_m))
        return (
            f"{kind} of {len(self.walls)} walls, {width} wide, {depth} deep, {height} high{slopes}; 95 % of the scan "
            f"within {small_words(self.away_95_m, self.units)}; {state}"
        )

    def rows(self) -> list[dict[str, Any]]:
        """The answer as rows of a table: a wall each."""
        return [
            {
                "wall": wall.name,
                "length_m": wall.length_m,
                "error_m": wall.error_m,
                "error_deg": wall.error_deg,
                "seen": wall.seen,
                "doubled_m": wall.doubled_m,
                "off_square_deg": wall.off_square_deg,
                "squared": wall.squared,
                "direction": wall.direction,
                "unsure": wall.unsure,
            }
            for wall in self.walls
        ]

    def _arrays(self) -> Mapping[str, Labelled]:
        return {}
