"""One ray through the tree of a large room, child by child: nearest boxes first, the others wait on a stack.

Points are relative to the middle of the tree's frame and lie inside it; `ray_kernels` sees to that, and looks at rooms
of few leaves without walking.
"""

from __future__ import annotations

import math

from sim.rays.eight_kernels import (
    CHILDREN,
    LEAF_BYTES,
    NODE_BYTES,
    SINGLE,
    UP,
    child_of,
    meet_boxes,
    meet_surfaces,
    slope,
    those_that_count,
    to_pass_over,
    toward_boxes,
    toward_surfaces,
    triangle_of,
)
from sim.rays.kinds_of_kernels import part
from sim.rays.lane_lists import count_of, list_halves, store_half
from sim.rays.lanes import lane, load_half, load_whole, low_half, lowest, scratch, spread_double, spread_single, store

STACK_BYTES = 4608
"""Seven waiting children a level and one more, eight bytes each, 80 levels (`wide_tree.DEEPEST`)."""
ROOT, LARGEST = 0, -1
"""Codes of the root and of the leaf of largest surfaces."""


@part
def nearest_by_walk(places, ox, oy, oz, dx, dy, dz, t_min, t_max, plane_a, plane_b, owner):  # type: ignore[no-untyped-def]
    """Return (t, triangle) of the first hit, or (inf, -1); arguments as for `ray_kernels.nearest_but`."""
    nodes, leaves = places[1], places[2]
    best, found = t_max, -1
    ray, line = toward_boxes(ox, oy, oz, slope(dx), slope(dy), slope(dz)), toward_surfaces(ox, oy, oz, dx, dy, dz)
    earliest, latest, end = spread_double(t_min), spread_double(best), spread_single(best * UP)
    passed = to_pass_over(plane_a, plane_b, owner)
    stack, near_at = scratch(STACK_BYTES), scratch(SINGLE)
    store(stack, ROOT)
    top, child = stack + 8, LARGEST
    while True:
        if child >= 0:
            node = nodes + child * NODE_BYTES
            bits, near = meet_boxes(node, ray, end)
            if bits != 0:
                k = lowest(bits)
                bits &= bits - 1
                child = child_of(node, k)
                if bits == 0:
                    continue
                # the nearest goes on, the others wait on the stack; a float from 0 up is ordered like its bits
                store(near_at, near)
                key = (load_half(near_at + 4 * k) << 32) | (child & 0xFFFFFFFF)
                while bits != 0:
                    k = lowest(bits)
                    bits &= bits - 1
                    other = (load_half(near_at + 4 * k) << 32) | (child_of(node, k) & 0xFFFFFFFF)
                    store(top, max(key, other))
                    key = min(key, other)
                    top += 8
                child = low_half(key)
                continue
        else:
            leaf = leaves + (-1 - child) * LEAF_BYTES
            bits, t, half = meet_surfaces(leaf, line, earliest, latest)
            bits = those_that_count(bits, leaf, passed)
            while bits != 0:
                k = lowest(bits)
                bits &= bits - 1
                here = lane(t, k)
                if here < best:
                    best, found = here, triangle_of(leaf, k, half)
                    latest, end = spread_double(best), spread_single(best * UP)
        if top == stack:
            break
        top -= 8
        child = low_half(load_whole(top))
    return (best, found) if found >= 0 else (math.inf, -1)


@part
def any_by_walk(places, ox, oy, oz, dx, dy, dz, t_min, t_max, plane_a, plane_b, owner):  # type: ignore[no-untyped-def]
    """Whether anything is met; arguments as for `ray_kernels.nearest_but`."""
    nodes, leaves = places[1], places[2]
    ray, line = toward_boxes(ox, oy, oz, slope(dx), slope(dy), slope(dz)), toward_surfaces(ox, oy, oz, dx, dy, dz)
    earliest, latest, end = spread_double(t_min), spread_double(t_max), spread_single(t_max * UP)
    passed = to_pass_over(plane_a, plane_b, owner)
    stack = scratch(STACK_BYTES)
    # inside a room the largest surfaces, its walls, seldom stand between two points: they come last
    store_half(stack, LARGEST)
    top, child = stack + 4, ROOT
    while True:
        while child >= 0:
            node = nodes + child * NODE_BYTES
            bits, _ = meet_boxes(node, ray, end)
            list_halves(top, node + CHILDREN, bits)
            top += 4 * count_of(bits) - 4
            child = load_half(top)
        leaf = leaves + (-1 - child) * LEAF_BYTES
        bits, _, _ = meet_surfaces(leaf, line, earliest, latest)
        if those_that_count(bits, leaf, passed) != 0:
            return True
        if child == LARGEST:
            return False
        top -= 4
        child = load_half(top)
