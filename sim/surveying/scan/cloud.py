"""Points thinned to one in each little cube, with the direction of the surface around each."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from sim.answers import printable
from sim.arrays import FloatArray, IntArray

NEIGHBOURS: Final = 48
_ROWS: Final = 15_000
ENOUGH: Final = 0.25
"""A cube with less than this share of the usual number of points counts for less: stray points are many and thin."""


@printable
@dataclass(frozen=True, slots=True)
class Cloud:
    """Points on surfaces.

    Attributes
    ----------
    points
        (n, 3) metres, or whatever the file has until its unit is known.
    normals
        (n, 3) unit vectors square to the surface, of either sign.
    weights
        (n,) area that each stands for, in the square of that unit.
    variation
        (n,) how far from flat the surroundings are: 0 flat, 1/3 without any direction.
    """

    points: FloatArray
    normals: FloatArray
    weights: FloatArray
    variation: FloatArray

    def chosen(self, which: np.ndarray) -> Cloud:
        """Some of the points."""
        return Cloud(self.points[which], self.normals[which], self.weights[which], self.variation[which])

    def moved(self, turn: FloatArray, shift: FloatArray, scale: float = 1.0) -> Cloud:
        """Turned, shifted and then scaled: (turn . p + shift) * scale."""
        points = (self.points @ turn.T + shift) * scale
        return Cloud(points, self.normals @ turn.T, self.weights * scale**2, self.variation)


def cloud_of(points: FloatArray, cell: float) -> Cloud:
    """Thin points to cubes of this size and find the normal around each, from what lies within four cubes."""
    centres, counts = thinned(points, cell)
    usual = float(np.median(counts))
    weights = np.minimum(counts / max(usual, 1.0), 1.0)
    kept = counts > ENOUGH * usual
    centres, weights = centres[kept], weights[kept]
    normals, variation = normals_of(centres, weights, 4.0 * cell)
    return Cloud(centres, normals, weights * cell**2, variation)


def thinned(points: FloatArray, cell: float) -> tuple[FloatArray, IntArray]:
    """Mean of the points in each cube of a grid, and how many there are."""
    index = np.floor((points - points.min(axis=0)) / cell).astype(np.int64)
    spans = index.max(axis=0) + 1
    key = (index[:, 0] * spans[1] + index[:, 1]) * spans[2] + index[:, 2]
    _, inverse, counts = np.unique(key, return_inverse=True, return_counts=True)
    sums = np.column_stack([np.bincount(inverse, points[:, axis], len(counts)) for axis in range(3)])
    return sums / counts[:, None], counts.astype(np.int64)


def normals_of(points: FloatArray, weights: FloatArray, radius: float) -> tuple[FloatArray, FloatArray]:
    """Direction in which the points around each spread least (n, 3), and how much of the spread lies in it (n,).

    Principal components of the neighbourhood, as Hoppe and others, Surface reconstruction from unorganized points,
    1992.
    """
    from scipy.spatial import cKDTree

    tree = cKDTree(points)
    normals, variation = np.zeros_like(points), np.zeros(len(points))
    padded = np.vstack([points, np.zeros(3)])
    weight_of = np.append(weights, 0.0)
    count = min(NEIGHBOURS, len(points))
    for start in range(0, len(points), _ROWS):
        rows = slice(start, start + _ROWS)
        _, near = tree.query(points[rows], k=count, distance_upper_bound=radius, workers=2)
        near = near.reshape(-1, count)
        weight = weight_of[near]
        offsets = padded[near] - points[rows][:, None]
        offsets[near == len(points)] = 0.0
        total = np.maximum(weight.sum(axis=1), 1e-300)[:, None]
        offsets = offsets - (np.einsum("nk,nkc->nc", weight, offsets) / total)[:, None]
        spread = np.einsum("nk,nkc,nkd->ncd", weight, offsets, offsets) / total[:, :, None]
        values, vectors = np.linalg.eigh(spread)
        normals[rows] = vectors[:, :, 0]
        variation[rows] = np.abs(values[:, 0]) / np.maximum(values.sum(axis=1), 1e-300)
    return normals, variation


def peaks(values: FloatArray, weights: FloatArray, width: float, spread: float) -> tuple[FloatArray, FloatArray]:
    """Places where weighted values pile up, highest first, and the weight within two spreads of each."""
    if not len(values):
        return np.zeros(0), np.zeros(0)
    low, high = float(values.min()) - 4.0 * spread, float(values.max()) + 4.0 * spread
    bins = max(int(np.ceil((high - low) / width)), 3)
    counts, edges = np.histogram(values, bins=bins, range=(low, high), weights=weights)
    reach = max(int(np.ceil(3.0 * spread / width)), 1)
    bell = np.exp(-0.5 * (np.arange(-reach, reach + 1) * width / spread) ** 2)
    smooth = np.convolve(counts, bell / bell.sum(), mode="same")
    inner = np.flatnonzero((smooth[1:-1] > smooth[:-2]) & (smooth[1:-1] >= smooth[2:])) + 1
    inner = inner[np.argsort(-smooth[inner], kind="stable")]
    places = 0.5 * (edges[inner] + edges[inner + 1])
    near = np.abs(values[:, None] - places[None, :64]) < 2.0 * spread
    return places[:64], weights @ near
