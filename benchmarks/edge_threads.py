"""Edge diffraction on 1, 2, 4, 8 and 16 threads: wall and processor seconds, and how many times as fast.

Run it alone on the machine: python -m benchmarks.edge_threads [--quick] [--switch-ms N] [scene ...]

Numbers of threads take turns, so that what else happens on the machine falls on all of them alike; a row is the median
of its turns, and "least" their shortest.  The process is pinned to as many cores as it has threads.  It also says
whether all numbers of threads gave the same bits.
"""

from __future__ import annotations

import argparse
import os
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import numpy as np

from sim.machine.processes import all_cores, one_blas_thread
from sim.pipeline import build
from sim.placement.built_scene import BuiltScene
from sim.propagation.edges import tracing
from sim.propagation.edges.table import EdgePathTable

SCENES = Path(__file__).resolve().parent.parent / "scenes"
NAMES = ("bedroom-on-stands", "control-room-stands")
THREADS = (1, 2, 4, 8, 16)
ORDER = 3


@contextmanager
def on_threads(count: int) -> Iterator[None]:
    """Keep the process on so many cores, with as many threads for edges."""
    before, asked = tracing.all_cores, None
    if hasattr(os, "sched_setaffinity"):
        asked = os.sched_getaffinity(0)
        os.sched_setaffinity(0, set(sorted(asked)[:count]))
    tracing.all_cores = lambda: count
    try:
        yield
    finally:
        tracing.all_cores = before
        if asked is not None:
            os.sched_setaffinity(0, asked)


def timed(built: BuiltScene, count: int) -> tuple[float, float, EdgePathTable]:
    """Wall and processor seconds of all edges of a scene, and what came out."""
    with on_threads(count), one_blas_thread():
        wall, used = time.perf_counter(), time.process_time()
        table = tracing.trace_edges(built, ORDER)
        return time.perf_counter() - wall, time.process_time() - used, table


def measured(name: str, turns: int) -> dict[int, tuple[float, float, float]]:
    """For each number of threads median wall, least wall and median processor seconds; says whether bits differ."""
    _, built = build(SCENES / name)
    counts = [count for count in THREADS if count <= all_cores()]
    first = timed(built, 1)[2]
    took: dict[int, list[tuple[float, float]]] = {count: [] for count in counts}
    for _ in range(turns):
        for count in counts:
            wall, used, table = timed(built, count)
            took[count].append((wall, used))
            if not np.array_equal(table.gains, first.gains) or not np.array_equal(table.edge, first.edge):
                print(f"{name}: OTHER BITS on {count} threads")
    return {
        count: (
            float(np.median([wall for wall, _ in rows])),
            min(wall for wall, _ in rows),
            float(np.median([used for _, used in rows])),
        )
        for count, rows in took.items()
    }


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("scene", nargs="*", default=NAMES)
    parser.add_argument("--quick", action="store_true", help="two turns")
    parser.add_argument("--switch-ms", type=float, help="how long a thread keeps Python's lock (5 ms unless told)")
    options = parser.parse_args()
    if options.switch_ms:
        sys.setswitchinterval(1e-3 * options.switch_ms)
    print(f"{'scene':22} threads   wall s    least  processor s   times as fast (least)")
    for name in options.scene:
        rows = measured(name, 2 if options.quick else 7)
        one, least_of_one, _ = rows[1]
        for count, (wall, least, used) in rows.items():
            ratios = f"{one / wall:.2f} ({least_of_one / least:.2f})"
            print(f"{name:22} {count:7} {wall:8.2f} {least:8.2f} {used:12.2f}   {ratios}", flush=True)


if __name__ == "__main__":
    main()
