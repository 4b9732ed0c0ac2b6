"""Bundles of octaves on their way, many side by side in one block of memory.

The block, `slots`, holds a row of numbers for each of the properties below, then for each bundle four vectors of eight
octaves, then two lists.  Functions take the block's address and the number of bundles: all that are on their way stand
at its beginning without gaps.
"""

from __future__ import annotations

from ..geometry.kinds_of_kernels import inlined, part
from ..geometry.lanes import (
    add_at,
    greater,
    load_double,
    load_doubles,
    load_whole,
    size_of,
    spread_double,
    store,
)
from .skin_kernels import faded

SENT_AT_ONCE, MOST = 128, 1024
"""New rays are sent while fewer bundles are on their way; each may part in eight, one for each octave."""
ROWS, STRIDE = 18, MOST + 24
"""A row is longer than it need be, so that the beginnings of rows do not fall on the same lines of the cache."""
X, Y, Z, DX, DY, DZ, WAY, LEG, NX, NY, NZ, COSINE, HEARD, PLANE, FACET, MIRRORS, TURN, RAY = (
    8 * STRIDE * n for n in range(ROWS)
)
"""Place and direction; metres so far, and to the next surface; normal and cosine of incidence there; 1 where the sphere
about an ear counts the bundle.  Whole numbers: plane and facet last met, mirrors and surfaces so far,
number of the ray."""
LOST = -1
"""In place of a facet: there was none, or only its back."""
CARRIED, FLOOR, GONE, BEGAN = (8 * STRIDE * ROWS + 64 * n for n in range(4))
"""Energies now, and where to give up; all that was taken so far, and what the bundle began with."""
BUNDLE = 256
"""Bytes from one bundle's energies to the next one's."""
ENDED = CARRIED + MOST * BUNDLE
SCATTERED = ENDED + 8 * MOST
"""Lists of bundles."""
BLOCK = SCATTERED // 8 + MOST
"""Numbers of eight bytes in `slots`."""
ABSORBED, AIR, LEFT, LATE, ESCAPED, SENT = (64 * n for n in range(6))
"""Rows of the account: taken by surfaces and by air, given up as too weak or too late, lost through a hole, sent."""


@inlined
def hear(slots, i, ear, onward, share, hall):  # type: ignore[no-untyped-def]
    """Add a share of what bundle i carries to an ear's energy, `onward` metres further on.

    hall: (address of energies, bins of an ear, speed, bin in s, rates of air in lanes, steepest of them).
    """
    energy_at, bins, speed, bin_s, rates, steepest = hall
    place = int((load_double(slots + WAY + 8 * i) + onward) / speed / bin_s)
    if place < bins:
        carried = load_doubles(slots + CARRIED + BUNDLE * i)
        add_at(energy_at + 64 * (ear * bins + place), carried * spread_double(share) * faded(rates, steepest, onward))


@inlined
def begin(octaves, carried, floor):  # type: ignore[no-untyped-def]
    """Fill the four vectors of a new bundle."""
    store(octaves + CARRIED, carried)
    store(octaves + FLOOR, floor)
    store(octaves + GONE, spread_double(0.0))
    store(octaves + BEGAN, carried)


@part
def copy(slots, i, k):  # type: ignore[no-untyped-def]
    """Make bundle k the same as bundle i."""
    for row in range(ROWS):
        at = slots + 8 * STRIDE * row
        store(at + 8 * k, load_whole(at + 8 * i))
    for octaves in range(slots + CARRIED, slots + CARRIED + BUNDLE, 64):
        store(octaves + BUNDLE * k, load_doubles(octaves + BUNDLE * i))


@part
def take_out(slots, n, ended, worst):  # type: ignore[no-untyped-def]
    """Close the gaps that bundles on the list leave: the last one moves up.

    Returns (bundles, in lanes the largest share by which what became of a bundle differs from what it began with).
    """
    for k in range(ended - 1, -1, -1):
        i = load_whole(slots + ENDED + 8 * k)
        began = load_doubles(slots + BEGAN + BUNDLE * i)
        off = size_of(load_doubles(slots + GONE + BUNDLE * i) - began) / (began + spread_double(1.0e-300))
        worst = greater(off, worst)
        n -= 1
        if i != n:
            copy(slots, n, i)
        store(slots + HEARD + 8 * n, 0.0)
    return n, worst
