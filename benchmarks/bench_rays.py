"""How fast rays find what they meet, beside Embree as a Python user gets it (embreex, `scene.run`).

Run: python benchmarks/bench_rays.py            about a minute and a half
     python benchmarks/bench_rays.py --leaks N  instead: N million legs in closed rooms, none of which may escape

Both sides in one process and on one thread, one after the other, by its processor time, medians of nine ratios; above
1 means ours is the faster.  Rooms and seeds here were not used for tuning, and every one is printed.  Embree works in
single precision; ours is exact to double precision in every row, so the rows for float64 are the same rows.  Times are
of this machine on this day, ratios travel further.  Never part of the tests.
"""

from __future__ import annotations

import argparse
import os
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
from embreex import rtcore_scene
from embreex.mesh_construction import TriangleMesh
from numba import get_num_threads, njit, prange, set_num_threads
from scipy.spatial.transform import Rotation

from sim.rays.ray_kernels import any_of_rays, nearest_of_rays, nearest_of_rays_on_threads
from sim.rays.wide_tree import build_tree

HOME = Path(__file__).resolve().parent.parent
RAYS, TURNS = 150_000, 9
SIZE = np.array([5.2, 4.1, 2.7])
_QUADS = ((0, 2, 6, 4), (1, 5, 7, 3), (0, 1, 3, 2), (4, 6, 7, 5), (0, 4, 5, 1), (2, 3, 7, 6))
IMPORTS = """
import time
import numpy, numba
start, used = time.perf_counter(), time.process_time()
import numpy as np
from sim.rays import ray_kernels, shape_kernels
from sim.rays.wide_tree import build_tree
triangles = np.random.default_rng(0).normal(size=(1200, 3, 3))
none = np.zeros(1200, np.int64)
rays = (build_tree(triangles).arrays, triangles, none, none)
p, limit = np.zeros((4, 3)), np.full(4, np.inf)
for name in ("nearest_of_rays", "any_of_rays", "nearest_of_rays_on_threads", "any_of_rays_on_threads"):
    getattr(ray_kernels, name)(p, p + 1.0, limit, *rays)
shape_kernels.nearest_hit(p[0], p[1] + 1.0, 0.0, np.inf, -1, -1, -1, *rays)
shape_kernels.blocker(p[0], p[1] + 1.0, -1, -1, -1, *rays)
shape_kernels.is_hidden(p[0], p[1] + 1.0, -1, -1, -1, *rays)
print(time.perf_counter() - start, time.process_time() - used)
"""


def box(low: np.ndarray, high: np.ndarray, bend: np.ndarray | float = 0.0) -> np.ndarray:
    """Twelve triangles of a box, its corners moved by bend (8, 3)."""
    corners = np.array([[(low, high)[i >> (2 - k) & 1][k] for k in range(3)] for i in range(8)], float) + bend
    return np.concatenate([[corners[list(q)][[0, 1, 2]], corners[list(q)][[0, 2, 3]]] for q in _QUADS])


def room(seed: int, pieces: int, splayed: bool = False, turned: bool = False) -> np.ndarray:
    """A room with blocks that stand or hang: 12 triangles and 12 for each."""
    rng = np.random.default_rng(seed)
    outward = np.array([[1.0 if i >> (2 - k) & 1 else -1.0 for k in range(3)] for i in range(8)])
    parts = [box(np.zeros(3), SIZE, rng.uniform(0.0, 0.35, (8, 3)) * outward if splayed else 0.0)]
    for number in range(pieces):
        size = rng.uniform(0.1, 1.1, 3)
        low = rng.uniform(0.05, 0.95, 3) * (SIZE - size)
        if number % 2:
            low[2] = 0.0
        parts.append(box(low, low + size))
    triangles = np.concatenate(parts)
    return triangles @ Rotation.random(random_state=seed).as_matrix().T if turned else triangles


def ball(middle: np.ndarray, half: np.ndarray, steps: int) -> np.ndarray:
    """Triangles of an ellipsoid, 4 * steps^2 less those at the poles."""
    i, j = (each.ravel() for each in np.meshgrid(np.arange(steps), np.arange(2 * steps), indexing="ij"))

    def at(i: np.ndarray, j: np.ndarray) -> np.ndarray:
        a, b = np.pi * i / steps, np.pi * (j % (2 * steps)) / steps
        return middle + half * np.stack([np.sin(a) * np.cos(b), np.sin(a) * np.sin(b), np.cos(a)], axis=-1)

    low = np.stack([at(i, j), at(i + 1, j), at(i + 1, j + 1)], axis=1)[i < steps - 1]
    return np.concatenate([low, np.stack([at(i, j), at(i + 1, j + 1), at(i, j + 1)], axis=1)[i > 0]])


def room_with_balls(seed: int, steps: int, balls: int) -> np.ndarray:
    """A furnished room with ellipsoids of many triangles."""
    rng = np.random.default_rng(seed)
    parts = [room(seed, 12)]
    parts += [ball(rng.uniform(0.2, 0.8, 3) * SIZE, rng.uniform(0.1, 0.6, 3), steps) for _ in range(balls)]
    return np.concatenate(parts)


def rays_through(seed: int, triangles: np.ndarray, coherent: bool) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Starts, unit directions and lengths of segments between places in the middle of the room."""
    rng = np.random.default_rng(seed)
    low, high = triangles[:12].min(axis=(0, 1)), triangles[:12].max(axis=(0, 1))
    start, stop = low + rng.uniform(0.08, 0.92, (2, RAYS, 3)) * (high - low)
    if coherent:
        start[:] = start[0]
        turn = np.linspace(0.0, 2.0 * np.pi * 387, RAYS)
        up = np.linspace(-1.0, 1.0, RAYS)
        flat = np.sqrt(1.0 - up * up)
        stop = start + 2.0 * np.stack([flat * np.cos(turn), flat * np.sin(turn), up], axis=1)
    length = np.linalg.norm(stop - start, axis=1)
    return start, (stop - start) / length[:, None], length


def seconds(work: Callable[[], Any], clock: Callable[[], float] = time.thread_time) -> float:
    """Time of a call: of this thread's processor, which others on the machine disturb least, or by another clock."""
    start = clock()
    work()
    return clock() - start


def rays_from_surfaces(seed: int, triangles: np.ndarray, rays: tuple[Any, ...]) -> tuple[np.ndarray, ...]:
    """Starts, unit directions and lengths of segments from surface to surface, a tenth of a millimetre off them."""
    start, look, _ = rays_through(seed, triangles, False)
    reach, _ = nearest_of_rays(start, look, np.full(RAYS, np.inf), *rays)
    met = start + (np.where(np.isfinite(reach), reach, 1.0) - 1e-4)[:, None] * look
    way = met[np.random.default_rng(seed).permutation(RAYS)] - met
    length = np.maximum(np.linalg.norm(way, axis=1), 1e-9)
    return met, way / length[:, None], length


def compare(name: str, triangles: np.ndarray, coherent: bool, surfaces: bool = False) -> tuple[float, float]:
    """Print one row; return ratios of nearest and any hit to embreex as it comes."""
    start, look, length = rays_through(len(triangles), triangles, coherent)
    none, far = np.zeros(len(triangles), np.int64), np.full(RAYS, np.inf)
    rays = (build_tree(triangles).arrays, triangles, none, none)
    if surfaces:
        start, look, length = rays_from_surfaces(len(triangles), triangles, rays)
    small = [each.astype(np.float32) for each in (start, look, length)]
    scenes = [rtcore_scene.EmbreeScene(robust=robust) for robust in (False, True)]
    for scene in scenes:
        TriangleMesh(scene, triangles.astype(np.float32))
    works: list[Callable[[], Any]] = [
        lambda: nearest_of_rays(start, look, far, *rays),
        lambda: any_of_rays(start, look, length, *rays),
    ]
    for scene in scenes:
        works.append(lambda scene=scene: scene.run(small[0], small[1], query="INTERSECT"))
        works.append(lambda scene=scene: scene.run(small[0], small[1], small[2].copy(), query="OCCLUDED"))
    for work in works:
        work()
    took = np.array([[seconds(work) for work in works] for _ in range(TURNS)])
    ratio = [float(np.median(took[:, 2 * k] / took[:, 0])) for k in (1, 2)]
    any_ratio = [float(np.median(took[:, 2 * k + 1] / took[:, 1])) for k in (1, 2)]
    theirs = scenes[1].run(small[0], small[1], query="INTERSECT", output=True)
    reach, _ = nearest_of_rays(start, look, far, *rays)
    theirs_reach = np.where(theirs["primID"] >= 0, theirs["tfar"], 1e9)
    apart = int((np.abs(theirs_reach - np.minimum(reach, 1e9)) > 1e-3).sum())
    rate = RAYS / np.median(took, axis=0) / 1e6
    print(
        f"{name:28s} {len(triangles):7d} | {rate[0]:6.1f} {ratio[0]:6.2f} {ratio[1]:6.2f}     | "
        f"{rate[1]:6.1f} {any_ratio[0]:6.2f} {any_ratio[1]:6.2f}     | {apart:d}"
    )
    return ratio[0], any_ratio[0]


@njit(parallel=True)
def spin(count: int) -> float:
    """Work on numbers alone, shared by threads: what two of them gain here at best."""
    total = 0.0
    for i in prange(count):
        x = 1.0 + i
        for _ in range(100):
            x = 0.999 * x + 1.0 / x
        total += x
    return total


def threads() -> None:
    """Two threads over one, the same function; by the clock on the wall, so also the least disturbed of many runs."""
    triangles = room(9101, 20)
    start, look, _ = rays_through(1, triangles, False)
    start, look = np.tile(start, (3, 1)), np.tile(look, (3, 1))
    none, far = np.zeros(len(triangles), np.int64), np.full(len(start), np.inf)
    rays = (build_tree(triangles).arrays, triangles, none, none)
    most = get_num_threads()
    if most < 2:
        print("only one thread here")
        return
    works = (lambda: nearest_of_rays_on_threads(start, look, far, *rays), lambda: spin(30_000))
    took = np.empty((8 * TURNS, 2, 2))
    for turn in range(-1, len(took)):
        for which, work in enumerate(works):
            for count in (1, 2):
                set_num_threads(count)
                took[turn, which, count - 1] = seconds(work, time.perf_counter)
    set_num_threads(most)
    ratio, least = np.median(took[:, :, 0] / took[:, :, 1], axis=0), took.min(axis=0)
    alone = least[:, 0] / least[:, 1]
    print(
        f"two threads over one: median {ratio[0]:.2f}, least disturbed runs {alone[0]:.2f}; must 1.8, aim 1.95\n"
        f"bare arithmetic at the same time: median {ratio[1]:.2f}, least disturbed runs {alone[1]:.2f}"
    )


def compile_times() -> None:
    """Everything imported and compiled, in a new process: with an empty cache and with a full one."""
    with tempfile.TemporaryDirectory() as folder:
        environment = {**os.environ, "NUMBA_CACHE_DIR": folder, "PYTHONPATH": str(HOME)}
        took = []
        for _ in range(4):
            command = [sys.executable, "-c", IMPORTS]
            done = subprocess.run(command, env=environment, check=True, capture_output=True, text=True)
            took.append([float(each) for each in done.stdout.split()])
    (cold, cold_used), (warm, warm_used) = took[0], np.median(took[1:], axis=0)
    print(
        f"ray queries imported and compiled: cold {cold:.1f} s, of the processor {cold_used:.1f} s; "
        f"warm {warm:.2f} s, of the processor {warm_used:.2f} s"
    )


def table() -> None:
    """Every room and the goals."""
    print("rates in million rays a second; x: ratio to embreex as it comes / to its robust mode; differ: of 150 000")
    print(f"{'':28s} triang. | nearest   x  x robust   |    any   x  x robust   | differ")
    small, ordered, large, leaving = [], [], [], []
    for seed, pieces, splayed, turned in (
        (9001, 6, False, False),
        (9002, 12, False, False),
        (9003, 20, False, False),
        (9004, 32, False, False),
        (9005, 20, True, False),
        (9006, 30, True, False),
        (9007, 20, False, True),
        (9008, 32, False, True),
    ):
        name = f"room {seed}" + " splayed" * splayed + " turned" * turned
        small.append(compare(name, room(seed, pieces, splayed, turned), False))
    for seed, pieces in ((9001, 6), (9001, 20), (9004, 32), (9006, 20), (9006, 30)):
        ordered.append(compare(f"room {seed}, rays in order", room(seed, pieces, seed == 9006), True))
    for seed, steps, balls in ((9011, 28, 6), (9012, 60, 4), (9013, 60, 12), (9014, 110, 6), (9015, 205, 6)):
        triangles = room_with_balls(seed, steps, balls)
        large.append(compare(f"balls {seed}", triangles, False))
        leaving.append(compare(f"balls {seed}, from surfaces", triangles, False, surfaces=True))
    compare("balls 9012, rays in order", room_with_balls(9012, 60, 4), True)
    for words, found, must, aim in (
        ("nearest, up to 400 triangles", [each[0] for each in small], 1.5, 2.2),
        ("any, the same rooms", [each[1] for each in small], 1.9, 2.5),
        ("nearest, rays in order", [each[0] for each in ordered], 1.6, 2.0),
        ("any, rays in order", [each[1] for each in ordered], 1.6, 2.0),
        ("nearest, 17 000 to 1 000 000", [each[0] for each in large], 1.0, 1.3),
        ("nearest, from surfaces", [each[0] for each in leaving], 1.0, 1.3),
        ("any, 17 000 to 1 000 000", [each[1] for each in large], 1.0, 1.3),
        ("any, from surfaces", [each[1] for each in leaving], 1.0, 1.3),
    ):
        print(f"{words:30s} worst {min(found):.2f}, median {statistics.median(found):.2f}; must {must}, aim {aim}")


def leaks(millions: int) -> None:
    """Count what escapes from closed rooms."""
    from tests.rays.ray_rooms import closed_rooms, rays_of
    from tests.rays.test_ray_kernels import escaped

    rooms, lost = closed_rooms(21), 0
    for name, triangles, place in rooms:
        crossed = np.cross(triangles[:, 1] - triangles[:, 0], triangles[:, 2] - triangles[:, 0])
        normals = crossed / np.linalg.norm(crossed, axis=1)[:, None]
        rays = rays_of(triangles, np.arange(len(triangles)))
        gone, _ = escaped(place, millions * 10_000 // len(rooms), 100, normals, rays)
        lost += gone
        print(f"{name:22s} {len(triangles):5d} triangles: {gone} lost", flush=True)
    print(f"{lost} of {millions} million legs lost")


if __name__ == "__main__":
    sys.path.insert(0, str(HOME))
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--leaks", type=int, metavar="N", help="N million legs in closed rooms")
    options = parser.parse_args()
    if options.leaks:
        leaks(options.leaks)
    else:
        table()
        threads()
        compile_times()
