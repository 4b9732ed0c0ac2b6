"""One ray against eight boxes or eight surfaces at once: what the walk through the tree is made of.

Nodes and leaves are read by address; their rows are described in `wide_tree.WideTree`.
"""

from __future__ import annotations

import math

from sim.rays.kinds_of_kernels import inlined, whole
from sim.rays.lanes import (
    above,
    at_most,
    below,
    equal,
    greater,
    lane,
    lesser,
    load_double,
    load_doubles,
    load_half,
    load_singles,
    load_sixteen,
    multiply_add,
    size_of,
    spread_double,
    spread_single,
    spread_sixteen,
    with_sign_turned,
)

SINGLE, DOUBLE = 32, 64
"""Bytes of a row of eight."""
NOTHING = whole(-1)
"""In place of a plane or an owner: nothing is passed over."""
NODE_BYTES, LEAF_BYTES = 256, 1152
BROAD, BROAD_BYTES = 16, 512
"""Boxes of a node, and its bytes, in a room without levels, where nodes are twice as wide."""
CHILDREN = 6 * SINGLE
"""Where a node has its children."""
NUMBERS = 15 * DOUBLE
"""Where a leaf has the two triangle numbers of each surface."""
END_GAP_M = 1.0e-7
"""Hits nearer than this to either end of a segment are the surfaces the segment starts or ends on."""
UP = 1.0 + 2.0**-22
"""Factor that lifts a float64 above its neighbours in float32."""
STEEPEST = 1.0e18
"""Largest 1 / direction in float32; a component below 1e-18 moves nothing within any room."""


@inlined
def slope(d):  # type: ignore[no-untyped-def]
    """1 / d, of a size that float32 can hold."""
    return 1.0 / d if abs(d) > 1.0 / STEEPEST else math.copysign(STEEPEST, d)


@inlined
def is_outside(frame, ox, oy, oz):  # type: ignore[no-untyped-def]
    """Whether a point is outside the box about everything."""
    return abs(ox) > load_double(frame + 24) or abs(oy) > load_double(frame + 32) or abs(oz) > load_double(frame + 40)


@inlined
def distance_to_room(frame, ox, oy, oz, ix, iy, iz):  # type: ignore[no-untyped-def]
    """Return t at which a ray from outside enters the box about everything, infinity when it passes by."""
    hx, hy, hz = load_double(frame + 24), load_double(frame + 32), load_double(frame + 40)
    near = max(-abs(ix) * hx - ox * ix, -abs(iy) * hy - oy * iy, -abs(iz) * hz - oz * iz, 0.0)
    far = min(abs(ix) * hx - ox * ix, abs(iy) * hy - oy * iy, abs(iz) * hz - oz * iz)
    return near if near <= far and hx >= 0.0 else math.inf


@inlined
def toward_boxes(ox, oy, oz, ix, iy, iz):  # type: ignore[no-untyped-def]
    """What `meet_boxes` needs of a ray: rows of the faces it enters by, slopes, and where it starts."""
    rows = (
        0 if ix > 0.0 else 3 * SINGLE,
        SINGLE if iy > 0.0 else 4 * SINGLE,
        2 * SINGLE if iz > 0.0 else 5 * SINGLE,
    )
    slopes = spread_single(ix), spread_single(iy), spread_single(iz)
    return rows, slopes, (spread_single(-ox * ix), spread_single(-oy * iy), spread_single(-oz * iz))


@inlined
def inside(entered, left, ray, begin, end):  # type: ignore[no-untyped-def]
    """Return (boxes a ray is in between `begin` and `end` as bits, t of entry of each), as many as there are lanes."""
    _, (slope_x, slope_y, slope_z), (back_x, back_y, back_z) = ray
    near = greater(
        greater(multiply_add(entered[0], slope_x, back_x), multiply_add(entered[1], slope_y, back_y)),
        greater(multiply_add(entered[2], slope_z, back_z), begin),
    )
    far = lesser(
        lesser(multiply_add(left[0], slope_x, back_x), multiply_add(left[1], slope_y, back_y)),
        lesser(multiply_add(left[2], slope_z, back_z), end),
    )
    return at_most(near, far), near


@inlined
def meet_boxes(node, ray, end):  # type: ignore[no-untyped-def]
    """Return (children met before `end` as bits, t of entry of each) for a ray and the boxes of one node."""
    in_x, in_y, in_z = ray[0]
    entered = load_singles(node + in_x), load_singles(node + in_y), load_singles(node + in_z)
    # a ray leaves a box by the faces opposite to those it enters by
    left = (
        load_singles(node + 3 * SINGLE - in_x),
        load_singles(node + 5 * SINGLE - in_y),
        load_singles(node + 7 * SINGLE - in_z),
    )
    return inside(entered, left, ray, spread_single(0.0), end)


@inlined
def toward_sixteen(ox, oy, oz, ix, iy, iz):  # type: ignore[no-untyped-def]
    """`toward_boxes` for `meet_sixteen`."""
    rows = (
        0 if ix > 0.0 else 6 * SINGLE,
        2 * SINGLE if iy > 0.0 else 8 * SINGLE,
        4 * SINGLE if iz > 0.0 else 10 * SINGLE,
    )
    slopes = spread_sixteen(ix), spread_sixteen(iy), spread_sixteen(iz)
    return rows, slopes, (spread_sixteen(-ox * ix), spread_sixteen(-oy * iy), spread_sixteen(-oz * iz))


@inlined
def meet_sixteen(node, ray, end):  # type: ignore[no-untyped-def]
    """Return, as bits, which of the sixteen boxes of a node in a room without levels are met before `end`."""
    in_x, in_y, in_z = ray[0]
    entered = load_sixteen(node + in_x), load_sixteen(node + in_y), load_sixteen(node + in_z)
    left = (
        load_sixteen(node + 6 * SINGLE - in_x),
        load_sixteen(node + 10 * SINGLE - in_y),
        load_sixteen(node + 14 * SINGLE - in_z),
    )
    bits, _ = inside(entered, left, ray, spread_sixteen(0.0), end)
    return bits


@inlined
def toward_surfaces(ox, oy, oz, dx, dy, dz):  # type: ignore[no-untyped-def]
    """What `meet_surfaces` needs of a ray: origin, direction and a bound of its length, spread over lanes."""
    origin = spread_double(ox), spread_double(oy), spread_double(oz)
    length = spread_double(abs(dx) + abs(dy) + abs(dz))
    return origin, (spread_double(dx), spread_double(dy), spread_double(dz)), length


@inlined
def affine(row, x, y, z):  # type: ignore[no-untyped-def]
    """Lane by lane a x + b y + c z + d of the four rows that begin at an address."""
    inner = multiply_add(load_doubles(row + 2 * DOUBLE), z, load_doubles(row + 3 * DOUBLE))
    return multiply_add(load_doubles(row), x, multiply_add(load_doubles(row + DOUBLE), y, inner))


@inlined
def along(row, dx, dy, dz):  # type: ignore[no-untyped-def]
    """Lane by lane a dx + b dy + c dz of the three rows that begin at an address."""
    inner = load_doubles(row + 2 * DOUBLE) * dz
    return multiply_add(load_doubles(row), dx, multiply_add(load_doubles(row + DOUBLE), dy, inner))


@inlined
def meet_before(leaf, line, t_min, last):  # type: ignore[no-untyped-def]
    """Return (surfaces met as bits, t of each as a fraction, above 0 where the second triangle is met) of one leaf.

    last: t before which they have to be met, a fraction too.  A fraction is (above, below), and waits for no division.
    """
    (ox, oy, oz), (dx, dy, dz), length = line
    # everything is compared as a multiple of |speed|
    speed, height = along(leaf, dx, dy, dz), affine(leaf, ox, oy, oz)
    fast, far = size_of(speed), with_sign_turned(height, speed)
    u = multiply_add(along(leaf + 4 * DOUBLE, dx, dy, dz), far, affine(leaf + 4 * DOUBLE, ox, oy, oz) * fast)
    v = multiply_add(along(leaf + 8 * DOUBLE, dx, dy, dz), far, affine(leaf + 8 * DOUBLE, ox, oy, oz) * fast)
    slack = load_doubles(leaf + 14 * DOUBLE) * length
    bits = above(far, t_min * fast) & below(far * last[1], last[0] * fast)
    bits &= at_most(greater(size_of(u), size_of(v)), multiply_add(load_doubles(leaf + 12 * DOUBLE), fast, slack))
    bits &= at_most(u + v, multiply_add(load_doubles(leaf + 13 * DOUBLE), fast, slack + slack))
    return bits, (far, fast), u + v


@inlined
def meet_surfaces(leaf, line, t_min, t_max):  # type: ignore[no-untyped-def]
    """Return (surfaces met as bits, t of each, above 0 where the second triangle is met) for a ray and one leaf."""
    bits, (far, fast), half = meet_before(leaf, line, t_min, (t_max, spread_double(1.0)))
    return bits, far / fast, half


@inlined
def triangle_of(leaf, k, half):  # type: ignore[no-untyped-def]
    """Number of the triangle of surface k that was met."""
    at = leaf + NUMBERS + 8 * k
    return load_half(at + 4 if lane(half, k) > 0.0 else at)


@inlined
def child_of(node, k):  # type: ignore[no-untyped-def]
    """Code of child k: a node from 0 up, leaf -1 - code below 0."""
    return load_half(node + CHILDREN + 4 * k)


@inlined
def to_pass_over(plane_a, plane_b, owner):  # type: ignore[no-untyped-def]
    """What `those_that_count` needs: both planes and the owner in all lanes, and whether any is told."""
    lanes = spread_double(float(plane_a)), spread_double(float(plane_b)), spread_double(float(owner))
    return lanes, (plane_a & plane_b & owner) != NOTHING


@inlined
def those_that_count(bits, leaf, passed):  # type: ignore[no-untyped-def]
    """Of the surfaces of a leaf that were met, as bits, those that are not to be passed over."""
    (plane_a, plane_b, owner), any_given = passed
    if not any_given:
        return bits
    plane = load_doubles(leaf + 16 * DOUBLE)
    over = equal(plane, plane_a) | equal(plane, plane_b) | equal(load_doubles(leaf + 17 * DOUBLE), owner)
    return bits & ~over
