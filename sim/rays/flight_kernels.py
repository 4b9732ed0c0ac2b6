"""Many queries in flight through the tree of a large room: each takes one step in turn, whatever the step finds.

Each of `IN_FLIGHT` slots holds one query on its way and the list of children that wait for it.  All slots whose next
is a node take it, then all whose next is a leaf; whatever comes next is asked of memory at once, and is there when
its turn comes.  No decision hangs on what was just loaded: lists are written whole and only their ends move.  Which
boxes and surfaces a query looks at, and in what order, does not depend on the others.
"""

from __future__ import annotations

from sim.rays.eight_kernels import (
    CHILDREN,
    LEAF_BYTES,
    NODE_BYTES,
    UP,
    child_of,
    meet_boxes,
    meet_surfaces,
    slope,
    those_that_count,
    triangle_of,
)
from sim.rays.kinds_of_kernels import inlined, part
from sim.rays.lane_lists import (
    count_of,
    fetch_ahead,
    list_halves,
    spread_single_at,
    store_half,
    store_single,
)
from sim.rays.lanes import (
    equal,
    load_double,
    load_half,
    load_whole,
    lowest,
    smallest,
    spread_double,
    spread_single,
    store,
    where,
)
from sim.rays.walk_kernels import LARGEST, ROOT

X, Y, Z, DX, DY, DZ, LENGTH, FROM, UNTIL, PLANE_A, PLANE_B, OWNER, FOUND, SKIPPED, NOTE = (8 * n for n in range(15))
"""A query: start from the middle of the frame and direction; |dx| + |dy| + |dz|; t between which it meets; what it
passes over, as float64; what it met, a whole number; t of the way to the room, which was taken off;
what the asker notes."""
QUERY_BYTES, QUERIES = 128, 256
"""Bytes of a query, and how many make a block."""
BLOCK_BYTES = QUERIES * QUERY_BYTES

IN_FLIGHT = 32
QUERY, TOP, ROW_X, ROW_Y, ROW_Z = (8 * n for n in range(5))
"""A slot: address of its query, end of its list, rows of the faces by which the ray enters boxes."""
SLOPE_X, SLOPE_Y, SLOPE_Z, BACK_X, BACK_Y, BACK_Z, END = (40 + 4 * n for n in range(7))
"""In float32: what else `meet_boxes` needs."""
WAITING = 128
SLOT_BYTES = WAITING + 2368
"""Seven waiting children a level and three more, four bytes each, 80 levels (`wide_tree.DEEPEST`), eight more to write
over, and an odd number of the cache's lines, so that slots do not fall on the same ones."""
FLIGHT_BYTES = (IN_FLIGHT + 1) * (SLOT_BYTES + 5 * 16)
NO_MORE = -(2**31)
"""Below the list of what waits."""
FAR = 3.0e38
FETCHED_NODE, FETCHED_LEAF = 256, 960
"""Bytes of a node and of a leaf that are asked for ahead."""


@inlined
def line_of(query):  # type: ignore[no-untyped-def]
    """What `meet_surfaces` needs of a query: its line, and t between which it meets, in all lanes."""
    origin = spread_double(load_double(query + X)), spread_double(load_double(query + Y)), load_double(query + Z)
    along = spread_double(load_double(query + DX)), spread_double(load_double(query + DY)), load_double(query + DZ)
    line = (
        (origin[0], origin[1], spread_double(origin[2])),
        (along[0], along[1], spread_double(along[2])),
        spread_double(load_double(query + LENGTH)),
    )
    return line, spread_double(load_double(query + FROM)), spread_double(load_double(query + UNTIL))


@inlined
def passed_by(query):  # type: ignore[no-untyped-def]
    """What `those_that_count` needs of a query."""
    lanes = (
        spread_double(load_double(query + PLANE_A)),
        spread_double(load_double(query + PLANE_B)),
        spread_double(load_double(query + OWNER)),
    )
    return lanes, True


@inlined
def take_off(slot, query, waiting):  # type: ignore[no-untyped-def]
    """Put a query into a slot, with one child that waits."""
    ix, iy, iz = slope(load_double(query + DX)), slope(load_double(query + DY)), slope(load_double(query + DZ))
    store(slot + QUERY, query)
    store(slot + ROW_X, 0 if ix > 0.0 else 96)
    store(slot + ROW_Y, 32 if iy > 0.0 else 128)
    store(slot + ROW_Z, 64 if iz > 0.0 else 160)
    store_single(slot + SLOPE_X, ix)
    store_single(slot + SLOPE_Y, iy)
    store_single(slot + SLOPE_Z, iz)
    store_single(slot + BACK_X, -load_double(query + X) * ix)
    store_single(slot + BACK_Y, -load_double(query + Y) * iy)
    store_single(slot + BACK_Z, -load_double(query + Z) * iz)
    store_single(slot + END, load_double(query + UNTIL) * UP)
    store_half(slot + WAITING, NO_MORE)
    store_half(slot + WAITING + 4, waiting)
    store(slot + TOP, slot + WAITING + 8)


@inlined
def board(free, free_end, query, last, entries_end, code, waiting):  # type: ignore[no-untyped-def]
    """Put queries into the slots that are free, and these at the end of a list, with their first child and one waiting.

    Returns where the free slots, the queries and the list go on.
    """
    while free_end > free and query < last:
        free_end -= 8
        slot = load_whole(free_end)
        take_off(slot, query, waiting)
        store(query + FOUND, -1)
        store(entries_end, slot)
        store(entries_end + 8, code)
        entries_end += 16
        query += QUERY_BYTES
    return free_end, query, entries_end


@inlined
def ray_of(slot):  # type: ignore[no-untyped-def]
    """What `meet_boxes` needs of a slot's ray, and its end."""
    rows = load_whole(slot + ROW_X), load_whole(slot + ROW_Y), load_whole(slot + ROW_Z)
    slopes = spread_single_at(slot + SLOPE_X), spread_single_at(slot + SLOPE_Y), spread_single_at(slot + SLOPE_Z)
    backs = spread_single_at(slot + BACK_X), spread_single_at(slot + BACK_Y), spread_single_at(slot + BACK_Z)
    return (rows, slopes, backs), spread_single_at(slot + END)


@inlined
def line_up(slot, code, places, ends):  # type: ignore[no-untyped-def]
    """Put a slot where its next child belongs: to those who look at nodes next, at leaves, or to the free ones.

    ends: of the three lists.  Returns where they end now: it is written to all of them, but only one grows.
    """
    nodes, leaves, free = ends
    is_node, is_over = int(code >= 0), int(code == NO_MORE)
    fetch_ahead_of(places, code)
    store(nodes, slot)
    store(nodes + 8, code)
    store(leaves, slot)
    store(leaves + 8, code)
    store(free, slot)
    return nodes + 16 * is_node, leaves + 16 * (1 - is_node - is_over), free + 8 * is_over


@inlined
def fetch_ahead_of(places, code):  # type: ignore[no-untyped-def]
    """Ask for the node or the leaf of a code."""
    below = code >> 63
    at = (places[1] + NODE_BYTES * code) & ~below | (places[2] - LEAF_BYTES * (1 + code)) & below
    for line in range(0, FETCHED_NODE, 64):
        fetch_ahead(at + line)


@inlined
def fetch_leaf(leaf):  # type: ignore[no-untyped-def]
    """Ask for the rest of a leaf that is looked at soon."""
    for line in range(FETCHED_NODE, FETCHED_LEAF, 64):
        fetch_ahead(leaf + line)


@inlined
def lists_at(queries_end):  # type: ignore[no-untyped-def]
    """Slots, free ones, and twice a list of nodes and one of leaves: addresses from where the block's queries end."""
    free = queries_end + IN_FLIGHT * SLOT_BYTES
    first = free + 16 * IN_FLIGHT
    for k in range(IN_FLIGHT):
        store(free + 8 * k, queries_end + SLOT_BYTES * k)
    return free, first, first + 16 * IN_FLIGHT, first + 32 * IN_FLIGHT, first + 48 * IN_FLIGHT


@part
def any_in_flight(places, queries, count, is_passing):  # type: ignore[no-untyped-def]
    """`query_kernels.any_of_queries` in a room of many leaves.

    The largest surfaces come last: inside a room they are its walls, which seldom stand between two points.
    """
    free, nodes, leaves, more_nodes, more_leaves = lists_at(queries + BLOCK_BYTES)
    free_end, nodes_end, leaves_end = free + 8 * IN_FLIGHT, nodes, leaves
    query, last = queries, queries + QUERY_BYTES * count
    while True:
        free_end, query, nodes_end = board(free, free_end, query, last, nodes_end, ROOT, LARGEST)
        if nodes_end == nodes and leaves_end == leaves:
            return
        ends = more_nodes, more_leaves, free_end
        for entry in range(nodes, nodes_end, 16):
            slot, node = load_whole(entry), places[1] + NODE_BYTES * load_whole(entry + 8)
            ray, end = ray_of(slot)
            bits, _ = meet_boxes(node, ray, end)
            top = load_whole(slot + TOP)
            list_halves(top, node + CHILDREN, bits)
            top += 4 * count_of(bits) - 4
            store(slot + TOP, top)
            ends = line_up(slot, load_half(top), places, ends)
        for entry in range(leaves, leaves_end, 16):
            fetch_leaf(places[2] - LEAF_BYTES * (1 + load_whole(entry + 8)))
        for entry in range(leaves, leaves_end, 16):
            slot, leaf = load_whole(entry), places[2] - LEAF_BYTES * (1 + load_whole(entry + 8))
            at = load_whole(slot + QUERY)
            line, earliest, latest = line_of(at)
            bits, _, _ = meet_surfaces(leaf, line, earliest, latest)
            if is_passing:
                bits = those_that_count(bits, leaf, passed_by(at))
            store(at + FOUND, int(bits != 0))
            top = load_whole(slot + TOP) - 4
            store(slot + TOP, top)
            ends = line_up(slot, load_half(top) if bits == 0 else NO_MORE, places, ends)
        nodes, more_nodes, leaves, more_leaves = more_nodes, nodes, more_leaves, leaves
        nodes_end, leaves_end, free_end = ends


@part
def nearest_in_flight(places, queries, count, is_passing):  # type: ignore[no-untyped-def]
    """Find for each of `count` queries what it meets first, in a room of many leaves; see `any_of_queries`.

    The largest surfaces come first, then at each node the nearest child; the others wait in the order they have there.
    """
    free, nodes, leaves, more_nodes, more_leaves = lists_at(queries + BLOCK_BYTES)
    free_end, nodes_end, leaves_end = free + 8 * IN_FLIGHT, nodes, leaves
    query, last, far = queries, queries + QUERY_BYTES * count, spread_single(FAR)
    while True:
        free_end, query, leaves_end = board(free, free_end, query, last, leaves_end, LARGEST, ROOT)
        if nodes_end == nodes and leaves_end == leaves:
            return
        ends = more_nodes, more_leaves, free_end
        for entry in range(nodes, nodes_end, 16):
            slot, node = load_whole(entry), places[1] + NODE_BYTES * load_whole(entry + 8)
            ray, end = ray_of(slot)
            bits, near = meet_boxes(node, ray, end)
            near = where(bits, near, far)
            k = lowest(equal(near, spread_single(float(smallest(near)))))
            top = load_whole(slot + TOP)
            waiting = load_half(top - 4)
            list_halves(top, node + CHILDREN, bits & ~(1 << k))
            store(slot + TOP, top + 4 * count_of(bits) - 4)
            ends = line_up(slot, child_of(node, k) if bits != 0 else waiting, places, ends)
        for entry in range(leaves, leaves_end, 16):
            fetch_leaf(places[2] - LEAF_BYTES * (1 + load_whole(entry + 8)))
        for entry in range(leaves, leaves_end, 16):
            slot, leaf = load_whole(entry), places[2] - LEAF_BYTES * (1 + load_whole(entry + 8))
            at = load_whole(slot + QUERY)
            line, earliest, latest = line_of(at)
            bits, t, half = meet_surfaces(leaf, line, earliest, latest)
            if is_passing:
                bits = those_that_count(bits, leaf, passed_by(at))
            t = where(bits, t, latest)
            least = smallest(t)
            triangle = triangle_of(leaf, lowest(equal(t, spread_double(least))), half)
            store(at + FOUND, triangle if bits != 0 else load_whole(at + FOUND))
            store(at + UNTIL, least)
            store_single(slot + END, least * UP)
            top = load_whole(slot + TOP) - 4
            store(slot + TOP, top)
            ends = line_up(slot, load_half(top), places, ends)
        nodes, more_nodes, leaves, more_leaves = more_nodes, nodes, more_leaves, leaves
        nodes_end, leaves_end, free_end = ends
