"""Sources and ears that lie exactly in the plane of some piece's face, as typed lengths often have them.

An ear at 1.220 m and a screen of which the top is at 1.220 m: whether the two see each other along that top is neither
yes nor no.  Sight calls it hidden, a single edge leaves its half out, edges in turn count the face as lit, and together
they were 8 dB off.  So such a point is moved out of the plane, to the side of the air, by a few ten-thousandths
of a millimetre; sound itself knows no such step, and no level moves by more than 0.001 dB for it.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Final

import numpy as np

from sim.arrays import FloatArray, frozen
from sim.geometry.room import Room
from sim.placement.poses import PlacedLoudspeaker

OFF_PLANE_M: Final = 2.0e-7
"""A point nearer to the plane of a face is moved out to this height, so that it is on a side; more than the height to
which edges in turn move a point by themselves (`sim.propagation.edges.convex.ON_SURFACE_M`), so that they never do."""


def off_planes(room: Room, points: FloatArray, own: int) -> FloatArray:
    """Points (n, 3) in metres, none nearer than `OFF_PLANE_M` to the planes of all but the room and the body `own`."""
    from sim.placement.solid_kernels import move_off_planes

    moved, arrays = np.array(points), room.arrays
    move_off_planes(moved, arrays.normal, arrays.offset, arrays.owner, own, OFF_PLANE_M)
    return frozen(moved)


def ears_off_planes(room: Room, ears: FloatArray) -> FloatArray:
    """Ears (l, 3) out of the planes of furniture and cabinets."""
    return off_planes(room, ears, -2)


def drivers_off_planes(room: Room, loudspeaker: PlacedLoudspeaker) -> PlacedLoudspeaker:
    """A loudspeaker with its drivers out of the planes of all but its own cabinet, or wall."""
    if loudspeaker.built_into:
        return loudspeaker
    points = off_planes(room, loudspeaker.driver_points, room.owner_number(loudspeaker.body))
    same = points.tolist() == loudspeaker.driver_points.tolist()
    return loudspeaker if same else replace(loudspeaker, driver_points=points)
