"""Lists of numbers chosen by bits, written without asking bit by bit; and single numbers at addresses.

How many of eight children a ray meets cannot be guessed, and each wrong guess costs a processor some twenty cycles.
`list_halves`, of eight, and `list_places`, of sixteen, write all that are chosen side by side in one go, whatever their
number; the caller moves the end of its list on by `count_of(bits)`.  They may write over all eight or sixteen places,
so a list needs room for as many more than it holds.
"""

from __future__ import annotations

from typing import Any, Final

import llvmlite.binding
from llvmlite import ir
from numba.core import types
from numba.extending import intrinsic

from sim.rays.lanes import COUNT, singles, sixteen

_HALF, _SINGLE = ir.IntType(32), ir.FloatType()
_HALVES, _BROAD = ir.VectorType(_HALF, COUNT), ir.VectorType(_HALF, 2 * COUNT)
_EVERY: Final = ir.Constant(_HALVES, [0] * COUNT)
_EVERY_BROAD: Final = ir.Constant(_BROAD, [0] * 2 * COUNT)
IN_REGISTERS: Final = llvmlite.binding.llvm_version_info[0] >= 19
"""Whether the compiler can move chosen lanes together before they are written; else it writes them one by one."""


def _at(builder: Any, address: Any, machine: ir.Type) -> Any:
    return builder.inttoptr(address, machine.as_pointer())


def _write_chosen(builder: Any, to: Any, halves: Any, bits: Any, in_registers: bool) -> None:
    """Write those lanes of whole numbers of 32 bits whose bit is set to an address, side by side."""
    lanes = halves.type
    choice = ir.VectorType(ir.IntType(1), lanes.count)
    chosen = builder.bitcast(builder.trunc(bits, ir.IntType(lanes.count)), choice)
    place, module = _at(builder, to, lanes), builder.module
    if in_registers:
        kind = ir.FunctionType(lanes, [lanes, choice, lanes])
        together = module.declare_intrinsic(f"llvm.experimental.vector.compress.v{lanes.count}i32", (), kind)
        rest = ir.Constant(lanes, ir.Undefined)
        builder.store(builder.call(together, [halves, chosen, rest]), place, align=4)
    else:
        kind = ir.FunctionType(ir.VoidType(), [lanes, _HALF.as_pointer(), choice])
        one_by_one = module.declare_intrinsic(f"llvm.masked.compressstore.v{lanes.count}i32", (), kind)
        builder.call(one_by_one, [halves, builder.bitcast(place, _HALF.as_pointer()), chosen])


@intrinsic
def list_halves(typingctx: Any, to: Any, source: Any, bits: Any) -> Any:
    """Write those of eight whole numbers of 32 bits at `source` whose bit is set to `to`, side by side."""

    def lower(context: Any, builder: Any, sig: Any, args: Any) -> Any:
        halves = builder.load(_at(builder, args[1], _HALVES), align=4)
        _write_chosen(builder, args[0], halves, args[2], IN_REGISTERS)
        return context.get_dummy_value()

    return types.none(types.int64, types.int64, types.int64), lower


@intrinsic
def list_places(typingctx: Any, to: Any, first: Any, bits: Any) -> Any:
    """Write first + k, as whole numbers of 32 bits, for each bit k that is set to `to`, side by side; k below 16."""

    def lower(context: Any, builder: Any, sig: Any, args: Any) -> Any:
        one = builder.insert_element(
            ir.Constant(_BROAD, ir.Undefined), builder.trunc(args[1], _HALF), ir.Constant(_HALF, 0)
        )
        steps = ir.Constant(_BROAD, list(range(2 * COUNT)))
        halves = builder.add(builder.shuffle_vector(one, one, _EVERY_BROAD), steps)
        _write_chosen(builder, args[0], halves, args[2], IN_REGISTERS)
        return context.get_dummy_value()

    return types.none(types.int64, types.int64, types.int64), lower


@intrinsic
def count_of(typingctx: Any, bits: Any) -> Any:
    """How many bits are set."""

    def lower(context: Any, builder: Any, sig: Any, args: Any) -> Any:
        return builder.ctpop(args[0])

    return types.int64(types.int64), lower


@intrinsic
def store_half(typingctx: Any, address: Any, value: Any) -> Any:
    """Write the lower 32 bits of a whole number to an address."""

    def lower(context: Any, builder: Any, sig: Any, args: Any) -> Any:
        builder.store(builder.trunc(args[1], _HALF), _at(builder, args[0], _HALF), align=4)
        return context.get_dummy_value()

    return types.none(types.int64, types.int64), lower


@intrinsic
def store_single(typingctx: Any, address: Any, value: Any) -> Any:
    """Write a number, rounded to float32, to an address."""

    def lower(context: Any, builder: Any, sig: Any, args: Any) -> Any:
        builder.store(builder.fptrunc(args[1], _SINGLE), _at(builder, args[0], _SINGLE), align=4)
        return context.get_dummy_value()

    return types.none(types.int64, types.float64), lower


@intrinsic
def spread_single_at(typingctx: Any, address: Any) -> Any:
    """The float32 at an address in all lanes."""

    def lower(context: Any, builder: Any, sig: Any, args: Any) -> Any:
        value = builder.load(_at(builder, args[0], _SINGLE), align=4)
        first = builder.insert_element(ir.Constant(singles.machine, ir.Undefined), value, ir.Constant(_HALF, 0))
        return builder.shuffle_vector(first, first, _EVERY)

    return singles(types.int64), lower


@intrinsic
def spread_sixteen_at(typingctx: Any, address: Any) -> Any:
    """The float32 at an address in all of sixteen lanes."""

    def lower(context: Any, builder: Any, sig: Any, args: Any) -> Any:
        value, undefined = builder.load(_at(builder, args[0], _SINGLE), align=4), ir.Undefined
        first = builder.insert_element(ir.Constant(sixteen.machine, undefined), value, ir.Constant(_HALF, 0))
        return builder.shuffle_vector(first, first, _EVERY_BROAD)

    return sixteen(types.int64), lower


@intrinsic
def fetch_ahead(typingctx: Any, address: Any) -> Any:
    """Ask for the 64 bytes about an address, which are wanted soon; nothing waits for them."""

    def lower(context: Any, builder: Any, sig: Any, args: Any) -> Any:
        pointer = ir.IntType(8).as_pointer()
        kind = ir.FunctionType(ir.VoidType(), [pointer, _HALF, _HALF, _HALF])
        fetch = builder.module.declare_intrinsic("llvm.prefetch.p0", (), kind)
        read, keep, data = (ir.Constant(_HALF, value) for value in (0, 3, 1))
        builder.call(fetch, [builder.inttoptr(args[0], pointer), read, keep, data])
        return context.get_dummy_value()

    return types.none(types.int64), lower
