"""A closed box whose walls are cut into triangles with corners moved at random: what a scan looks like, made up."""

from __future__ import annotations

import numpy as np


def bumpy_box(
    cuts: int, bump_m: float, seed: int = 1, size: tuple[float, float, float] = (5.0, 4.0, 2.6)
) -> np.ndarray:
    """Triangles (12 cuts^2, 3, 3) of a closed box, walls cut into squares, outward; corners moved by up to `bump_m`."""
    rng = np.random.default_rng(seed)
    low, high = np.arange(cuts), np.arange(1, cuts + 1)
    i, j = (each.ravel() for each in np.meshgrid(low, low, indexing="ij"))
    quads = []
    for axis in range(3):
        for level in (0, cuts):
            corners = np.zeros((len(i), 4, 3), dtype=np.int64)
            corners[..., axis] = level
            corners[..., (axis + 1) % 3] = np.column_stack([low[i], high[i], high[i], low[i]])
            corners[..., (axis + 2) % 3] = np.column_stack([low[j], low[j], high[j], high[j]])
            quads.append(corners if level else corners[:, ::-1])
    grid = np.concatenate(quads)[:, [[0, 1, 2], [0, 2, 3]]].reshape(-1, 3, 3)
    moved = rng.uniform(-bump_m, bump_m, (cuts + 1, cuts + 1, cuts + 1, 3))
    return np.array(size) * grid / cuts + moved[tuple(np.moveaxis(grid, 2, 0))]
