"""Late energy by rays: everything that mirrored paths of a few orders leave out.

Energy leaves each loudspeaker in random directions, loses alpha at every surface and e^{-mL} in air, and goes on like
from a mirror or, for the share s, by Lambert's law (Kuttruff, Room Acoustics).  It reaches a listener in two ways that
never count the same twice:

    rain    where it scatters, what goes straight to the ear: E cos(t)/(pi r^2), if nothing is in between
    sphere  E times the length of the way inside a sphere about the ear, over the sphere's volume, for ways that come
            from a mirror and whose history holds a scatter, or more mirrors than the images have

so that images up to `order` (see `image_energy`) and rays make up the whole.  Rain is let fall when a ray does
scatter, with all it then carries, and not a share s of it at every surface: the mean is the same, its spread is far
below that of the sphere, and it asks for one line of sight in twenty.
"""

from __future__ import annotations

from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from typing import Any

import numpy as np

from sim.arrays import FloatArray, frozen
from sim.errors import BounceplanError
from sim.geometry.surface_names import distances
from sim.machine.processes import all_cores
from sim.placement.built_scene import BuiltScene
from sim.propagation.energy.boundaries import Boundaries, boundaries_of
from sim.propagation.energy.image_energy import air_per_m, bins_of, energy_table

CHUNK = 512
"""Rays that are added up together; chunks are added in their order, so that threads change no bit."""
WAVE, WAVE_NUMBERS = 64, 30_000_000
"""Most chunks in work at once, and most numbers they may hold together unless threads would stand idle."""
LARGEST_RADIUS_M = 0.25
SMALLEST_RADIUS_M = 0.10
THRESHOLD = 1e-7


@dataclass(frozen=True, slots=True)
class LateRays:
    """What rays brought, and what became of all they carried.

    Attributes
    ----------
    energy
        (source, listener, octave, bin); 1 is direct sound on the axis at 1 m in the same octave.
    absorbed, air, left, late, escaped
        (source, octave) shares of what was sent: taken by surfaces and by air, given up below the threshold, given up
        after the length asked for, and lost through a hole or against the back of a surface.  They add up to 1.
    bounces, queries
        Surfaces met, and rays asked of the room for that.
    worst_imbalance
        Largest difference, of any ray, between what it was sent with and what became of it, as a share.
    mean_path_m
        Mean way from surface to surface.
    radius_m
        (listener,) radii of the spheres.
    """

    energy: FloatArray
    absorbed: FloatArray
    air: FloatArray
    left: FloatArray
    late: FloatArray
    escaped: FloatArray
    bounces: int
    queries: int
    worst_imbalance: float
    mean_path_m: float
    radius_m: FloatArray


def late_energy(built: BuiltScene, *, seed: int, rays: int, first_ray: int = 0, **more: Any) -> FloatArray:
    """Energy (source, listener, octave, bin) of `trace_late`, which takes the same arguments."""
    return trace_late(built, seed=seed, rays=rays, first_ray=first_ray, **more).energy


def trace_late(
    built: BuiltScene,
    *,
    seed: int,
    rays: int,
    first_ray: int = 0,
    order: int = 2,
    bin_s: float = 1e-3,
    length_s: float = 1.0,
    threshold: float = THRESHOLD,
    workers: int = 0,
    radius_m: float | None = None,
) -> LateRays:
    """Trace rays `first_ray` to `first_ray + rays - 1` from every loudspeaker and return their mean.

    Octaves, bins and scale are those of `image_energy` for the same `order`.  The numbers of a ray depend on `seed`
    and its own number only (see `random_kernels`), so batches of different rays are independent, and their mean,
    weighted by rays, is what all of them give together but for rounding.  The result is the same to the last bit for
    any number of `workers` (threads; 0 for one each core).  A ray's octave is given up below `threshold` of what it
    began with: 1e-7 is 70 dB down.  The sphere about an ear has `radius_m` or, left out, `receiver_radii`.

    The sphere is a mean over places: 1/r^2 comes out too large by R^2/(5 r^2), 0.5 % at 1.5 m for 0.25 m, and arrivals
    are blurred by R/c, 0.7 ms.

    Raises
    ------
    BounceplanError
        For fewer rays than 1, a negative order or ray number, a seed outside 0 .. 2^64 - 1, a bin, length or radius
        that is not above 0, or a threshold that is not between 0 and 1.
    """
    bins = bins_of(order, bin_s, length_s)
    _refuse(seed, rays, first_ray, threshold, radius_m)
    boundaries, speed = boundaries_of(built), built.air.speed_of_sound_m_s
    radii = receiver_radii(built) if radius_m is None else np.full(len(built.ears), radius_m)
    shape = (len(built.loudspeakers), len(built.ears), bins, 8)
    energy, account = np.zeros(shape), np.zeros((len(built.loudspeakers), 6, 8))
    numbers = np.zeros(5)
    surfaces, ears = surfaces_of(built, boundaries), (np.array(built.ears), radii)
    air = air_per_m(built)
    travel = (air, air.max(), speed, bin_s, speed * length_s, threshold)
    threads = workers if workers > 0 else all_cores()
    wave = max(threads, min(WAVE, WAVE_NUMBERS // int(np.prod(shape[1:]))))
    with ThreadPoolExecutor(threads) as pool:
        for s in range(len(built.loudspeakers)):
            fixed = (seed, s, order, source_of(built, s), surfaces, ears, travel, built.room.ray_arrays)
            chunks = list(chunks_of(first_ray, rays))
            for start in range(0, len(chunks), wave):
                for part in pool.map(lambda chunk, f=fixed: _trace(chunk, f, shape[1:]), chunks[start : start + wave]):
                    energy[s] += part[0]
                    account[s] += part[1]
                    numbers[:2] += part[2][:2]
                    numbers[2] = max(numbers[2], part[2][2])
                    numbers[3:] += part[2][3:]
    sent = np.where(account[:, 5] > 0.0, account[:, 5], 1.0)
    fractions = account[:, :5] / sent[:, None]
    return LateRays(
        energy=frozen(np.ascontiguousarray(energy.swapaxes(2, 3)) / rays),
        absorbed=frozen(fractions[:, 0]),
        air=frozen(fractions[:, 1]),
        left=frozen(fractions[:, 2]),
        late=frozen(fractions[:, 3]),
        escaped=frozen(fractions[:, 4]),
        bounces=int(numbers[0]),
        queries=int(numbers[1]),
        worst_imbalance=float(numbers[2]),
        mean_path_m=float(numbers[3] / max(numbers[4], 1.0)),
        radius_m=frozen(radii),
    )


def receiver_radii(built: BuiltScene) -> FloatArray:
    """Radius (listener,) of the sphere about each ear: 0.25 m, less where a surface is nearer, 0.10 m at least.

    What is cut off by a surface would be missing from the sphere's volume.
    """
    near = [distances(ear, built.room.triangles).min() for ear in built.ears]
    return np.asarray(np.clip(near, SMALLEST_RADIUS_M, LARGEST_RADIUS_M), dtype=np.float64)


def _trace(chunk: tuple[int, int], fixed: tuple[Any, ...], shape: tuple[int, ...]) -> tuple[Any, Any, Any]:
    from sim.propagation.energy.step_kernels import BLOCK, MOST
    from sim.propagation.energy.tracer_kernels import trace_chunk
    from sim.rays.query_kernels import QUERY_BLOCK

    work = np.empty(BLOCK, dtype=np.int64), np.empty((3, MOST)), np.empty(QUERY_BLOCK)
    energy, account = np.zeros(shape), np.zeros((6, 8))
    seed, stream, *rest = fixed
    numbers = trace_chunk(*chunk, np.uint64(seed), stream, *rest, work, (energy, account))
    return energy, account, numbers


def chunks_of(first_ray: int, rays: int) -> Iterator[tuple[int, int]]:
    """First ray and number of rays of each chunk; borders lie at multiples of `CHUNK` whatever the first ray is."""
    at, end = first_ray, first_ray + rays
    while at < end:
        stop = min((at // CHUNK + 1) * CHUNK, end)
        yield at, stop - at
        at = stop


def source_of(built: BuiltScene, s: int) -> tuple[Any, ...]:
    """Source tuple of the kernels: the acoustic axis point, how it is turned, what it radiates, what it sits in."""
    one = built.loudspeakers[s]
    table = energy_table(one.model, built.air.speed_of_sound_m_s)
    built_into = [n for n, facet in enumerate(built.room.facets) if facet.name in one.built_into]
    arrays = built.room.arrays
    away = [abs(float(arrays.normal[n] @ one.axis_point - arrays.offset[n])) for n in built_into]
    plane = int(arrays.plane[built_into[int(np.argmin(away))]]) if built_into else -1
    own = built.room.owner_number(one.body)
    out = np.zeros(3)
    if plane >= 0:
        out += arrays.normal[built_into[int(np.argmin(away))]]
    return (np.array(one.axis_point), np.array(one.rotation), table, own, plane, out)


def surfaces_of(built: BuiltScene, boundaries: Boundaries) -> tuple[Any, ...]:
    """Surfaces tuple of the kernels."""
    room = built.room
    return (
        room.facet_of_triangle,
        room.arrays.normal,
        boundaries.other_side,
        boundaries.first_panel,
        boundaries.panels,
        np.ascontiguousarray(boundaries.kept),
        np.ascontiguousarray(boundaries.scattering),
    )


def _refuse(seed: int, rays: int, first_ray: int, threshold: float, radius_m: float | None) -> None:
    if rays < 1 or first_ray < 0:
        raise BounceplanError(f"{rays} rays from number {first_ray} on; give at least 1 ray, counted from 0.")
    if not 0 <= seed < 2**64:
        raise BounceplanError(f"the seed {seed}; give a whole number from 0 to 2^64 - 1.")
    if not 0.0 < threshold < 1.0:
        raise BounceplanError(f"rays given up below {threshold:g} of their energy; give a share between 0 and 1.")
    if radius_m is not None and not 0.0 < radius_m < np.inf:
        raise BounceplanError(f"a sphere of {radius_m:g} m about the ear; give a radius above zero.")
