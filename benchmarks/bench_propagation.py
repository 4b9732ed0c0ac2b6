"""Times of paths, arrivals and a whole trace, and how much slower plain NumPy is.

Run: python benchmarks/bench_propagation.py [--quick]

Prints ratios beside times: times are of this machine on this day, ratios of two codes timed in turn in one
process travel further.  Never part of the tests.
"""

from __future__ import annotations

import argparse
import statistics
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np

from sim.acoustics.bands import octave_bands
from sim.pipeline import build, trace_scene
from sim.placement.built_scene import BuiltScene
from sim.propagation.mirrors.image_sources import survey_first_order, trace_paths
from sim.responses.arrivals import list_arrivals

SCENES = Path(__file__).resolve().parent.parent / "scenes"


def median_ms(work: Callable[[], object], times: int) -> float:
    """Median time of a call in milliseconds, after one call that does not count."""
    work()
    took = []
    for _ in range(times):
        start = time.perf_counter()
        work()
        took.append(1000.0 * (time.perf_counter() - start))
    return statistics.median(took)


def numpy_paths(built: BuiltScene, order: int) -> list[float]:
    """Mirrored path lengths by the obvious NumPy code: every facet sequence, every triangle, one by one."""
    room = built.room
    triangles = room.triangles
    lengths: list[float] = []
    for loudspeaker in built.loudspeakers:
        own = room.owner_number(loudspeaker.body)
        for source in loudspeaker.driver_points:
            lengths += _numpy_from(built, source, built.ears[0], order, own, triangles)
    return lengths


def _numpy_from(
    built: BuiltScene, source: np.ndarray, ear: np.ndarray, order: int, own: int, triangles: np.ndarray
) -> list[float]:
    room, lengths = built.room, []
    stack: list[tuple[list[int], list[np.ndarray]]] = [([], [source])]
    while stack:
        sequence, images = stack.pop()
        if sequence and _numpy_valid(built, sequence, images, source, ear, own, triangles):
            lengths.append(float(np.linalg.norm(images[-1] - ear)))
        if len(sequence) == order:
            continue
        for f, facet in enumerate(room.facets):
            if not sequence and room.arrays.owner[f] == own:
                continue
            if sequence and facet.plane == room.facets[sequence[-1]].plane:
                continue
            height = float(facet.normal @ images[-1]) - facet.offset_m
            if height > 1e-9:
                stack.append(([*sequence, f], [*images, images[-1] - 2.0 * height * facet.normal]))
    return lengths


def _numpy_valid(
    built: BuiltScene,
    sequence: list[int],
    images: list[np.ndarray],
    source: np.ndarray,
    ear: np.ndarray,
    own: int,
    triangles: np.ndarray,
) -> bool:
    room, here, points = built.room, ear, []
    for k in range(len(sequence) - 1, -1, -1):
        facet = room.facets[sequence[k]]
        before = float(facet.normal @ here) - facet.offset_m
        if before <= 1e-9:
            return False
        behind = float(facet.normal @ images[k + 1]) - facet.offset_m
        here = here + before / (before - behind) * (images[k + 1] - here)
        x, y = facet.to_plane(here)
        x0, y0, x1, y1 = facet.border.T
        crosses = (y0 > y) != (y1 > y)
        with np.errstate(divide="ignore", invalid="ignore"):
            odd = crosses & (x < x0 + (y - y0) * (x1 - x0) / (y1 - y0))
        if odd.sum() % 2 == 0:
            return False
        points.append(here)
    stops = [source, *points[::-1], ear]
    ends = [-1, *sequence, -1]
    for k in range(len(stops) - 1):
        planes = [room.facets[f].plane for f in ends[k : k + 2] if f >= 0]
        skip = np.isin(room.plane_of_triangle, planes)
        if k == 0:
            skip |= room.owner_of_triangle == own
        if _numpy_hit(stops[k], stops[k + 1], triangles[~skip]):
            return False
    return True


def _numpy_hit(p: np.ndarray, q: np.ndarray, triangles: np.ndarray) -> bool:
    d = q - p
    e1, e2 = triangles[:, 1] - triangles[:, 0], triangles[:, 2] - triangles[:, 0]
    h = np.cross(d, e2)
    det = (e1 * h).sum(axis=1)
    with np.errstate(divide="ignore", invalid="ignore"):
        s = p - triangles[:, 0]
        u = (s * h).sum(axis=1) / det
        r = np.cross(s, e1)
        v = (r @ d) / det
        t = (e2 * r).sum(axis=1) / det
        return bool(((u >= 0) & (v >= 0) & (u + v <= 1) & (t > 1e-7) & (t < 1 - 1e-7)).any())


def main() -> None:
    """Print the table."""
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--quick", action="store_true", help="fewer repetitions")
    times = 3 if options.parse_args().quick else 15
    scene, built = build(SCENES / "bedroom-on-stands")
    blueprint, bands = scene.blueprint, octave_bands()

    def points() -> object:
        return list_arrivals(built, trace_paths(built, 1), bands, blueprint.target), survey_first_order(built)

    first = median_ms(points, times)
    third = median_ms(lambda: list_arrivals(built, trace_paths(built, 3), bands, blueprint.target), times)
    whole = median_ms(lambda: trace_scene(scene), max(3, times // 3))
    print(f"bedroom, {len(built.room.facets)} facets, 4 drivers, kernels compiled")
    print(f"  first-order points and arrivals       {first:9.1f} ms   goal 50")
    print(f"  order 3 paths and arrivals            {third:9.1f} ms   goal 1000")
    print(f"  whole trace without pictures          {whole:9.1f} ms   goal 3000 (with files)")
    start = [sys.executable, "-c", "import sim"]
    bare = [sys.executable, "-c", "pass"]
    imported = median_ms(lambda: subprocess.run(start, check=True), times)
    nothing = median_ms(lambda: subprocess.run(bare, check=True), times)
    print(f"  import sim, above bare Python         {imported - nothing:9.1f} ms   goal 300")
    for order in (1, 2, 3):
        slow = median_ms(lambda order=order: numpy_paths(built, order), 1)  # type: ignore[misc]
        fast = median_ms(lambda order=order: trace_paths(built, order), times)  # type: ignore[misc]
        print(
            f"  plain NumPy over kernels, order {order}     {slow / fast:9.0f} x    ({slow:.0f} ms over {fast:.2f} ms)"
        )


if __name__ == "__main__":
    main()
