"""The box of a loudspeaker: corners and faces in its own frame (forward, right, up), in metres.

The origin is the acoustic axis point, which lies on the baffle; the box is behind it.  Grilles, chamfers,
stands and ports are left out.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from sim.arrays import FloatArray, frozen
from sim.loudspeakers.loudspeaker import Loudspeaker

# Corner numbers: 0 to 3 on the baffle (low left, low right, high right, high left as seen from the seat),
# 4 to 7 behind them in the same order.  Each face runs counter-clockwise seen from outside.
_FACES: Final[tuple[tuple[str, tuple[int, int, int, int]], ...]] = (
    ("baffle", (0, 1, 2, 3)),
    ("back", (5, 4, 7, 6)),
    ("top", (3, 2, 6, 7)),
    ("underside", (4, 5, 1, 0)),
    ("left side", (4, 0, 3, 7)),
    ("right side", (1, 5, 6, 2)),
)

FACE_NAMES: Final = tuple(name for name, _ in _FACES)
"""Names of the faces in order; left and right as seen from the seat, with the box upright."""


def cabinet_corners(loudspeaker: Loudspeaker) -> FloatArray | None:
    """Return the corners of the box, (8, 3), relative to the axis point, or None without a box of its own.

    Order: the baffle's low left, low right, high right and high left as seen from the seat, then the four
    behind them.  A loudspeaker mounted flush has no box in the room.
    """
    if loudspeaker.cabinet_size_m is None or loudspeaker.flush:
        return None
    width, height, depth = loudspeaker.cabinet_size_m
    axis_right, axis_up = loudspeaker.axis_on_baffle_m
    left, right = -0.5 * width - axis_right, 0.5 * width - axis_right
    low, high = -0.5 * height - axis_up, 0.5 * height - axis_up
    outline = [(left, low), (right, low), (right, high), (left, high)]
    return frozen(np.array([(forward, *place) for forward in (0.0, -depth) for place in outline]))


def cabinet_faces(loudspeaker: Loudspeaker) -> tuple[tuple[str, FloatArray], ...] | None:
    """Return the six faces as (name, quad (4, 3)), normals out of the box, or None without a box of its own."""
    corners = cabinet_corners(loudspeaker)
    if corners is None:
        return None
    return tuple((name, frozen(corners[list(numbers)])) for name, numbers in _FACES)
