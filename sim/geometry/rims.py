"""Rims: the borders of facets that continue each other in one plane, where a reflection really vanishes."""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from typing import Any

import numpy as np

from sim.arrays import FloatArray, IntArray, KeptFor, frozen, in_rows
from sim.geometry.facets import Facet, plain_corners
from sim.geometry.unions import SNAP_M, outlines_of, polygon_sides, united_polygon

APART_M, GRID = 1.0e-4, 1.0 / SNAP_M
MANY_FACETS = 4096
"""In a room of more facets (scans) the pieces of a plane are united one by one, which may move a corner by a step of
the grid, one micrometre."""
MOST_MATES = 200
"""Of a plane with more facets (scans) each piece is united once for all of its facets: their rims agree with those of
one by one to a few micrometres, and do not hold what lies elsewhere in the plane."""
FEW = 64
"""Up to so many outlines are compared each with each."""


def rims_of(facets: Sequence[Facet], triangles: FloatArray, facet_of: IntArray) -> list[FloatArray]:
    """For each facet the sides (b, 4), in its own directions, of the union of all facets in its plane.

    triangles (n, 3, 3) and facet_of (n,), which rises: those of facet 0 first.
    """
    together: dict[int, list[int]] = {}
    for number, facet in enumerate(facets):
        together.setdefault(facet.plane, []).append(number)
    starts = np.searchsorted(facet_of, np.arange(len(facets) + 1)).tolist()
    rims = [facet.border for facet in facets]
    planes = [numbers for numbers in together.values() if len(numbers) > 1]
    if len(facets) > MANY_FACETS:
        planes = _of_lone_triangles(planes, facets, triangles, starts, rims)
    for numbers in planes:
        mates = tuple(facets[number] for number in numbers)
        united = _united.find(*mates)
        if united is None:
            own = [triangles[starts[number] : starts[number + 1]] for number in numbers]
            united = _united.keep(rims_together(mates, own, many=len(facets) > MANY_FACETS), *mates)
        for number, rim in zip(numbers, united, strict=True):
            rims[number] = rim
    return rims


def _of_lone_triangles(
    planes: Sequence[list[int]],
    facets: Sequence[Facet],
    triangles: FloatArray,
    starts: Sequence[int],
    rims: list[FloatArray],
) -> list[list[int]]:
    """Fill in what `rims_together` gives where all of a plane are single triangles with air between them.

    planes: facets of each plane; `rims` is filled.  All planes of as many facets in one go; returns the planes that are
    left.
    """
    left: list[list[int]] = []
    alike: dict[int, list[list[int]]] = {}
    for numbers in planes:
        single = all(starts[n + 1] - starts[n] == 1 and len(rims[n]) == 3 for n in numbers)
        (alike.setdefault(len(numbers), []) if single and len(numbers) <= FEW else left).append(numbers)
    for many, found in alike.items():
        members = np.array(found)
        corners = triangles[np.array(starts)[members]]
        frames = in_rows(facets[n].frame for numbers in found for n in numbers).reshape(-1, many, 3, 3)
        away = corners[:, None] - frames[:, :, None, None, 0]  # plane, seen from facet, triangle, corner, axis
        flat = np.einsum("pfnca,pfda->pfncd", away, frames[:, :, 1:])
        low, high = flat[:, 0].min(axis=2), flat[:, 0].max(axis=2)
        gaps = np.maximum(low[:, :, None] - high[:, None], low[:, None] - high[:, :, None]).max(axis=3)
        apart = (gaps > APART_M)[:, *np.triu_indices(many, 1)].all(axis=1)
        left += [numbers for numbers, so in zip(found, apart.tolist(), strict=True) if not so]
        places = np.floor(flat[apart] * GRID + 0.5) / GRID
        sides = np.concatenate([places, np.roll(places, -1, axis=3)], axis=4)
        others = np.nonzero(~np.eye(many, dtype=np.bool_))[1].reshape(many, many - 1)
        around = sides[:, np.arange(many)[:, None], others].reshape(-1, 3 * (many - 1), 4)
        numbers = members[apart].ravel().tolist()
        if numbers:
            own = in_rows(rims[n] for n in numbers)
            for n, rim in zip(numbers, frozen(np.concatenate([own, around], axis=1)), strict=True):
                rims[n] = rim
    return left


_united: KeptFor[tuple[FloatArray, ...]] = KeptFor(512)


def rims_together(
    facets: Sequence[Facet], triangles: Sequence[FloatArray], *, many: bool = False
) -> tuple[FloatArray, ...]:
    """Rims of facets of one plane, with the triangles (n, 3, 3) of each.

    Between pieces of the plane there is air, and one that is a triangle or quadrilateral needs no union.  Where pieces
    hold more, all are united together, or with `many` each for itself.
    """
    piece = pieces_of([facets[0].to_plane(each.reshape(-1, 3)) for each in triangles])
    members = [np.flatnonzero(piece == number).tolist() for number in range(int(piece.max()) + 1)]
    if many and len(facets) > MOST_MATES:
        return _shared(facets, triangles, members)
    if not many and len(members) < len(facets):
        members = [list(range(len(facets)))]
    plain = {
        numbers[0]: corners
        for numbers in members
        if len(numbers) == 1
        and (corners := plain_corners(facets[numbers[0]], triangles[numbers[0]], turned=many)) is not None
    }
    larger = [np.concatenate([triangles[n] for n in numbers]) for numbers in members if numbers[0] not in plain]
    frames = np.stack([facet.frame for facet in facets])
    lone = [(numbers, _on_grid(frames, np.stack([plain[n] for n in numbers]))) for numbers in _by_corners(plain)]
    around = [(numbers, np.concatenate([at, np.roll(at, -1, axis=2)], axis=3)) for numbers, at in lone]
    rims = []
    for number, facet in enumerate(facets):
        parts = [_rim(np.ascontiguousarray(facet.to_plane(each)).tobytes()) for each in larger]
        for numbers, seen in around:
            sides = seen[number]
            if number in numbers:
                parts.append(facet.border)
                sides = np.delete(sides, numbers.index(number), axis=0)
            parts.append(sides.reshape(-1, 4))
        rims.append(frozen(np.concatenate(parts)))
    return tuple(rims)


def pieces_of(outlines: Sequence[FloatArray]) -> IntArray:
    """Number (f,) of the piece that each outline (n, 2) belongs to; between boxes of two pieces there is air."""
    low = np.stack([outline.min(axis=0) for outline in outlines])
    high = np.stack([outline.max(axis=0) for outline in outlines])
    if len(outlines) <= FEW:
        gaps = np.maximum(low[:, None] - high[None, :], low[None, :] - high[:, None]).max(axis=2)
        first, second = np.nonzero(np.triu(gaps <= APART_M, 1))
    else:
        import shapely

        boxes: Any = shapely.box(*(low - APART_M).T, *high.T)
        first, second = shapely.STRtree(boxes).query(boxes)
    return connected(len(outlines), first, second)


def connected(count: int, first: IntArray, second: IntArray) -> IntArray:
    """Number (count,) of the connected part that each of so many things is in, by pairs first, second (p,).

    Parts are numbered in the order of their first things.
    """
    lead = list(range(count))
    for one, two in zip(first.tolist(), second.tolist(), strict=True):
        while lead[one] != one:
            lead[one] = one = lead[lead[one]]
        while lead[two] != two:
            lead[two] = two = lead[lead[two]]
        lead[max(one, two)] = min(one, two)
    part = [0] * count
    parts = 0
    for thing, other in enumerate(lead):  # which is no later, and numbered
        part[thing] = part[other] if other != thing else parts
        parts += other == thing
    return np.array(part, dtype=np.int64)


def _by_corners(plain: dict[int, FloatArray]) -> list[list[int]]:
    """Numbers of facets, those of three corners apart from those of four."""
    by_count = ([n for n, corners in plain.items() if len(corners) == count] for count in (3, 4))
    return [numbers for numbers in by_count if numbers]


def _on_grid(frames: FloatArray, corners: FloatArray) -> FloatArray:
    """Places (f, n, c, 2) of corners (n, c, 3) in the directions of each frame (f, 3, 3), on the grid of corners."""
    away = corners[None] - frames[:, None, None, 0]
    return np.asarray(np.floor(np.einsum("fnca,fda->fncd", away, frames[:, 1:]) * GRID + 0.5) / GRID)


def _shared(
    facets: Sequence[Facet], triangles: Sequence[FloatArray], members: Sequence[Sequence[int]]
) -> tuple[FloatArray, ...]:
    """Rims of the pieces of a plane, each united once, in the directions of its largest facet."""
    rims = [facet.border for facet in facets]
    for numbers in members:
        if len(numbers) == 1:
            continue
        lead = max((facets[number] for number in numbers), key=lambda facet: facet.area_m2)
        sides = polygon_sides(united_polygon(lead.to_plane(np.concatenate([triangles[n] for n in numbers]))))
        ends = lead.from_plane(sides.reshape(-1, 2, 2))
        for number in numbers:
            rims[number] = frozen(facets[number].to_plane(ends).reshape(-1, 4))
    return tuple(rims)


@lru_cache(maxsize=256)
def _rim(flat: bytes) -> FloatArray:
    """Sides of the union of triangles of one plane, kept: of many layouts of one room most walls are the same."""
    return frozen(outlines_of([np.array(np.frombuffer(flat)).reshape(-1, 3, 2)])[0][0])
