"""Eight numbers worked on at once: a vector type for kernels, written with the compiler's own extension interface.

A value of type `singles` or `doubles` is one LLVM vector of eight float32 or float64, `sixteen` one of sixteen float32.
The compiler turns it into whatever the processor has: one register of 512 bits, two of 256, four of 128; nothing here
depends on which.

In a kernel the operators +, -, *, / work lane by lane, and a comparison gives a whole number whose bit k tells about
lane k, so that conditions are joined with & and lanes that passed are walked with `lowest`:

    t = load_doubles(address) * scale
    bits = below(t, limit) & above(t, zero)
    while bits != 0:
        k = lowest(bits)
        bits &= bits - 1
        ... lane(t, k) ...

Addresses are plain whole numbers (`array.ctypes.data`).  Nothing checks them and nothing keeps their arrays alive: the
kernel that takes the addresses must hold the arrays for as long as it uses them.
"""

from __future__ import annotations

import operator
from collections.abc import Callable
from typing import Any

from llvmlite import ir
from numba.core import types
from numba.core.typing.templates import AbstractTemplate, infer_global, signature
from numba.extending import intrinsic, lower_builtin, models, register_model

from sim.rays.kinds_of_kernels import inlined

COUNT = 8
_INT, _SINGLE, _DOUBLE = ir.IntType(64), ir.FloatType(), ir.DoubleType()


class Lanes(types.Type):
    """Numba's type of eight float32 or float64, or of sixteen float32."""

    def __init__(self, scalar: Any, machine: ir.Type, count: int = COUNT) -> None:
        self.scalar, self.machine = scalar, ir.VectorType(machine, count)
        super().__init__(name=f"lanes({count} {scalar})")


singles = Lanes(types.float32, _SINGLE)
doubles = Lanes(types.float64, _DOUBLE)
sixteen = Lanes(types.float32, _SINGLE, 2 * COUNT)


@register_model(Lanes)
class _LanesModel(models.PrimitiveModel):  # type: ignore[misc]
    def __init__(self, manager: Any, kind: Lanes) -> None:
        super().__init__(manager, kind, kind.machine)


def _register_operator(operation: Any, instruction: str) -> None:
    @infer_global(operation)
    class _Rule(AbstractTemplate):  # type: ignore[misc]
        def generic(self, args: Any, kws: Any) -> Any:
            alike = len(args) == 2 and isinstance(args[0], Lanes) and args[0] == args[1]
            return signature(args[0], *args) if alike else None

    @lower_builtin(operation, Lanes, Lanes)
    def _lower(context: Any, builder: Any, sig: Any, args: Any) -> Any:
        return getattr(builder, instruction)(*args)


for _operation, _instruction in (
    (operator.add, "fadd"),
    (operator.sub, "fsub"),
    (operator.mul, "fmul"),
    (operator.truediv, "fdiv"),
):
    _register_operator(_operation, _instruction)


def _at(builder: Any, address: Any, machine: ir.Type) -> Any:
    return builder.inttoptr(address, machine.as_pointer())


def _load(kind: Any, machine: ir.Type, align: int) -> Callable[..., Any]:
    """Code that reads a value at an address; `align` is what its numbers are sure to keep, not the vector's own."""

    def lower(context: Any, builder: Any, sig: Any, args: Any) -> Any:
        return builder.load(_at(builder, args[0], machine), align=align)

    return lambda typingctx, address: (kind(types.int64), lower)


def _spread(kind: Lanes) -> Callable[..., Any]:
    """Code that copies one float64, rounded to the lanes' precision, into all lanes."""

    def lower(context: Any, builder: Any, sig: Any, args: Any) -> Any:
        value = builder.fptrunc(args[0], _SINGLE) if kind.scalar == types.float32 else args[0]
        first = builder.insert_element(ir.Constant(kind.machine, ir.Undefined), value, ir.Constant(ir.IntType(32), 0))
        every = ir.Constant(ir.VectorType(ir.IntType(32), kind.machine.count), [0] * kind.machine.count)
        return builder.shuffle_vector(first, first, every)

    return lambda typingctx, value: (kind(types.float64), lower)


def _pick(comparison: str) -> Callable[..., Any]:
    """Code for `a if a <comparison> b else b`, lane by lane; a lane that is no number yields b."""

    def lower(context: Any, builder: Any, sig: Any, args: Any) -> Any:
        return builder.select(builder.fcmp_ordered(comparison, *args), *args)

    return lambda typingctx, a, b: (a(a, b), lower)


def _compare(comparison: str) -> Callable[..., Any]:
    """Code for a comparison as a whole number, bit k for lane k; false where either is no number."""

    def lower(context: Any, builder: Any, sig: Any, args: Any) -> Any:
        lanes = builder.fcmp_ordered(comparison, *args)
        return builder.zext(builder.bitcast(lanes, ir.IntType(lanes.type.count)), _INT)

    return lambda typingctx, a, b: (types.int64(a, b), lower)


load_singles = intrinsic(_load(singles, singles.machine, 4))
load_doubles = intrinsic(_load(doubles, doubles.machine, 8))
load_sixteen = intrinsic(_load(sixteen, sixteen.machine, 4))
load_double = intrinsic(_load(types.float64, _DOUBLE, 8))
load_whole = intrinsic(_load(types.int64, _INT, 8))
spread_single = intrinsic(_spread(singles))
spread_double = intrinsic(_spread(doubles))
spread_sixteen = intrinsic(_spread(sixteen))
lesser = intrinsic(_pick("<"))
greater = intrinsic(_pick(">"))
below = intrinsic(_compare("<"))
above = intrinsic(_compare(">"))
at_most = intrinsic(_compare("<="))
equal = intrinsic(_compare("=="))


@intrinsic
def load_half(typingctx: Any, address: Any) -> Any:
    """Whole number of 32 bits at an address, its sign kept."""

    def lower(context: Any, builder: Any, sig: Any, args: Any) -> Any:
        return builder.sext(builder.load(_at(builder, args[0], ir.IntType(32)), align=4), _INT)

    return types.int64(types.int64), lower


@intrinsic
def low_half(typingctx: Any, value: Any) -> Any:
    """The lower 32 bits of a whole number as one with a sign."""

    def lower(context: Any, builder: Any, sig: Any, args: Any) -> Any:
        return builder.sext(builder.trunc(args[0], ir.IntType(32)), _INT)

    return types.int64(types.int64), lower


@intrinsic
def store(typingctx: Any, address: Any, value: Any) -> Any:
    """Write a whole number or eight lanes to an address."""

    def lower(context: Any, builder: Any, sig: Any, args: Any) -> Any:
        builder.store(args[1], _at(builder, args[0], args[1].type), align=4 if value == singles else 8)
        return context.get_dummy_value()

    return types.none(types.int64, value), lower


@intrinsic
def multiply_add(typingctx: Any, a: Any, b: Any, c: Any) -> Any:
    """Lane by lane a * b + c, rounded once where the processor can, else twice."""

    def lower(context: Any, builder: Any, sig: Any, args: Any) -> Any:
        machine = args[0].type
        name = f"llvm.fmuladd.v{machine.count}f{32 if machine.element == _SINGLE else 64}"
        function = builder.module.declare_intrinsic(name, (), ir.FunctionType(machine, [machine] * 3))
        return builder.call(function, args)

    return a(a, b, c), lower


@intrinsic
def size_of(typingctx: Any, a: Any) -> Any:
    """Lane by lane the absolute value."""

    def lower(context: Any, builder: Any, sig: Any, args: Any) -> Any:
        machine = args[0].type
        name = f"llvm.fabs.v{COUNT}f{32 if machine.element == _SINGLE else 64}"
        function = builder.module.declare_intrinsic(name, (), ir.FunctionType(machine, [machine]))
        return builder.call(function, args)

    return a(a), lower


@intrinsic
def narrow(typingctx: Any, a: Any) -> Any:
    """Eight float64, rounded to float32."""

    def lower(context: Any, builder: Any, sig: Any, args: Any) -> Any:
        return builder.fptrunc(args[0], singles.machine)

    return singles(a), lower


@intrinsic
def square_root(typingctx: Any, a: Any) -> Any:
    """Lane by lane the square root; of a negative number no number."""

    def lower(context: Any, builder: Any, sig: Any, args: Any) -> Any:
        machine = args[0].type
        name = f"llvm.sqrt.v{COUNT}f{32 if machine.element == _SINGLE else 64}"
        function = builder.module.declare_intrinsic(name, (), ir.FunctionType(machine, [machine]))
        return builder.call(function, args)

    return a(a), lower


@intrinsic
def bits_added(typingctx: Any, a: Any, b: Any, places: Any) -> Any:
    """Doubles whose 64 bits, taken as whole numbers, are those of a plus those of b moved left by `places`."""
    if not isinstance(places, types.IntegerLiteral):
        return None
    moved = places.literal_value

    def lower(context: Any, builder: Any, sig: Any, args: Any) -> Any:
        whole = ir.VectorType(_INT, COUNT)
        more = builder.shl(builder.bitcast(args[1], whole), ir.Constant(whole, [moved] * COUNT))
        return builder.bitcast(builder.add(builder.bitcast(args[0], whole), more), args[0].type)

    return a(a, b, places), lower


@intrinsic
def twos_in(typingctx: Any, a: Any) -> Any:
    """How many times 2 is in each of eight doubles, a whole number: a is that power of 2 times 0.7071 to 1.4142."""

    def lower(context: Any, builder: Any, sig: Any, args: Any) -> Any:
        whole = ir.VectorType(_INT, COUNT)

        def constant(value: int) -> Any:
            return ir.Constant(whole, [value] * COUNT)

        over = builder.sub(builder.bitcast(args[0], whole), constant(0x3FE6A09E667F3BCD))
        # a number of 52 bits in the place of the last bits of 1.5 * 2^52 is that much more
        near = builder.add(builder.ashr(over, constant(52)), constant(0x4338000000000000))
        whole_part = ir.Constant(args[0].type, [6755399441055744.0] * COUNT)
        return builder.fsub(builder.bitcast(near, args[0].type), whole_part)

    return a(a), lower


@intrinsic
def with_sign_turned(typingctx: Any, a: Any, b: Any) -> Any:
    """Lane by lane -a where b is positive and a where it is negative, minus zero counting as negative."""

    def lower(context: Any, builder: Any, sig: Any, args: Any) -> Any:
        bits = 32 if args[0].type.element == _SINGLE else 64
        whole = ir.VectorType(ir.IntType(bits), COUNT)
        sign = ir.Constant(whole, [1 << bits - 1] * COUNT)
        turned = builder.xor(builder.bitcast(args[1], whole), sign)
        flipped = builder.xor(builder.bitcast(args[0], whole), builder.and_(turned, sign))
        return builder.bitcast(flipped, args[0].type)

    return a(a, b), lower


@intrinsic
def where(typingctx: Any, bits: Any, a: Any, b: Any) -> Any:
    """Lane k of a where bit k is set, else lane k of b."""

    def lower(context: Any, builder: Any, sig: Any, args: Any) -> Any:
        lanes = builder.bitcast(builder.trunc(args[0], ir.IntType(COUNT)), ir.VectorType(ir.IntType(1), COUNT))
        return builder.select(lanes, args[1], args[2])

    return a(types.int64, a, b), lower


@intrinsic
def smallest(typingctx: Any, a: Any) -> Any:
    """Least of the eight lanes, none of which may be no number."""

    def lower(context: Any, builder: Any, sig: Any, args: Any) -> Any:
        (least,) = args
        for half in (4, 2, 1):
            turn = ir.Constant(ir.VectorType(ir.IntType(32), COUNT), [(k + half) % COUNT for k in range(COUNT)])
            other = builder.shuffle_vector(least, least, turn)
            least = builder.select(builder.fcmp_ordered("<", least, other), least, other)
        return builder.extract_element(least, ir.Constant(ir.IntType(32), 0))

    return a.scalar(a), lower


@intrinsic
def lane(typingctx: Any, a: Any, k: Any) -> Any:
    """Lane k (0 to 7) as a scalar."""

    def lower(context: Any, builder: Any, sig: Any, args: Any) -> Any:
        return builder.extract_element(args[0], builder.trunc(args[1], ir.IntType(32)))

    return a.scalar(a, types.int64), lower


@intrinsic
def lowest(typingctx: Any, bits: Any) -> Any:
    """Number of the lowest bit that is set; bits must not be 0."""

    def lower(context: Any, builder: Any, sig: Any, args: Any) -> Any:
        return builder.cttz(args[0], ir.Constant(ir.IntType(1), 1))

    return types.int64(types.int64), lower


@intrinsic
def scratch(typingctx: Any, size: Any) -> Any:
    """Address of `size` (a literal) bytes on the processor's stack, 64-byte aligned, gone when the kernel returns."""
    if not isinstance(size, types.IntegerLiteral):
        return None
    wanted = size.literal_value

    def lower(context: Any, builder: Any, sig: Any, args: Any) -> Any:
        with builder.goto_entry_block():
            place = builder.alloca(ir.ArrayType(ir.IntType(8), wanted))
            place.align = 64
        return builder.ptrtoint(place, _INT)

    return types.int64(size), lower


@inlined
def add_at(address, more):  # type: ignore[no-untyped-def]
    """Add eight float64 to those at an address."""
    store(address, load_doubles(address) + more)
