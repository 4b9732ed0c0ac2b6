"""A binary tree over pairs of triangles, and its folding to nodes of eight: arrays in, arrays out.

Three steps: triangles that share a side and make a parallelogram are paired; boxes of the pieces are split in two
again and again where that is cheapest; the binary tree is folded to eight children a node (`fold_kernels`).  Nothing
depends on chance, threads or addresses: equal triangles give equal trees.
"""

from __future__ import annotations

import numpy as np

from sim.rays.kinds_of_kernels import inlined, kernel

WIDTH = 8
BINS = 32
DEEP = 40
"""Below this depth pieces are halved by number whatever it costs, so that no tree is deeper than the walk's stack."""


@kernel
def pair_up(triangles, first, second, slack_m):  # type: ignore[no-untyped-def]
    """Return (partner (n,), apex (n,)) from sides that may be shared: -1 and -1 for a triangle left alone.

    first, second: (m,) pairs of 3 * triangle + corner opposite the side.  Two triangles make a parallelogram when
    the far corner of one is the near corner of the other mirrored in the middle of the side, to slack_m.  apex: the
    corner opposite the shared side, for both.
    """
    n = triangles.shape[0]
    partner, apex = np.empty(n, np.int64), np.empty(n, np.int64)
    for i in range(n):
        partner[i], apex[i] = -1, -1
    for i in range(first.shape[0]):
        s, t = first[i] // 3, second[i] // 3
        if partner[s] >= 0 or partner[t] >= 0 or s == t:
            continue
        j, k = first[i] % 3, second[i] % 3
        b, c = triangles[s, (j + 1) % 3], triangles[s, (j + 2) % 3]
        e, f = triangles[t, (k + 1) % 3], triangles[t, (k + 2) % 3]
        same, turned, away = 0.0, 0.0, 0.0
        for axis in range(3):
            same += abs(b[axis] - e[axis]) + abs(c[axis] - f[axis])
            turned += abs(b[axis] - f[axis]) + abs(c[axis] - e[axis])
            away = max(away, abs(b[axis] + c[axis] - triangles[s, j, axis] - triangles[t, k, axis]))
        if away <= slack_m and min(same, turned) == 0.0:
            partner[s], partner[t], apex[s], apex[t] = t, s, j, k
    return partner, apex


@inlined
def half_area(box):  # type: ignore[no-untyped-def]
    """Half the surface of a box (6,): low and high corner."""
    x, y, z = box[3] - box[0], box[4] - box[1], box[5] - box[2]
    return x * y + y * z + z * x


@inlined
def empty(box):  # type: ignore[no-untyped-def]
    """Make a box (6,) hold nothing."""
    for axis in range(3):
        box[axis], box[3 + axis] = np.inf, -np.inf


@inlined
def grow(box, other):  # type: ignore[no-untyped-def]
    """Widen a box (6,) so that it holds another."""
    for axis in range(3):
        box[axis] = min(box[axis], other[axis])
        box[3 + axis] = max(box[3 + axis], other[3 + axis])


@inlined
def blocks(count):  # type: ignore[no-untyped-def]
    """How many full leaves `count` pieces make: a leaf costs the same however empty it is."""
    return (count + WIDTH - 1) // WIDTH


@kernel
def cheapest_split(boxes, a, b):  # type: ignore[no-untyped-def]
    """Return (axis, bin, low, scale) of the split of boxes[a:b] that rays cross most cheaply, or axis -1.

    Cost of a side: its surface times its leaves (MacDonald & Booth, Visual Computer 6 (1990) 153-166); middles of
    boxes are sorted into bins (Wald, IEEE Symp. Interactive Ray Tracing (2007) 33-40).
    """
    best, best_axis, best_bin, best_low, best_scale = np.inf, -1, 0, 0.0, 0.0
    bin_box, bin_count = np.empty((3, BINS, 6)), np.zeros((3, BINS), np.int64)
    cost_low, joined = np.empty(BINS), np.empty(6)
    low, high, scale = np.full(3, np.inf), np.full(3, -np.inf), np.zeros(3)
    for i in range(a, b):
        for axis in range(3):
            middle = boxes[i, axis] + boxes[i, 3 + axis]
            low[axis], high[axis] = min(low[axis], middle), max(high[axis], middle)
    for axis in range(3):
        if high[axis] > low[axis]:
            scale[axis] = BINS * (1.0 - 1.0e-9) / (high[axis] - low[axis])
        for place in range(BINS):
            empty(bin_box[axis, place])
    for i in range(a, b):
        for axis in range(3):
            if scale[axis] > 0.0:
                place = int((boxes[i, axis] + boxes[i, 3 + axis] - low[axis]) * scale[axis])
                bin_count[axis, place] += 1
                grow(bin_box[axis, place], boxes[i])
    for axis in range(3):
        if scale[axis] == 0.0:
            continue
        empty(joined)
        count = 0
        for place in range(BINS - 1):
            if bin_count[axis, place] > 0:
                grow(joined, bin_box[axis, place])
                count += bin_count[axis, place]
            cost_low[place] = half_area(joined) * blocks(count) if 0 < count < b - a else np.inf
        empty(joined)
        count = 0
        for place in range(BINS - 2, -1, -1):
            if bin_count[axis, place + 1] > 0:
                grow(joined, bin_box[axis, place + 1])
                count += bin_count[axis, place + 1]
            if count > 0 and cost_low[place] < np.inf:
                cost = cost_low[place] + half_area(joined) * blocks(count)
                if cost < best:
                    best, best_axis, best_bin = cost, axis, place
                    best_low, best_scale = low[axis], scale[axis]
    return best_axis, best_bin, best_low, best_scale


@kernel
def split_in_two(given):  # type: ignore[no-untyped-def]
    """Return (order (n,), node_box (m, 6), left (m,), begin (m,), end (m,)): a binary tree over boxes (n, 6).

    left: first of two neighbouring children, or -1 for a single piece; begin, end: its part of `order`.  Boxes are
    moved along with their numbers, so that those of a node lie side by side.
    """
    n = given.shape[0]
    boxes, boxes_aside = given.copy(), np.empty((n, 6))
    order, aside = np.empty(n, np.int64), np.empty(n, np.int64)
    for i in range(n):
        order[i] = i
    most = max(1, 2 * n)
    node_box = np.empty((most, 6))
    left, begin, end = np.empty(most, np.int64), np.empty(most, np.int64), np.empty(most, np.int64)
    depth = np.empty(most, np.int64)
    for i in range(most):
        left[i], begin[i], end[i], depth[i] = -1, 0, 0, 0
    end[0], used, node = n, 1, 0
    while node < used:
        a, b = begin[node], end[node]
        empty(node_box[node])
        for i in range(a, b):
            grow(node_box[node], boxes[i])
        if b - a > 1:
            axis, place, low, scale = cheapest_split(boxes, a, b)
            half = (a + b) // 2
            if axis >= 0 and depth[node] < DEEP:
                half, later = a, 0
                for i in range(a, b):
                    if int((boxes[i, axis] + boxes[i, 3 + axis] - low) * scale) <= place:
                        order[half] = order[i]
                        for k in range(6):
                            boxes[half, k] = boxes[i, k]
                        half += 1
                    else:
                        aside[later] = order[i]
                        for k in range(6):
                            boxes_aside[later, k] = boxes[i, k]
                        later += 1
                for i in range(later):
                    order[half + i] = aside[i]
                    for k in range(6):
                        boxes[half + i, k] = boxes_aside[i, k]
            left[node] = used
            begin[used], end[used], begin[used + 1], end[used + 1] = a, half, half, b
            depth[used], depth[used + 1] = depth[node] + 1, depth[node] + 1
            used += 2
        node += 1
    return order, node_box[:used], left[:used], begin[:used], end[:used]


# Folding a binary tree to leaves that are all looked at, or to nodes of eight: arrays in, arrays out.

NODE_COST, LEAF_COST = 1.0, 1.5
"""Measured: work on a node and on a leaf."""
BOX_COSTS = 0.025, 0.05
"""Measured: work on one of many boxes looked at without a walk; and what it is taken for where that makes too many."""


@kernel
def cut_to_leaves(node_box, left, count, box_cost):  # type: ignore[no-untyped-def]
    """Return (m,) whether a binary node is a leaf of the cheapest set of leaves that are all looked at.

    box_cost: work on the box of each, looked at whether its leaf is met or not.
    """
    m = left.shape[0]
    cost, is_leaf, reached = np.empty(m), np.empty(m, np.bool_), np.empty(m, np.bool_)
    for node in range(m - 1, -1, -1):
        own = (
            half_area(node_box[node]) * LEAF_COST + half_area(node_box[0]) * box_cost
            if count[node] <= WIDTH
            else np.inf
        )
        parts = cost[left[node]] + cost[left[node] + 1] if left[node] >= 0 else np.inf
        cost[node], is_leaf[node], reached[node] = min(own, parts), own <= parts, False
    reached[0] = count[0] > 0
    for node in range(m):
        if reached[node] and not is_leaf[node]:
            reached[left[node]], reached[left[node] + 1] = True, True
    for node in range(m):
        reached[node] = reached[node] and is_leaf[node]
    return reached


@kernel
def cheapest_folds(node_box, left, count):  # type: ignore[no-untyped-def]
    """Return (is_leaf (m,), parted (m, 9), to_left (m, 9)): how best to fold a binary tree to eight children a node.

    A subtree may become one leaf, one node, or a row of up to eight of those; the cheapest of each is found from the
    leaves up (Ylitie, Karras & Laine, High-Performance Graphics (2017), section 3).  parted: whether a row of so many
    is shared between both children at all, to_left: how many the left one gets.
    """
    m = left.shape[0]
    cost = np.full((m, WIDTH + 1), np.inf)
    is_leaf, parted, to_left = (
        np.zeros(m, np.bool_),
        np.zeros((m, WIDTH + 1), np.bool_),
        np.zeros((m, WIDTH + 1), np.int8),
    )
    for node in range(m - 1, -1, -1):
        area = half_area(node_box[node])
        own = area * LEAF_COST if count[node] <= WIDTH else np.inf
        if left[node] < 0:
            is_leaf[node] = True
            for row in range(1, WIDTH + 1):
                cost[node, row] = own
            continue
        one, two = left[node], left[node] + 1
        for row in range(2, WIDTH + 1):
            for k in range(1, row):
                if cost[one, k] + cost[two, row - k] < cost[node, row]:
                    cost[node, row], to_left[node, row] = cost[one, k] + cost[two, row - k], k
        inner = area * NODE_COST + cost[node, WIDTH]
        is_leaf[node], cost[node, 1] = own <= inner, min(own, inner)
        for row in range(2, WIDTH + 1):
            parted[node, row] = cost[node, row] < cost[node, row - 1]
            cost[node, row] = min(cost[node, row], cost[node, row - 1])
    return is_leaf, parted, to_left


@kernel
def fold_to_eight(left, is_leaf, parted, to_left):  # type: ignore[no-untyped-def]
    """Return (children (k, 8), depth): wide nodes whose entries are binary nodes, -1 where there is none.

    Wide nodes are numbered in the order in which their entries appear, row by row, entries that are leaves left out.
    """
    most = left.shape[0] // 2 + 1
    children = np.full((most, WIDTH), -1, np.int64)
    root, level = np.zeros(most, np.int64), np.ones(most, np.int64)
    waiting, slots = np.zeros(2 * WIDTH, np.int64), np.zeros(2 * WIDTH, np.int64)
    used, wide = 1, 0
    while wide < used:
        first, count, height = left[root[wide]], 0, 2
        waiting[0], waiting[1] = first + 1, first
        slots[1] = to_left[root[wide], WIDTH]
        slots[0] = WIDTH - slots[1]
        while height > 0:
            height -= 1
            node, row = waiting[height], slots[height]
            while row > 1 and not parted[node, row]:
                row -= 1
            if row > 1:
                part = to_left[node, row]
                waiting[height], waiting[height + 1] = left[node] + 1, left[node]
                slots[height], slots[height + 1] = row - part, part
                height += 2
            else:
                children[wide, count] = node
                count += 1
                if not is_leaf[node]:
                    root[used], level[used] = node, level[wide] + 1
                    used += 1
        wide += 1
    return children[:used], level[:used].max()
