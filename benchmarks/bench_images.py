"""What a search for mirrored paths costs, counted in rays of a general-purpose ray library.

Run: python -m benchmarks.bench_images [--quick]        (one to two minutes, with kernels compiled)

For random furnished rooms of 60, 138 and 300 facets: the time of one search from one source to one ear, over the time
that embreex takes per ray for closest hits of 150 000 rays from random points in random directions in the same room.
Both are timed in turn in one process, in processor time; a row gives the median of 9 such ratios and their least and
largest. The room's own tables (`lay_mirrors`) are made once, like the library's tree, and not counted; they have a
column of their own. Other rooms were used while the code was written.
"""

from __future__ import annotations

import argparse
import statistics
import time
from collections.abc import Callable
from typing import NamedTuple

import numpy as np

from sim.geometry.patches import Patch
from sim.geometry.room import Room, build_room
from sim.propagation.mirrors.beams import facet_tuple, grow, lay_mirrors, slack_beside, split
from sim.propagation.mirrors.path_kernels import find_paths
from tests.geometry.furnished import box_patches, in_the_air
from tests.propagation.plain_search import PlainPaths, find_plainly

RAYS = 150_000
SIZE = np.array([6.0, 5.0, 3.0])
SEED = 2026


def crowded_room(facets: int, rng: np.random.Generator, splayed: bool) -> Room:
    """A room with turned blocks on the floor and in the air, none in another; walls and ceiling splayed or not."""
    patches = box_patches(np.zeros(3), SIZE, "room", inward=True)
    kept: list[tuple[np.ndarray, float]] = []
    while len(patches) + 6 <= facets:
        size = rng.uniform(0.08, 0.7, 3)
        centre = rng.uniform(0.0, 1.0, 3) * (SIZE - size) + 0.5 * size
        if rng.random() < 0.6:
            centre[2] = 0.5 * size[2] + 1e-3
        reach = 0.5 * float(np.linalg.norm(size))
        if any(np.linalg.norm(centre - other) < reach + far for other, far in kept):
            continue
        kept.append((centre, reach))
        angle = rng.choice([0.0, rng.normal(0.0, 0.5)])
        turn = np.array([[np.cos(angle), -np.sin(angle), 0.0], [np.sin(angle), np.cos(angle), 0.0], [0.0, 0.0, 1.0]])
        for one in box_patches(centre - 0.5 * size, centre + 0.5 * size, f"block {len(kept)}"):
            patches.append(Patch(one.name, one.owner, one.material, (one.triangles - centre) @ turn.T + centre))
    if splayed:
        patches = [_splayed(one) if one.owner == "room" else one for one in patches]
    return build_room(patches)


def _splayed(wall: Patch) -> Patch:
    wider = 1.0 + np.array([0.0, 0.06, 0.04]) * wall.triangles[..., :1] / SIZE[0]
    return Patch(wall.name, wall.owner, wall.material, wall.triangles * wider)


def seconds(work: Callable[[], object], times: int) -> float:
    """Mean processor seconds of a call; both sides use one thread, and others on the machine disturb this least."""
    start = time.thread_time()
    for _ in range(times):
        work()
    return (time.thread_time() - start) / times


def peer(room: Room, rng: np.random.Generator) -> Callable[[], object]:
    """Closest hits of 150 000 rays by the ray library."""
    from embreex.mesh_construction import TriangleMesh
    from embreex.rtcore_scene import EmbreeScene

    scene = EmbreeScene()
    TriangleMesh(scene, room.triangles.astype(np.float32))
    origins = (rng.uniform(0.0, 1.0, (RAYS, 3)) * SIZE).astype(np.float32)
    directions = rng.normal(size=(RAYS, 3)).astype(np.float32)
    return lambda: scene.run(origins, directions)


class Searched(NamedTuple):
    """One search: facets, order, paths found, beams kept, its time in rays of the library (median, least, most).

    Ears a second where the source stays; tables in ms; how many times as long a plain search takes, None where it was
    not asked; whether it found the same paths.
    """

    facets: int
    order: int
    paths: int
    beams: int
    rays: tuple[float, float, float]
    ears_per_s: float
    tables_ms: float
    plain: float | None
    same: bool


def measured(room: Room, order: int, rng: np.random.Generator, rounds: int, plain: bool) -> Searched:
    """Measure one search."""
    source, ear = (in_the_air(room, rng, np.zeros(3), SIZE) for _ in range(2))
    mirrors, facets, every = lay_mirrors(room), facet_tuple(room), np.ones(len(room.facets), dtype=bool)
    reach = (2 * order + 2) * 10.0

    def search(sources: int) -> tuple[int, Callable[[], object], Callable[[], object]]:
        ahead, behind = split(order, sources, 1)
        kept = grow(source, ahead, mirrors, reach, every)

        def found(beams: object) -> object:
            ears = grow(ear, behind, mirrors, reach)
            return find_paths(
                beams, ears, order, mirrors.number, mirrors.facing, -2, facets, slack_beside(room), room.ray_arrays
            )

        return len(kept[1]), lambda: found(grow(source, ahead, mirrors, reach, every)), lambda: found(kept)

    _, whole, _ = search(1)
    beams, _, moved = search(0)
    rays = peer(room, rng)
    paths, _ = whole()  # type: ignore[misc]
    moved(), rays()
    times = max(1, int(0.02 / seconds(whole, 3)))
    ratios, laid, again = [], [], []
    for _ in range(rounds):
        a_ray = seconds(rays, 1) / RAYS
        ratios.append(seconds(whole, times) / a_ray)
        again.append(seconds(moved, times))
        laid.append(seconds(lambda: lay_mirrors(room), 1))
    slow, same = None, True
    if plain:

        def plainly() -> PlainPaths:
            return find_plainly(room, source, ear, order, every, -2)

        if order == 1:
            plainly()
        slow = statistics.median(seconds(plainly, 1) / seconds(whole, times) for _ in range(3))
        ours, theirs = {tuple(one[one >= 0].tolist()) for one in paths}, plainly()
        same = {one for one, (_, certain) in theirs.items() if certain} <= ours <= set(theirs)
    in_rays = statistics.median(ratios), min(ratios), max(ratios)
    ears, tables = 1.0 / statistics.median(again), 1e3 * statistics.median(laid)
    return Searched(len(room.facets), order, len(paths), beams, in_rays, ears, tables, slow, same)


def row(one: Searched) -> str:
    """One row of the table."""
    text = f"{one.facets:6d} {one.order:6d} {one.paths:6d} {one.beams:7d}"
    text += f" {one.rays[0]:9.0f} ({one.rays[1]:.0f} to {one.rays[2]:.0f})".ljust(30)
    text += f" {one.ears_per_s:9.0f} {one.tables_ms:9.2f}"
    if one.plain is not None:
        text += f" {one.plain:9.1f}" + ("   same paths" if one.same else "   OTHER PATHS")
    return text


def main() -> None:
    """Print the table."""
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--quick", action="store_true", help="fewer repetitions")
    options.add_argument("--seed", type=int, default=SEED)
    chosen = options.parse_args()
    print("facets  order  paths   beams  search in embreex rays (range)  ears/s     tables ms  plain search / search")
    for splayed in (False, True):
        print("walls and ceiling splayed" if splayed else "walls and ceiling square")
        for facets in (60, 138, 300):
            room = crowded_room(facets, np.random.default_rng(chosen.seed + facets), splayed)
            for order in (1, 2, 3, 4):
                rng = np.random.default_rng(chosen.seed)
                print(row(measured(room, order, rng, 3 if chosen.quick else 9, order < 4)), flush=True)


if __name__ == "__main__":
    main()
