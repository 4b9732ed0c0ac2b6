"""Places worth trying, from the surface maps: where a panel would cover most of what reaches the head box.

The maps hold all drivers, both loudspeakers, the head box and the placement error.  Their energy in the target's
octaves is summed under every rectangle that fits, on a grid of about 50 mm that is tied to the middle plane across
the room and to the height of the reflections on walls; the best of each size on each surface are kept, those that are
not much the same as a better one.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np

from sim.acoustics.levels import energy_from_db
from sim.arrays import BoolArray, FloatArray
from sim.responses.records import SurfaceMap
from sim.studies.treat.domain import Group, PlacementDomain
from sim.studies.treat.surfaces import Rectangle, Surface

GRID_M = 0.05
KEPT_EACH = 3
"""Places kept for each size on each surface."""
APART = 0.5
"""Kept places differ by this share of the panel's side at least."""
LEAST_FRACTION = 0.02
"""Places with less than this share of the best one's energy are not tried."""
SINGLE_WORTH = 1.2
"""One panel alone has to cover this much more than one of the best pair there, else left and right stay equal."""


class EnergyTable:
    """Map energy on one surface, summed from its lower left corner: the sum under any rectangle at once."""

    def __init__(self, surface: Surface, maps: Sequence[SurfaceMap], planes: Sequence[int], judged: BoolArray) -> None:
        """Take the maps of the facets in the surface's plane; `judged` (band,) are the target's octaves."""
        from scipy.spatial import cKDTree

        low = np.array(surface.region.bounds[:2])
        high = np.array(surface.region.bounds[2:])
        shape = np.maximum(1, np.ceil((high - low) / GRID_M - 1e-9).astype(int))
        self.low = low
        middles = low + (np.indices(tuple(shape)).reshape(2, -1).T + 0.5) * GRID_M
        energy = np.zeros(len(middles))
        mine = [each for each, plane in zip(maps, planes, strict=True) if plane == surface.plane]
        if mine:
            points = surface.to_flat(np.concatenate([each.points for each in mine]))[:, :2]
            values = np.concatenate([energy_from_db(each.both_db[judged]).sum(axis=0) for each in mine])
            away, nearest = cKDTree(points).query(middles)
            energy = np.where(away < mine[0].grid_m, values[nearest], 0.0)
        self.energy = energy.reshape(tuple(shape))
        table = np.zeros(tuple(shape + 1))
        table[1:, 1:] = self.energy.cumsum(axis=0).cumsum(axis=1)
        self._table = table

    def height(self) -> float:
        """Mean second coordinate of the energy; nan when there is none."""
        total = self.energy.sum()
        if not total > 0.0:
            return float("nan")
        rows = self.low[1] + (np.arange(self.energy.shape[1]) + 0.5) * GRID_M
        return float((self.energy.sum(axis=0) * rows).sum() / total)

    def under(self, a0: FloatArray, b0: FloatArray, a1: FloatArray, b1: FloatArray) -> FloatArray:
        """Energy under rectangles given by arrays of one shape."""
        total = self._upto(a1, b1) - self._upto(a0, b1) - self._upto(a1, b0) + self._upto(a0, b0)
        return np.asarray(np.maximum(total, 0.0))

    def _upto(self, a: FloatArray, b: FloatArray) -> FloatArray:
        """Energy from the corner to (a, b), linear between grid lines."""
        shape = np.array(self._table.shape) - 1
        x = np.clip((a - self.low[0]) / GRID_M, 0.0, shape[0])
        y = np.clip((b - self.low[1]) / GRID_M, 0.0, shape[1])
        i, j = np.minimum(x.astype(int), shape[0] - 1), np.minimum(y.astype(int), shape[1] - 1)
        u, v = x - i, y - j
        t = self._table
        return np.asarray(
            t[i, j] * (1 - u) * (1 - v)
            + t[i + 1, j] * u * (1 - v)
            + t[i, j + 1] * (1 - u) * v
            + t[i + 1, j + 1] * u * v
        )


def energy_tables(domain: PlacementDomain, maps: Sequence[SurfaceMap], judged: BoolArray) -> tuple[EnergyTable, ...]:
    """Return the table of every surface; `judged` (band,) are the octaves that count."""
    planes = [domain.built.room.facets[each.facet].plane for each in maps]
    return tuple(EnergyTable(surface, maps, planes, judged) for surface in domain.surfaces)


def coverage(tables: Sequence[EnergyTable], group: Group) -> float:
    """Map energy under all panels of a group."""
    return sum(float(tables[spot.surface].under(*(np.array(edge) for edge in spot.rectangle))) for spot in group.spots)


def candidate_groups(domain: PlacementDomain, tables: Sequence[EnergyTable]) -> list[Group]:
    """Return groups of panels worth trying, each once, neighbours of the best included."""
    found: dict[tuple[object, ...], Group] = {}
    for item in domain.stock:
        for number in range(len(domain.surfaces)):
            for size in item.sizes_m:
                for group in _best_on(domain, tables, number, item.number, size):
                    for each in (group, *_neighbours(domain, group)):
                        found.setdefault(tuple(sorted((s.surface, s.rectangle, s.stock) for s in each.spots)), each)
    return list(found.values())


def _best_on(
    domain: PlacementDomain, tables: Sequence[EnergyTable], number: int, stock: int, size: tuple[float, float]
) -> list[Group]:
    """The best few groups of one size that begin on one surface."""
    surface, table = domain.surfaces[number], tables[number]
    if not table.energy.any():
        return []
    a0, b0 = np.meshgrid(*_starts(domain, surface, table, size), indexing="ij")
    a0, b0 = np.round(a0.ravel(), 6), np.round(b0.ravel(), 6)
    energy = table.under(a0, b0, a0 + size[0], b0 + size[1])
    best: dict[str, float] = {}
    kept: list[tuple[str, Rectangle, Group]] = []
    most = float(energy.max(initial=0.0))
    for i in np.argsort(-energy, kind="stable").tolist():
        if energy[i] <= LEAST_FRACTION * most or sum(kind != "single" for kind, *_ in kept) >= KEPT_EACH:
            break
        rectangle = _rectangle(float(a0[i]), float(b0[i]), size)
        if any(_near(rectangle, other, size) for _, other, _ in kept):
            continue
        group = domain.group_at(number, stock, rectangle)
        if group is None:
            continue
        kept.append((group.kind, rectangle, group))
        best[group.kind] = max(best.get(group.kind, 0.0), float(energy[i]))
    if domain.symmetric and "pair" in best and best.get("single", 0.0) < SINGLE_WORTH * best["pair"]:
        kept = [each for each in kept if each[0] != "single"]
    singles = [group for kind, _, group in kept if kind == "single"][:KEPT_EACH]
    return [group for kind, _, group in kept if kind != "single"] + singles


def _starts(
    domain: PlacementDomain, surface: Surface, table: EnergyTable, size: tuple[float, float]
) -> tuple[FloatArray, FloatArray]:
    """Lower edges to try along and up a surface."""
    a_low, b_low, a_high, b_high = surface.region.bounds
    across_first = abs(surface.along[1]) > 0.9
    first = _across(domain, a_low, a_high, size[0]) if across_first else _steps(domain, 0.0, a_low, a_high, size[0])
    if surface.kind == "ceiling":
        return first, _across(domain, b_low, b_high, size[1])
    centre = table.height()
    anchor = round((centre - 0.5 * size[1]) / domain.step_m) * domain.step_m
    return first, _steps(domain, anchor, b_low, b_high, size[1])


def _across(domain: PlacementDomain, low: float, high: float, size: float) -> FloatArray:
    """Lower edges across the room: in steps from the middle plane, and centred on it."""
    steps = _steps(domain, domain.middle_m, low, high, size)
    other = _steps(domain, domain.middle_m - size, low, high, size)
    return np.unique(np.round(np.concatenate([steps, other, [domain.middle_m - 0.5 * size]]), 6))


def _steps(domain: PlacementDomain, anchor: float, low: float, high: float, size: float) -> FloatArray:
    """Multiples of the grid from an anchor, such that a side fits between low and high."""
    first = int(np.ceil((low - anchor) / domain.grid_m - 1e-6))
    last = int(np.floor((high - size - anchor) / domain.grid_m + 1e-6))
    return np.asarray(anchor + np.arange(first, last + 1) * domain.grid_m, dtype=np.float64)


def _rectangle(a0: float, b0: float, size: tuple[float, float]) -> Rectangle:
    return (a0, b0, round(a0 + size[0], 6), round(b0 + size[1], 6))


def _near(one: Rectangle, other: Rectangle, size: tuple[float, float]) -> bool:
    return abs(one[0] - other[0]) < APART * size[0] and abs(one[1] - other[1]) < APART * size[1]


def _neighbours(domain: PlacementDomain, group: Group) -> Iterable[Group]:
    """Groups that touch one: beside, above and below it."""
    spot = group.spots[0]
    a0, b0, a1, b1 = spot.rectangle
    width, height = a1 - a0, b1 - b0
    for da, db in ((width, 0.0), (-width, 0.0), (0.0, height), (0.0, -height)):
        moved = (round(a0 + da, 6), round(b0 + db, 6), round(a1 + da, 6), round(b1 + db, 6))
        found = domain.group_at(spot.surface, spot.stock, moved)
        if found is not None:
            yield found
