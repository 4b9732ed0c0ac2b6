"""Many rays at once, on one thread or on all: arrays in, arrays out.

The compiler's cache does not know whether a function was made for several threads, so that two flavours of one function
would be mistaken for each other: each flavour has a name, and both call the same loop over a chunk.
"""

from __future__ import annotations

import numba as nb
import numpy as np

from .eight_kernels import NOTHING
from .kinds_of_kernels import inlined, kernel, threaded
from .ray_kernels import addresses_of, any_but, nearest

CHUNK = 1024
"""Rays in one piece of work for a thread."""


@inlined
def nearest_in_chunk(places, chunk, points, directions, t_max, t, triangle):  # type: ignore[no-untyped-def]
    """Fill t and triangle for the rays of one chunk."""
    p, d = points, directions
    for i in range(chunk * CHUNK, min((chunk + 1) * CHUNK, p.shape[0])):
        t[i], triangle[i] = nearest(
            places, p[i, 0], p[i, 1], p[i, 2], d[i, 0], d[i, 1], d[i, 2], 0.0, t_max[i]
        )  # fmt: skip


@inlined
def any_in_chunk(places, chunk, points, directions, t_max, met):  # type: ignore[no-untyped-def]
    """Fill met for the rays of one chunk."""
    p, d = points, directions
    for i in range(chunk * CHUNK, min((chunk + 1) * CHUNK, p.shape[0])):
        met[i] = any_but(
            places, p[i, 0], p[i, 1], p[i, 2], d[i, 0], d[i, 1], d[i, 2], 0.0, t_max[i], NOTHING, NOTHING, NOTHING
        )  # fmt: skip


@kernel
def nearest_of_rays(points, directions, t_max, tree, triangles, plane, owner_of):  # type: ignore[no-untyped-def]
    """Return (t (n,), triangle (n,)) of the first hit with 0 < t < t_max (n,), (inf, -1) where there is none.

    points, directions: (n, 3), directions of any length; tree, ...: `Room.ray_arrays`.
    """
    n = points.shape[0]
    t, triangle = np.empty(n), np.empty(n, np.int64)
    places = addresses_of(tree, triangles, plane, owner_of)
    for chunk in range((n + CHUNK - 1) // CHUNK):
        nearest_in_chunk(places, chunk, points, directions, t_max, t, triangle)
    return t, triangle


@threaded
def nearest_of_rays_on_threads(points, directions, t_max, tree, triangles, plane, owner_of):  # type: ignore[no-untyped-def]
    """`nearest_of_rays` on all threads; the same bits."""
    n = points.shape[0]
    t, triangle = np.empty(n), np.empty(n, np.int64)
    places = addresses_of(tree, triangles, plane, owner_of)
    for chunk in nb.prange((n + CHUNK - 1) // CHUNK):
        nearest_in_chunk(places, chunk, points, directions, t_max, t, triangle)
    return t, triangle


@kernel
def any_of_rays(points, directions, t_max, tree, triangles, plane, owner_of):  # type: ignore[no-untyped-def]
    """Return (n,) whether anything is met with 0 < t < t_max (n,); arguments as for `nearest_of_rays`."""
    n = points.shape[0]
    met = np.empty(n, np.bool_)
    places = addresses_of(tree, triangles, plane, owner_of)
    for chunk in range((n + CHUNK - 1) // CHUNK):
        any_in_chunk(places, chunk, points, directions, t_max, met)
    return met


@threaded
def any_of_rays_on_threads(points, directions, t_max, tree, triangles, plane, owner_of):  # type: ignore[no-untyped-def]
    """`any_of_rays` on all threads; the same bits."""
    n = points.shape[0]
    met = np.empty(n, np.bool_)
    places = addresses_of(tree, triangles, plane, owner_of)
    for chunk in nb.prange((n + CHUNK - 1) // CHUNK):
        any_in_chunk(places, chunk, points, directions, t_max, met)
    return met
