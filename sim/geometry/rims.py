"""Rims: the borders of facets that continue each other in one plane, where a reflection really vanishes."""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache

import numpy as np

from sim.arrays import FloatArray, IntArray, KeptFor, frozen
from sim.geometry.crowded_rims import fill_rims
from sim.geometry.facets import Facet, plain_corners
from sim.geometry.plane_pieces import on_grid, pieces_seen
from sim.geometry.unions import outlines_of

MANY_FACETS = 4096
"""In a room of more facets (scans) the pieces of a plane are united one by one, which may move a corner by a step of
the grid, one micrometre."""


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
        fill_rims(planes, facets, triangles, starts, rims)
        return rims
    for numbers in planes:
        mates = tuple(facets[number] for number in numbers)
        united = _united.find(*mates)
        if united is None:
            own = [triangles[starts[number] : starts[number + 1]] for number in numbers]
            united = _united.keep(rims_together(mates, own), *mates)
        for number, rim in zip(numbers, united, strict=True):
            rims[number] = rim
    return rims


_united: KeptFor[tuple[FloatArray, ...]] = KeptFor(512)


def rims_together(facets: Sequence[Facet], triangles: Sequence[FloatArray]) -> tuple[FloatArray, ...]:
    """Rims of facets of one plane, with the triangles (n, 3, 3) of each.

    Pieces with air between them are united each by itself; one triangle or quadrilateral needs no union.
    """
    piece = pieces_seen(facets[0], triangles)
    members = [np.flatnonzero(piece == number).tolist() for number in range(int(piece.max()) + 1)]
    plain = {
        numbers[0]: corners
        for numbers in members
        if len(numbers) == 1 and (corners := plain_corners(facets[numbers[0]], triangles[numbers[0]])) is not None
    }
    larger = [np.concatenate([triangles[n] for n in numbers]) for numbers in members if numbers[0] not in plain]
    frames = np.stack([facet.frame for facet in facets])
    lone = [(numbers, _seen(frames, np.stack([plain[n] for n in numbers]))) for numbers in _by_corners(plain)]
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


def _by_corners(plain: dict[int, FloatArray]) -> list[list[int]]:
    """Numbers of facets, those of three corners apart from those of four."""
    by_count = ([n for n, corners in plain.items() if len(corners) == count] for count in (3, 4))
    return [numbers for numbers in by_count if numbers]


def _seen(frames: FloatArray, corners: FloatArray) -> FloatArray:
    """Places (f, n, c, 2) of corners (n, c, 3) in the directions of each frame (f, 3, 3), on the grid of corners."""
    away = corners[None] - frames[:, None, None, 0]
    return on_grid(np.einsum("fnca,fda->fncd", away, frames[:, 1:]))


@lru_cache(maxsize=256)
def _rim(flat: bytes) -> FloatArray:
    """Sides of the union of triangles of one plane, kept: of many layouts of one room most walls are the same."""
    return frozen(outlines_of([np.array(np.frombuffer(flat)).reshape(-1, 3, 2)])[0][0])
