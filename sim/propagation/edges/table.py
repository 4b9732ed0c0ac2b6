"""The table of ways round edges: its gains at any frequency, and the names of what takes part."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from sim.acoustics.air import attenuation_db_per_m
from sim.answers import printable
from sim.arrays import ComplexArray, FloatArray, IntArray
from sim.placement.built_scene import BuiltScene
from sim.propagation.edges.panel_frames import frame_side, panel_of
from sim.propagation.surfaces.factors import facet_factors
from sim.propagation.surfaces.incidence import GRAZING_COS, NEAREST_M, Incidences


@printable
@dataclass(frozen=True, slots=True)
class EdgePathTable:
    """One row a way round an edge, or round two and three edges of one body.

    Attributes
    ----------
    loudspeaker, driver, listener
        (q,) numbers, as in PathTable.
    owner
        (q,) number of the body whose edge bends the sound; for a panel that of the surface it hangs on.
    edge
        (q,) number in `room.edges`, or past its last for the frame of a panel (`panel_frames.panel_of`); -1 for a
        chain of edges of that body.
    before, after
        (q,) facet that mirrors before or after the edge, -1 for none.
    points
        (q, 3, 3) places in order (mirror before, edge, mirror after), nan where there is none; a chain has no edge.
    length_m
        (q,) length of the shortest way over those places.
    frequencies_hz
        (g,) grid of the gains.
    gains
        (q, g) complex pressure re 1 at 1 m on axis with e^{-jkL} taken off; directivity and the faces beside the edge
        are in it, air and mirrors are not.
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

    def chosen(self, rows: IntArray) -> EdgePathTable:
        """The same table with only some rows."""
        by_row = (name for name in EdgePathTable.__slots__ if name not in ("frequencies_hz", "left_out"))
        return replace(self, **{name: getattr(self, name)[rows] for name in by_row})


def edge_path_gains(
    built: BuiltScene, edge_paths: EdgePathTable, frequencies_hz: FloatArray, *, delayed: bool = True
) -> ComplexArray:
    """Complex pressure (q, f) at the listener, mirrors and air included, for pressure 1 at 1 m on axis.

    With `delayed` False the phase of the travel time is left out.
    A mirror before or after the edge has the factor of its facet at the angle and place where the way over the apex
    meets it, layers and panels as on mirrored paths (`surface_factors`).
    """
    speed = built.air.speed_of_sound_m_s
    out = np.zeros((len(edge_paths), len(frequencies_hz)), dtype=np.complex128)
    for row in range(len(edge_paths)):
        out[row].real = np.interp(frequencies_hz, edge_paths.frequencies_hz, edge_paths.gains[row].real)
        out[row].imag = np.interp(frequencies_hz, edge_paths.frequencies_hz, edge_paths.gains[row].imag)
    air_db = attenuation_db_per_m(frequencies_hz, built.air)[None, :] * edge_paths.length_m[:, None]
    out *= 10.0 ** (-air_db / 20.0)
    if delayed:
        out *= np.exp(-2j * np.pi * frequencies_hz[None, :] * edge_paths.length_m[:, None] / speed)
    for facet, column in ((edge_paths.before, 0), (edge_paths.after, 2)):
        rows = np.flatnonzero(facet >= 0)
        if rows.size:
            out[rows] *= facet_factors(built, _mirrors(built, edge_paths, rows, facet, column), frequencies_hz)
    return out


def _mirrors(built: BuiltScene, edge_paths: EdgePathTable, rows: IntArray, facet: IntArray, column: int) -> Incidences:
    """Incidences of some ways with the facets that mirror them before (column 0) or after the edge (column 2)."""
    point = edge_paths.points[rows, column]
    if column == 0:
        start = np.array(
            [
                built.loudspeakers[s].driver_points[d]
                for s, d in zip(edge_paths.loudspeaker[rows], edge_paths.driver[rows], strict=True)
            ]
        )
        leg = point - start
        before = np.linalg.norm(leg, axis=1)
    else:
        leg = built.ears[edge_paths.listener[rows]] - point
        before = edge_paths.length_m[rows] - np.linalg.norm(leg, axis=1)
    normal = built.room.arrays.normal[facet[rows]]
    unit = leg / np.maximum(np.linalg.norm(leg, axis=1), NEAREST_M)[:, None]
    height = (unit * normal).sum(axis=1)
    if column == 2:  # the leg that leaves tells the one that came: a mirror
        unit = unit - 2.0 * height[:, None] * normal
    cosine = np.clip(np.abs(height), GRAZING_COS, 1.0)
    arriving = unit - (unit * normal).sum(axis=1)[:, None] * normal - cosine[:, None] * normal
    after = np.maximum(edge_paths.length_m[rows] - before, NEAREST_M)
    return Incidences(rows, facet[rows], point, arriving, cosine, np.maximum(before, NEAREST_M), after)


def edge_path_name(built: BuiltScene, edge_paths: EdgePathTable, row: int) -> tuple[str, ...]:
    """Names along a way: the mirror before, the edge, the mirror after, as far as there are."""
    room, edge = built.room, int(edge_paths.edge[row])
    owner, panel = room.owners[edge_paths.owner[row]], panel_of(built, edge)
    if panel >= 0:
        diffracted = f"{built.panels[panel].name}, {frame_side(built, edge)} edge of the frame"
    elif edge < 0:
        diffracted = f"{owner}, edge to edge"
    else:
        sides = [room.facets[f].name.removeprefix(owner).strip() for f in room.edges.facets[edge] if f >= 0]
        whole = "" if owner == room.owners[0] else f"{owner}, "
        diffracted = f"{whole}edge of {' and '.join(sides)}"
    around = [room.facets[f].name if f >= 0 else "" for f in (edge_paths.before[row], edge_paths.after[row])]
    return tuple(name for name in (around[0], diffracted, around[1]) if name)


def touched_surfaces(built: BuiltScene, edge_paths: EdgePathTable, row: int) -> tuple[str, ...]:
    """Names of the surfaces that take part in a way: those beside the edge, all of a chain's body, the mirrors.

    For the frame of a panel it is the surface the panel hangs on, which would take it along.
    """
    room, edge = built.room, int(edge_paths.edge[row])
    if (panel := panel_of(built, edge)) >= 0:
        beside = list(room.facet_numbers(built.panels[panel].surface)[:1])
    elif edge >= 0:
        beside = [int(f) for f in room.edges.facets[edge]]
    else:
        beside = np.flatnonzero(room.arrays.owner == edge_paths.owner[row]).tolist()
    facets = [*beside, int(edge_paths.before[row]), int(edge_paths.after[row])]
    return tuple(dict.fromkeys(room.facets[f].name for f in facets if f >= 0))
