"""Which part of the plan is the room: the lines of walls cut the plan into cells, each is in the room or out of it.

The cheapest choice is taken, of what floor and ceiling say of each cell and of what would have to be wall where
nothing stands: a minimum cut (Boykov and Kolmogorov, An experimental comparison of min-cut/max-flow algorithms, 2004).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from sim.arrays import FloatArray, IntArray
from sim.surveying.scan.cloud import Cloud
from sim.surveying.scan.lines import ALIKE_DEG, WallLine, apart, upright_points

if TYPE_CHECKING:
    from shapely import Polygon

GRID_M: Final = 0.06
ON_LINE_M: Final = 0.07
_MISSING_WALL: Final = 0.3
_ANY_WALL: Final = 0.06
"""Costs of a metre of wall that was not seen, and of any, against a square metre of floor or ceiling on the wrong
side (our choice; the rooms in tests/builders come out the same with half and double)."""
_LOW_M: Final = 1.3
_WHOLE: Final = 10_000.0


@dataclass(frozen=True, slots=True)
class PlanGrid:
    """What is above and below each little square of the plan.

    Attributes
    ----------
    low
        (2,) corner of the first square.
    evidence
        (n, m) from -0.5, nothing there, to 0.5, floor and ceiling.
    tops
        (n, m) greatest height in metres of anything there; 0 where nothing is.
    overhead
        (n, m) whether something level or sloping is overhead.
    """

    low: FloatArray
    evidence: FloatArray
    tops: FloatArray
    overhead: np.ndarray

    def centres(self) -> FloatArray:
        """Middle of each square (n * m, 2)."""
        i, j = np.indices(self.evidence.shape)
        return self.low + GRID_M * (np.stack([i.ravel(), j.ravel()], axis=1) + 0.5)


def plan_grid(cloud: Cloud) -> PlanGrid:
    """Mark squares of the plan by what lies above and below them, small gaps closed."""
    from scipy import ndimage

    low = cloud.points[:, :2].min(axis=0) - 4 * GRID_M
    shape = np.ceil((cloud.points[:, :2].max(axis=0) - low) / GRID_M).astype(int) + 4
    index = ((cloud.points[:, :2] - low) / GRID_M).astype(int)
    flat = np.abs(cloud.normals[:, 2]) > 0.5
    over = flat & (cloud.points[:, 2] > _LOW_M)
    under = flat & ~over

    def marked(which: np.ndarray) -> np.ndarray:
        picture = np.zeros(shape, dtype=bool)
        picture[index[which, 0], index[which, 1]] = True
        return np.asarray(ndimage.binary_closing(picture, np.ones((3, 3), dtype=bool), iterations=2))

    overhead, below = marked(over), marked(under)
    tops = np.zeros(shape)
    np.maximum.at(tops, (index[:, 0], index[:, 1]), cloud.points[:, 2])
    return PlanGrid(low, np.minimum(0.95 * overhead + 0.5 * below, 1.0) - 0.5, tops, overhead)


def room_cells(cloud: Cloud, grid: PlanGrid, lines: Sequence[WallLine]) -> list[Polygon]:
    """Pieces of the plan that are room, the largest first."""
    import shapely

    low, high = grid.low, grid.low + GRID_M * np.array(grid.evidence.shape)
    frame = shapely.box(*low, *high)
    cuts = [_across(line, low, high) for line in lines]
    cells: list[Any] = list(shapely.polygonize([shapely.unary_union([frame.boundary, *cuts])]).geoms)
    worth = _worth(cells, grid)
    sides, pairs = _neighbours(cells)
    cost = _costs(sides, cloud, lines)
    inside = _cheapest(worth, pairs, cost)
    joined: Any = shapely.unary_union([cell for cell, chosen in zip(cells, inside, strict=True) if chosen])
    parts = [part for part in getattr(joined, "geoms", [joined]) if part.geom_type == "Polygon"]
    return sorted((shapely.Polygon(part.exterior) for part in parts), key=lambda part: -part.area)


def _across(line: WallLine, low: FloatArray, high: FloatArray) -> Any:
    import shapely

    middle, reach = 0.5 * (low + high), float(np.linalg.norm(high - low))
    foot = middle - line.distances(middle[None])[0] * line.normal
    along = np.array([-line.normal[1], line.normal[0]])
    return shapely.LineString([foot - reach * along, foot + reach * along]).intersection(shapely.box(*low, *high))


def _worth(cells: Sequence[Polygon], grid: PlanGrid) -> FloatArray:
    """Evidence of each cell, in square metres."""
    import shapely

    centres, evidence = grid.centres(), grid.evidence.ravel()
    tree = shapely.STRtree(cells)
    square, cell = tree.query(shapely.points(centres), predicate="intersects")
    square, first = np.unique(square, return_index=True)
    return np.asarray(np.bincount(cell[first], evidence[square] * GRID_M**2, len(cells)), dtype=np.float64)


def _neighbours(cells: Sequence[Polygon]) -> tuple[FloatArray, IntArray]:
    """Sides (n, 2, 2) between two cells, and the numbers (n, 2) of these."""
    owners: dict[tuple[tuple[float, float], ...], list[int]] = {}
    for number, cell in enumerate(cells):
        ring = np.round(np.asarray(cell.exterior.coords), 7)
        for one, two in zip(ring[:-1].tolist(), ring[1:].tolist(), strict=True):
            owners.setdefault(tuple(sorted((tuple(one), tuple(two)))), []).append(number)
    shared = {side: both for side, both in owners.items() if len(both) == 2}
    return np.array(list(shared)).reshape(-1, 2, 2), np.array(list(shared.values()), dtype=np.int64).reshape(-1, 2)


def _costs(sides: FloatArray, cloud: Cloud, lines: Sequence[WallLine]) -> FloatArray:
    """What each side would cost as a wall."""
    lengths = np.linalg.norm(sides[:, 1] - sides[:, 0], axis=1)
    seen = np.zeros(len(sides))
    standing, angles = upright_points(cloud)
    for line in lines:
        on_it = np.abs(line.distances(sides.reshape(-1, 2))).reshape(-1, 2).max(axis=1) < 1e-4
        if not on_it.any():
            continue
        along = np.array([-line.normal[1], line.normal[0]])
        covered, start = line_cover(line, standing, angles, cloud)
        for side in np.flatnonzero(on_it):
            ends = np.sort(sides[side] @ along)
            first, last = int((ends[0] - start) / GRID_M), int(np.ceil((ends[1] - start) / GRID_M))
            part = covered[max(first, 0) : max(last, 0)]
            found = float(part.sum()) / max(last - first, 1) if len(part) else 0.0
            seen[side] = max(seen[side], min(found, 1.0))
    return np.asarray(lengths * (_ANY_WALL + _MISSING_WALL * (1.0 - seen)), dtype=np.float64)


def line_cover(line: WallLine, standing: Cloud, angles: FloatArray, cloud: Cloud) -> tuple[FloatArray, float]:
    """Share of the height that is wall, for each step along a line, and where the first step begins."""
    along = np.array([-line.normal[1], line.normal[0]])
    on_it = (np.abs(line.distances(standing.points[:, :2])) < ON_LINE_M) & (
        apart(angles, line.angle) < np.radians(2.0 * ALIKE_DEG)
    )
    near = np.abs(line.distances(cloud.points[:, :2])) < 2.5 * ON_LINE_M
    everywhere = cloud.points[:, :2] @ along
    start = float(everywhere.min())
    steps = int((everywhere.max() - start) / GRID_M) + 1
    top = np.full(steps, 1.0)
    np.maximum.at(top, ((everywhere[near] - start) / GRID_M).astype(int), cloud.points[near, 2])
    levels = int(top.max() / 0.1) + 1
    filled = np.zeros((steps, levels), dtype=bool)
    place = ((standing.points[on_it, :2] @ along - start) / GRID_M).astype(int)
    height = np.clip(standing.points[on_it, 2] / 0.1, 0, levels - 1).astype(int)
    filled[place, height] = True
    under = np.arange(levels)[None, :] * 0.1
    upper = (under > top[:, None] - 0.65) & (under < top[:, None] - 0.15)  # where furniture seldom reaches
    everywhere_seen = filled.sum(axis=1) / np.maximum(top / 0.1 - 1.0, 1.0)
    return 0.5 * everywhere_seen + 0.5 * (filled & upper).sum(axis=1) / np.maximum(upper.sum(axis=1), 1), start


def _cheapest(worth: FloatArray, pairs: IntArray, cost: FloatArray) -> np.ndarray:
    """Whether each cell is room, by a minimum cut between "room" and "not"."""
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import breadth_first_order, maximum_flow

    count = len(worth)
    room, out = count, count + 1
    gain, loss = np.maximum(worth, 0.0), np.maximum(-worth, 0.0)
    rows = np.concatenate([np.full(count, room), np.arange(count), pairs[:, 0], pairs[:, 1]])
    columns = np.concatenate([np.arange(count), np.full(count, out), pairs[:, 1], pairs[:, 0]])
    whole = np.round(_WHOLE * np.concatenate([gain, loss, cost, cost])).astype(np.int32)
    capacity = coo_array((whole, (rows, columns)), shape=(count + 2, count + 2)).tocsr()
    flow = maximum_flow(capacity, room, out).flow
    left = (capacity - flow).tocsr()
    left.data = np.maximum(left.data, 0)
    left.eliminate_zeros()
    reached = breadth_first_order(left, room, directed=True, return_predecessors=False)
    inside = np.zeros(count + 2, dtype=bool)
    inside[reached] = True
    return inside[:count]
