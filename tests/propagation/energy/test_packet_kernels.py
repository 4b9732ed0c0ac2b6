"""The block of packets: rows apart, gaps closed, accounts looked at when a packet ends."""

from __future__ import annotations

from typing import Any

import numba as nb
import numpy as np
import pytest

from sim.propagation.energy import step_kernels as packets
from sim.propagation.energy.step_kernels import (
    BEGAN,
    BLOCK,
    CARRIED,
    ENDED,
    FLOOR,
    GONE,
    HEARD,
    MOST,
    PACKET,
    RAY,
    STRIDE,
)
from sim.rays.lanes import load_doubles, store

COUNT = 100


@nb.njit
def close_gaps(slots: Any, n: Any, ended: Any, worst: Any) -> Any:
    left, most = packets.take_out(slots.ctypes.data, n, ended, load_doubles(worst.ctypes.data))
    store(worst.ctypes.data, most)
    return left


def octaves(slots: np.ndarray, vector: int, count: int) -> np.ndarray:
    """One of the four vectors of the first packets, as a view."""
    inside = slots[CARRIED // 8 : ENDED // 8].view(np.float64).reshape(MOST, PACKET // 8)
    return inside[:count, (vector - CARRIED) // 8 : (vector - CARRIED) // 8 + 8]


def filled() -> np.ndarray:
    slots, draw = np.zeros(BLOCK, np.int64), np.random.default_rng(8)
    for row in range(packets.ROWS):
        slots[STRIDE * row : STRIDE * row + COUNT] = draw.integers(1, 2**62, COUNT)
    slots[RAY // 8 : RAY // 8 + COUNT] = np.arange(COUNT)
    for vector in (CARRIED, FLOOR, GONE, BEGAN):
        octaves(slots, vector, COUNT)[:] = draw.uniform(1.0, 2.0, (COUNT, 8))
    return slots


def packet(slots: np.ndarray, i: int) -> tuple[int, ...]:
    """All of one packet as whole numbers."""
    rows = slots[: STRIDE * packets.ROWS].reshape(packets.ROWS, STRIDE)[:, i]
    return (*rows.tolist(), *slots[CARRIED // 8 + PACKET // 8 * i : CARRIED // 8 + PACKET // 8 * (i + 1)].tolist())


def test_nothing_lies_upon_anything_else() -> None:
    rows = sorted(
        [
            packets.X,
            packets.Y,
            packets.Z,
            packets.DX,
            packets.DY,
            packets.DZ,
            packets.WAY,
            packets.LEG,
            packets.NX,
            packets.NY,
            packets.NZ,
            packets.COSINE,
            HEARD,
            packets.PLANE,
            packets.FACET,
            packets.MIRRORS,
            packets.TURN,
            RAY,
        ]
    )
    assert rows == [8 * STRIDE * n for n in range(packets.ROWS)]
    assert STRIDE >= MOST
    assert rows[-1] + 8 * STRIDE <= CARRIED
    assert sorted([FLOOR - CARRIED, GONE - CARRIED, BEGAN - CARRIED]) == [64, 128, PACKET - 64]
    assert CARRIED + MOST * PACKET <= ENDED <= packets.SCATTERED - 8 * MOST <= 8 * BLOCK - 16 * MOST
    assert MOST >= 8 * packets.SENT_AT_ONCE
    assert MOST % 8 == 0


@pytest.mark.parametrize("ended", [[], [0], [99], [3, 50, 98, 99], list(range(100)), list(range(0, 100, 3))])
def test_gaps_are_closed_and_the_others_keep_all_they_have(ended: list[int]) -> None:
    slots = filled()
    before = {i: packet(slots, i) for i in range(COUNT) if i not in ended}
    slots[ENDED // 8 : ENDED // 8 + len(ended)] = ended
    left = close_gaps(slots, COUNT, len(ended), np.zeros(8))
    assert left == COUNT - len(ended)
    assert sorted(packet(slots, k) for k in range(left)) == sorted(before.values())
    heard = slots[HEARD // 8 : HEARD // 8 + COUNT].view(np.float64)
    assert not heard[left:].any()


def test_an_account_that_does_not_balance_is_seen() -> None:
    slots, worst = filled(), np.zeros(8)
    octaves(slots, GONE, COUNT)[:] = octaves(slots, BEGAN, COUNT)
    octaves(slots, GONE, COUNT)[40, 5] *= 1.0 + 1e-9
    octaves(slots, BEGAN, COUNT)[41, 2] = octaves(slots, GONE, COUNT)[41, 2] = 0.0
    slots[ENDED // 8 : ENDED // 8 + COUNT] = np.arange(COUNT)
    assert close_gaps(slots, COUNT, COUNT, worst) == 0
    assert worst == pytest.approx([0, 0, 0, 0, 0, 1e-9, 0, 0], abs=1e-15)
