"""The table of paths, and what became of every surface that could have mirrored."""

from __future__ import annotations

from dataclasses import dataclass

from sim.answers import printable
from sim.arrays import BoolArray, FloatArray, IntArray


@printable
@dataclass(frozen=True, slots=True)
class PathTable:
    """One row a path, from one driver to one listener.

    Attributes
    ----------
    loudspeaker, driver, listener
        (p,) numbers; listener 0 is the ear, 1 the second seat.
    order
        (p,) surfaces touched; 0 is the direct sound.
    facets
        (p, K) facet numbers along the path, -1 where there is none.
    points
        (p, K, 3) where it touches them, nan where there is none.
    length_m
        (p,) whole length.
    departure, arrival
        (p, 3) unit vectors: the way it leaves the driver; the way from the ear back along the last leg.
    blocked
        (p,) only ever true for direct sound, which is kept as the reference even where something hides it.
    margin_m
        (p,) how far the path is from vanishing: its points from the rim of their surfaces, its legs from the
        nearest edge that would hide them.
    margin_facet, margin_edge
        (p,) what that is: number of a facet or of an edge, -1 for the other.
    """

    loudspeaker: IntArray
    driver: IntArray
    listener: IntArray
    order: IntArray
    facets: IntArray
    points: FloatArray
    length_m: FloatArray
    departure: FloatArray
    arrival: FloatArray
    blocked: BoolArray
    margin_m: FloatArray
    margin_facet: IntArray
    margin_edge: IntArray

    def __len__(self) -> int:
        return len(self.order)

    def chosen(self, rows: IntArray) -> PathTable:
        """The same table with only some rows."""
        return PathTable(**{name: getattr(self, name)[rows] for name in PathTable.__slots__})


@printable
@dataclass(frozen=True, slots=True)
class Candidate:
    """What became of one surface as a first-order reflector between one driver and one listener.

    Attributes
    ----------
    loudspeaker, driver, listener
        Names, and the number of the listener; 0 is the ear.
    facet, surface, owner
        Number of the facet in the room, its name and that of its body.
    status
        "reaches", "misses", "blocked", or "own": the surface the loudspeaker is built into.
    point
        (3,) reflection point in metres, also where it misses the surface.
    rim_m
        How far inside the surface that point lies; negative outside.
    blocked_by, shade_m
        Body in the way and how deep in its shadow the path lies, in metres; empty when nothing is.
    delay_ms, level_db
        Delay after the direct sound, and level re direct, of a hard surface and equal radiation.
    """

    loudspeaker: str
    driver: str
    listener: int
    facet: int
    surface: str
    owner: str
    status: str
    point: FloatArray
    rim_m: float
    blocked_by: str
    shade_m: float
    delay_ms: float
    level_db: float

    @property
    def fragile(self) -> bool:
        """Within 5 cm of the other answer (common practice, no source: what a tape and a chair can move)."""
        near_rim = abs(self.rim_m) < FRAGILE_M
        return (near_rim and self.status != "blocked") or (self.status == "blocked" and self.shade_m < FRAGILE_M)


FRAGILE_M = 0.05


@printable
@dataclass(frozen=True, slots=True)
class CandidateTable:
    """The same as arrays, a row each.

    Attributes
    ----------
    loudspeaker, driver, listener, facet
        (c,) numbers.
    status
        (c,) 0 reaches, 1 misses, 2 blocked, 3 own.
    point
        (c, 3) in metres.
    rim_m
        (c,) how far inside the surface.
    blocked_by
        (c,) number of the body in the way, -1 where nothing is.
    shade_m
        (c,) how deep in its shadow, nan where nothing is.
    delay_ms, level_db
        (c,) of a hard surface and equal radiation.
    """

    loudspeaker: IntArray
    driver: IntArray
    listener: IntArray
    facet: IntArray
    status: IntArray
    point: FloatArray
    rim_m: FloatArray
    blocked_by: IntArray
    shade_m: FloatArray
    delay_ms: FloatArray
    level_db: FloatArray
