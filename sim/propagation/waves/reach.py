"""How high waves go, and round how much: what is worked out in good time, and what else is done where all is too much.

Tried in turn: all that stands near any listener; what stands near the first listener, who the room is set up for; of
that the pieces nearest to the straight lines from the drivers.  The first two go as high as their elements allow, with
elements that grow with the wavelength; pieces are left out only where waves would end below `ENOUGH_HZ`.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from sim.arrays import FloatArray
from sim.placement.built_scene import BuiltScene
from sim.placement.in_air import Solids
from sim.propagation.waves.cluster import (
    LEVEL,
    Cluster,
    alike_about,
    find_cluster,
    mesh_note,
    meshes_near,
    nearest_first,
)
from sim.propagation.waves.elements import outward_quads
from sim.propagation.waves.mesher import SMALLEST_M2, mesh_solids

ELEMENTS_PER_WAVELENGTH = 6.0
LARGEST_M = 0.08
DEFAULT_TO_HZ = 1000.0
MOST_ELEMENTS, MOST_IN_HALVES, MOST_ELEMENTS_ASKED = 1650, 2200, 12_000
"""More elements than the first take more than about 3 s on two cores, or than the second where left and right are
alike; more than the third need more memory than there may be, where somebody asked for more."""
FINER, FEW_BESIDE_WALL = 8.0, 1650
"""Close to a wall, waves in the space between are short of elements first: so many to the wavelength if no more than so
many in all."""
FEW_ELEMENTS, HIGHER_HZ = 1000, (1600.0, 1400.0, 1250.0, 1100.0)
"""By default a small cluster goes to the first of these frequencies at which it has no more elements than this."""
SOFT, HIGHER_SOFT_HZ, FEW_SOFT, FEW_SOFT_IN_HALVES = 0.3, (2000.0, *HIGHER_HZ), 1300, 1700
"""With a panel, or a face that takes as much as the first at any frequency, it may go higher and have more: edges know
soft faces only by their reflection factor.  So many take no longer than the most elements at 1 kHz do."""
HIGHER_LONE_HZ, RIGID = 1250.0, 0.05
"""By default one rigid body (absorption coefficients below the second) is left to edges from the first on."""
ALONE = 1.25
"""Waves are used alone to so many times the limit: with 4.8 elements to the wavelength, there, they are still several
times nearer to the truth than edges are."""
LOWEST_LIMIT_HZ, ENOUGH_HZ = 300.0, 500.0
LOWER = 0.95
COARSE_M, COUNTED_CLOSED_M = 0.25, 0.002
"""Elements of the first size tell how much of each face is in the air.  Faces along a gap thinner than the second are
not counted: they are few, and so a gap that opens does not change how high waves go."""
Wall = tuple[FloatArray, float]


@dataclass(frozen=True, slots=True)
class Reach:
    """How high waves go.

    Attributes
    ----------
    limit_hz
        Up to here there are enough elements to the wavelength.
    alone_hz
        Up to here waves are used alone.
    largest_m
        Longest element at any frequency.
    per_wavelength
        Least number of elements to the wavelength up to the limit.
    """

    limit_hz: float
    alone_hz: float
    largest_m: float = LARGEST_M
    per_wavelength: float = ELEMENTS_PER_WAVELENGTH

    def longest_element_m(self, to_hz: float, speed_m_s: float) -> float:
        """Longest element in metres for a band that ends at a frequency."""
        return min(self.largest_m, speed_m_s / min(to_hz, self.limit_hz) / self.per_wavelength)


def longest_element_m(to_hz: float, speed_m_s: float, largest_m: float = LARGEST_M) -> float:
    """Longest element in metres for a highest frequency."""
    return min(largest_m, speed_m_s / to_hz / ELEMENTS_PER_WAVELENGTH)


class ElementCount:
    """About how many elements solids (b, 8, 3) take, less what of each face is hidden by others or by walls."""

    def __init__(self, solids: FloatArray, walls: Sequence[Wall] = ()) -> None:
        quads = np.concatenate([outward_quads(solid) for solid in solids])
        sides = np.linalg.norm(np.roll(quads, -1, axis=1) - quads, axis=2)
        areas = 0.5 * np.linalg.norm(np.cross(quads[:, 2] - quads[:, 0], quads[:, 3] - quads[:, 1]), axis=1)
        self._along, self._across = sides[:, ::2].max(axis=1), sides[:, 1::2].max(axis=1)
        coarse = mesh_solids(list(solids), COARSE_M, list(walls), closed_m=COUNTED_CLOSED_M)
        seen = np.bincount(coarse.face, weights=coarse.areas_m2, minlength=len(quads))
        self._seen = np.where(areas > SMALLEST_M2, np.minimum(seen / np.maximum(areas, SMALLEST_M2), 1.0), 0.0)

    def __call__(self, largest_m: float) -> int:
        """Number of elements none of which is longer."""
        whole = np.ceil(self._along / largest_m) * np.ceil(self._across / largest_m)
        return int(np.ceil((self._seen * whole).sum() - 1e-6))


def reach_of(
    elements: Callable[[float], int],
    to_hz: float,
    speed_m_s: float,
    *,
    lone: bool = False,
    halves: bool = False,
    soft: bool = False,
) -> Reach:
    """How high waves go where there are so many `elements` of a longest side in m.

    To `to_hz` or below, but above the default where that takes few.  lone: edges do as well higher up; halves: left and
    right are alike; soft: something takes sound.
    """

    def count(hertz: float) -> int:
        return elements(longest_element_m(hertz, speed_m_s))

    if to_hz == DEFAULT_TO_HZ:
        few = (FEW_SOFT_IN_HALVES if halves else FEW_SOFT) if soft else FEW_ELEMENTS
        for higher in HIGHER_SOFT_HZ if soft else HIGHER_HZ:
            if not (lone and higher > HIGHER_LONE_HZ) and count(higher) <= few:
                return Reach(higher, min(ALONE * higher, HIGHER_LONE_HZ if lone else np.inf))
    most = MOST_ELEMENTS_ASKED if to_hz > DEFAULT_TO_HZ else MOST_IN_HALVES if halves else MOST_ELEMENTS
    if count(to_hz) <= most:
        return Reach(to_hz, ALONE * to_hz)
    limit = to_hz
    while elements(longest_element_m(limit, speed_m_s, np.inf)) > most and limit >= LOWEST_LIMIT_HZ:
        limit *= LOWER
    largest = longest_element_m(limit, speed_m_s, np.inf)
    limit = max(float(np.floor(limit / 10.0) * 10.0), 10.0)
    return Reach(limit, ALONE * limit, max(largest, LARGEST_M))


def reach_in(built: BuiltScene, cluster: Cluster, to_hz: float) -> Reach:
    """How high waves round a cluster go."""
    walls, speed = cluster.planes(built), built.air.speed_of_sound_m_s
    elements = ElementCount(cluster.bare_solids, walls)
    halves = alike_about(cluster.solids, walls) is not None
    reach = reach_of(
        elements, to_hz, speed, lone=_edges_know(built, cluster), halves=halves, soft=_soft(built, cluster)
    )
    finer = replace(reach, largest_m=LARGEST_M * ELEMENTS_PER_WAVELENGTH / FINER, per_wavelength=FINER)
    upright = any(abs(float(normal[2])) < LEVEL for normal, _ in walls)
    if (
        upright
        and reach.limit_hz >= to_hz
        and elements(finer.longest_element_m(reach.limit_hz, speed)) <= FEW_BESIDE_WALL
    ):
        return finer
    return reach


def _edges_know(built: BuiltScene, cluster: Cluster) -> bool:
    """Whether all that stands near is one rigid body away from walls, which edges do as well higher up."""
    return len(cluster.solids) == 1 and not cluster.walls and bool((_absorption(built, cluster) < RIGID).all())


def _soft(built: BuiltScene, cluster: Cluster) -> bool:
    """Whether a panel lies on something that stands near, or a face of it takes sound."""
    return any(number >= 0 for number in cluster.panels) or bool((_absorption(built, cluster) >= SOFT).any())


def _absorption(built: BuiltScene, cluster: Cluster) -> FloatArray:
    """Coefficients (facet, band) of what stands near, panels aside."""
    own = [f for f, facet in enumerate(built.room.facets) if facet.owner in cluster.names]
    return np.asarray(built.absorption[own])


def within_reach(built: BuiltScene, furniture: Sequence[Solids], to_hz: float) -> tuple[Cluster, Reach] | None:
    """What waves are worked out round, and how high; None where nothing stands near, or not even one piece is possible.

    The cluster says which other pieces stand near and are left to edges.
    """
    whole = find_cluster(built, furniture)
    if whole is None:
        return None
    reach = reach_in(built, whole, to_hz)
    if reach.limit_hz >= min(to_hz, DEFAULT_TO_HZ):
        return whole, reach
    first = replace(built, ears=built.ears[:1])
    chosen, near = whole, find_cluster(first, furniture)
    if near is not None and near.names != whole.names:
        chosen, reach = near, reach_in(built, near, to_hz)
    pieces = [piece for piece in nearest_first(first, furniture) if piece.name in chosen.names]
    while reach.limit_hz < min(to_hz, ENOUGH_HZ) and len(pieces) > 1:
        pieces.pop()
        fewer = find_cluster(first, pieces)
        if fewer is None:
            break
        chosen, reach = fewer, reach_in(built, fewer, to_hz)
    if reach.limit_hz < min(to_hz, LOWEST_LIMIT_HZ):
        return None
    left = tuple(dict.fromkeys(name for name in whole.bodies if name not in chosen.names))
    return replace(chosen, left_to_edges=left, left_out=whole.left_out), reach


def note_without_waves(built: BuiltScene, furniture: Sequence[Solids], to_hz: float = DEFAULT_TO_HZ) -> str:
    """Why `trace_waves` was asked up to `to_hz` and gave nothing, in a sentence; empty where nothing stands near."""
    cluster = find_cluster(built, furniture) if to_hz > 0.0 else None
    if cluster is None:
        return mesh_note(meshes_near(built, furniture)) if to_hz > 0.0 else ""
    return (
        f"sound waves round {' and '.join(dict.fromkeys(cluster.bodies))} were left out, for so much stands near that"
        f" they could not be worked out up to {min(to_hz, LOWEST_LIMIT_HZ):.0f} Hz in good time; edges stand for them"
    )
