"""What a loudspeaker sends into a direction: eight octaves read from its table."""

from __future__ import annotations

import math

from ..geometry.kinds_of_kernels import inlined
from ..geometry.lanes import load_doubles, spread_double

OCTAVES = 8


@inlined
def table_place(x, y, z, polar, around):  # type: ignore[no-untyped-def]
    """Row, next row, share of the next; column, next column, share of the next: where a direction is in a table."""
    row = math.acos(min(1.0, max(-1.0, x))) / math.pi * (polar - 1)
    i = min(int(row), polar - 2)
    turn = math.atan2(z, y) / (2.0 * math.pi)
    column = (turn - math.floor(turn)) * around
    j = int(column)
    return i, row - i, j % around, (j + 1) % around, column - j


@inlined
def send(dx, dy, dz, source):  # type: ignore[no-untyped-def]
    """Return, octave by octave in lanes, 4 pi times what a source sends into a direction.

    source: see `tracer_kernels`.  With the factor the mean over all directions is the whole power.
    """
    _, rotation, table, _, own_plane, out = source
    # what is built into a wall sends nothing behind it, where the table only fades out
    if own_plane >= 0 and dx * out[0] + dy * out[1] + dz * out[2] <= 0.0:
        return spread_double(0.0)
    forward = dx * rotation[0, 0] + dy * rotation[1, 0] + dz * rotation[2, 0]
    right = dx * rotation[0, 1] + dy * rotation[1, 1] + dz * rotation[2, 1]
    up = dx * rotation[0, 2] + dy * rotation[1, 2] + dz * rotation[2, 2]
    around = table.shape[1]
    i, p, j, k, q = table_place(forward, right, up, table.shape[0], around)
    row, below, table_at = around * i, around * (i + 1), table.ctypes.data
    p, q, one = spread_double(p), spread_double(q), spread_double(1.0)
    here = (one - q) * load_doubles(table_at + 64 * (row + j)) + q * load_doubles(table_at + 64 * (row + k))
    next_row = (one - q) * load_doubles(table_at + 64 * (below + j)) + q * load_doubles(table_at + 64 * (below + k))
    return spread_double(4.0 * math.pi) * ((one - p) * here + p * next_row)
