"""Where each panel hangs and each reflection point lies, as a person with a tape marks it.

The lines that tapes start from are those of the reflection points: on upright and sloped surfaces up from the lowest
line and level from the side toward the front wall (or from the left side); on level ceilings from the side toward the
front wall and from the left side.  Along a slope lengths are true, not their shadow on the floor.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from sim.arrays import FloatArray
from sim.placement.built_scene import BuiltScene
from sim.placement.panels import PlacedPanel
from sim.responses.records import Results
from sim.studies.sheets.records import Shape
from sim.studies.sheets.surfaces import Piece, Surface, surfaces_of

OVERHEAD_NORMAL: Final = -0.1
"""Surfaces that lean over the room by more than this, slopes too, hang their panels over heads."""


@dataclass(frozen=True, slots=True)
class Reading:
    """Distances along one direction of a surface, in metres: both edges and the centre, and where the tape starts.

    start is "the front wall" or "the floor"; upward says that the tape runs up, sloping that it runs up a slope.
    """

    near_m: float
    far_m: float
    centre_m: float
    start: str
    upward: bool = False
    sloping: bool = False

    @property
    def words(self) -> str:
        """From where: "from the front wall", "up from the floor", "up the slope from the left wall"."""
        way = ("up the slope " if self.sloping else "up ") if self.upward else ""
        return f"{way}from {self.start}"


@dataclass(frozen=True, slots=True)
class PanelReading:
    """One panel on the paper of its surface.

    number is "P1"; corners (4, 2) run lower left, lower right, upper right, upper left; first is up the surface (or
    from the front wall on a ceiling), second level; rising_diagonal_m goes from lower left to upper right.
    """

    number: str
    panel: PlacedPanel
    surface: Surface
    piece: Piece
    corners: FloatArray
    first: Reading
    second: Reading
    width_m: float
    height_m: float
    rising_diagonal_m: float
    falling_diagonal_m: float

    @property
    def is_overhead(self) -> bool:
        """Whether it hangs from a ceiling or a slope, and so over heads."""
        return float(self.panel.normal[2]) < OVERHEAD_NORMAL

    @property
    def low(self) -> FloatArray:
        """(2,) lower left of its bounding rectangle."""
        return np.asarray(self.corners.min(axis=0), dtype=np.float64)

    @property
    def high(self) -> FloatArray:
        """(2,) upper right of its bounding rectangle."""
        return np.asarray(self.corners.max(axis=0), dtype=np.float64)


def read_panels(built: BuiltScene, surfaces: Sequence[Surface] | None = None) -> tuple[PanelReading, ...]:
    """Measure all panels of a built scene, numbered in the order of the scene."""
    known = surfaces if surfaces is not None else surfaces_of(built.room, hung_planes(built))
    readings = []
    for number, panel in enumerate(built.panels, 1):
        found = next(s for s in known if any(piece.plane == panel.plane for piece in s.pieces))
        flat = found.view.flatten(panel.corners_m)
        piece = found.piece_at(panel.plane, flat.mean(axis=0))
        assert piece is not None
        readings.append(_reading(f"P{number}", panel, found, piece, flat))
    return tuple(readings)


def hung_planes(built: BuiltScene) -> frozenset[int]:
    """Numbers of the planes that panels hang in; their surfaces are drawn whatever they belong to."""
    return frozenset(panel.plane for panel in built.panels)


def _reading(number: str, panel: PlacedPanel, surface: Surface, piece: Piece, flat: FloatArray) -> PanelReading:
    corners = _in_order(flat)
    low, high = corners.min(axis=0), corners.max(axis=0)
    sides = np.linalg.norm(np.roll(corners, -1, axis=0) - corners, axis=1)
    along, upward = read_along(surface, piece, np.stack([low, high]))
    return PanelReading(
        number,
        panel,
        surface,
        piece,
        corners,
        upward,
        along,
        float(sides[0]),
        float(sides[1]),
        float(np.linalg.norm(corners[2] - corners[0])),
        float(np.linalg.norm(corners[3] - corners[1])),
    )


def read_along(surface: Surface, piece: Piece, reach: FloatArray) -> tuple[Reading, Reading]:
    """Read from where to where something reaches, (2, 2) low then high on the paper: level, then up the surface."""
    (left, lower), (right, upper) = reach
    lead = 0 if abs(surface.view.right[0]) > abs(surface.view.right[1]) else 1
    if surface.view.right[lead] > 0.0:
        level = (left - piece.low[0], right - piece.low[0], piece.ends.left)
    else:
        level = (piece.high[0] - right, piece.high[0] - left, piece.ends.right)
    if surface.lies:
        rising = (piece.high[1] - upper, piece.high[1] - lower, piece.ends.upper)
    else:
        rising = (lower - piece.low[1], upper - piece.low[1], piece.ends.lower)
    return _reported(level, False), _reported(rising, not surface.lies, surface.kind == "slope")


def _reported(spans: tuple[float, float, str], upward: bool, sloping: bool = False) -> Reading:
    near, far, start = float(spans[0]), float(spans[1]), spans[2]
    line = start if start.startswith("its ") else f"the {start}"
    return Reading(near, far, 0.5 * (near + far), line, upward, sloping)


def _in_order(flat: FloatArray) -> FloatArray:
    """Corners (4, 2) turned so that they run counter-clockwise from the lower left."""
    around = flat - flat.mean(axis=0)
    turn = np.arctan2(around[:, 1], around[:, 0])
    ordered = flat[np.argsort(turn)]
    start = int(np.argmin(ordered.sum(axis=1)))
    return np.asarray(np.roll(ordered, -start, axis=0), dtype=np.float64)


# Reflection points for the sheets: which loudspeaker, on which plane, when and how loud.

SHAPES: tuple[Shape, ...] = ("circle", "square", "triangle", "diamond")


@dataclass(frozen=True, slots=True, eq=False)
class ReflectionPoint:
    """Where a surface mirrors one driver of a loudspeaker to the ear, once.

    main says that it is the driver that matters most in the target band; delay_ms counts from the direct sound,
    level_db is re direct in the octave band_hz, the worst of the target's.
    """

    loudspeaker: str
    letter: str
    shape: Shape
    driver: str
    main: bool
    facet: int
    plane: int
    surface: str
    place: FloatArray
    delay_ms: float
    level_db: float
    band_hz: float
    fragile: bool


def letters_of(names: Sequence[str]) -> dict[str, str]:
    """First letters ("left" is L) where these differ, else A, B, C."""
    letters = [name[:1].upper() for name in names]
    if len(set(letters)) < len(letters) or not all(letter.isalpha() for letter in letters):
        letters = [chr(ord("A") + number % 26) for number in range(len(names))]
    return dict(zip(names, letters, strict=True))


def reflection_points(results: Results) -> tuple[ReflectionPoint, ...]:
    """All first-order points for the ear; other seats have theirs in the tables."""
    built = results.built
    names = [loudspeaker.name for loudspeaker in built.loudspeakers]
    letters = letters_of(names)
    made = []
    for arrival in results.responses.arrivals:
        if arrival.order != 1 or arrival.diffracted or arrival.listener != built.listener_names[0]:
            continue
        for part in arrival.parts:
            facet = int(results.paths.facets[part.path, 0])
            made.append(
                ReflectionPoint(
                    arrival.loudspeaker,
                    letters[arrival.loudspeaker],
                    SHAPES[names.index(arrival.loudspeaker) % len(SHAPES)],
                    part.driver,
                    part is arrival.main,
                    facet,
                    built.room.facets[facet].plane,
                    built.room.facets[facet].name,
                    part.points[0],
                    part.delay_ms,
                    arrival.worst_db,
                    arrival.worst_band_hz,
                    part.margin_m < 0.05,
                )
            )
    return tuple(made)
