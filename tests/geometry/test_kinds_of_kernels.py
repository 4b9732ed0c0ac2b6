"""What all compiled functions have in common."""

from __future__ import annotations

import gc

import numba as nb
from numba.core import event, types

from sim.geometry.kinds_of_kernels import inlined, part, whole


class Watch(event.Listener):  # type: ignore[misc]
    def __init__(self) -> None:
        self.collecting: list[bool] = []

    def on_start(self, event: object) -> None:
        self.collecting.append(gc.isenabled())

    def on_end(self, event: object) -> None:
        pass


def test_garbage_is_not_looked_for_while_kernels_are_compiled_and_is_afterwards() -> None:
    @nb.njit
    def inner(x):  # type: ignore[no-untyped-def]
        return x + 1

    @nb.njit
    def outer(x):  # type: ignore[no-untyped-def]
        return inner(x) * 2

    watch = Watch()
    event.register("numba:compile", watch)
    try:
        assert gc.isenabled()
        assert outer(3) == 8
    finally:
        event.unregister("numba:compile", watch)
    assert watch.collecting == [False, False]
    assert gc.isenabled()


def test_whoever_has_collecting_off_keeps_it_off() -> None:
    @nb.njit
    def some(x):  # type: ignore[no-untyped-def]
        return x - 1

    gc.disable()
    try:
        assert some(3) == 2
        assert not gc.isenabled()
    finally:
        gc.enable()


def test_a_number_made_whole_has_no_type_of_its_own() -> None:
    nothing, first = whole(-1), whole(0)

    @part
    def answer(x):  # type: ignore[no-untyped-def]
        return x + 1

    @nb.njit
    def asked():  # type: ignore[no-untyped-def]
        return answer(nothing) + answer(first)

    assert asked() == 1
    assert answer.signatures == [(types.int64,)]


def test_parts_and_inlined_functions_work_inside_a_kernel() -> None:
    @inlined
    def twice(x):  # type: ignore[no-untyped-def]
        return 2 * x

    @part
    def more(x):  # type: ignore[no-untyped-def]
        return twice(x) + 1

    @nb.njit
    def asked(x):  # type: ignore[no-untyped-def]
        return more(x)

    assert asked(4) == 9
