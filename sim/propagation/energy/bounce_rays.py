"""Early sound by rays, each arrival with the places where it bounced first, second and third."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from typing import Any

import numpy as np

from sim.arrays import BoolArray, FloatArray, IntArray, frozen
from sim.errors import BounceplanError
from sim.machine.processes import all_cores
from sim.placement.built_scene import BuiltScene
from sim.propagation.energy.boundaries import boundaries_of
from sim.propagation.energy.image_energy import air_per_m
from sim.propagation.energy.late_rays import CHUNK, chunks_of, source_of, surfaces_of

HEAD_RADIUS_M = 0.15
"""Sphere about the ear, about the reach of a head box; places on a surface are blurred by as much at most."""
FIRST_ROOM = 4 * CHUNK


@dataclass(frozen=True, slots=True)
class BounceRays:
    """What rays of one loudspeaker bring to the ear after direct sound, one row an arrival.

    Attributes
    ----------
    energy
        (n, 8) octaves 63 Hz to 8 kHz, as shares of a mean over all rays; 1 is direct sound on the axis at 1 m.
    length_m
        (n,) whole length.
    bounces
        (n,) surfaces met.
    scattered
        (n,) whether any of them scattered it, or all were mirrors.
    facet
        (n, 3) numbers of the first three facets, -1 where there was none.
    place
        (n, 3, 3) where on them, nan where there was none.
    """

    energy: FloatArray
    length_m: FloatArray
    bounces: IntArray
    scattered: BoolArray
    facet: IntArray
    place: FloatArray


def bounce_rays(
    built: BuiltScene,
    s: int,
    *,
    seed: int,
    rays: int,
    longest_m: float,
    radius_m: float = HEAD_RADIUS_M,
    workers: int = 0,
) -> BounceRays:
    """Trace rays of loudspeaker `s` until they are `longest_m` long; what they bring to the first ear.

    Counted as in `late_rays`, with every mirrored way too: a sphere for what comes from a mirror, rain for what
    scatters.  The same arguments give the same bits, whatever the number of threads (`workers`, 0 for one each core).

    Raises
    ------
    BounceplanError
        For fewer rays than 1, or a seed outside 0 .. 2^64 - 1.
    """
    if rays < 1:
        raise BounceplanError(f"{rays} rays; give at least 1.")
    if not 0 <= seed < 2**64:
        raise BounceplanError(f"the seed {seed}; give a whole number from 0 to 2^64 - 1.")
    boundaries = boundaries_of(built)
    fixed = (
        np.uint64(seed),
        s,
        source_of(built, s),
        surfaces_of(built, boundaries),
        (np.array(built.ears[:1]), np.array([radius_m])),
        (air_per_m(built), longest_m),
        built.room.ray_arrays,
    )
    with ThreadPoolExecutor(workers if workers > 0 else all_cores()) as pool:
        parts = list(pool.map(lambda chunk: _trace(chunk, fixed), chunks_of(0, rays)))
    rows = np.concatenate(parts)
    memory = rows[:, 11:].reshape(len(rows), 3, 4)
    return BounceRays(
        frozen(rows[:, :8] / rays),
        frozen(rows[:, 8].copy()),
        frozen(rows[:, 9].astype(np.int64)),
        frozen(rows[:, 10] > 0.0),
        frozen(np.nan_to_num(memory[:, :, 0], nan=-1.0).astype(np.int64)),
        frozen(memory[:, :, 1:].copy()),
    )


def _trace(chunk: tuple[int, int], fixed: tuple[Any, ...]) -> FloatArray:
    from sim.propagation.energy.bounce_kernels import COLUMNS, bounce_chunk

    room = FIRST_ROOM
    while True:
        found = np.zeros((room, COLUMNS))
        count = bounce_chunk(*chunk, *fixed, found)
        if count <= room:
            return np.asarray(found[:count].copy())
        room = count
