"""What all compiled functions have in common."""

from __future__ import annotations

import numba as nb
from numba.core import types

from sim.rays.kinds_of_kernels import inlined, part, whole


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
