"""How long a first run waits: everything imported and compiled in fresh processes, with nothing compiled yet and again.

Run: python benchmarks/bench_start.py [repeats]        (about a minute a repeat)

    yardstick     numba imported and one function of one line compiled: what nobody can save
    ray queries   rays alone, on one thread and on all
    everything    ray queries, the tracer, the search for paths with margins, each used once
    all groups    `sim.compile_kernels()`, what an installer may do at its end
    trace         the command `trace --no-pictures` of the bedroom, files and all, with waves round edges

Each starts with an empty folder of compiled kernels (cold) and is then started three times more (warm, the median).
Others at work on the machine disturb seconds; processor seconds, and their ratio to the yardstick taken in the same
run, travel further.
"""

from __future__ import annotations

import os
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

HOME = Path(__file__).resolve().parent.parent
SCENE = HOME / "scenes" / "bedroom-on-desk" / "scene.toml"
YARDSTICK = """
import numba
@numba.njit(cache=False)
def add(a, b):
    return a + b
add(1.0, 2.0)
"""
RAYS = """
import numpy as np
from sim.rays import ray_kernels, shape_kernels
from sim.rays.wide_tree import build_tree
triangles = np.random.default_rng(1).random((20, 3, 3))
labels = np.arange(20)
rays = (build_tree(triangles, labels, labels).arrays, triangles, labels, labels)
points, ways, far = np.zeros((3, 3)), np.ones((3, 3)), np.ones(3)
for name in ("nearest_of_rays", "nearest_of_rays_on_threads", "any_of_rays", "any_of_rays_on_threads"):
    getattr(ray_kernels, name)(points, ways, far, *rays)
shape_kernels.nearest_hit(points[0], ways[0], 0.0, 1.0, -1, -1, -1, *rays)
shape_kernels.blocker(points[0], ways[0], -1, -1, -1, *rays)
shape_kernels.is_hidden(points[0], ways[0], -1, -1, -1, *rays)
"""
EVERYTHING = f"""
from pathlib import Path
from sim.blueprint.reader import read_scene
from sim.placement.built_scene import build_scene
from sim.propagation.mirrors.image_sources import trace_paths
from sim.propagation.energy.late_rays import trace_late
scene = Path({str(SCENE)!r})
stage = build_scene(read_scene(scene).blueprint, scene.parent)
trace_late(stage, seed=1, rays=512, length_s=0.1)
trace_paths(stage, 3)
"""
COMMAND = f"""
import sys
from sim.__main__ import main
sys.argv = ["bounceplan", "trace", "--no-pictures", {str(SCENE)!r}, "--replace", "--output", sys.argv[1]]
sys.exit(main())
"""
COMPILING = """
from sim.compiling import compile_kernels
compile_kernels()
"""
WORKS = (
    ("yardstick", YARDSTICK, ""),
    ("ray queries", RAYS, "must 10 / 0.8 s"),
    ("everything", EVERYTHING, ""),
    ("all groups", COMPILING, "once a machine, said aloud"),
    ("trace", COMMAND, "once a machine, said aloud"),
)


def started(script: str, folder: str) -> tuple[float, float]:
    """Seconds from the start of a process to its end, and the processor seconds that it took."""
    environment = {**os.environ, "XDG_CACHE_HOME": str(Path(folder) / "kernels"), "PYTHONPATH": str(HOME)}
    before, begin = os.times(), time.perf_counter()
    command = [sys.executable, "-c", script, str(Path(folder) / "results")]
    subprocess.run(command, env=environment, check=True, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    wall, after = time.perf_counter() - begin, os.times()
    spent = after.children_user + after.children_system - before.children_user - before.children_system
    return wall, spent


def main() -> None:
    """Measure all works in turns and print them."""
    repeats = int(sys.argv[1]) if len(sys.argv) > 1 else 1
    cold: dict[str, list[tuple[float, float]]] = {name: [] for name, *_ in WORKS}
    warm: dict[str, list[tuple[float, float]]] = {name: [] for name, *_ in WORKS}
    for _ in range(repeats):
        for name, script, _ in WORKS:
            with tempfile.TemporaryDirectory() as folder:
                cold[name].append(started(script, folder))
                warm[name] += [started(script, folder) for _ in range(3)]
    unit = statistics.median(spent for _, spent in cold["yardstick"])
    print(f"{'':14s} cold: wall s  processor s  of yardstick   warm: wall s  processor s")
    for name, _, goal in WORKS:
        first, again = (
            [statistics.median(each) for each in zip(*rows, strict=True)] for rows in (cold[name], warm[name])
        )
        cells = f"{first[0]:12.1f} {first[1]:12.1f} {first[1] / unit:13.1f} {again[0]:14.2f} {again[1]:12.2f}"
        print(f"{name:14s} {cells}   {goal}")


if __name__ == "__main__":
    main()
