"""Folding a binary tree to leaves that are all looked at, or to nodes of eight: arrays in, arrays out."""

from __future__ import annotations

import numpy as np

from .kinds_of_kernels import kernel
from .tree_kernels import WIDTH, half_area

NODE_COST, LEAF_COST, BOX_COST = 1.0, 1.5, 0.05
"""Measured: work on a node, on a leaf, and on one of many boxes looked at without a walk."""


@kernel
def cut_to_leaves(node_box, left, count):  # type: ignore[no-untyped-def]
    """Return (m,) whether a binary node is a leaf of the cheapest set of leaves that are all looked at."""
    m = left.shape[0]
    cost, is_leaf, reached = np.empty(m), np.empty(m, np.bool_), np.empty(m, np.bool_)
    for node in range(m - 1, -1, -1):
        own = (
            half_area(node_box[node]) * LEAF_COST + half_area(node_box[0]) * BOX_COST
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
