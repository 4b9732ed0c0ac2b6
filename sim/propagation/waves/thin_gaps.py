"""Gaps of less than a millimetre between what stands near: half closed, so that one that opens switches nothing.

Elements on both sides of a gap, however thin, say a little too much for what goes through it; where it is closed,
nothing goes through.  Up to `BLENDED_M` waves are worked out both ways, with the gap and without, and the result goes
from one to the other in proportion to its width, as does the mass of air that moves in a slot.  The blend is our own,
no source.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from sim.arrays import FloatArray
from sim.propagation.waves.elements import outward_quads
from sim.propagation.waves.mesher import CLOSED_M, PARALLEL, SMALLEST_M2, cut_out

BLENDED_M = 0.001
"""From this width on a gap is open."""


def narrowest_gap_m(solids: Sequence[FloatArray], walls: Sequence[tuple[FloatArray, float]] = ()) -> float | None:
    """Width in m of the narrowest gap that is neither closed nor open, between faces of solids (8, 3) or to a wall.

    walls: (normal into the room, offset).
    """
    faces, widths = [], []
    for s, solid in enumerate(solids):
        for quad in outward_quads(solid):
            crossed = np.cross(quad[2] - quad[0], quad[3] - quad[1])
            size = float(np.linalg.norm(crossed))
            if 0.5 * size > SMALLEST_M2:
                normal = crossed / size
                faces.append((s, quad, normal, float(normal @ quad.mean(axis=0))))
    for number, (s, quad, normal, offset) in enumerate(faces):
        for away, beyond in walls:
            gap = float((quad @ away - beyond).min())
            if normal @ away < -PARALLEL and CLOSED_M < gap < BLENDED_M:
                widths.append(gap)
        for t, other, against, there in faces[number + 1 :]:
            gap = -(offset + there)
            if (
                s != t
                and normal @ against < -PARALLEL
                and CLOSED_M < gap < BLENDED_M
                and _faces_it(quad, other, against)
            ):
                widths.append(gap)
    return min(widths, default=None)


def _faces_it(quad: FloatArray, other: FloatArray, normal: FloatArray) -> bool:
    """Whether a part of a face (4, 3) lies before another one."""
    sides = []
    for here, there in zip(other, np.roll(other, -1, axis=0), strict=True):
        outward = np.cross(there - here, normal)
        size = float(np.linalg.norm(outward))
        if size > 1e-9:
            sides.append((outward / size, float(outward @ here) / size))
    return cut_out(quad, sides)[0] is not None
