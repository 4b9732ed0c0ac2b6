"""Rims in a room of thousands of facets (scans): what `rims` does plane by plane, for all planes in one go.

Pieces of a plane are united one by one and not all together, which may move a corner by a step of the grid, one
micrometre.  A piece that is one triangle or quadrilateral needs no union.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from sim.arrays import BoolArray, FloatArray, IntArray, frozen, in_rows
from sim.geometry.facets import Facet
from sim.geometry.plane_pieces import APART_M, FEW, connected, on_grid, pieces_of, pieces_seen
from sim.geometry.unions import polygon_sides, sides_of_polygons, united_polygon, united_polygons

MOST_MATES = 200
"""Of a plane with more facets each piece is united once for all of its facets: their rims agree with those of one by
one to a few micrometres, and do not hold what lies elsewhere in the plane."""
Sides = tuple[IntArray, FloatArray]
"""Sides (n, 4), and which member's rim (n,) each is part of."""


@dataclass(frozen=True, slots=True)
class _Crowd:
    """Facets that share their planes with others, plane by plane, and the triangles of each.

    frames (m, 3, 3), borders: of each member; first, count (m,): its triangles; begin, mates (m,): the members of its
    plane.
    """

    triangles: FloatArray
    frames: FloatArray
    borders: list[FloatArray]
    first: IntArray
    count: IntArray
    begin: IntArray
    mates: IntArray

    def rows(self, members: IntArray) -> IntArray:
        """Rows of `triangles` of some members, one after the other."""
        return _runs(self.first[members], self.count[members])

    def flat(self, points: FloatArray, members: IntArray) -> FloatArray:
        """Points (n, c, 3) in the two directions of one member each (n,)."""
        frames = self.frames[members]
        return np.asarray(np.einsum("nca,nda->ncd", points - frames[:, None, 0], frames[:, 1:]))


def fill_rims(
    planes: Sequence[list[int]],
    facets: Sequence[Facet],
    triangles: FloatArray,
    starts: Sequence[int],
    rims: list[FloatArray],
) -> None:
    """Put the rims of the facets of some planes, numbers of two and more each, into `rims`, which holds borders.

    triangles (n, 3, 3): those of facet f stand from starts[f] to starts[f + 1].
    """
    at = np.array(starts)
    for plane in planes:
        if len(plane) > MOST_MATES:
            own = [triangles[starts[number] : starts[number + 1]] for number in plane]
            for number, rim in zip(plane, _shared([facets[number] for number in plane], own), strict=True):
                rims[number] = rim
    planes = [plane for plane in planes if len(plane) <= MOST_MATES]
    numbers = [number for plane in planes for number in plane]
    if not numbers:
        return
    sizes = np.array([len(plane) for plane in planes])
    crowd = _Crowd(
        triangles,
        in_rows(facets[number].frame for number in numbers),
        [rims[number] for number in numbers],
        at[numbers],
        at[np.array(numbers) + 1] - at[numbers],
        np.repeat(np.cumsum(sizes) - sizes, sizes),
        np.repeat(sizes, sizes),
    )
    piece = _pieces(crowd)
    three, four = _plain(crowd, np.bincount(piece)[piece] == 1)
    to_unite = np.ones(len(numbers), dtype=np.bool_)
    to_unite[three[0]] = to_unite[four[0]] = False
    parts = [_of_unions(crowd, piece, to_unite)]
    for members, corners in (three, four):
        parts += [_own(crowd, members), _of_mates(crowd, members, corners)]
    whose = np.concatenate([who for who, _ in parts])
    order = np.argsort(whose, kind="stable")
    sides = frozen(np.concatenate([rows for _, rows in parts])[order])
    ends = np.cumsum(np.bincount(whose, minlength=len(numbers))).tolist()
    for number, begin, end in zip(numbers, [0, *ends], ends, strict=False):
        rims[number] = sides[begin:end]


def _runs(first: IntArray, count: IntArray) -> IntArray:
    """first[0], first[0] + 1, ... count[0] of them, and so on for each."""
    before = np.cumsum(count) - count
    return np.asarray(np.arange(int(count.sum())) + np.repeat(first - before, count), dtype=np.int64)


def _pieces(crowd: _Crowd) -> IntArray:
    """Number (m,) of the piece that each member belongs to: between boxes of two pieces of a plane there is air."""
    everyone = np.arange(len(crowd.begin))
    flat = crowd.flat(crowd.triangles[crowd.rows(everyone)], np.repeat(crowd.begin, crowd.count))
    before = np.cumsum(crowd.count) - crowd.count
    low = np.minimum.reduceat(flat.min(axis=1), before)
    high = np.maximum.reduceat(flat.max(axis=1), before)
    pairs = []
    for size in np.unique(crowd.mates).tolist():
        begins = np.unique(crowd.begin[crowd.mates == size])
        if size > FEW:
            for begin in begins.tolist():
                number = pieces_of(low[begin : begin + size], high[begin : begin + size])
                pairs.append(begin + np.stack([np.arange(size), np.unique(number, return_index=True)[1][number]]))
            continue
        one, two = (begins[:, None] + each for each in np.triu_indices(size, 1))
        near = np.maximum(low[one] - high[two], low[two] - high[one]).max(axis=2) <= APART_M
        pairs.append(np.stack([one[near], two[near]]))
    return connected(len(everyone), *np.concatenate(pairs, axis=1))


def _plain(crowd: _Crowd, lone: BoolArray) -> tuple[tuple[IntArray, FloatArray], tuple[IntArray, FloatArray]]:
    """Members (n,) that are a piece of their own and one triangle, or one quadrilateral; their corners (n, 3 or 4, 3).

    A quadrilateral's two triangles may begin at any of its corners.
    """
    from sim.geometry.flat_kernels import diagonal_first

    sides = np.array([len(border) for border in crowd.borders])
    three = np.flatnonzero(lone & (crowd.count == 1) & (sides == 3))
    four = np.flatnonzero(lone & (crowd.count == 2) & (sides == 4))
    pairs = diagonal_first(crowd.triangles[crowd.rows(four)].reshape(-1, 2, 3, 3))
    alike = ((pairs[:, 0, 0] == pairs[:, 1, 0]) & (pairs[:, 0, 2] == pairs[:, 1, 1])).all(axis=1)
    corners = np.concatenate([pairs[alike, 0], pairs[alike, 1, 2:]], axis=1)
    return (three, crowd.triangles[crowd.first[three]]), (four[alike], corners)


def _own(crowd: _Crowd, members: IntArray) -> Sides:
    """Borders of members."""
    borders = [crowd.borders[member] for member in members.tolist()]
    return np.repeat(members, [len(border) for border in borders]), np.concatenate([np.empty((0, 4)), *borders])


def _of_mates(crowd: _Crowd, members: IntArray, corners: FloatArray) -> Sides:
    """Sides of members with corners (n, c, 3), on the grid of all others of their plane, for the rims of those."""
    mates = crowd.mates[members]
    whose, seen = _runs(crowd.begin[members], mates), np.repeat(np.arange(len(members)), mates)
    other = whose != members[seen]
    whose, seen = whose[other], seen[other]
    places = on_grid(crowd.flat(corners[seen], whose))
    sides = np.concatenate([places, np.roll(places, -1, axis=1)], axis=2)
    return np.repeat(whose, corners.shape[1]), sides.reshape(-1, 4)


def _of_unions(crowd: _Crowd, piece: IntArray, to_unite: BoolArray) -> Sides:
    """Sides of all other pieces, each united for each facet of its plane, in that one's directions."""
    import shapely

    united = np.flatnonzero(to_unite)
    united = united[np.argsort(piece[united], kind="stable")]
    leads = np.flatnonzero(np.diff(piece[united], prepend=-1))
    per_piece = np.add.reduceat(crowd.count[united], leads) if len(leads) else np.zeros(0, np.int64)
    rows = crowd.rows(united)
    before = np.cumsum(per_piece) - per_piece

    lead = united[leads]
    mates = crowd.mates[lead]
    whose, of = _runs(crowd.begin[lead], mates), np.repeat(np.arange(len(lead)), mates)
    counts = per_piece[of]
    flat = crowd.flat(crowd.triangles[rows[_runs(before[of], counts)]], np.repeat(whose, counts))
    sides = sides_of_polygons(united_polygons(shapely.polygons(flat), np.concatenate([[0], np.cumsum(counts)])))
    return np.repeat(whose, [len(each) for each in sides]), np.concatenate([np.empty((0, 4)), *sides])


def _shared(facets: Sequence[Facet], triangles: Sequence[FloatArray]) -> list[FloatArray]:
    """Rims of facets of one plane, each of its pieces united once, in the directions of its largest facet."""
    piece = pieces_seen(facets[0], triangles)
    rims = [facet.border for facet in facets]
    for members in np.split(np.argsort(piece, kind="stable"), np.cumsum(np.bincount(piece))[:-1]):
        numbers = members.tolist()
        if len(numbers) == 1:
            continue
        lead = max((facets[number] for number in numbers), key=lambda facet: facet.area_m2)
        sides = polygon_sides(united_polygon(lead.to_plane(np.concatenate([triangles[n] for n in numbers]))))
        ends = lead.from_plane(sides.reshape(-1, 2, 2))
        for number in numbers:
            rims[number] = frozen(facets[number].to_plane(ends).reshape(-1, 4))
    return rims
