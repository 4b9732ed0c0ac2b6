"""Gaps of less than a millimetre between what stands near: half closed, so that one that opens switches nothing.

Elements on both sides of a gap, however thin, say a little too much for what goes through it; where it is closed,
nothing goes through.  Up to `BLENDED_M` waves are worked out both ways, with the gap and without, and the result goes
from one to the other in proportion to its width, as does the mass of air that moves in a slot.  The blend is our own,
no source.
"""

from __future__ import annotations

from collections.abc import Sequence

from sim.arrays import FloatArray
from sim.propagation.waves.mesher import CLOSED_M, PARALLEL, cut_out, flat_faces

BLENDED_M = 0.001
"""From this width on a gap is open."""


def narrowest_gap_m(solids: Sequence[FloatArray], walls: Sequence[tuple[FloatArray, float]] = ()) -> float | None:
    """Width in m of the narrowest gap that is neither closed nor open, between faces of solids (8, 3) or to a wall.

    walls: (normal into the room, offset).
    """
    faces, widths = [face for s, solid in enumerate(solids) for face in flat_faces(s, solid)], []
    for number, one in enumerate(faces):
        for normal, offset in walls:
            gap = float((one.quad @ normal - offset).min())
            if one.normal @ normal < -PARALLEL and CLOSED_M < gap < BLENDED_M:
                widths.append(gap)
        for other in faces[number + 1 :]:
            gap = -(one.offset + other.offset)
            look = one.solid != other.solid and one.normal @ other.normal < -PARALLEL
            if look and CLOSED_M < gap < BLENDED_M and cut_out(one.quad, other.within())[0] is not None:
                widths.append(gap)
    return min(widths, default=None)
