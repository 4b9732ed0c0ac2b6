"""Random numbers that depend on nothing but their place: Philox4x32-10 and the directions made from it.

Salmon, Moraes, Dror & Shaw, Parallel random numbers: as easy as 1, 2, 3 (SC11, 2011).  A counter of four words is
turned by a key of two words into four new words; there is no state, so every ray has its own numbers whatever thread
traces it and in whatever order.
"""

from __future__ import annotations

import math

import numpy as np

from sim.rays.kinds_of_kernels import inlined

FIRST_FACTOR = np.uint64(0xD2511F53)
SECOND_FACTOR = np.uint64(0xCD9E8D57)
FIRST_STEP = np.uint64(0x9E3779B9)
SECOND_STEP = np.uint64(0xBB67AE85)
WORD = np.uint64(0xFFFFFFFF)
HALF = np.uint64(32)
ROUNDS = 10
UNIT = 2.0**-32


@inlined
def philox(c0, c1, c2, c3, k0, k1):  # type: ignore[no-untyped-def]
    """Four words of 32 bits from a counter of four and a key of two, all as unsigned 64-bit numbers."""
    for _ in range(ROUNDS):
        first, second = FIRST_FACTOR * c0, SECOND_FACTOR * c2
        c0, c1, c2, c3 = (second >> HALF) ^ c1 ^ k0, second & WORD, (first >> HALF) ^ c3 ^ k1, first & WORD
        k0, k1 = (k0 + FIRST_STEP) & WORD, (k1 + SECOND_STEP) & WORD
    return c0, c1, c2, c3


@inlined
def key_of(seed, stream):  # type: ignore[no-untyped-def]
    """Key of a seed (np.uint64) and the number of a stream, as `words_of` takes it."""
    return np.uint64(stream), np.uint64(seed & 0xFFFFFFFF), np.uint64((seed >> 32) & 0xFFFFFFFF)


@inlined
def words_of(ray, turn, key):  # type: ignore[no-untyped-def]
    """Four words of 32 bits that belong to a ray after so many surfaces, and to nothing else."""
    number, (stream, low, high) = np.uint64(ray), key
    return philox(number & WORD, number >> HALF, np.uint64(turn), stream, low, high)


@inlined
def fraction_of(word):  # type: ignore[no-untyped-def]
    """A number between 0 and 1, neither of them, from a word: the middle of one of 2^32 equal steps."""
    return (np.float64(word) + 0.5) * UNIT


@inlined
def anywhere(u, v):  # type: ignore[no-untyped-def]
    """A direction, all equally likely, from two shares."""
    z = 1.0 - 2.0 * u
    across = math.sqrt(max(0.0, 1.0 - z * z))
    turn = 2.0 * math.pi * v
    return across * math.cos(turn), across * math.sin(turn), z


@inlined
def scattered(nx, ny, nz, u, v):  # type: ignore[no-untyped-def]
    """A direction by Lambert's law about the unit normal n: density cos(t)/pi (Kuttruff, Room Acoustics)."""
    cosine, across = math.sqrt(1.0 - u), math.sqrt(u)
    turn = 2.0 * math.pi * v
    a, b = across * math.cos(turn), across * math.sin(turn)
    # two directions square to n: Duff et al., Building an orthonormal basis, revisited (JCGT 6, 2017)
    sign = math.copysign(1.0, nz)
    c = -1.0 / (sign + nz)
    d = nx * ny * c
    x = a * (1.0 + sign * nx * nx * c) + b * d + cosine * nx
    y = a * sign * d + b * (sign + ny * ny * c) + cosine * ny
    z = -a * sign * nx - b * ny + cosine * nz
    return x, y, z
