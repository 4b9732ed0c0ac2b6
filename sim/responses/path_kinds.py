"""Names for the panels that an arrival meets."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import NamedTuple, Protocol

import numpy as np

from sim.acoustics.bands import Bands
from sim.arrays import ComplexArray, FloatArray, IntArray
from sim.placement.built_scene import BuiltScene
from sim.propagation.edges.table import EdgePathTable, edge_path_gains, edge_path_name
from sim.propagation.paths import PathTable
from sim.propagation.surfaces.factors import pairs_of, path_gains, shares_of_pairs
from sim.propagation.surfaces.finite_facets import nearest_on_facet
from sim.propagation.surfaces.incidence import incidences_with
from sim.responses.records import Arrival

GOVERNS = 0.5
"""Share of the pressure from which on a panel is named; 1/2 is that of one whose edge lies on the mirror point."""
JOINT = " and "


def with_panels(
    built: BuiltScene, paths: PathTable, arrivals: Sequence[Arrival], nominal_hz: FloatArray, exact_hz: FloatArray
) -> list[Arrival]:
    """Name for each surface of each arrival the panel that sound of the main driver meets there, at its worst octave.

    Panels of one plane are taken together, so that a joint at the mirror point does not hide them: if the magnitude of
    their shares' sum is above 1/2, those with at least half the share of the largest are named.  nominal_hz and
    exact_hz (band,) tell the middle of the octave that an arrival calls its worst.
    """
    rows = np.array([arrival.main.path for arrival in arrivals], dtype=np.int64)
    if not built.panels or not rows.size:
        return list(arrivals)
    worst = np.array([int(np.flatnonzero(nominal_hz == arrival.worst_band_hz)[0]) for arrival in arrivals])
    names = panels_met(built, paths.chosen(rows), worst, exact_hz)
    return [replace(arrival, panels=tuple(one)) for arrival, one in zip(arrivals, names, strict=True)]


def panels_met(built: BuiltScene, some: PathTable, worst: IntArray, exact_hz: FloatArray) -> list[list[str]]:
    """The same names for each turn of each path of a table, at the octaves worst (p,)."""
    wanted = np.isin(built.room.arrays.plane, [panel.plane for panel in built.panels])
    place, turn = np.nonzero((some.facets >= 0) & wanted[np.maximum(some.facets, 0)])
    incidences = incidences_with(built, some, wanted)  # in the same order
    names = [[""] * int(order) for order in some.order]
    pairs = pairs_of(built, incidences)
    shares = shares_of_pairs(built, pairs, incidences, exact_hz)
    at_worst = shares[np.arange(len(pairs.row)), worst[place[pairs.row]]]
    for number, (path, which) in enumerate(zip(place.tolist(), turn.tolist(), strict=True)):
        mine = np.flatnonzero(pairs.row == number)
        hung = [built.panels[n].name for n in pairs.panel[mine].tolist()]
        names[path][which] = _governing(hung, at_worst[mine])
    return names


def _governing(names: Sequence[str], fractions: ComplexArray) -> str:
    """Names of the panels of one plane that govern a reflection by their shares (panel,), or an empty text."""
    if abs(fractions.sum()) <= GOVERNS:
        return ""
    sizes = np.abs(fractions)
    return JOINT.join(name for name, size in zip(names, sizes, strict=True) if size >= 0.5 * sizes.max())


# What lists arrivals asks of a table of paths, and the tables that answer: each kind of path is one class here.
#
# A method of propagation added later writes one more class that fulfils `ListedPaths`; the list itself stays as it is.


class Touched(NamedTuple):
    """What a path touches, in order: names of surfaces and edges, of their bodies, of their materials."""

    surfaces: tuple[str, ...]
    owners: tuple[str, ...]
    materials: tuple[str, ...]


class Directions(NamedTuple):
    """Unit vectors (3,): out of the driver, and from the ear back along the last leg."""

    departure: FloatArray
    arrival: FloatArray


class Margin(NamedTuple):
    """How far a path is from vanishing, in metres, and what would end it."""

    margin_m: float
    cause: str


class ListedPaths(Protocol):
    """A table of paths, one row a path from one driver to one listener, as far as the list of arrivals needs it."""

    @property
    def loudspeaker(self) -> IntArray:
        """(p,) numbers."""

    @property
    def driver(self) -> IntArray:
        """(p,) numbers."""

    @property
    def listener(self) -> IntArray:
        """(p,) numbers; 0 is the ear, 1 the second seat."""

    @property
    def length_m(self) -> FloatArray:
        """(p,) whole length."""

    @property
    def same_arrival(self) -> IntArray:
        """(p, n): paths of one loudspeaker to one listener with equal rows here are one arrival."""

    def kind(self, row: int) -> str:
        """The word for `Arrival.kind`."""

    def order(self, row: int) -> int:
        """Number of surfaces and edges touched; 0 only for direct sound."""

    def gains(self, frequencies_hz: FloatArray) -> ComplexArray:
        """Complex pressure (p, f) at the listener for pressure 1 at 1 m on the driver's axis."""

    def touched(self, row: int) -> Touched:
        """Names of what the path touches."""

    def points(self, row: int) -> FloatArray:
        """(k, 3) where it touches that, in metres."""

    def directions(self, row: int) -> Directions:
        """How it leaves the driver and reaches the ear."""

    def margin(self, row: int) -> Margin:
        """How far it is from vanishing."""

    def blocked(self, row: int) -> bool:
        """Whether it is kept only as a reference, because something hides it."""

    def with_panels(self, arrivals: Sequence[Arrival], bands: Bands) -> list[Arrival]:
        """The arrivals of this table, with the panels named that they meet."""


class SpecularPaths:
    """Direct and specular paths: kinds "direct" and "mirrored"."""

    def __init__(self, built: BuiltScene, table: PathTable) -> None:
        self.loudspeaker, self.driver, self.listener = table.loudspeaker, table.driver, table.listener
        self.length_m, self.same_arrival = table.length_m, table.facets
        self._built, self._table = built, table

    def kind(self, row: int) -> str:
        """Direct sound touches nothing."""
        return "mirrored" if self._table.order[row] else "direct"

    def order(self, row: int) -> int:
        """Number of surfaces touched."""
        return int(self._table.order[row])

    def gains(self, frequencies_hz: FloatArray) -> ComplexArray:
        """See `path_gains`."""
        return path_gains(self._built, self._table, frequencies_hz)

    def touched(self, row: int) -> Touched:
        """Its facets."""
        facets = [self._built.room.facets[f] for f in self._table.facets[row, : self.order(row)]]
        return Touched(
            tuple(facet.name for facet in facets),
            tuple(facet.owner for facet in facets),
            tuple(facet.material for facet in facets),
        )

    def points(self, row: int) -> FloatArray:
        """Its reflection points; of one beside its facet the nearest of the rim."""
        points: FloatArray = self._table.points[row, : self.order(row)].copy()
        if self._table.margin_m[row] < 0.0:
            for turn, f in enumerate(self._table.facets[row, : self.order(row)]):
                points[turn] = nearest_on_facet(self._built, int(f), points[turn])
        return points

    def directions(self, row: int) -> Directions:
        """Those of the table; of a path beside its facet, out to the rim and back from there."""
        if self._table.margin_m[row] >= 0.0 or not self.order(row):
            return Directions(self._table.departure[row], self._table.arrival[row])
        points = self.points(row)
        loudspeaker = self._built.loudspeakers[self.loudspeaker[row]]
        out = points[0] - loudspeaker.driver_points[self.driver[row]]
        back = points[-1] - self._built.ears[self.listener[row]]
        return Directions(out / np.linalg.norm(out), back / np.linalg.norm(back))

    def margin(self, row: int) -> Margin:
        """That of the table, with words for the facet or edge that would end it."""
        room, facet, edge = self._built.room, int(self._table.margin_facet[row]), int(self._table.margin_edge[row])
        cause = "nothing near"
        if facet >= 0 and self._table.margin_m[row] < 0.0:
            cause = f"the point lies beside the {room.facets[facet].name}"
        elif facet >= 0:
            cause = f"the point leaves the {room.facets[facet].name}"
        elif edge >= 0:
            first, _ = room.edges.facets[room.edges.sticking_out[edge]]
            cause = f"an edge of the {room.facets[int(first)].owner} comes between"
        return Margin(float(self._table.margin_m[row]), cause)

    def blocked(self, row: int) -> bool:
        """Only ever true for direct sound."""
        return bool(self._table.blocked[row])

    def with_panels(self, arrivals: Sequence[Arrival], bands: Bands) -> list[Arrival]:
        """See `met_panels.with_panels`."""
        return with_panels(self._built, self._table, arrivals, bands.nominal_hz, bands.exact_hz)


class DiffractedPaths:
    """Diffracted paths: kind "edge".  An edge does not vanish at once when something moves: its margin is infinite."""

    def __init__(self, built: BuiltScene, table: EdgePathTable) -> None:
        self.loudspeaker, self.driver, self.listener = table.loudspeaker, table.driver, table.listener
        self.length_m = table.length_m
        self.same_arrival = np.stack([table.owner, table.edge, table.before, table.after], axis=1)
        self.table = table
        self._built, self._table = built, table

    def kind(self, row: int) -> str:
        """One for all."""
        return "edge"

    def order(self, row: int) -> int:
        """The edge, or edges of one body, and the surfaces before and after it."""
        return len(edge_path_name(self._built, self._table, row))

    def gains(self, frequencies_hz: FloatArray) -> ComplexArray:
        """See `edge_path_gains`."""
        return edge_path_gains(self._built, self._table, frequencies_hz)

    def touched(self, row: int) -> Touched:
        """Surface, edge, surface, as far as there are; an edge has no material."""
        room, table = self._built.room, self._table
        before, after = (room.facets[f].owner if f >= 0 else "" for f in (table.before[row], table.after[row]))
        owners = tuple(name for name in (before, room.owners[table.owner[row]], after) if name)
        return Touched(edge_path_name(self._built, table, row), owners, ())

    def points(self, row: int) -> FloatArray:
        """Its points on surfaces and on the edge; none for edges one after the other."""
        points: FloatArray = self._table.points[row]
        return points[~np.isnan(points[:, 0])].copy()

    def directions(self, row: int) -> Directions:
        """Over its first and last point; where it has none, those of the direct sound."""
        loudspeaker = self._built.loudspeakers[self.loudspeaker[row]]
        source, ear = loudspeaker.driver_points[self.driver[row]], self._built.ears[self.listener[row]]
        points = self.points(row)
        vertices = points if len(points) else 0.5 * (source + ear)[None]
        leaving, arriving = vertices[0] - source, vertices[-1] - ear
        return Directions(leaving / np.linalg.norm(leaving), arriving / np.linalg.norm(arriving))

    def margin(self, row: int) -> Margin:
        """Infinite."""
        return Margin(float("inf"), "an edge fades, it does not switch")

    def blocked(self, row: int) -> bool:
        """What is hidden is not in the table."""
        return False

    def with_panels(self, arrivals: Sequence[Arrival], bands: Bands) -> list[Arrival]:
        """None is named."""
        return list(arrivals)
