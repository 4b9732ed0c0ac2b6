"""The table of ways round edges: its gains at any frequency, and the names of what takes part."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from ..acoustics.air import attenuation_db_per_m
from ..acoustics.materials import reflection_factor
from ..arrays import ComplexArray, FloatArray, IntArray
from ..placement.stage import Stage


@dataclass(frozen=True, slots=True)
class BendTable:
    """One row a way round an edge, or round two edges of one body.

    Attributes
    ----------
    loudspeaker, driver, listener
        (q,) numbers, as in PathTable.
    owner
        (q,) number of the body whose edge bends the sound.
    edge
        (q,) number in `room.edges`; -1 for a chain of edges of that body.
    before, after
        (q,) facet that mirrors before or after the edge, -1 for none.
    points
        (q, 3, 3) places in order (mirror before, edge, mirror after), nan where there is none; a chain has none.
    length_m
        (q,) length of the shortest way over those places.
    frequencies_hz
        (g,) grid of the gains.
    gains
        (q, g) complex pressure re 1 at 1 m on axis with e^{-jkL} taken off; directivity inside; air and mirrors not.
    left_out
        How many ways were dropped for staying below the floor.
    """

    loudspeaker: IntArray
    driver: IntArray
    listener: IntArray
    owner: IntArray
    edge: IntArray
    before: IntArray
    after: IntArray
    points: FloatArray
    length_m: FloatArray
    frequencies_hz: FloatArray
    gains: ComplexArray
    left_out: int

    def __len__(self) -> int:
        return len(self.edge)

    def chosen(self, rows: IntArray) -> BendTable:
        """The same table with only some rows."""
        by_row = (name for name in BendTable.__slots__ if name not in ("frequencies_hz", "left_out"))
        return replace(self, **{name: getattr(self, name)[rows] for name in by_row})


def bend_gains(stage: Stage, bends: BendTable, frequencies_hz: FloatArray) -> ComplexArray:
    """Complex pressure (q, f) at the listener, mirrors and air included, for pressure 1 at 1 m on axis."""
    speed = stage.air.speed_of_sound_m_s
    out = np.zeros((len(bends), len(frequencies_hz)), dtype=np.complex128)
    for row in range(len(bends)):
        out[row].real = np.interp(frequencies_hz, bends.frequencies_hz, bends.gains[row].real)
        out[row].imag = np.interp(frequencies_hz, bends.frequencies_hz, bends.gains[row].imag)
    air_db = attenuation_db_per_m(frequencies_hz, stage.air)[None, :] * bends.length_m[:, None]
    out *= 10.0 ** (-air_db / 20.0)
    out *= np.exp(-2j * np.pi * frequencies_hz[None, :] * bends.length_m[:, None] / speed)
    # mirrors by their octave coefficients: the angle dependence of layered absorbers is left out here
    hard = np.vstack([reflection_factor(stage.absorption, frequencies_hz), np.ones((1, len(frequencies_hz)))])
    return np.asarray(out * hard[bends.before] * hard[bends.after])


def bend_name(stage: Stage, bends: BendTable, row: int) -> tuple[str, ...]:
    """Names along a way: the mirror before, the edge, the mirror after, as far as there are."""
    room, edge = stage.room, int(bends.edge[row])
    owner = room.owners[bends.owner[row]]
    if edge < 0:
        bent = f"{owner}, edge to edge"
    else:
        sides = [room.facets[f].name.removeprefix(owner).strip() for f in room.edges.facets[edge] if f >= 0]
        whole = "" if owner == room.owners[0] else f"{owner}, "
        bent = f"{whole}edge of {' and '.join(sides)}"
    around = [room.facets[f].name if f >= 0 else "" for f in (bends.before[row], bends.after[row])]
    return tuple(name for name in (around[0], bent, around[1]) if name)


def touched_surfaces(stage: Stage, bends: BendTable, row: int) -> tuple[str, ...]:
    """Names of the surfaces that take part in a way: those beside the edge, all of a chain's body, the mirrors."""
    room, edge = stage.room, int(bends.edge[row])
    if edge >= 0:
        beside = [int(f) for f in room.edges.facets[edge]]
    else:
        beside = np.flatnonzero(room.arrays.owner == bends.owner[row]).tolist()
    facets = [*beside, int(bends.before[row]), int(bends.after[row])]
    return tuple(dict.fromkeys(room.facets[f].name for f in facets if f >= 0))
