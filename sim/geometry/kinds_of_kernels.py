"""The three kinds of compiled functions, so that all are compiled alike.

    kernel   what Python calls; arrays in, arrays out
    part     what only kernels call, on its own for several of them
    inlined  what kernels take in whole, wherever they call it

Kinds are few because the compiler makes what it lends, such as `np.empty`, anew for every set of options it meets.
A function that Python cannot call has no code that turns Python's objects into numbers, which is a good part of the
time to compile it.  No function holds Python's lock while it runs.

What is passed between them counts as well: a number written in the source, or a global int, is a type of its own to
the compiler, `-1` another than `0`, and for each it compiles the function again.  `whole` makes such a number a plain
one.
"""

from __future__ import annotations

import gc
import threading
from contextlib import suppress
from typing import Any

import numba as nb
import numpy as np
from numba.core import event

with suppress(ImportError):  # a compiler that keeps its rules elsewhere says the same, and takes a second longer
    from . import quick_typing as quick_typing

kernel = nb.njit(cache=True, nogil=True, no_cfunc_wrapper=True)
part = nb.njit(cache=True, nogil=True, no_cfunc_wrapper=True, no_cpython_wrapper=True)
inlined = nb.njit(forceinline=True, nogil=True, no_cfunc_wrapper=True, no_cpython_wrapper=True)
whole = np.int64


class _NothingCollected(event.Listener):  # type: ignore[misc]
    """Keeps Python from looking for garbage while the compiler works, which would take a tenth of the time or more.

    It makes millions of small objects and keeps most of them, so that looking through them finds next to nothing.
    """

    def __init__(self) -> None:
        self.lock, self.running, self.was_on = threading.Lock(), 0, False

    def on_start(self, event: Any) -> None:
        with self.lock:
            if self.running == 0:
                self.was_on = gc.isenabled()
                gc.disable()
            self.running += 1

    def on_end(self, event: Any) -> None:
        with self.lock:
            self.running -= 1
            if self.running == 0 and self.was_on:
                gc.enable()


event.register("numba:compile", _NothingCollected())
