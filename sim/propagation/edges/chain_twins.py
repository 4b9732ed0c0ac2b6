"""Chains that are mirror images of each other, so that one sum does for both.

In a set-up that is the same on the left and on the right, the right loudspeaker's chains over the desk are the left
one's in a mirror, and those over each other's cabinets too.  Two pieces of work are twins when one mirror takes source
to source, ear to ear and body to body, with the same weights on the edges and the same radiation toward them.  What is
called the same differs by less than `SAME_M` in place and `SAME_SHARE` in weights and radiation.

Places along an edge are laid from its start, which in a mirror is its end: so a sum taken over differs from one of its
own by the error of these sums, below 2e-4 of the direct sound.  Where an end is level with a face that error is larger
(up to 3e-3), and each is summed on its own.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from sim.arrays import BoolArray, FloatArray, IntArray
from sim.propagation.edges.chains import ChainWork
from sim.propagation.edges.convex import ConvexBody

SAME_M = 5.0e-6
"""Corners are kept to a micrometre, each facet's on a grid of its own."""
SAME_SHARE = 1.0e-4
LEVEL_M = 5.0e-3
"""An end nearer than this to the plane of a face is level with it."""


def twins(works: Sequence[ChainWork]) -> list[int]:
    """For each piece of work the number of the first whose sums do for it as well: its own where there is none."""
    found: list[int] = []
    for number, work in enumerate(works):
        before = (n for n in range(number) if found[n] == n and is_twin(works[n], work))
        found.append(next(before, number))
    return found


def is_twin(one: ChainWork, other: ChainWork) -> bool:
    """Whether the pressures of all sums of one are those of the other."""
    if one.order != other.order or not one.sums or len(one.sums) != len(other.sums):
        return False
    if one.drive.shape != other.drive.shape or not np.array_equal(one.asked_hz, other.asked_hz):
        return False
    apart = other.source - one.source
    distance = float(np.linalg.norm(apart))
    if distance < SAME_M:
        return False
    normal, middle = apart / distance, 0.5 * (one.source + other.source)

    def mirrored(points: FloatArray) -> FloatArray:
        return np.asarray(points - 2.0 * ((points - middle) @ normal)[..., None] * normal)

    if np.abs(mirrored(one.ear) - other.ear).max() > SAME_M:
        return False
    if min(np.abs(one.body.heights(end)).min() for end in (one.source, one.ear)) < LEVEL_M:
        return False
    met = mirrored_edges(other.body, mirrored(ends_of(one.body)))
    if met is None:
        return False
    place, turned = met
    if np.abs(other.edge_weights[:, place] - one.edge_weights).max() > SAME_SHARE:
        return False
    drive = other.drive[place]
    drive = np.where(turned[:, None, None], drive[:, ::-1], drive)
    return bool(np.abs(drive - one.drive).max(initial=0.0) <= SAME_SHARE * np.abs(one.drive).max(initial=0.0))


def ends_of(body: ConvexBody) -> FloatArray:
    """Ends (e, 2, 3) of the edges of a body."""
    start, along, _, _, length, _ = body.wedges
    return np.stack([start, start + length[:, None] * along], axis=1)


def mirrored_edges(body: ConvexBody, images: FloatArray) -> tuple[IntArray, BoolArray] | None:
    """Which edge (e,) of a body each image (e, 2, 3) of an edge is, and whether it runs the other way; or None."""
    ends = ends_of(body)
    away = np.linalg.norm(images.mean(axis=1)[:, None] - ends.mean(axis=1)[None], axis=2)
    place = away.argmin(axis=1)
    straight = np.abs(images - ends[place]).max(axis=(1, 2)) <= SAME_M
    turned = np.abs(images[:, ::-1] - ends[place]).max(axis=(1, 2)) <= SAME_M
    if len(np.unique(place)) < len(place) or not (straight | turned).all():
        return None
    return place, turned
