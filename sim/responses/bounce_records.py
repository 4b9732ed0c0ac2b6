"""What a study of bounces holds: maps of surfaces, their strongest spots, and shares of surfaces."""

from __future__ import annotations

from dataclasses import dataclass

from ..arrays import BoolArray, FloatArray
from ..blueprint.reader import SceneFile
from ..geometry.facets import Facet
from ..placement.stage import Stage


@dataclass(frozen=True, slots=True)
class BounceMap:
    """How much early sound strikes a facet first, second and third on its way to the ear.

    Attributes
    ----------
    facet, surface, owner
        Number of the facet in the room, its name and that of its body.
    shape, origin, grid_m
        Cells along both directions of the facet's plane, the middle of the first, and their size.
    inside
        (m, n) whether the middle of each cell lies in the facet.
    level_db
        (loudspeaker, bounce, m, n) what strikes within a disc about each cell, dB re direct sound; -inf for nothing.
    share
        (loudspeaker, bounce) share of all early energy of the loudspeaker that struck here at this bounce.
    """

    facet: int
    surface: str
    owner: str
    shape: tuple[int, int]
    origin: FloatArray
    grid_m: float
    inside: BoolArray
    level_db: FloatArray
    share: FloatArray


@dataclass(frozen=True, slots=True)
class Spot:
    """A place that much early sound strikes.

    Attributes
    ----------
    loudspeaker, bounce
        Whose sound, and at its which bounce: 1, 2 or 3.
    surface, owner, point
        Where: (3,) in metres, the middle of the energy in the disc.
    level_db
        What strikes within the disc, dB re direct sound.
    share
        Of all early energy of the loudspeaker.
    error_db
        Standard error of the level, from the number of rays.
    delay_ms
        Mean delay after direct sound.
    mirrored
        Share of it that only mirrors sent on.
    """

    loudspeaker: str
    bounce: int
    surface: str
    owner: str
    point: FloatArray
    level_db: float
    share: float
    error_db: float
    delay_ms: float
    mirrored: float


@dataclass(frozen=True, slots=True)
class BounceStudy:
    """Bounces of all loudspeakers of a scene within its early window.

    Attributes
    ----------
    octaves_hz
        Octaves over which energies re direct sound are averaged: those of the target's band.
    window_ms
        Delays after direct sound that count.
    early_db
        (loudspeaker, 4) level of all that arrives after 1, 2, 3, and more bounces, dB re direct sound.
    """

    scene: SceneFile
    stage: Stage
    rays: int
    seed: int
    octaves_hz: tuple[float, ...]
    window_ms: tuple[float, float]
    maps: tuple[BounceMap, ...]
    spots: tuple[Spot, ...]
    early_db: FloatArray

    def facet_of(self, one: BounceMap) -> Facet:
        """The facet of a map."""
        return self.stage.room.facets[one.facet]
