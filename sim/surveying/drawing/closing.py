"""Closed outlines among the lines of a plan: ends joined within a gap, gaps said, crossings found."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from sim.answers import printable
from sim.arrays import FloatArray, IntArray, frozen

SAME_M: Final = 1.0e-6
"""Ends nearer to each other than this are one."""
GAP_M: Final = 0.005
"""Ends are joined within this unless somebody says otherwise (common practice, no source)."""
WIDEST_M: Final = 3.0
"""What is wider than this is no door or window but a missing wall (common practice, no source)."""
SMALLEST_M2: Final = 1.0
"""Closed outlines smaller than this are columns and furniture (common practice, no source)."""
THICKEST_WALL_M: Final = 0.5
"""A closed outline no thicker than this is a wall seen from above (common practice, no source)."""
STRAIGHT_M: Final = 1.0e-5
"""A corner so near to the line between its neighbours is none."""


@printable
@dataclass(frozen=True, slots=True)
class Gap:
    """Where an outline is open.

    Attributes
    ----------
    ends
        (2, 2) both ends in metres, to the right and up on the drawing.
    """

    ends: FloatArray

    @property
    def gap_m(self) -> float:
        """How wide it is."""
        return float(np.linalg.norm(self.ends[1] - self.ends[0]))


@printable
@dataclass(frozen=True, slots=True)
class Outline:
    """A closed outline.

    Attributes
    ----------
    corners
        (n, 2) in metres, counter-clockwise, the upper left one first: to the right and up on the drawing.
    area_m2
        What it encloses.
    crossings
        (c, 2) corners of it at which two lines cross each other instead of ending.
    """

    corners: FloatArray
    area_m2: float
    crossings: FloatArray

    @property
    def size_m(self) -> FloatArray:
        """(2,) to the right and up."""
        return np.asarray(np.ptp(self.corners, axis=0), dtype=np.float64)

    @property
    def lengths_m(self) -> FloatArray:
        """(n,) of each side, from its corner to the next."""
        return np.asarray(np.linalg.norm(np.roll(self.corners, -1, axis=0) - self.corners, axis=1), dtype=np.float64)

    @property
    def is_wall(self) -> bool:
        """Whether it is a wall seen from above: long and nowhere thicker than one."""
        return bool(2.0 * self.area_m2 / self.lengths_m.sum() < THICKEST_WALL_M)


@printable
@dataclass(frozen=True, slots=True)
class Closed:
    """What the lines of a plan close: outlines, largest first, what was joined, and what is still open.

    Attributes
    ----------
    outlines
        Rooms before walls seen from above.
    joined
        Gaps that were closed, because they are small or because somebody said so.
    open
        Gaps between ends that lead nowhere, narrowest first.
    """

    outlines: tuple[Outline, ...]
    joined: tuple[Gap, ...]
    open: tuple[Gap, ...]


def closed_outlines(lines_m: FloatArray, gap_m: float = GAP_M, *, bridge: bool = False) -> Closed:
    """Find the closed outlines of lines (n, 2, 2) in metres.

    Parameters
    ----------
    gap_m
        Ends that lead nowhere and are no further from each other are joined where their lines meet, else half-way.
    bridge
        Draw a straight line across every gap up to 3 m wide.
    """
    lines, joined = _joined(np.array(lines_m, dtype=np.float64), gap_m)
    gaps = _open_gaps(lines)
    if bridge:
        joined += tuple(gaps)
        lines = np.concatenate([lines, *(gap.ends[None] for gap in gaps)])
        gaps = []
    outlines = _outlines(lines, gap_m)
    return Closed(tuple(outlines), joined, tuple(gaps))


def _corners(lines: FloatArray) -> tuple[FloatArray, IntArray]:
    """Ends that are one, as corners (c, 2), and the numbers (n, 2) of both ends of each line."""
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components
    from scipy.spatial import cKDTree

    ends = lines.reshape(-1, 2)
    pairs = cKDTree(ends).query_pairs(SAME_M, output_type="ndarray")
    graph = coo_array((np.ones(len(pairs)), pairs.T), shape=(len(ends), len(ends)))
    _, number = connected_components(graph, directed=False)
    _, first = np.unique(number, return_index=True)
    return ends[first], np.asarray(number, dtype=np.int64).reshape(-1, 2)


def _loose_ends(lines: FloatArray) -> tuple[FloatArray, IntArray]:
    """Places (e, 2) of ends that lead nowhere, and the line and end (e, 2) that each is."""
    import shapely

    corners, number = _corners(lines)
    line, end = np.nonzero((np.bincount(number.ravel(), minlength=len(corners)) == 1)[number])
    places = lines[line, end]
    strings: Any = shapely.linestrings(lines)
    near, touched = shapely.STRtree(strings).query(shapely.points(places), predicate="dwithin", distance=SAME_M)
    ends_on_another = np.zeros(len(places), dtype=np.bool_)
    ends_on_another[near[touched != line[near]]] = True
    loose = ~ends_on_another
    return places[loose], np.column_stack([line, end])[loose]


def _pairs(places: FloatArray, which: IntArray, most_m: float) -> list[tuple[int, int]]:
    """Loose ends that belong together: each with the nearest one left, narrowest gaps first."""
    if len(places) < 2:
        return []
    from scipy.spatial import cKDTree

    near = cKDTree(places).query_pairs(most_m, output_type="ndarray")
    widths = np.linalg.norm(places[near[:, 0]] - places[near[:, 1]], axis=1)
    taken: set[int] = set()
    found = []
    for a, b in near[np.lexsort((near[:, 1], near[:, 0], np.round(widths, 9)))].tolist():
        if not taken & {a, b} and which[a, 0] != which[b, 0]:
            taken |= {a, b}
            found.append((a, b))
    return found


def _joined(lines: FloatArray, gap_m: float) -> tuple[FloatArray, tuple[Gap, ...]]:
    """Lines with loose ends joined within a gap, and what was joined."""
    places, which = _loose_ends(lines)
    gaps = []
    for a, b in _pairs(places, which, gap_m):
        gaps.append(Gap(frozen(places[[a, b]])))
        meet = _meeting(lines[which[a, 0]], lines[which[b, 0]])
        middle = 0.5 * (places[a] + places[b])
        at = meet if meet is not None and np.linalg.norm(meet - middle) <= gap_m else middle
        for number in (a, b):
            lines[which[number, 0], which[number, 1]] = at
    return lines, tuple(gaps)


def _meeting(one: FloatArray, other: FloatArray) -> FloatArray | None:
    """Where two lines (2, 2), drawn on, meet; None when they run alike to within five degrees."""
    along, across = one[1] - one[0], other[1] - other[0]
    turn = along[0] * across[1] - along[1] * across[0]
    if abs(turn) <= 0.087 * np.linalg.norm(along) * np.linalg.norm(across):
        return None
    away = other[0] - one[0]
    return np.asarray(one[0] + (away[0] * across[1] - away[1] * across[0]) / turn * along, dtype=np.float64)


def _open_gaps(lines: FloatArray) -> list[Gap]:
    """Gaps between loose ends, narrowest first."""
    places, which = _loose_ends(lines)
    gaps = [Gap(frozen(places[[a, b]])) for a, b in _pairs(places, which, WIDEST_M)]
    return sorted(gaps, key=lambda gap: gap.gap_m)


def _outlines(lines: FloatArray, gap_m: float) -> list[Outline]:
    """Closed outlines, rooms before walls, larger ones first."""
    import shapely
    from scipy.spatial import cKDTree

    corners, number = _corners(lines)
    lines = corners[number]
    strings = shapely.linestrings(lines)
    # on a fine grid ends that touch a line are on it; corners then take their own places again
    faces: Any = shapely.polygonize([shapely.union_all(strings, grid_size=0.1 * SAME_M)])
    crossings = _crossings(lines, strings, gap_m)
    own = cKDTree(corners)
    found = []
    for face in faces.geoms:
        ring = np.asarray(face.exterior.coords)[:-1]
        away, nearest = own.query(ring)
        near = np.asarray(away) <= SAME_M
        ring = _straightened(np.where(near[:, None], corners[nearest], ring))
        area = float(shapely.Polygon(ring).area) if len(ring) > 2 else 0.0
        if area >= SMALLEST_M2:
            found.append(Outline(frozen(_from_upper_left(ring)), area, frozen(_at_corners(crossings, ring))))
    return sorted(found, key=lambda one: (one.is_wall, -one.area_m2))


def _crossings(lines: FloatArray, strings: Any, gap_m: float) -> FloatArray:
    """Places (c, 2) at which two lines go through each other, beyond what an end may reach too far."""
    import shapely

    tree = shapely.STRtree(strings)
    first, second = tree.query(strings, predicate="crosses")
    first, second = first[first < second], second[first < second]
    places = shapely.get_coordinates(shapely.centroid(shapely.intersection(strings[first], strings[second])))
    ends = np.concatenate([lines[first], lines[second]], axis=1)
    past = np.linalg.norm(ends - places[:, None], axis=2).min(axis=1) if len(places) else np.zeros(0)
    return np.asarray(places[past > max(gap_m, SAME_M)], dtype=np.float64)


def _at_corners(places: FloatArray, ring: FloatArray) -> FloatArray:
    away = np.linalg.norm(places[:, None] - ring[None], axis=2)
    return places[away.min(axis=1) < 10.0 * SAME_M] if len(places) else places


def _straightened(ring: FloatArray) -> FloatArray:
    """Corners without those at which a side goes straight on, which joining lines leaves behind."""
    while len(ring) > 3:
        before, after = np.roll(ring, 1, axis=0), np.roll(ring, -1, axis=0)
        along = after - before
        length = np.linalg.norm(along, axis=1)
        away = np.abs(along[:, 0] * (ring - before)[:, 1] - along[:, 1] * (ring - before)[:, 0])
        straight = np.flatnonzero(away <= STRAIGHT_M * np.maximum(length, STRAIGHT_M))
        if len(straight) == 0:
            break
        ring = np.delete(ring, straight[0], axis=0)
    return ring


def _from_upper_left(ring: FloatArray) -> FloatArray:
    """The same corners counter-clockwise, the upper left one first."""
    x, y = ring.T
    if float(x @ np.roll(y, -1) - y @ np.roll(x, -1)) < 0.0:
        ring = ring[::-1]
    low, high = ring.min(axis=0), ring.max(axis=0)
    away = (ring[:, 0] - low[0]) + (high[1] - ring[:, 1])
    return np.asarray(np.roll(ring, -int(np.argmin(np.round(away, 9))), axis=0), dtype=np.float64)
