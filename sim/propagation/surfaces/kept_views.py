"""Results kept for the numbers they were worked out from: views of panels by paths that did not move."""

from __future__ import annotations

from contextlib import suppress
from typing import Generic, TypeVar

import numpy as np

from sim.arrays import FloatArray

_Result = TypeVar("_Result")


class KeptViews(Generic[_Result]):
    """Results by key, the last `most` that were kept."""

    def __init__(self, most: int) -> None:
        self._most = most
        self._kept: dict[bytes, _Result] = {}

    def find(self, key: bytes) -> _Result | None:
        """What was kept, None when nothing was."""
        return self._kept.get(key)

    def keep(self, key: bytes, result: _Result) -> _Result:
        """Keep a result, which is returned."""
        self._kept[key] = result
        while len(self._kept) > self._most:
            with suppress(KeyError, StopIteration, RuntimeError):  # another thread may do the same
                del self._kept[next(iter(self._kept))]
        return result


def keys_of_rows(common: FloatArray, rows: FloatArray) -> list[bytes]:
    """A key for each row (m, n), with numbers (c,) that all share."""
    packed, shared, step = np.ascontiguousarray(rows).tobytes(), common.tobytes(), 8 * rows.shape[1]
    return [shared + packed[at : at + step] for at in range(0, len(packed), step)]
