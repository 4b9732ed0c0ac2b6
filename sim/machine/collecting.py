"""Python's search for objects that hold each other, put off while many are made that do not."""

from __future__ import annotations

import gc
from collections.abc import Iterator
from contextlib import contextmanager


@contextmanager
def no_collecting() -> Iterator[None]:
    """Let Python look for cycles of objects only afterwards.

    It looks again and again as their number grows; of a hundred thousand surfaces, which hold no cycles and are let go
    without it, that took a third of the time of making them.  Nothing is lost, and it works as before when all is done.
    """
    was_on = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was_on:
            gc.enable()
