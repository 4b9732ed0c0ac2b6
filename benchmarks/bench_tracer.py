"""Bounces a second of the tracer, beside the bare rate of closest-hit queries of the same room.

Run: python -m benchmarks.bench_tracer

All in one process and one thread, in turns, 15 times; two threads at the end.  Ratios are those of the medians and, in
brackets, of the fastest turns, which others at work on the machine disturb least.  Three bare rates are printed:

    single rays    rays that have nothing to do with each other, from free places, nothing passed over
    from surfaces  the same rays from the very surface, its plane passed over, as a tracer has to ask
    chains         mirror after mirror, so that each ray waits for the one before, as a tracer's do
"""

from __future__ import annotations

import math
import statistics
import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numba as nb
import numpy as np

from sim.arrays import FloatArray, IntArray
from sim.blueprint.reader import read_scene
from sim.placement.built_scene import build_scene
from sim.propagation.energy.late_rays import CHUNK, trace_late
from sim.rays.ray_kernels import addresses_of, nearest_but

SCENE = Path(__file__).resolve().parent.parent / "scenes" / "bedroom-on-desk" / "scene.toml"
REPEATS, CHAINS, LONG = 15, 250, 200


@nb.njit(nogil=True)
def single_rays(points, directions, planes, rays):  # type: ignore[no-untyped-def]
    """Closest hits of rays that do not depend on each other; planes (n,) are passed over."""
    places = addresses_of(*rays)
    total = 0.0
    for i in range(points.shape[0]):
        t, _ = nearest_but(
            places,
            points[i, 0],
            points[i, 1],
            points[i, 2],
            directions[i, 0],
            directions[i, 1],
            directions[i, 2],
            -1.0e-9,
            math.inf,
            planes[i],
            -1,
            -1,
        )
        total += t
    return total


@nb.njit(nogil=True)
def chains(points, directions, count, normals, facet_of, rays, started):  # type: ignore[no-untyped-def]
    """Mirrors and nothing else; first rays and their planes are kept in started (n, 7).  Returns the number of hits."""
    places = addresses_of(*rays)
    hits = 0
    for i in range(points.shape[0]):
        x, y, z = points[i, 0], points[i, 1], points[i, 2]
        dx, dy, dz = directions[i, 0], directions[i, 1], directions[i, 2]
        plane = -1
        for _ in range(count):
            if hits < started.shape[0]:
                started[hits, 0], started[hits, 1], started[hits, 2] = x, y, z
                started[hits, 3], started[hits, 4], started[hits, 5], started[hits, 6] = dx, dy, dz, plane
            t, k = nearest_but(places, x, y, z, dx, dy, dz, -1.0e-9, math.inf, plane, -1, -1)
            if k < 0:
                break
            n = facet_of[k]
            x, y, z = x + t * dx, y + t * dy, z + t * dz
            twice = 2.0 * (dx * normals[n, 0] + dy * normals[n, 1] + dz * normals[n, 2])
            dx, dy, dz = dx - twice * normals[n, 0], dy - twice * normals[n, 1], dz - twice * normals[n, 2]
            plane = rays[2][k]
            hits += 1
    return hits


def rates_of(repeats: int = REPEATS) -> dict[str, list[float]]:
    """Bare rates, of which the first three are those without a tracer, and bounces, in millions a second."""
    built = build_scene(read_scene(SCENE).blueprint, SCENE.parent)
    built = replace(built, loudspeakers=built.loudspeakers[:1])
    room, draw = built.room, np.random.default_rng(20)
    ways = draw.normal(size=(CHAINS, 3))
    ways /= np.linalg.norm(ways, axis=1)[:, None]
    points = built.ears[0] + 0.1 * draw.normal(size=ways.shape)
    tuples = (room.arrays.normal, room.facet_of_triangle, room.ray_arrays)
    met = np.zeros((CHAINS * LONG, 7))
    chains(points, ways, LONG, *tuples, met)
    starts, onward = np.ascontiguousarray(met[:, :3]), np.ascontiguousarray(met[:, 3:6])
    free, left, nothing = starts + 1e-6 * onward, met[:, 6].astype(np.int64), np.full(len(met), -1)
    none = np.zeros((0, 7))

    def bare(places: FloatArray, planes: IntArray) -> Callable[[], int]:
        return lambda: (single_rays(places, onward, planes, room.ray_arrays), len(places))[1]

    def traced(scattering: float | None, workers: int) -> Callable[[], int]:
        scattered = (
            built if scattering is None else replace(built, scattering=np.full_like(built.scattering, scattering))
        )
        return lambda: trace_late(scattered, seed=1, rays=32 * CHUNK, workers=workers).bounces

    works: dict[str, Callable[[], int]] = {
        "closest hits, single rays": bare(free, nothing),
        "closest hits, from surfaces": bare(starts, left),
        "closest hits, chains of mirrors": lambda: chains(points, ways, LONG, *tuples, none),
        "bounces, mirrors only": traced(0.0, 1),
        "bounces, the scene's scattering (0.05)": traced(None, 1),
        "bounces, scattering 0.3": traced(0.3, 1),
        "bounces, scattering 1": traced(1.0, 1),
        "bounces, 0.05, two threads": traced(None, 2),
    }
    rates: dict[str, list[float]] = {name: [] for name in works}
    for work in works.values():
        work()
    for _ in range(repeats):
        for name, work in works.items():
            clock = time.perf_counter if "threads" in name else time.process_time  # others on the machine disturb least
            start = clock()
            count = work()
            rates[name].append(1e-6 * count / (clock() - start))
    return rates


def main() -> None:
    """Print bare rates and bounces a second in the bedroom."""
    rates = rates_of()
    bases = [rates[name] for name in list(rates)[:3]]
    print(f"{'millions a second':38} {'median':>6} {'least':>6} {'most':>6}  of single rays  from surfaces  of chains")
    for name, values in rates.items():
        middle = statistics.median(values)
        ratios = "".join(f"{middle / statistics.median(b):7.2f} ({max(values) / max(b):.2f}) " for b in bases)
        print(f"{name:38} {middle:6.2f} {min(values):6.2f} {max(values):6.2f} {ratios}")


if __name__ == "__main__":
    main()
