"""Many edges in one call: what both ends see of each, and what each sends.  Arrays in, arrays out.

Edges come as `wedges` = (start (e, 3), along (e, 3), face (e, 3), normal (e, 3), length (e,), angle (e,)).
"""

from __future__ import annotations

import numpy as np

from sim.propagation.edges.edge_kernels import cylinder, edge_parts
from sim.propagation.edges.leg_kernels import clear_stretches, one_wedge
from sim.rays.kinds_of_kernels import kernel


@kernel
def seen_stretches(wedges, planes, own, looks, facets, rays):  # type: ignore[no-untyped-def]
    """Stretches (e, cells + 1, 2) of many edges that both ends see, as of `clear_stretches`, and how many of each (e,).

    None of an edge that the last image of an end sees from behind: beyond the air of its wedge.
    """
    source_images, _, ear_images, _, cells = looks
    count = wedges[4].shape[0]
    found, numbers = np.zeros((count, cells + 1, 2)), np.zeros(count, np.int64)
    source, ear = source_images[source_images.shape[0] - 1], ear_images[ear_images.shape[0] - 1]
    edge = np.empty((2, 3))
    for e in range(count):
        start, along, face, normal, length, air = one_wedge(wedges, e)
        if cylinder(source, start, along, face, normal)[1] > air or cylinder(ear, start, along, face, normal)[1] > air:
            continue
        for axis in range(3):
            edge[0, axis] = start[axis]
            edge[1, axis] = start[axis] + length * along[axis]
        some = clear_stretches(source_images[0], ear_images[0], edge, planes[e], own, looks, facets, rays)
        numbers[e] = some.shape[0]
        found[e, : some.shape[0]] = some
    return found, numbers


@kernel
def parts_of_edges(source, ear, wedges, stretches, edge_of, groups, wavenumbers, drives):  # type: ignore[no-untyped-def]
    """Complex (e, 3, f): `edge_parts` of many edges, each the sum over its stretches.

    wedges: as of `leg_kernels`; stretches (m, 2) in metres along edge `edge_of` (m,); groups: numbers of wavenumbers
    (f,) that share their places along the edge, one group after the other, and where each begins (g + 1,); drives
    (e, n, f) or (e, 0, f).
    """
    order, begins = groups
    count, samples = wavenumbers.shape[0], drives.shape[1]
    result = np.zeros((wedges[4].shape[0], 3, count), np.complex128)
    for g in range(begins.shape[0] - 1):
        mine = order[begins[g] : begins[g + 1]]
        some = np.empty(mine.shape[0])
        for f in range(mine.shape[0]):
            some[f] = wavenumbers[mine[f]]
        drive = np.empty((samples, mine.shape[0]), np.complex128)
        last = -1
        for m in range(stretches.shape[0]):
            e = edge_of[m]
            if e != last:
                last = e
                for n in range(samples):
                    for f in range(mine.shape[0]):
                        drive[n, f] = drives[e, n, mine[f]]
            wedge = (wedges[0][e], wedges[1][e], wedges[2][e], wedges[3][e], wedges[4][e], wedges[5][e])
            parts = edge_parts(source, ear, wedge, stretches[m, 0], stretches[m, 1], some, drive)
            for p in range(3):
                for f in range(mine.shape[0]):
                    result[e, p, mine[f]] += parts[p, f]
    return result
