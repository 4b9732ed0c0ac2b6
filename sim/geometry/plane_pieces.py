"""Pieces of a plane: which outlines lie so near each other that their rims may be one."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from sim.arrays import FloatArray, IntArray, in_rows
from sim.geometry.facets import Facet
from sim.geometry.unions import SNAP_M

APART_M, GRID = 1.0e-4, 1.0 / SNAP_M
FEW = 64
"""Up to so many outlines are compared each with each."""


def on_grid(places: FloatArray) -> FloatArray:
    """Places of any shape, each on the grid of corners."""
    return np.asarray(np.floor(places * GRID + 0.5) / GRID)


def pieces_of(low: FloatArray, high: FloatArray) -> IntArray:
    """Number (f,) of the piece that each outline belongs to, by the corners (f, 2) of its box.

    Between boxes of two pieces there is air.
    """
    if len(low) <= FEW:
        gaps = np.maximum(low[:, None] - high[None, :], low[None, :] - high[:, None]).max(axis=2)
        first, second = np.nonzero(np.triu(gaps <= APART_M, 1))
    else:
        import shapely

        boxes: Any = shapely.box(*(low - APART_M).T, *high.T)
        first, second = shapely.STRtree(boxes).query(boxes)
    return connected(len(low), first, second)


def pieces_seen(facet: Facet, triangles: Sequence[FloatArray]) -> IntArray:
    """`pieces_of` facets of one plane by their triangles (n, 3, 3), seen in the directions of one of them."""
    outlines = [facet.to_plane(each.reshape(-1, 3)) for each in triangles]
    return pieces_of(in_rows(each.min(axis=0) for each in outlines), in_rows(each.max(axis=0) for each in outlines))


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
