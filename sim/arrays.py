"""Array types and the one order of axes that every stage keeps.

Batch axes are always (loudspeaker, driver, listener, band or frequency, time); an array that lacks an
axis simply leaves it out.  Points and directions are rows of three: depth from the front wall, across from the
left wall, up from the floor, in metres, right-handed.
"""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Iterable
from contextlib import suppress
from typing import Any, Generic, TypeAlias, TypeVar

import numpy as np
from numpy.typing import NDArray

FloatArray: TypeAlias = NDArray[np.float64]
ComplexArray: TypeAlias = NDArray[np.complex128]
IntArray: TypeAlias = NDArray[np.int64]
BoolArray: TypeAlias = NDArray[np.bool_]

_Array = TypeVar("_Array", bound=NDArray[Any])


def frozen(array: _Array) -> _Array:
    """Return the array, contiguous and read-only, so that records handed between stages cannot drift."""
    kept = np.ascontiguousarray(array)
    kept.setflags(write=False)
    return kept  # type: ignore[return-value]


def in_rows(arrays: Iterable[FloatArray]) -> FloatArray:
    """Arrays of one shape as one (n, ...), as `numpy.stack` gives; of many small ones in a tenth of its time.

    Raises ValueError when there are none.
    """
    found = list(arrays)
    return np.concatenate(found).reshape(len(found), *found[0].shape) if found else np.stack(found)


_Result = TypeVar("_Result")


class KeptFor(Generic[_Result]):
    """Results kept for the very objects they were worked out from, the last `most` of them.

    Objects are told apart by what they are and not by what they hold, which takes no time however large they are; so
    they must be ones that never change, such as frozen records.
    """

    def __init__(self, most: int) -> None:
        self._most = most
        self._kept: OrderedDict[tuple[int, ...], tuple[tuple[object, ...], _Result]] = OrderedDict()

    def find(self, *objects: object) -> _Result | None:
        """What was kept for these objects, None when nothing was."""
        key = tuple(map(id, objects))
        found = self._kept.get(key)
        if found is None:
            return None
        if 2 * len(self._kept) > self._most:  # before that, none is near to being let go of
            with suppress(KeyError):  # let go of meanwhile by another thread
                self._kept.move_to_end(key)
        return found[1]

    def keep(self, result: _Result, *objects: object) -> _Result:
        """Keep a result, which is returned; the objects are held too, so that no other one takes their place."""
        self._kept[tuple(map(id, objects))] = (objects, result)
        while len(self._kept) > self._most:
            with suppress(KeyError):
                self._kept.popitem(last=False)
        return result
