"""The next surface on a ray's way through a room: what both tracers ask after every bounce."""

from __future__ import annotations

import math

from ..geometry.kinds_of_kernels import inlined, part
from ..geometry.lanes import load_double, load_whole
from ..geometry.ray_kernels import nearest_but

BEHIND_M = 1.0e-9
"""A start that rounding put this far behind a neighbouring wall in a corner still meets it."""
SAME_PLACE_M = 1.0e-7
TRIES = 5
"""Most times the next surface is looked for: past own box, past the other side of a sheet, past a neighbour."""


@inlined
def surfaces_at(facet_of, normals, other_side, plane_of, owner_of):  # type: ignore[no-untyped-def]
    """Addresses of facet, plane and owner of each triangle, facets' normals and planes' other sides.

    They are taken once, outside all loops; the kernel must have the arrays as arguments.
    """
    return (
        facet_of.ctypes.data, normals.ctypes.data, other_side.ctypes.data, plane_of.ctypes.data, owner_of.ctypes.data,
    )  # fmt: skip


@inlined
def facing(surfaces, triangle, dx, dy, dz):  # type: ignore[no-untyped-def]
    """Return (facet, cosine of incidence) of a triangle: below 0 from behind, -1 where there is no triangle."""
    if triangle < 0:
        return 0, -1.0
    f = load_whole(surfaces[0] + 8 * triangle)
    n = surfaces[1] + 24 * f
    return f, -(dx * load_double(n) + dy * load_double(n + 8) + dz * load_double(n + 16))


@part
def next_surface(places, surfaces, x, y, z, dx, dy, dz, plane, own, turn):  # type: ignore[no-untyped-def]
    """Return (metres to it, triangle, facet, cosine of incidence, whether the ray is lost, queries) of a ray.

    places: of `addresses_of`; surfaces: of `surfaces_at`; plane: that of the surface it leaves, or -1; turn: bounces so
    far, 0 while the own box lets it out.  A surface met from behind is the other side of a sheet or a neighbour left in
    an edge; or the ray came up from under its own box, which lets it out as it did on the first leg.
    """
    passed, body = load_whole(surfaces[2] + 8 * plane) if plane >= 0 else -1, own if turn == 0 else -1
    t_min, behind, t, triangle, cosine, f, queries = -BEHIND_M, -1.0, math.inf, -1, 0.0, 0, 0
    while queries < TRIES:
        t, triangle = nearest_but(places, x, y, z, dx, dy, dz, t_min, math.inf, plane, passed, body)
        queries += 1
        f, cosine = facing(surfaces, triangle, dx, dy, dz)
        if triangle < 0 or cosine > 0.0:
            break
        if behind < 0.0 and load_whole(surfaces[4] + 8 * triangle) != own:
            behind = t
        t_min, passed = t - SAME_PLACE_M, load_whole(surfaces[3] + 8 * triangle)
    lost = not cosine > 0.0 or (behind > SAME_PLACE_M and t > behind + SAME_PLACE_M)
    return max(t, 0.0), triangle, f, cosine, lost, queries
