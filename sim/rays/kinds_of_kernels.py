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
"""

from __future__ import annotations

import numba as nb
import numpy as np

from sim.machine.kernel_cache import kept

kernel = kept(nogil=True, no_cfunc_wrapper=True)
threaded = kept(parallel=True)
part = kept(nogil=True, no_cfunc_wrapper=True, no_cpython_wrapper=True)
inlined = nb.njit(forceinline=True, nogil=True, no_cfunc_wrapper=True, no_cpython_wrapper=True)
flowing = kept(nogil=True, no_cfunc_wrapper=True, error_model="numpy", fastmath={"contract"})
whole = np.int64
