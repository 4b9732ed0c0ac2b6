"""Every operation on eight lanes against the same done by NumPy, and one number at a time."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numba as nb
import numpy as np
import pytest

from sim.rays import lanes
from sim.rays.wide_tree import _aligned

SPECIAL = [0.0, -0.0, 1.0, -1.0, np.inf, -np.inf, np.nan, 1e-30, -1e30, 3.5]
KINDS = {np.float32: (lanes.load_singles, lanes.spread_single), np.float64: (lanes.load_doubles, lanes.spread_double)}

pytestmark = pytest.mark.filterwarnings("ignore::RuntimeWarning")


def compiled(kind: type) -> tuple[Any, Any, Any]:
    """Kernels that do every operation on rows of eight of one kind."""
    load, spread = KINDS[kind]
    row = 8 * np.dtype(kind).itemsize

    @nb.njit
    def lane_by_lane(a, b, c, x, out):  # type: ignore[no-untyped-def]
        p, q, r = load(a.ctypes.data), load(b.ctypes.data), load(c.ctypes.data)
        to = out.ctypes.data
        lanes.store(to, p + q)
        lanes.store(to + row, p - q)
        lanes.store(to + 2 * row, p * q)
        lanes.store(to + 3 * row, p / q)
        lanes.store(to + 4 * row, lanes.multiply_add(p, q, r))
        lanes.store(to + 5 * row, lanes.lesser(p, q))
        lanes.store(to + 6 * row, lanes.greater(p, q))
        lanes.store(to + 7 * row, lanes.size_of(p))
        lanes.store(to + 8 * row, lanes.with_sign_turned(p, q))
        lanes.store(to + 9 * row, spread(x))
        lanes.store(to + 10 * row, lanes.where(lanes.below(p, q), p, r))

    @nb.njit
    def bits_of(a, b):  # type: ignore[no-untyped-def]
        p, q = load(a.ctypes.data), load(b.ctypes.data)
        return lanes.below(p, q), lanes.above(p, q), lanes.at_most(p, q), lanes.equal(p, q)

    @nb.njit
    def scalars_of(a, k):  # type: ignore[no-untyped-def]
        return lanes.lane(load(a.ctypes.data), k), lanes.smallest(load(a.ctypes.data))

    return lane_by_lane, bits_of, scalars_of


def slowly(a: np.ndarray, b: np.ndarray, c: np.ndarray, x: float) -> list[np.ndarray]:
    kind = a.dtype.type
    turned = np.where(np.signbit(b), a, -a)
    return [
        a + b,
        a - b,
        a * b,
        a / b,
        a * b + c,
        np.where(a < b, a, b),
        np.where(a > b, a, b),
        np.abs(a),
        turned,
        np.full(8, kind(x)),
        np.where(a < b, a, c),
    ]


def packed(conditions: np.ndarray) -> int:
    return int(sum(1 << k for k in range(8) if conditions[k]))


@pytest.mark.parametrize("kind", [np.float32, np.float64])
def test_lanes_do_what_numpy_does(kind: type) -> None:
    rng = np.random.default_rng(1)
    lane_by_lane, bits_of, scalars_of = compiled(kind)
    for turn in range(200):
        a, b, c = (rng.normal(size=(3, 8)) * 10.0 ** rng.integers(-3, 4, (3, 8))).astype(kind)
        if turn % 2:
            a[rng.integers(0, 8, 4)] = rng.choice(SPECIAL, 4)
            b[rng.integers(0, 8, 4)] = rng.choice(SPECIAL, 4)
            b[:2] = a[:2]
        x, out = float(rng.normal()), np.full((11, 8), 7.0, kind)
        lane_by_lane(a, b, c, x, out)
        for number, (found, expected) in enumerate(zip(out, slowly(a, b, c, x), strict=True)):
            if number == 4:  # may be rounded once or twice
                finite = np.isfinite(expected)
                room = 4.0 * np.finfo(kind).eps * (np.abs(a * b) + np.abs(c))[finite]
                assert (np.abs(found - expected)[finite] <= room).all()
                assert np.array_equal(found[~finite], expected[~finite], equal_nan=True)
            else:
                assert found.tobytes() == expected.astype(kind).tobytes() or np.array_equal(
                    found, expected, equal_nan=True
                )
        assert bits_of(a, b) == (packed(a < b), packed(a > b), packed(a <= b), packed(a == b))
        clean = np.nan_to_num(a)
        for k in range(8):
            assert scalars_of(clean, k) == (clean[k], clean.min())


@nb.njit
def done_with_sixteen(a, b, c, x):  # type: ignore[no-untyped-def]
    p, q = lanes.load_sixteen(a.ctypes.data), lanes.load_sixteen(b.ctypes.data)
    r = lanes.load_sixteen(c.ctypes.data)
    joined = lanes.multiply_add(p, q, r)
    return (
        lanes.at_most(p, q),
        lanes.at_most(lanes.lesser(p, q), lanes.spread_sixteen(x)),
        lanes.at_most(lanes.greater(p, q), lanes.spread_sixteen(x)),
        lanes.at_most(joined, r),
    )


def test_sixteen_lanes_do_what_numpy_does() -> None:
    rng = np.random.default_rng(2)
    for turn in range(200):
        a, b, c = rng.integers(-3, 4, (3, 16)).astype(np.float32)  # whole, so that nothing is rounded
        if turn % 2:
            a[rng.integers(0, 16, 4)] = rng.choice([np.inf, -np.inf, 0.0, -0.0], 4)
        expected = a <= b, np.where(a < b, a, b) <= 1.0, np.where(a > b, a, b) <= 1.0, a * b + c <= c
        assert done_with_sixteen(a, b, c, 1.0) == tuple(sum(1 << k for k in range(16) if met[k]) for met in expected)


@nb.njit
def narrowed(numbers, out):  # type: ignore[no-untyped-def]
    lanes.store(out.ctypes.data, lanes.narrow(lanes.load_doubles(numbers.ctypes.data)))


def test_numbers_are_rounded_to_float32() -> None:
    numbers, out = np.array([0.1, -0.0, 1e300, -1e300, 1.0 + 2.0**-24, 3e-46, np.inf, -7.3]), np.zeros(8, np.float32)
    narrowed(numbers, out)
    assert out.tobytes() == numbers.astype(np.float32).tobytes()


def test_zero_keeps_its_sign() -> None:
    lane_by_lane, _, _ = compiled(np.float64)
    out = np.zeros((11, 8))
    lane_by_lane(np.array([0.0, -0.0] * 4), np.array([1.0, 1.0, -1.0, -1.0] * 2), np.zeros(8), 0.0, out)
    assert np.signbit(out[8]).tolist() == [True, False, False, True] * 2


@nb.njit
def read(array):  # type: ignore[no-untyped-def]
    at = array.ctypes.data
    return lanes.load_whole(at), lanes.load_half(at), lanes.load_half(at + 4), lanes.load_double(at + 8)


@nb.njit
def small_parts(value):  # type: ignore[no-untyped-def]
    return lanes.low_half(value), lanes.lowest(value)


@nb.njit
def written_and_read(count):  # type: ignore[no-untyped-def]
    at = lanes.scratch(256)
    total = 0
    for k in range(count):
        lanes.store(at + 8 * (k % 32), k)
        total += lanes.load_whole(at + 8 * (k % 32))
    return total, at % 64


def test_numbers_are_read_at_addresses() -> None:
    store = np.zeros(2)
    store.view(np.int32)[:2] = 7, -5
    store[1] = 2.5
    assert read(store) == ((-5 << 32) + 7, 7, -5, 2.5)


@pytest.mark.parametrize("value", [1, 2, 12, -1, -2, 1 << 31, (5 << 32) | 0xFFFFFFFE, 1 << 63 - 1])
def test_parts_of_whole_numbers(value: int) -> None:
    low = value & 0xFFFFFFFF
    expected = low - (1 << 32) if low >= 1 << 31 else low
    assert small_parts(value) == (expected, next(k for k in range(64) if value >> k & 1))


def test_scratch_memory_is_aligned_and_ones_own() -> None:
    assert written_and_read(1000) == (499500, 0)


def test_lanes_need_no_aligned_address() -> None:
    load: Callable[[int], Any] = lanes.load_doubles

    @nb.njit
    def sums(array, to):  # type: ignore[no-untyped-def]
        for k in range(4):
            at = array.ctypes.data + 8 * k
            lanes.store(to.ctypes.data + 64 * k, load(at) + load(at))

    numbers, out = np.arange(16.0), np.zeros((4, 8))
    sums(numbers, out)
    assert (out == 2.0 * (np.arange(4)[:, None] + np.arange(8))).all()


def test_arrays_for_lanes_begin_on_a_cache_line() -> None:
    for count in range(1, 20):
        assert _aligned((count, 3), np.float32).ctypes.data % 64 == 0
