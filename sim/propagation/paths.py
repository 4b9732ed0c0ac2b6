"""The table of paths, and what became of every surface that could have mirrored."""

from __future__ import annotations

from dataclasses import dataclass

from ..arrays import BoolArray, FloatArray, IntArray


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


@dataclass(frozen=True, slots=True)
class Candidate:
    """What became of one surface as a first-order mirror between one driver and one listener.

    `status` is "reaches", "misses" (the mirror point lies `rim_m` outside the surface, a negative number),
    "blocked" (by the body `blocked_by`, `shade_m` deep in its shade) or "own" (the surface the loudspeaker is
    built into).  point is (3,) in metres, delay and level those of a hard surface and equal radiation.
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
