"""The plain search for mirrored paths: every sequence of facets there is, each reflected, traced back and looked along.

Shares nothing with the search it checks: no beams, no tree of triangles, no pruning; a facet is a polygon, and a leg is
held against every polygon of the room.  What lies within `DOUBT_M` of a border may go either way.
"""

from __future__ import annotations

import math

import numba as nb
import numpy as np

from sim.geometry.room import Room

DOUBT_M = 5.0e-6
"""Borders lie on a grid of a micrometre, and two searches may round a point on a border to either side of it."""


@nb.njit(cache=True)
def depth_in_polygon(point, frame, border):  # type: ignore[no-untyped-def]
    """How far a point of a polygon's plane lies inside it, negative outside: angles of its sides, least distance."""
    x, y = (point - frame[0]) @ frame[1], (point - frame[0]) @ frame[2]
    turned, least = 0.0, math.inf
    for x0, y0, x1, y1 in border:
        ax, ay, bx, by = x0 - x, y0 - y, x1 - x, y1 - y
        turned += math.atan2(ax * by - ay * bx, ax * bx + ay * by)
        along = ((bx - ax) ** 2 + (by - ay) ** 2) or 1.0
        t = min(1.0, max(0.0, -(ax * (bx - ax) + ay * (by - ay)) / along))
        least = min(least, math.hypot(ax + t * (bx - ax), ay + t * (by - ay)))
    return least if round(turned / (2.0 * math.pi)) % 2 else -least


@nb.njit(cache=True)
def clearance(p, q, plane_p, plane_q, skipped, facets):  # type: ignore[no-untyped-def]
    """By how much a leg misses all polygons but those in the planes it starts and ends in; negative when it meets one.

    Nothing is told of a leg that ends in the plane of a polygon and on it: 0.
    """
    normals, offsets, frames, borders, starts, planes, owners = facets
    least = math.inf
    for f in range(len(offsets)):
        if planes[f] == plane_p or planes[f] == plane_q or owners[f] == skipped:
            continue
        a, b = normals[f] @ p - offsets[f], normals[f] @ q - offsets[f]
        border = borders[starts[f] : starts[f + 1]]
        if abs(a) > DOUBT_M and abs(b) > DOUBT_M:
            if a * b < 0.0:
                least = min(least, -depth_in_polygon(p + (a / (a - b)) * (q - p), frames[f], border))
        elif abs(a) <= DOUBT_M and abs(b) <= DOUBT_M:
            least = min(least, 0.0)
        else:
            near = p if abs(a) <= DOUBT_M else q
            least = min(least, max(0.0, -depth_in_polygon(near, frames[f], border)))
    return least


@nb.njit(cache=True)
def search_plainly(source, ear, order, allowed_first, own, facets):  # type: ignore[no-untyped-def]
    """List (sequence, points, certain) of paths with exactly `order` mirrors, Borish, JASA 75 (1984) 1827-1836."""
    normals, offsets, frames, borders, starts, planes, _ = facets
    n, found = len(offsets), []
    sequence, images, points = np.empty(order, np.int64), np.empty((order + 1, 3)), np.empty((order, 3))
    images[0] = source
    for number in range(n**order):
        rest, margin = number, math.inf
        for k in range(order - 1, -1, -1):
            sequence[k], rest = rest % n, rest // n
        if not allowed_first[sequence[0]]:
            continue
        for k in range(order):
            f = sequence[k]
            height = normals[f] @ images[k] - offsets[f]
            margin = min(margin, height + DOUBT_M)  # in front of the mirror, even by a hair
            images[k + 1] = images[k] - 2.0 * height * normals[f]
        p = ear
        for k in range(order - 1, -1, -1):
            if margin <= 0.0:
                break
            f = sequence[k]
            before, behind = normals[f] @ p - offsets[f], normals[f] @ images[k + 1] - offsets[f]
            if before < -DOUBT_M or before - behind <= 0.0:
                margin = -math.inf
                break
            points[k] = p + (before / (before - behind)) * (images[k + 1] - p)
            margin = min(margin, depth_in_polygon(points[k], frames[f], borders[starts[f] : starts[f + 1]]) + DOUBT_M)
            margin = min(margin, before + DOUBT_M)
            p = points[k]
        for k in range(order + 1):
            if margin <= 0.0:
                break
            begin, start = (source, -1) if k == 0 else (points[k - 1], planes[sequence[k - 1]])
            end, stop = (ear, -1) if k == order else (points[k], planes[sequence[k]])
            margin = min(margin, clearance(begin, end, start, stop, own if k == 0 else -1, facets) + DOUBT_M)
        if margin > 0.0:
            found.append((sequence.copy(), points.copy(), margin > 2.0 * DOUBT_M))
    return found


PlainPaths = dict[tuple[int, ...], tuple[np.ndarray, bool]]


def find_plainly(
    room: Room, source: np.ndarray, ear: np.ndarray, order: int, allowed_first: np.ndarray, own: int
) -> PlainPaths:
    """Points (k, 3) of every path of 1 to `order` mirrors by its facets, and whether it is there beyond doubt."""
    arrays = room.arrays
    starts = np.cumsum([0, *(len(facet.border) for facet in room.facets)])
    facets = (
        np.array([facet.normal for facet in room.facets]),
        np.array([facet.offset_m for facet in room.facets]),
        np.array([facet.frame for facet in room.facets]),
        np.concatenate([facet.border for facet in room.facets]),
        starts,
        np.array(arrays.plane),
        np.array(arrays.owner),
    )
    return {
        tuple(sequence.tolist()): (points, certain)
        for mirrors in range(1, order + 1)
        for sequence, points, certain in search_plainly(source, ear, mirrors, allowed_first, own, facets)
    }
