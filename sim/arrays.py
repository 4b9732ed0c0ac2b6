"""Array types and the one order of axes that every stage keeps.

Batch axes are always (loudspeaker, driver, listener, band or frequency, time); an array that lacks an
axis simply leaves it out.  Points and directions are rows of three: depth from the front wall, across from the
left wall, up from the floor, in metres, right-handed.
"""

from __future__ import annotations

from typing import Any, TypeAlias, TypeVar

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
