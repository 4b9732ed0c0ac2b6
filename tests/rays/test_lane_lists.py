"""Lists written by bits against the same done one by one; both ways in which the compiler may write them."""

from __future__ import annotations

import numba as nb
import numpy as np
import pytest

from sim.rays import lane_lists
from sim.rays.lanes import store


@pytest.mark.parametrize("in_registers", [True, False])
def test_lists_hold_what_bits_choose_and_nothing_else(monkeypatch: pytest.MonkeyPatch, in_registers: bool) -> None:
    if in_registers and not lane_lists.IN_REGISTERS:
        pytest.skip("this compiler writes chosen lanes one by one")
    monkeypatch.setattr(lane_lists, "IN_REGISTERS", in_registers)

    @nb.njit
    def listed(numbers, halves, places, bits):  # type: ignore[no-untyped-def]
        count, more = 0, 0
        for chosen in bits:
            lane_lists.list_halves(halves.ctypes.data + 4 * count, numbers.ctypes.data, chosen)
            count += lane_lists.count_of(chosen)
            both = chosen * 256 + (chosen ^ 37)
            lane_lists.list_places(places.ctypes.data + 4 * more, chosen * 16 - 70, both)
            more += lane_lists.count_of(both)
        return count, more

    numbers = np.array([7, -1, 2**31 - 1, -(2**31), 0, 5, -6, 12], np.int32)
    bits = np.concatenate([np.arange(256), np.arange(255, -1, -1)])
    halves, places = np.zeros((2, 4 * 1024 + 16), np.int32)
    count, more = listed(numbers, halves, places, bits)
    chosen = [(one, k) for one in bits.tolist() for k in range(8) if one >> k & 1]
    assert count == len(chosen) == 2048
    assert halves[:count].tolist() == [int(numbers[k]) for _, k in chosen]
    broad = [(one, k) for one in bits.tolist() for k in range(16) if (256 * one + (one ^ 37)) >> k & 1]
    assert more == len(broad) == 4096
    assert places[:more].tolist() == [16 * one - 70 + k for one, k in broad]


@nb.njit
def written(whole, number, out):  # type: ignore[no-untyped-def]
    at = out.ctypes.data
    lane_lists.fetch_ahead(at)
    lane_lists.fetch_ahead(0)  # asks for nothing that is there, and does no harm
    lane_lists.store_half(at, whole)
    lane_lists.store_single(at + 4, number)
    store(at + 32, lane_lists.spread_single_at(at + 4))
    store(at + 64, lane_lists.spread_sixteen_at(at + 4))


def test_halves_and_singles_at_addresses() -> None:
    out = np.zeros(32, np.float32)
    written(-(2**31) + 5, 0.1, out)
    assert out.view(np.int32)[0] == -(2**31) + 5
    assert out[1] == np.float32(0.1) and (out[8:] == np.float32(0.1)).all() and not out[2:8].any()
