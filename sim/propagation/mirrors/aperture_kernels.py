"""Rectangles about facets, and which facets have anything in front of each other: arrays in, arrays out.

A sheet is what `beam_kernels` knows of a facet: the smallest rectangle found about its polygon, let out a little, and
its plane.  For a wall or the side of a cupboard it is the facet itself; for an L or a gable it holds more than the
facet.  So whatever goes through a facet goes through its sheet, and only that is asked of it.
"""

from __future__ import annotations

import math

import numpy as np

from sim.propagation.mirrors.kernels import IN_FRONT_M
from sim.rays.kinds_of_kernels import kernel, whole

WIDER_M = 1.0e-5
"""By how much sheets are wider than their facets: five times the slack of a point on a border."""
DIRECTIONS = 64
"""Most directions tried for the sides of a rectangle; a facet of a scan may have hundreds of sides."""
CENTRE, ALONG, ACROSS, NORMAL, OFFSET = (whole(column) for column in (0, 3, 6, 9, 12))
"""Columns of a sheet: middle, half of each side as a vector, and the plane normal . x = offset."""
COLUMNS = 13


@kernel
def smallest_rectangle(sides):  # type: ignore[no-untyped-def]
    """Return (cos, sin, low x, high x, low y, high y) of the smallest rectangle about border sides (b, 4).

    Of all rectangles that hold a polygon, the smallest has a side along one of the polygon's hull (Freeman & Shapira,
    Comm. ACM 18 (1975) 409-413).  Here the sides of the border itself are tried.
    """
    n = sides.shape[0]
    best, found = math.inf, (1.0, 0.0, 0.0, 0.0, 0.0, 0.0)
    for i in range(0, n, 1 + (n - 1) // DIRECTIONS):
        dx, dy = sides[i, 2] - sides[i, 0], sides[i, 3] - sides[i, 1]
        length = math.hypot(dx, dy)
        if length == 0.0:
            continue
        c, s = dx / length, dy / length
        low_x, high_x, low_y, high_y = math.inf, -math.inf, math.inf, -math.inf
        for j in range(n):
            x, y = c * sides[j, 0] + s * sides[j, 1], c * sides[j, 1] - s * sides[j, 0]
            low_x, high_x = min(low_x, x), max(high_x, x)
            low_y, high_y = min(low_y, y), max(high_y, y)
        area = (high_x - low_x) * (high_y - low_y)
        if area < best:
            best, found = area, (c, s, low_x, high_x, low_y, high_y)
    return found


@kernel
def lay_sheets(number, normal, offset, frame, border, border_start, wider):  # type: ignore[no-untyped-def]
    """Return sheets (f, 13) of the facets number (f,), each let out by wider (f,) metres on every side."""
    n = number.shape[0]
    sheets = np.empty((n, COLUMNS))
    for sheet in range(n):
        f = number[sheet]
        c, s, low_x, high_x, low_y, high_y = smallest_rectangle(border[border_start[f] : border_start[f + 1]])
        x, y = 0.5 * (low_x + high_x), 0.5 * (low_y + high_y)
        more = wider[f] + WIDER_M
        half_x, half_y = 0.5 * (high_x - low_x) + more, 0.5 * (high_y - low_y) + more
        for axis in range(3):
            first, second = frame[f, 1, axis], frame[f, 2, axis]
            along, across = c * first + s * second, c * second - s * first
            sheets[sheet, CENTRE + axis] = frame[f, 0, axis] + x * along + y * across
            sheets[sheet, ALONG + axis] = half_x * along
            sheets[sheet, ACROSS + axis] = half_y * across
            sheets[sheet, NORMAL + axis] = normal[f, axis]
        sheets[sheet, OFFSET] = offset[f]
    return sheets


@kernel
def some_in_front(normal, offset, frame, border, border_start):  # type: ignore[no-untyped-def]
    """Return (f, f): whether any corner of facet i lies in front of facet j."""
    n = offset.shape[0]
    found = np.empty((n, n), np.bool_)
    for i in range(n):
        first, last = border_start[i], border_start[i + 1]
        corners = np.empty((last - first, 3))
        for k in range(last - first):
            for axis in range(3):
                along, across = border[first + k, 0] * frame[i, 1, axis], border[first + k, 1] * frame[i, 2, axis]
                corners[k, axis] = frame[i, 0, axis] + along + across
        for j in range(n):
            nx, ny, nz = normal[j, 0], normal[j, 1], normal[j, 2]
            found[i, j] = False
            for k in range(last - first):
                if nx * corners[k, 0] + ny * corners[k, 1] + nz * corners[k, 2] - offset[j] > IN_FRONT_M:
                    found[i, j] = True
                    break
    return found
