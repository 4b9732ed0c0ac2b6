"""One leg between two edges of a convex body, and which stretches of an edge are seen from both ends of a path.

Facet and ray arrays as in `kernels`.
"""

from __future__ import annotations

import math

import numpy as np

from sim.propagation.edges.edge_kernels import (
    GAUSS_W,
    GAUSS_X,
    apex_place,
    cylinder,
    half_phases,
)
from sim.propagation.mirrors.kernels import trace_back
from sim.rays.eight_kernels import NOTHING
from sim.rays.kinds_of_kernels import inlined, kernel, part
from sim.rays.shape_kernels import is_hidden

HALVINGS = 30


@part
def leg_is_clear(end, images, sequence, point, own, planes, facets, rays):  # type: ignore[no-untyped-def]
    """Whether `end` reaches a point of an edge via the facets in `sequence` (k,), nothing in between.

    images: (k + 1, 3) of the end, the first the end itself; planes: (2,) of the edge's own facets.
    """
    tree, triangles, plane, owner = rays
    last = sequence.shape[0] - 1
    if last < 0:
        return not is_hidden(end, point, planes[0], planes[1], own, tree, triangles, plane, owner)
    points = np.empty((last + 1, 3))
    if not trace_back(point, last, sequence, images, facets, points):
        return False
    plane_of, start, before, passed = facets[3], end, NOTHING, own
    for k in range(last + 1):
        mirror = plane_of[sequence[k]]
        if is_hidden(start, points[k], before, mirror, passed, tree, triangles, plane, owner):
            return False
        start, before, passed = points[k], mirror, NOTHING
    # corners are kept to a micrometre, so an edge may lie a little behind its own faces: they hide nothing of it
    return not is_hidden(start, point, planes[0], planes[1], passed, tree, triangles, plane, owner)


@inlined
def put_along(edge, u, point):  # type: ignore[no-untyped-def]
    """Fill point (3,) with the place at share u of an edge (2, 3)."""
    for axis in range(3):
        point[axis] = edge[0, axis] + u * (edge[1, axis] - edge[0, axis])


@kernel
def one_wedge(wedges, e):  # type: ignore[no-untyped-def]
    """Wedge e as the tuple that the first-order kernels take."""
    return (wedges[0][e], wedges[1][e], wedges[2][e], wedges[3][e], wedges[4][e], wedges[5][e])


@kernel
def clear_stretches(source, ear, edge, planes, own, looks, facets, rays):  # type: ignore[no-untyped-def]
    """Return stretches (m, 2) of an edge (2, 3), as shares 0 .. 1 of its length, that both ends see.

    looks: (source images, sequence from the source, ear images, sequence from the ear, cells).  The edge is looked at
    between `cells` cells, and every border of sight found is halved down to 1e-9 of a cell; what hides less than a
    cell between two places is missed.
    """
    source_images, before, ear_images, after, cells = looks
    found, point = np.empty((cells + 1, 2)), np.empty(3)
    count = 0
    was = False
    step = (1.0 - 2.0e-6) / cells
    for i in range(cells + 1):
        u = 1.0e-6 + i * step
        put_along(edge, u, point)
        clear = leg_is_clear(source, source_images, before, point, own, planes, facets, rays) and leg_is_clear(
            ear, ear_images, after, point, NOTHING, planes, facets, rays
        )
        border = u
        if i > 0 and clear != was:
            low, high = u - step, u
            for _ in range(HALVINGS):
                border = 0.5 * (low + high)
                put_along(edge, border, point)
                here = leg_is_clear(source, source_images, before, point, own, planes, facets, rays) and leg_is_clear(
                    ear, ear_images, after, point, NOTHING, planes, facets, rays
                )
                if here == was:
                    low = border
                else:
                    high = border
        if clear and not was:
            found[count, 0] = 0.0 if i == 0 else border
        if was and not clear:
            found[count, 1] = border
            count += 1
        was = clear
    if was:
        found[count, 1] = 1.0
        count += 1
    return found[:count]


@kernel
def seen_shares(end, edges, planes, own, looks, facets, rays):  # type: ignore[no-untyped-def]
    """Shares (e,) of the length of each edge (e, 2, 3) that one end sees; arguments as of `clear_stretches`."""
    shares = np.zeros(edges.shape[0])
    for e in range(edges.shape[0]):
        found = clear_stretches(end, end, edges[e], planes[e], own, looks, facets, rays)
        for m in range(found.shape[0]):
            shares[e] += found[m, 1] - found[m, 0]
    return shares


@kernel
def beside_faces(point, corners, starts, normals, offsets):  # type: ignore[no-untyped-def]
    """Height of a point (3,) over the plane of each face, and its distance from the face in that plane, 0 inside.

    corners (c, 3) of all faces, counter-clockwise from outside, face g from starts[g] up to starts[g + 1].
    """
    count = normals.shape[0]
    heights, outside, way, ahead = np.empty(count), np.zeros(count), np.empty(3), np.empty(3)
    for g in range(count):
        height = -offsets[g]
        for axis in range(3):
            height += normals[g, axis] * point[axis]
        heights[g] = height
        inside, least = True, np.inf
        for c in range(starts[g], starts[g + 1]):
            after = c + 1 if c + 1 < starts[g + 1] else starts[g]
            along, square = 0.0, 0.0
            for axis in range(3):
                ahead[axis] = corners[after, axis] - corners[c, axis]
                way[axis] = point[axis] - height * normals[g, axis] - corners[c, axis]
                along += way[axis] * ahead[axis]
                square += ahead[axis] * ahead[axis]
            turn, far = 0.0, 0.0
            share = min(max(along / square, 0.0), 1.0)
            for axis in range(3):
                one, two = (axis + 1) % 3, (axis + 2) % 3
                turn += (ahead[one] * way[two] - ahead[two] * way[one]) * normals[g, axis]
                far += (way[axis] - share * ahead[axis]) ** 2
            inside = inside and turn >= 0.0
            least = min(least, far)
        if not inside:
            outside[g] = math.sqrt(least)
    return heights, outside


# One leg between two edges of a convex body, and where along an edge to sum: arrays in, arrays out.
#
# Bodies come as `wedges` = (start (e, 3), along (e, 3), face (e, 3), normal (e, 3), length (e,), angle (e,)) and
# `edge_legs` (h, 4): from edge, to edge, and which face of either they share (0 or 1).
# See `chain_kernels` for what is summed.

NODE_PHASE = 30.0
"""Most phase over a panel of 8 nodes j, were source, leg and ear all in line with the edge."""


@kernel
def middle_nodes(r_s, z_s, r_e, z_e, length, sharp, k_most, places, weights):  # type: ignore[no-untyped-def]
    """Fill the nodes j of one edge: panels no longer than the way to either end of the path, finer at the corners.

    sharp: where source and ear both graze a face, the peak that the nodes of the legs do not take, about the apex.
    """
    count, a, step = 0, 0.0, length
    apex = apex_place(r_s, z_s, r_e, z_e)
    sharp = max(sharp, 1.0e-7) * r_s * r_e / (r_s + r_e)
    while a < length * (1.0 - 1.0e-9) and count + 8 <= places.shape[0]:
        b = min(a + step, length)
        while True:
            size, middle = b - a, 0.5 * (a + b)
            near = min(math.hypot(r_s, middle - z_s), math.hypot(r_e, middle - z_e))
            corner = max(min(a, length - b), 0.12 * length)
            aside = max(sharp, abs(middle - apex) - 0.5 * size)
            if size > 2.0 * aside and size > 1.0e-7:
                b = a + 0.7 * size
                continue
            if size <= max(2.0 * near, 0.01 * length) and size <= 3.0 * corner and 2.0 * k_most * size <= NODE_PHASE:
                break
            b = a + 0.8 * size
        for i in range(8):
            places[count] = 0.5 * (a + b) + 0.5 * (b - a) * GAUSS_X[i]
            weights[count] = 0.5 * (b - a) * GAUSS_W[i]
            count += 1
        step = 2.0 * (b - a)
        a = b
    return count


@part
def narrowest(end, wedges, e, face):  # type: ignore[no-untyped-def]
    """Return the least sine of nu phi/2 between `end` and a face of edge e: how sharp the peak on that side is."""
    wedge = one_wedge(wedges, e)
    angle = wedge[5]
    theta = min(cylinder(end, wedge[0], wedge[1], wedge[2], wedge[3])[1], angle)
    sines, _ = half_phases(math.pi / angle, theta, angle if face == 1 else 0.0)
    return min(min(abs(sines[0]), abs(sines[1])), min(abs(sines[2]), abs(sines[3])))


@part
def sharpest(end, wedges, edge_legs):  # type: ignore[no-untyped-def]
    """Return the least of `narrowest` over all legs."""
    least = 1.0
    for h in range(edge_legs.shape[0]):
        least = min(least, narrowest(end, wedges, edge_legs[h, 0], edge_legs[h, 2]))
    return least


@part
def choose(source, ear, e, wedges, edge_legs, weights, hidden):  # type: ignore[no-untyped-def]
    """Weights (2, h) of the legs at edge e in chains of two, each chain counted once.

    Row 0: legs in, whose peak is sharper on the source's side; row 1: legs out, sharper on the ear's side.
    weights: (2, e) of each edge as the first and the last; hidden: (2, e) how much of either is left out of chains of
    three.  Where source and ear both graze a face, a chain over their two far edges would be made up for by one of
    four: it goes as chains of three go at either end.
    """
    chosen = np.zeros((2, edge_legs.shape[0]))
    for h in range(edge_legs.shape[0]):
        other = edge_legs[h, 0]
        if edge_legs[h, 1] != e:
            continue
        if narrowest(source, wedges, other, edge_legs[h, 2]) <= narrowest(ear, wedges, e, edge_legs[h, 3]):
            chosen[0, h] = weights[0, other] * weights[1, e] * (1.0 - hidden[0, other] * hidden[1, e])
        if narrowest(ear, wedges, other, edge_legs[h, 2]) < narrowest(source, wedges, e, edge_legs[h, 3]):
            chosen[1, h] = weights[0, e] * weights[1, other] * (1.0 - hidden[0, e] * hidden[1, other])
    return chosen
