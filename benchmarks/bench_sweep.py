"""How long a sweep takes: 1 000 first-order layouts of the bedroom, and what of it is spent outside the kernels.

Run it alone on the machine: python benchmarks/bench_sweep.py [layouts].  It prints

- wall time and processor time of the whole command, imports, tables and thresholds included, kernels being compiled and
  the best setting traced in full before;
- the same with one process, and whether both found the same bits;
- time for each layout inside and outside the kernels;
- how that compares with as many runs of `bounceplan trace` (one is timed, at first order and without pictures);
- the largest memory of the parent process with a tenth of the layouts and with ten times as many as that.
"""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np

HOME = Path(__file__).resolve().parent.parent
SCENE = HOME / "scenes" / "bedroom-on-stands"
KERNELS = {
    "sim.rays.shape_kernels": ("nearest_hit", "blocker", "triangle_hit", "inside_polygon"),
    "sim.propagation.mirrors.kernels": ("path_margins", "survey"),
    "sim.propagation.mirrors.beam_kernels": ("grow_beams",),
    "sim.propagation.mirrors.path_kernels": ("find_paths",),
}
WHOLE = """
import resource, sys
from pathlib import Path
from sim.blueprint.reader import read_scene
from sim.layouts.plan import plan_sweep
from sim.studies.sweep.run import run_sweep, write_findings
task = plan_sweep(read_scene(sys.argv[1]), {"left.tilt": sys.argv[2]})
run_sweep(task, Path(sys.argv[3]), processes=int(sys.argv[4]))
write_findings(task, Path(sys.argv[3]))
print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024)
"""


def whole(folder: Path, layouts: int, processes: int) -> tuple[float, float, float]:
    """Wall seconds, processor seconds and largest memory in MB of a sweep in a process of its own."""
    vary = f"-10:{-10 + 0.01 * (layouts - 1):g}:0.01"
    before, begun = os.times(), time.perf_counter()
    done = subprocess.run(
        [sys.executable, "-c", WHOLE, str(SCENE), vary, str(folder), str(processes)],
        cwd=HOME,
        check=True,
        capture_output=True,
        text=True,
    )
    wall, after = time.perf_counter() - begun, os.times()
    used = after.children_user + after.children_system - before.children_user - before.children_system
    return wall, used, float(done.stdout.split()[-1])


def inside_kernels(layouts: int) -> tuple[float, float]:
    """Milliseconds of processor time for each layout in all, and inside the kernels."""
    import importlib

    from sim.blueprint.reader import read_scene
    from sim.layouts.plan import plan_sweep
    from sim.layouts.workers import work_point

    task = plan_sweep(read_scene(SCENE), {"left.tilt": f"-10:{-10 + 0.01 * (layouts - 1):g}:0.01"})
    work_point(task, 0)
    spent = [0.0]

    def timed(kernel: Callable[..., Any]) -> Callable[..., Any]:
        def run(*given: Any) -> Any:
            begun = time.process_time()
            result = kernel(*given)
            spent[0] += time.process_time() - begun
            return result

        return run

    for module, names in KERNELS.items():
        home = importlib.import_module(module)
        for name in names:
            setattr(home, name, timed(getattr(home, name)))
    begun = time.process_time()
    for point in range(1, layouts):
        work_point(task, point)
    return 1000.0 * (time.process_time() - begun) / (layouts - 1), 1000.0 * spent[0] / (layouts - 1)


def one_trace(folder: Path) -> float:
    """Wall seconds of one `bounceplan trace` at first order without pictures."""
    command = [sys.executable, "-m", "sim", "trace", str(SCENE), "-o", str(folder), "--order", "1", "--no-pictures"]
    begun = time.perf_counter()
    subprocess.run(command, cwd=HOME, check=True, capture_output=True)
    return time.perf_counter() - begun


def main() -> None:
    """Measure and print."""
    sys.path.insert(0, str(HOME))
    from sim.studies.sweep.store import read_sweep

    layouts = int(sys.argv[1]) if len(sys.argv) > 1 else 1000
    with tempfile.TemporaryDirectory() as name:
        home = Path(name)
        whole(home / "warm", layouts, 2)  # the same sweep: the two full traces at its end are kept from here on
        two = whole(home / "two", layouts, 2)
        print(f"{layouts} layouts, 2 processes: {two[0]:.1f} s, processor {two[1]:.1f} s")
        one = whole(home / "one", layouts, 1)
        print(f"{layouts} layouts, 1 process:   {one[0]:.1f} s, processor {one[1]:.1f} s")
        first, second = (read_sweep(home / each).figures for each in ("one", "two"))
        print("the same bits:", np.array_equal(first.level_db, second.level_db))
        total, kernels = inside_kernels(200)
        print(f"a layout: {total:.1f} ms, {kernels:.1f} ms of it in kernels, {total - kernels:.1f} ms outside")
        trace = one_trace(home / "trace")
        print(f"one trace: {trace:.1f} s; {layouts} of them take {layouts * trace / two[0]:.0f} times as long")
        few, many = (whole(home / f"m{n}", n, 2)[2] for n in (layouts // 5, 2 * layouts))
        print(f"largest memory: {few:.0f} MB with {layouts // 5} layouts, {many:.0f} MB with {2 * layouts}")


if __name__ == "__main__":
    main()
