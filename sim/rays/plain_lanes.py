"""`sim.rays.lanes` and `lane_lists` in plain NumPy, without the compiler: eight lanes are an array of eight.

Addresses are the same plain whole numbers, read and written through ctypes.
"""

from __future__ import annotations

import ctypes
from collections import deque
from typing import Any

import numpy as np

COUNT = 8
singles, doubles = np.float32, np.float64
_RECENT: deque[Any] = deque(maxlen=200_000)
"""Scratch memory must live until the kernel that asked for it returns; none of a few pieces asks for nearly as much."""


def _seen(kind: Any, count: int, address: Any) -> Any:
    size = np.dtype(kind).itemsize * count
    return np.frombuffer((ctypes.c_char * size).from_address(int(address)), kind)


def load_singles(address: Any) -> Any:
    return _seen(np.float32, COUNT, address).copy()


def load_doubles(address: Any) -> Any:
    return _seen(np.float64, COUNT, address).copy()


def load_sixteen(address: Any) -> Any:
    return _seen(np.float32, 2 * COUNT, address).copy()


def load_double(address: Any) -> Any:
    return _seen(np.float64, 1, address)[0]


def load_whole(address: Any) -> Any:
    return int(_seen(np.int64, 1, address)[0])


def load_half(address: Any) -> Any:
    return int(_seen(np.int32, 1, address)[0])


def low_half(value: Any) -> Any:
    return ctypes.c_int32(int(value) & 0xFFFFFFFF).value


def store(address: Any, value: Any) -> None:
    if isinstance(value, np.ndarray):
        assert value.shape == (COUNT,)
        _seen(value.dtype, COUNT, address)[:] = value
    elif isinstance(value, (float, np.floating)):
        _seen(np.float64, 1, address)[0] = value
    else:
        _seen(np.int64, 1, address)[0] = int(value)


def spread_single(value: Any) -> Any:
    return np.full(COUNT, value, np.float32)


def spread_double(value: Any) -> Any:
    return np.full(COUNT, value, np.float64)


def spread_sixteen(value: Any) -> Any:
    return np.full(2 * COUNT, value, np.float32)


def lesser(a: Any, b: Any) -> Any:
    return np.where(a < b, a, b)


def greater(a: Any, b: Any) -> Any:
    return np.where(a > b, a, b)


def _bits(lanes: Any) -> Any:
    return int.from_bytes(np.packbits(lanes, bitorder="little").tobytes(), "little")


def below(a: Any, b: Any) -> Any:
    return _bits(a < b)


def above(a: Any, b: Any) -> Any:
    return _bits(a > b)


def at_most(a: Any, b: Any) -> Any:
    return _bits(a <= b)


def equal(a: Any, b: Any) -> Any:
    return _bits(a == b)


def multiply_add(a: Any, b: Any, c: Any) -> Any:
    return a * b + c


def size_of(a: Any) -> Any:
    return np.abs(a)


def narrow(a: Any) -> Any:
    return a.astype(np.float32)


def square_root(a: Any) -> Any:
    return np.sqrt(a)


def bits_added(a: Any, b: Any, places: Any) -> Any:
    return (a.view(np.int64) + (b.view(np.int64) << places)).view(np.float64)


def twos_in(a: Any) -> Any:
    return ((a.view(np.int64) - 0x3FE6A09E667F3BCD) >> 52).astype(np.float64)


def with_sign_turned(a: Any, b: Any) -> Any:
    return np.where(np.signbit(b), a, -a)


def where(bits: Any, a: Any, b: Any) -> Any:
    return np.where(np.unpackbits(np.array([int(bits) & 255], np.uint8), bitorder="little") == 1, a, b)


def smallest(a: Any) -> Any:
    return a.min()


def lane(a: Any, k: Any) -> Any:
    return a[k]


def lowest(bits: Any) -> Any:
    bits = int(bits)
    return (bits & -bits).bit_length() - 1


def scratch(size: Any) -> Any:
    _RECENT.append(np.zeros(size // 8 + 8, np.float64))
    return (_RECENT[-1].ctypes.data + 63) // 64 * 64


def add_at(address: Any, more: Any) -> None:
    store(address, load_doubles(address) + more)


# The same for `sim.rays.lane_lists`.

IN_REGISTERS = True


def list_halves(to, source, bits):  # type: ignore[no-untyped-def]
    chosen = _seen(np.int32, COUNT, source)[[k for k in range(COUNT) if int(bits) >> k & 1]].copy()
    _seen(np.int32, len(chosen), to)[:] = chosen


def list_places(to, first, bits):  # type: ignore[no-untyped-def]
    chosen = [int(first) + k for k in range(2 * COUNT) if int(bits) >> k & 1]
    _seen(np.int32, len(chosen), to)[:] = chosen


def count_of(bits):  # type: ignore[no-untyped-def]
    return int(bits).bit_count()


def store_half(address, value):  # type: ignore[no-untyped-def]
    _seen(np.int32, 1, address)[0] = int(value)


def store_single(address, value):  # type: ignore[no-untyped-def]
    _seen(np.float32, 1, address)[0] = value


def spread_single_at(address):  # type: ignore[no-untyped-def]
    return np.full(COUNT, _seen(np.float32, 1, address)[0], np.float32)


def spread_sixteen_at(address):  # type: ignore[no-untyped-def]
    return np.full(2 * COUNT, _seen(np.float32, 1, address)[0], np.float32)


def fetch_ahead(address):  # type: ignore[no-untyped-def]
    """Nothing to do: memory is there when it is asked for."""
