"""Questions one asks of a built room: what does this ray meet, does anything stand between these points.

Points are copied to fresh arrays before they enter a kernel, so that each kernel is compiled for one signature.
"""

from __future__ import annotations

import numpy as np

from ..arrays import FloatArray
from .room import Room


def first_hit(room: Room, origin: FloatArray, direction: FloatArray, pass_over: int = -1) -> tuple[float, int]:
    """Return (distance in lengths of `direction`, facet) of the first surface a ray (3,), (3,) meets, or (inf, -1).

    `pass_over` is the number of a body that does not count.
    """
    from .kernels import nearest_hit

    distance, triangle = nearest_hit(
        np.array(origin), np.array(direction), 1e-9, np.inf, -1, -1, pass_over, *room.ray_arrays
    )
    return float(distance), int(room.facet_of_triangle[triangle]) if triangle >= 0 else -1


def first_between(room: Room, start: FloatArray, stop: FloatArray, pass_over: int = -1) -> int:
    """Return the facet of a surface between two points (3,), or -1 when they see each other."""
    from .kernels import blocker

    triangle = blocker(np.array(start), np.array(stop), -1, -1, pass_over, *room.ray_arrays)
    return int(room.facet_of_triangle[triangle]) if triangle >= 0 else -1
