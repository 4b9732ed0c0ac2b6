"""What a study of bounces holds: maps of surfaces, their strongest spots, and shares of surfaces."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, ClassVar

from sim.answers import Answer, Labelled, printable
from sim.arrays import BoolArray, FloatArray
from sim.blueprint.reader import SceneFile
from sim.geometry.facets import Facet
from sim.placement.built_scene import BuiltScene
from sim.showing.numbers import db_words


@printable
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
    fraction
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
    fraction: FloatArray


@printable
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
    fraction
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
    fraction: float
    error_db: float
    delay_ms: float
    mirrored: float


@dataclass(frozen=True, slots=True, repr=False)
class BounceStudy(Answer):
    """Bounces of all loudspeakers of a scene within its early window.

    Attributes
    ----------
    scene, built
        What was asked, and what was built.
    rays, seed
        Rays from each loudspeaker, and what they were drawn from.
    octaves_hz
        Octaves over which energies re direct sound are averaged: those of the target's band.
    window_ms
        Delays after direct sound that count.
    maps
        One for each facet that is struck.
    spots
        Places that much of it strikes.
    early_db
        (loudspeaker, 4) level of all that arrives after 1, 2, 3, and more bounces, dB re direct sound.
    """

    question: ClassVar[str] = "bounces"

    scene: SceneFile
    built: BuiltScene
    rays: int
    seed: int
    octaves_hz: tuple[float, ...]
    window_ms: tuple[float, float]
    maps: tuple[BounceMap, ...]
    spots: tuple[Spot, ...]
    early_db: FloatArray

    def facet_of(self, one: BounceMap) -> Facet:
        """The facet of a map."""
        return self.built.room.facets[one.facet]

    def headline(self) -> str:
        """Where each loudspeaker strikes first most strongly."""
        reported = []
        for one in self.built.loudspeakers:
            mine = [spot for spot in self.spots if spot.loudspeaker == one.name and spot.bounce == 1]
            if mine:
                worst = max(mine, key=lambda spot: spot.level_db)
                reported.append(f"{one.name}: {worst.surface} {db_words(worst.level_db)}, {worst.delay_ms:.1f} ms")
        return f"{self.scene.blueprint.title}, strongest first bounce: {'; '.join(reported) or 'none'}"

    def rows(self) -> list[dict[str, Any]]:
        """One row for each spot that much early sound strikes: place in metres, level in dB, delay in ms."""
        return [
            {
                "loudspeaker": spot.loudspeaker,
                "bounce": spot.bounce,
                "surface": spot.surface,
                "from_front_m": float(spot.point[0]),
                "from_left_m": float(spot.point[1]),
                "up_m": float(spot.point[2]),
                "level_db": spot.level_db,
                "error_db": spot.error_db,
                "delay_ms": spot.delay_ms,
                "share": spot.fraction,
            }
            for spot in self.spots
        ]

    def _axes(self) -> Mapping[str, tuple[Any, str]]:
        return {"loudspeaker": ([one.name for one in self.built.loudspeakers], ""), "bounces": ([1, 2, 3, 4], "")}

    def _arrays(self) -> Mapping[str, Labelled]:
        return {"early_db": (("loudspeaker", "bounces"), self.early_db, "dB")}
