"""Every benchmark as ratios taken in one run: ours beside a peer, or one way of working beside another.

Each function measures one thing and returns its rows; `quick` means one small pass.  What is compared takes turns in
one process where that can be, in processor time where both work on one thread.
"""

from __future__ import annotations

import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from functools import partial
from pathlib import Path

import numpy as np

from benchmarks.history import Row
from sim.machine.processes import all_cores, one_blas_thread

FASTER = "times as fast as {}"
SCENE = Path(__file__).resolve().parent.parent / "scenes" / "bedroom-on-stands"


def rays(quick: bool) -> list[Row]:
    """Closest and any hit beside embreex, on one thread."""
    from benchmarks import bench_rays

    bench_rays.TURNS = 3 if quick else 9
    unit, rows = FASTER.format("embreex"), []
    small = [(9001, 6, False), (9002, 12, False), (9004, 32, False), (9005, 20, True), (9006, 30, True)]
    large = [(9011, 28, 6), (9012, 60, 4), (9014, 110, 6), (9015, 205, 6)]
    for seed, pieces, splayed in small[1:2] if quick else small:
        triangles = bench_rays.room(seed, pieces, splayed)
        for ordered in (False,) if quick else (False, True):
            words = f"{len(triangles)} triangles" + " splayed" * splayed + ", rays in order" * ordered
            found = bench_rays.compare(words, triangles, ordered)
            rows += [
                Row(f"{kind} hit, {words}", ratio, unit) for kind, ratio in zip(("closest", "any"), found, strict=True)
            ]
    for seed, steps, balls in large[:1] if quick else large:
        triangles = bench_rays.room_with_balls(seed, steps, balls)
        for surfaces in (False, True):
            words = f"{len(triangles)} triangles" + ", from surfaces" * surfaces
            found = bench_rays.compare(words, triangles, False, surfaces)
            rows += [
                Row(f"{kind} hit, {words}", ratio, unit) for kind, ratio in zip(("closest", "any"), found, strict=True)
            ]
    return rows


def tree(quick: bool) -> list[Row]:
    """Building the tree, beside embreex building its own over the same triangles."""
    from embreex.mesh_construction import TriangleMesh
    from embreex.rtcore_scene import EmbreeScene

    from benchmarks.bench_rays import room_with_balls
    from sim.rays.wide_tree import build_tree

    rows = []
    for seed, steps, balls in [(9011, 28, 6), (9014, 110, 6), (9015, 205, 6)][: 1 if quick else 3]:
        triangles = room_with_balls(seed, steps, balls)

        def theirs(triangles: np.ndarray = triangles) -> None:
            scene = EmbreeScene()
            TriangleMesh(scene, triangles.astype(np.float32))
            scene.run(np.zeros((1, 3), np.float32), np.ones((1, 3), np.float32))  # builds the tree

        build_tree(triangles[:100])
        ratio = interleaved(lambda triangles=triangles: build_tree(triangles), theirs, 1 if quick else 3)
        rows.append(Row(f"tree of {len(triangles)} triangles", ratio, FASTER.format("embreex")))
    return rows


def images(quick: bool) -> list[Row]:
    """Search for mirrored paths in rays of embreex, and a plain search beside it."""
    from benchmarks import bench_images

    rows = []
    for facets in (60,) if quick else (60, 138, 300):
        room = bench_images.crowded_room(facets, np.random.default_rng(bench_images.SEED + facets), False)
        for order in (2,) if quick else (1, 2, 3, 4):
            one = bench_images.measured(
                room, order, np.random.default_rng(bench_images.SEED), 3 if quick else 9, order < 4
            )
            what = f"image sources, {one.facets} facets, order {order}"
            rows.append(Row(what, one.rays[0], "rays of embreex"))
            if one.plain is not None:
                rows.append(
                    Row(
                        what + (", same paths" if one.same else ", OTHER PATHS"),
                        one.plain,
                        FASTER.format("plain search"),
                    )
                )
    return rows


def tracer(quick: bool) -> list[Row]:
    """Bounces a second over the bare rate of closest hits from the same surfaces."""
    from benchmarks.bench_tracer import rates_of

    rates = {name: statistics.median(values) for name, values in rates_of(3 if quick else 15).items()}
    bare = rates["closest hits, from surfaces"]
    return [
        Row(f"tracer, {name}", rate / bare, "of bare closest hits from surfaces")
        for name, rate in rates.items()
        if name.startswith("bounces") and "threads" not in name  # those are in wall time
    ]


def edges(quick: bool) -> list[Row]:
    """One edge beside SciPy's quadrature; diffraction over threads."""
    from benchmarks import bench_edges, edge_threads

    rows = [
        Row(
            "one edge, 200 frequencies",
            bench_edges.over_quadrature(5 if quick else 20)[1],
            FASTER.format("SciPy quadrature"),
        )
    ]
    for name in edge_threads.NAMES[: 1 if quick else 2]:
        took = edge_threads.measured(name, 2 if quick else 5)
        rows += [
            Row(f"edge diffraction, {name}", took[1][0] / wall, FASTER.format("on one thread"), count)
            for count, (wall, _, _) in took.items()
            if count > 1
        ]
    return rows


def paths(quick: bool) -> list[Row]:
    """Mirrored paths beside the obvious NumPy code; importing sim beside bare Python."""
    from benchmarks.bench_propagation import SCENES, numpy_paths
    from sim.pipeline import build
    from sim.propagation.mirrors.image_sources import trace_paths

    _, built = build(SCENES / "bedroom-on-stands")
    rows = []
    for order in (1, 2) if quick else (1, 2, 3):
        ours, theirs = partial(trace_paths, built, order), partial(numpy_paths, built, order)
        ours()
        ratio = interleaved(ours, theirs, 1 if order == 3 else 3)
        rows.append(Row(f"bedroom, paths of order {order}", ratio, FASTER.format("plain NumPy")))
    commands = ([sys.executable, "-c", words] for words in ("import sim", "pass"))
    works = [lambda command=command: subprocess.run(command, check=True) for command in commands]
    return [*rows, Row("import sim", 1.0 / interleaved(*works, 3 if quick else 9), "of bare Python", all_cores())]


def frames(quick: bool) -> list[Row]:
    """A layout of a sweep beside the same with nothing kept; a frame of the live page beside it."""
    from benchmarks import bench_frames, bench_view

    rows, count = [], 4 if quick else 20
    for room in ("bedroom-on-stands",) if quick else bench_frames.MOVES:
        kept = np.array(bench_frames.frames_of(room, count))
        if not len(kept):
            continue
        with bench_frames.the_long_way():
            slow = np.array(bench_frames.frames_of(room, max(3, count // 4)))
        ours = float(np.median(kept.sum(axis=1)))
        rows.append(Row(f"a layout, {room}", float(np.median(slow.sum(axis=1))) / ours, FASTER.format("nothing kept")))
        if room in bench_view.SCENES:
            with one_blas_thread():
                _, used, _ = bench_view.frames_of(room, count)
            rows.append(Row(f"a frame of the live page, {room}", float(np.median(used)) / ours, "layouts of a sweep"))
    return rows


def sweep(quick: bool) -> list[Row]:
    """A sweep in two processes beside one; one layout beside a whole trace of first order."""
    from benchmarks import bench_sweep

    layouts = 40 if quick else 400
    with tempfile.TemporaryDirectory() as name:
        home = Path(name)
        one, two = (bench_sweep.whole(home / str(n), layouts, n) for n in (1, 2))
        trace = bench_sweep.one_trace(home / "trace")
    return [
        Row(f"sweep of {layouts} layouts", one[0] / two[0], FASTER.format("one process"), 2),
        Row(f"sweep of {layouts} layouts, processor time", two[1] / one[1], "of one process", 2),
        Row(f"sweep of {layouts} layouts", layouts * trace / one[0], FASTER.format("that many traces")),
    ]


def cores(quick: bool) -> list[Row]:
    """The command `trace --no-pictures` on all cores beside one; the same bits or not."""
    from benchmarks.bench_cores import traced

    traced([0])
    every = list(range(all_cores()))
    found = {len(use): [traced(use) for _ in range(1 if quick else 3)] for use in ([0], every)}
    (one, spent, digest), (wall, used, other) = (
        (*(statistics.median(each[k] for each in some) for k in (0, 1)), some[0][2]) for some in found.values()
    )
    words = "trace --no-pictures" + ("" if digest == other else ", OTHER BITS")
    return [
        Row(words, one / wall, FASTER.format("on one core"), len(every)),
        Row(words + ", processor time", used / spent, "of one core", len(every)),
    ]


def interleaved(ours: Callable[[], object], theirs: Callable[[], object], turns: int) -> float:
    """How many times as fast ours is: the median of ratios of processor time, children's included, in turns."""
    import os

    def spent(work: Callable[[], object]) -> float:
        before = os.times()
        begun = time.process_time()
        work()
        after = os.times()
        children = after.children_user + after.children_system - before.children_user - before.children_system
        return max(time.process_time() - begun + children, 1e-9)

    return statistics.median(spent(theirs) / spent(ours) for _ in range(turns))


MEASURES: dict[str, Callable[[bool], list[Row]]] = {
    "rays": rays,
    "tree": tree,
    "images": images,
    "tracer": tracer,
    "edges": edges,
    "paths": paths,
    "frames": frames,
    "sweep": sweep,
    "cores": cores,
}
"""All of them by name."""
