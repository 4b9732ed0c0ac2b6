"""How time and memory grow with what a person can ask for: exponents, in one table and one picture.

Run: python -m benchmarks.growth [--quick] [--keep benchmarks/growth.csv] [--picture docs/images/growth.png] [name ...]

`--keep` writes every point down, in place of those of the same axis before; the picture is of all that are kept there.

An exponent of 1 means twice as much of it takes twice as long.  It is the slope of a straight line through the
logarithms of the larger half of the sizes, where what is always there (imports, tables) counts least.  Processor time
of this process and its children, the least of three; wall time for workers of a cluster, which are what is counted.
Each axis is a little benchmark of its own: a generator of (size, seconds, megabytes or nan).
"""

from __future__ import annotations

import argparse
import csv
import json
import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path
from typing import NamedTuple

import numpy as np

from sim.machine.processes import one_blas_thread
from sim.pipeline import build
from sim.placement.built_scene import BuiltScene

HOME = Path(__file__).resolve().parent.parent
SCENE = HOME / "scenes" / "bedroom-on-stands"
NOTHING = float("nan")
Points = Iterator[tuple[int, float, float]]


def least(work: Callable[[], object], times: int = 3) -> float:
    """Least processor seconds of a few calls, after one that does not count."""
    work()
    took = []
    for _ in range(times):
        begun = time.process_time()
        work()
        took.append(time.process_time() - begun)
    return min(took)


def bedroom() -> BuiltScene:
    """The bedroom on stands, built."""
    return build(SCENE)[1]


def triangles(quick: bool) -> Points:
    """Building the tree over a room of so many triangles."""
    from benchmarks.bench_rays import room_with_balls
    from sim.rays.wide_tree import build_tree

    for steps in (10, 28, 60) if quick else (10, 28, 60, 110, 205):
        some = room_with_balls(9011, steps, 6)
        yield len(some), least(lambda some=some: build_tree(some), 1 if quick else 3), NOTHING


def a_ray(quick: bool) -> Points:
    """A hundred thousand closest hits in a room of so many triangles."""
    from benchmarks.bench_rays import RAYS, rays_through, room_with_balls
    from sim.rays.ray_kernels import nearest_of_rays
    from sim.rays.wide_tree import build_tree

    for steps in (10, 28, 60) if quick else (10, 28, 60, 110, 205):
        some = room_with_balls(9011, steps, 6)
        start, look, _ = rays_through(1, some, False)
        none, far = np.zeros(len(some), np.int64), np.full(RAYS, np.inf)
        rays = (build_tree(some).arrays, some, none, none)
        yield len(some), least(lambda: nearest_of_rays(start, look, far, *rays)) * 100_000 / RAYS, NOTHING  # noqa: B023


def edges(quick: bool) -> Points:
    """Single edges of a room of so many blocks, from one driver."""
    from benchmarks.bench_images import crowded_room
    from sim.propagation.edges.bare import bare_edges, bare_stretches
    from sim.propagation.edges.single import edge_gains

    source, ear, hertz = np.array([0.5, 0.6, 1.5]), np.array([5.1, 4.2, 1.4]), np.geomspace(50.0, 8000.0, 200)
    for facets in (30, 60, 120) if quick else (30, 60, 120, 240):
        room = crowded_room(facets, np.random.default_rng(facets), False)
        bare, some = bare_stretches(room), bare_edges(room)
        took = least(lambda: edge_gains(room, source, ear, -2, hertz, 343.0, edges=some, bare=bare))  # noqa: B023
        yield len(some), took, NOTHING


def loudspeakers(quick: bool) -> Points:
    """Paths of order 3 and their arrivals from so many loudspeakers."""
    from sim.acoustics.bands import octave_bands
    from sim.blueprint.reader import read_scene
    from sim.propagation.mirrors.image_sources import trace_paths
    from sim.responses.arrivals import list_arrivals

    built, target = bedroom(), read_scene(SCENE).blueprint.target
    for count in (1, 2, 4) if quick else (1, 2, 4, 8, 16):
        many = [built.loudspeakers[n % 2] for n in range(count)]
        some = replace(built, loudspeakers=tuple(replace(one, name=f"{one.name} {n}") for n, one in enumerate(many)))
        took = least(lambda: list_arrivals(some, trace_paths(some, 3), octave_bands(), target))  # noqa: B023
        yield count, took, NOTHING


def seats(quick: bool) -> Points:
    """Paths of order 3 to so many listeners."""
    from sim.propagation.mirrors.image_sources import trace_paths

    built = bedroom()
    for count in (1, 2, 4) if quick else (1, 2, 4, 8, 16, 32):
        ears = built.ears[0] + np.linspace(0.0, 0.4, count)[:, None] * np.array([1.0, 0.3, 0.0])
        some = replace(built, ears=ears, listener_names=tuple(f"seat {n}" for n in range(count)))
        yield count, least(lambda: trace_paths(some, 3)), NOTHING  # noqa: B023


def orders(quick: bool) -> Points:
    """Mirrored paths of up to so many mirrors."""
    from sim.propagation.mirrors.image_sources import trace_paths

    built = bedroom()
    for order in (1, 2, 3) if quick else (1, 2, 3, 4, 5, 6):
        yield order, least(lambda: trace_paths(built, order)), NOTHING  # noqa: B023


def frequencies(quick: bool) -> Points:
    """One edge at so many frequencies up to 8 kHz."""
    from benchmarks.bench_edges import EAR, furnished_room
    from sim.propagation.edges.bare import bare_edges
    from sim.propagation.edges.edge_kernels import edge_parts
    from sim.propagation.edges.single import wedge_of

    room, drivers = furnished_room()
    wedge = wedge_of(room, int(bare_edges(room)[0]))
    for count in (50, 400, 3200) if quick else (50, 200, 800, 3200, 12_800):
        k = 2.0 * np.pi / 343.0 * np.linspace(8000.0 / count, 8000.0, count)
        none = np.zeros((0, count), np.complex128)
        yield count, least(lambda: edge_parts(drivers[0], EAR, wedge, 0.0, wedge[4], k, none), 9), NOTHING  # noqa: B023


def layouts(quick: bool) -> Points:
    """A sweep of so many layouts in one process of its own, and its largest memory."""
    from benchmarks.bench_sweep import whole

    with tempfile.TemporaryDirectory() as name:
        whole(Path(name) / "first", 2, 1)
        for count in (1, 10, 100) if quick else (1, 10, 100, 1000, 10_000):
            _, used, memory = whole(Path(name) / str(count), count, 1)
            yield count, used, memory


WORKER = """
import sys, time
from pathlib import Path
from sim.blueprint.reader import read_scene
from sim.layouts.plan import plan_sweep
from sim.studies.sweep.run import run_sweep
task = plan_sweep(read_scene(sys.argv[1]), {"left.tilt": sys.argv[2]})
begun = time.perf_counter()
run_sweep(task, Path(sys.argv[3]), scheduler=sys.argv[4])
print(time.perf_counter() - begun)
"""


def workers(quick: bool) -> Points:
    """The same sweep on a cluster of so many workers of one thread: wall seconds, the workers being ready."""
    count = 60 if quick else 1000
    vary = f"-10:{-10 + 0.01 * (count - 1):g}:0.01"
    for number in (1, 2) if quick else (1, 2, 4):
        with tempfile.TemporaryDirectory() as name:
            folder, contact = Path(name), Path(name) / "scheduler.json"
            quiet = {"cwd": name, "stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL}
            quiet["env"] = {**os.environ, "PYTHONPATH": str(HOME)}
            begin = [sys.executable, "-m", "distributed.cli.dask_scheduler", "--host", "127.0.0.1", "--port", "0"]
            begin += ["--no-dashboard", "--scheduler-file", str(contact)]
            running = [subprocess.Popen(begin, **quiet)]  # type: ignore[call-overload]
            try:
                while not contact.exists() or not contact.read_text(encoding="utf-8").strip():
                    time.sleep(0.1)
                address = json.loads(contact.read_text(encoding="utf-8"))["address"]
                serve = [
                    sys.executable,
                    "-m",
                    "distributed.cli.dask_worker",
                    address,
                    "--nthreads",
                    "1",
                    "--no-dashboard",
                ]
                for n in range(number):
                    place = ["--local-directory", str(folder / f"w{n}"), "--name", f"w{n}"]
                    running.append(subprocess.Popen([*serve, *place], **quiet))  # type: ignore[call-overload]
                for part, values in (("warm", "-10:-9.8:0.01"), ("whole", vary)):
                    done = subprocess.run(
                        [sys.executable, "-c", WORKER, str(SCENE), values, str(folder / part), address],
                        cwd=HOME,
                        check=True,
                        capture_output=True,
                        text=True,
                    )
                yield number, float(done.stdout.split()[-1]), NOTHING
            finally:
                for process in reversed(running):
                    process.terminate()
                    process.wait()


class Axis(NamedTuple):
    """What grows, what is measured, and how."""

    grows: str
    measured: str
    points: Callable[[bool], Points]


AXES = {
    "triangles": Axis("triangles", "building the tree", triangles),
    "rays": Axis("triangles", "100 000 closest hits", a_ray),
    "edges": Axis("edges", "single edges, one driver", edges),
    "loudspeakers": Axis("loudspeakers", "paths of order 3, arrivals", loudspeakers),
    "seats": Axis("seats", "paths of order 3", seats),
    "orders": Axis("mirrors", "paths of the bedroom", orders),
    "frequencies": Axis("frequencies", "one edge", frequencies),
    "layouts": Axis("layouts", "a sweep, one process", layouts),
    "workers": Axis("Dask workers", "a sweep, wall time", workers),
}


def kept_points(place: Path | None) -> dict[str, np.ndarray]:
    """Points (n, 3) of each axis from a file of them, in the order of `AXES`."""
    if place is None or not place.exists():
        return {}
    with place.open(encoding="utf-8", newline="") as file:
        rows = list(csv.reader(file))[1:]
    return {
        name: np.array([[float(each) for each in row[1:]] for row in rows if row[0] == name])
        for name in AXES
        if any(row[0] == name for row in rows)
    }


def keep_points(found: dict[str, np.ndarray], place: Path) -> None:
    """Write all points down."""
    with place.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(("axis", "size", "seconds", "megabytes"))
        for name in AXES:
            for size, seconds, memory in found.get(name, ()):
                writer.writerow((name, f"{size:.0f}", f"{seconds:.5g}", f"{memory:.4g}"))


def exponent(sizes: np.ndarray, values: np.ndarray) -> float:
    """Slope of the logarithms over the larger half of the sizes, at least two."""
    half = slice(min(len(sizes) // 2, len(sizes) - 2), None)
    return float(np.polyfit(np.log(sizes[half]), np.log(np.maximum(values[half], 1e-9)), 1)[0])


def table_row(name: str, points: np.ndarray) -> str:
    """One row of the table in Markdown."""
    axis, (sizes, seconds, memory) = AXES[name], points.T
    slope = exponent(sizes, seconds)
    held = (
        ""
        if np.isnan(memory).all()
        else f"{memory[0]:.0f} to {memory[-1]:.0f} MB, exponent {exponent(sizes, memory):.2f}"
    )
    span = f"{sizes[0]:.0f} to {sizes[-1]:.0f}"
    took = f"{1e3 * seconds[0]:.3g} to {1e3 * seconds[-1]:.4g} ms"
    return f"| {axis.grows}: {axis.measured} | {span} | {took} | {slope:.2f} | {held} |"


def picture(found: dict[str, np.ndarray], place: Path) -> None:
    """One panel an axis: seconds over size, and a line of exponent 1 through the last point."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure
    from matplotlib.ticker import NullFormatter

    columns = 3
    figure = Figure(figsize=(8.0, 2.2 * -(-len(found) // columns)), dpi=110, layout="constrained")
    FigureCanvasAgg(figure)
    panels = figure.subplots(-(-len(found) // columns), columns, squeeze=False).ravel()
    for panel in panels[len(found) :]:
        panel.set_axis_off()
    for panel, name in zip(panels, [one for one in AXES if one in found], strict=False):
        points = found[name]
        sizes, seconds, _ = points.T
        slope = exponent(sizes, seconds)
        panel.loglog(sizes, seconds, "o-", color="#0072b2", markersize=4)
        ideal = -1.0 if name == "workers" else 1.0
        panel.loglog(sizes, seconds[-1] * (sizes / sizes[-1]) ** ideal, ":", color="#8c8c8c")
        panel.set_title(f"{AXES[name].grows}, exponent {slope:.2f}", fontsize=9)
        panel.set_xlabel(AXES[name].measured, fontsize=8)
        panel.set_ylabel("seconds", fontsize=8)
        panel.tick_params(labelsize=7)
        for axis in (panel.xaxis, panel.yaxis):
            axis.set_minor_formatter(NullFormatter())
        panel.grid(color="#e0e0e0", linewidth=0.6)
    figure.savefig(place)


def main() -> None:
    """Measure, print the table, draw the picture."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("name", nargs="*", help=", ".join(AXES))
    parser.add_argument("--quick", action="store_true", help="few and small sizes")
    parser.add_argument("--keep", type=Path, help="write points down here")
    parser.add_argument("--picture", type=Path, help="draw here")
    options = parser.parse_args()
    found = kept_points(options.keep)
    print("| what grows: what is measured | from, to | processor time | exponent | memory |\n|---|---|---|---|---|")
    with one_blas_thread():
        for name in options.name or AXES:
            found[name] = np.array(list(AXES[name].points(options.quick)))
            print(table_row(name, found[name]), flush=True)
            if options.keep:
                keep_points(found, options.keep)
    if options.picture:
        picture(found, options.picture)


if __name__ == "__main__":
    main()
