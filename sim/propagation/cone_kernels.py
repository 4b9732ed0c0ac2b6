"""Cones from a point through a sheet, and what lies outside them: one sheet, or eight at once.

All of this errs toward inside.  Sheets and blocks as `aperture_kernels.lay_sheets` gives them, planes (q, 4) as
n . p + d > 0 within.
"""

from __future__ import annotations

from ..geometry.kinds_of_kernels import inlined
from ..geometry.lanes import above, load_doubles, multiply_add, size_of, spread_double
from .aperture_kernels import ACROSS, ALONG, CENTRE, NORMAL, OFFSET

ROW = 64
"""Bytes of a row of eight."""
HEIGHT_SLACK_M = 1.0e-8
"""An image so little behind a facet may still be before it: rounding of a point on an edge, ten times over."""
PLANE_SLACK_M = 1.0e-6
GRAZING_SLACK_M = 1.0e-8
"""A point may lie a nanometre off its facet's plane, which at grazing angles moves its place in the window by far."""


@inlined
def weighed(row, x, y, z):  # type: ignore[no-untyped-def]
    """Lane by lane the scalar product of three rows of a block, from an address on, with a vector."""
    inner = multiply_add(load_doubles(row + ROW), y, load_doubles(row + 2 * ROW) * z)
    return multiply_add(load_doubles(row), x, inner)


@inlined
def dot_part(sheets, f, column, x, y, z):  # type: ignore[no-untyped-def]
    """Scalar product of three columns of sheet f with a vector."""
    return sheets[f, column] * x + sheets[f, column + 1] * y + sheets[f, column + 2] * z


@inlined
def times(ax, ay, az, bx, by, bz):  # type: ignore[no-untyped-def]
    """Vector product."""
    return ay * bz - az * by, az * bx - ax * bz, ax * by - ay * bx


@inlined
def cone_of(sheets, f, x, y, z, reach):  # type: ignore[no-untyped-def]
    """Cone from a point before a sheet: (flat, by_u, by_v, slack_u, slack_v).

    With u, v half the sides of the sheet and w the way to its middle, the faces of the cone have the inward normals
    v x u +- u x w and v x u +- v x w.  Their slacks are in the units of normal . p.
    """
    ux, uy, uz = sheets[f, ALONG], sheets[f, ALONG + 1], sheets[f, ALONG + 2]
    vx, vy, vz = sheets[f, ACROSS], sheets[f, ACROSS + 1], sheets[f, ACROSS + 2]
    wx, wy, wz = sheets[f, CENTRE] - x, sheets[f, CENTRE + 1] - y, sheets[f, CENTRE + 2] - z
    flat, by_u, by_v = times(vx, vy, vz, ux, uy, uz), times(ux, uy, uz, wx, wy, wz), times(vx, vy, vz, wx, wy, wz)
    area = abs(flat[0]) + abs(flat[1]) + abs(flat[2])
    slack_u = PLANE_SLACK_M * (area + abs(by_u[0]) + abs(by_u[1]) + abs(by_u[2]))
    slack_u += GRAZING_SLACK_M * reach * (abs(ux) + abs(uy) + abs(uz))
    slack_v = PLANE_SLACK_M * (area + abs(by_v[0]) + abs(by_v[1]) + abs(by_v[2]))
    slack_v += GRAZING_SLACK_M * reach * (abs(vx) + abs(vy) + abs(vz))
    return flat, by_u, by_v, slack_u, slack_v


@inlined
def sheets_ahead(block, bits, x, y, z, planes, start, stop):  # type: ignore[no-untyped-def]
    """Which of eight sheets are faced by the point (x, y, z) and not wholly outside one of planes[start:stop]."""
    height = weighed(block + NORMAL * ROW, spread_double(x), spread_double(y), spread_double(z))
    bits &= above(height - load_doubles(block + OFFSET * ROW), spread_double(-HEIGHT_SLACK_M))
    for j in range(start, stop):
        if bits == 0:
            break
        nx, ny, nz = spread_double(planes[j, 0]), spread_double(planes[j, 1]), spread_double(planes[j, 2])
        most = weighed(block + CENTRE * ROW, nx, ny, nz) + size_of(weighed(block + ALONG * ROW, nx, ny, nz))
        most = most + size_of(weighed(block + ACROSS * ROW, nx, ny, nz))
        bits &= above(most, spread_double(-planes[j, 3]))
    return bits


@inlined
def dot(a, b):  # type: ignore[no-untyped-def]
    """Scalar product, lane by lane."""
    return multiply_add(a[0], b[0], multiply_add(a[1], b[1], a[2] * b[2]))


@inlined
def row_of(block, column):  # type: ignore[no-untyped-def]
    """Three rows of a block."""
    at = block + column * ROW
    return load_doubles(at), load_doubles(at + ROW), load_doubles(at + 2 * ROW)


@inlined
def spread_part(sheets, f, column):  # type: ignore[no-untyped-def]
    """Three columns of sheet f, spread over lanes."""
    return spread_double(sheets[f, column]), spread_double(sheets[f, column + 1]), spread_double(sheets[f, column + 2])


@inlined
def sides_with(flat, by, slack, middle, along, across):  # type: ignore[no-untyped-def]
    """As bits, which of eight cones have the window not wholly outside the faces flat +- by."""
    f_middle, f_along, f_across = dot(flat, middle), dot(flat, along), dot(flat, across)
    b_middle, b_along, b_across = dot(by, middle), dot(by, along), dot(by, across)
    low = spread_double(0.0) - slack
    bits = above((f_middle + b_middle) + (size_of(f_along + b_along) + size_of(f_across + b_across)), low)
    return bits & above((f_middle - b_middle) + (size_of(f_along - b_along) + size_of(f_across - b_across)), low)


@inlined
def size_sum(a):  # type: ignore[no-untyped-def]
    """Sum of the absolute values of three coordinates, lane by lane."""
    return size_of(a[0]) + (size_of(a[1]) + size_of(a[2]))


@inlined
def seen_through(block, sheets, f, x, y, z, reach):  # type: ignore[no-untyped-def]
    """Which of eight sheets have cones from (x, y, z) that the window, sheet f, is not wholly outside of."""
    ix, iy, iz = spread_double(x), spread_double(y), spread_double(z)
    cx, cy, cz = row_of(block, CENTRE)
    u, v, w = row_of(block, ALONG), row_of(block, ACROSS), (cx - ix, cy - iy, cz - iz)
    flat, by_u, by_v = times(*v, *u), times(*u, *w), times(*v, *w)
    wx, wy, wz = spread_part(sheets, f, CENTRE)
    middle, along, across = (wx - ix, wy - iy, wz - iz), spread_part(sheets, f, ALONG), spread_part(sheets, f, ACROSS)
    share, far, area = spread_double(PLANE_SLACK_M), spread_double(GRAZING_SLACK_M * reach), size_sum(flat)
    slack = multiply_add(share, area + size_sum(by_u), far * size_sum(u))
    bits = sides_with(flat, by_u, slack, middle, along, across)
    slack = multiply_add(share, area + size_sum(by_v), far * size_sum(v))
    return bits & sides_with(flat, by_v, slack, middle, along, across)


@inlined
def put_mirrored(planes, count, sheets, f, nx, ny, nz, d):  # type: ignore[no-untyped-def]
    """Write the plane n . p + d > 0, mirrored in a sheet's plane."""
    into = 2.0 * dot_part(sheets, f, NORMAL, nx, ny, nz)
    planes[count, 0] = nx - into * sheets[f, NORMAL]
    planes[count, 1] = ny - into * sheets[f, NORMAL + 1]
    planes[count, 2] = nz - into * sheets[f, NORMAL + 2]
    planes[count, 3] = d + into * sheets[f, OFFSET]


@inlined
def put_planes(planes, filled, sheets, f, x, y, z, reach, first, last):  # type: ignore[no-untyped-def]
    """Write the planes of the beam that goes on from (x, y, z) by a sheet; return how many there are now.

    Those of the cone through the sheet come first, then those of planes[first:last] that cut the sheet: a plane that
    leaves the whole window free parts nothing behind it.
    """
    flat, by_u, by_v, slack_u, slack_v = cone_of(sheets, f, x, y, z, reach)
    for side in range(4):
        sign = 1.0 if side % 2 == 0 else -1.0
        way, slack = (by_u, slack_u) if side < 2 else (by_v, slack_v)
        nx, ny, nz = flat[0] + sign * way[0], flat[1] + sign * way[1], flat[2] + sign * way[2]
        put_mirrored(planes, filled, sheets, f, nx, ny, nz, slack - nx * x - ny * y - nz * z)
        filled += 1
    for j in range(first, last):
        nx, ny, nz, d = planes[j, 0], planes[j, 1], planes[j, 2], planes[j, 3]
        least = dot_part(sheets, f, CENTRE, nx, ny, nz) + d - abs(dot_part(sheets, f, ALONG, nx, ny, nz))
        if least < abs(dot_part(sheets, f, ACROSS, nx, ny, nz)):
            put_mirrored(planes, filled, sheets, f, nx, ny, nz, d)
            filled += 1
    return filled
