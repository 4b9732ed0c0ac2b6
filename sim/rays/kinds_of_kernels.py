"""The few kinds of compiled functions, so that all are compiled alike.

    kernel   what Python calls; arrays in, arrays out
    threaded as kernel, with `prange` for all threads
    part     what only kernels call, on its own for several of them
    inlined  what kernels take in whole, wherever they call it
    flowing  as kernel, with divisions that are not asked whether they are by zero: such a question after each keeps
             the compiler from working on several numbers at once

Kinds are few because the compiler makes what it lends, such as `np.empty`, anew for every set of options it meets.
A function that Python cannot call has no code that turns Python's objects into numbers, which is a good part of the
time to compile it.  No function holds Python's lock while it runs.

What is passed between them counts as well: a number written in the source, or a global int, is a type of its own to
the compiler, `-1` another than `0`, and for each it compiles the function again.  `whole` makes such a number a plain
one.

In a process that works without the compiler (`without_compiler`) all kinds are the functions as they are written.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np

from sim.rays.without_compiler import is_without_compiler


def as_written(function: Callable[..., Any]) -> Any:
    """The function itself."""
    return function


if is_without_compiler():
    Kind = Callable[[Callable[..., Any]], Any]
    kernel: Kind = as_written
    threaded: Kind = as_written
    part: Kind = as_written
    inlined: Kind = as_written
    flowing: Kind = as_written
    prange: Any = range
else:
    import numba as nb

    from sim.machine.kernel_cache import kept

    prange = nb.prange
    kernel = kept(nogil=True, no_cfunc_wrapper=True)
    threaded = kept(parallel=True)
    part = kept(nogil=True, no_cfunc_wrapper=True, no_cpython_wrapper=True)
    inlined = nb.njit(forceinline=True, nogil=True, no_cfunc_wrapper=True, no_cpython_wrapper=True)
    flowing = kept(nogil=True, no_cfunc_wrapper=True, error_model="numpy", fastmath={"contract"})
whole = np.int64
