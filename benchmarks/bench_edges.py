"""Times of bent sound, and how much slower plain SciPy quadrature of the same integral is.

Run: python -m benchmarks.bench_edges

Times are of this machine on this day; the ratio of two codes timed in turn in one process travels further.
"""

from __future__ import annotations

import time
from collections.abc import Callable

import numpy as np

from sim.geometry.room import Room, build_room
from sim.machine.processes import one_blas_thread
from sim.pipeline import build
from sim.propagation.edges.bare import bare_edges, bare_stretches
from sim.propagation.edges.edge_kernels import edge_pressure
from sim.propagation.edges.plates import plate_total
from sim.propagation.edges.single import edge_gains, wedge_of
from sim.propagation.edges.tracing import Depth, trace_edges
from sim.propagation.mirrors.image_sources import trace_paths
from sim.responses.frequency import ear_response
from sim.responses.quick_curve import ear_curve, edge_curve
from tests.geometry.furnished import box_patches
from tests.propagation.slow_edges import edge_by_quadrature

SPEED = 343.2
DEPTHS: tuple[Depth, ...] = ("single", "mirrored", "full")
FREQUENCIES = np.geomspace(50.0, 8000.0, 200)
EAR = np.array([3.6, 2.1, 1.2])
BOXES = (
    [[0.6, 0.6, 0.7], [0.9, 0.9, 1.2]],
    [[0.6, 3.1, 0.7], [0.9, 3.4, 1.2]],
    [[2.2, 1.2, 0.7], [2.95, 2.8, 0.73]],
    [[2.0, 1.8, 0.9], [2.05, 2.4, 1.25]],
)


def seconds(work: Callable[[], object]) -> float:
    """Shortest of three calls, after one that does not count."""
    work()
    took = []
    for _ in range(3):
        start = time.perf_counter()
        work()
        took.append(time.perf_counter() - start)
    return min(took)


def over_quadrature(few: int = 20) -> tuple[float, float]:
    """Seconds of one edge at all frequencies, and how many times as long SciPy's quadrature takes; few are asked."""
    room, _ = furnished_room()
    wedge, k = wedge_of(room, int(bare_edges(room)[0])), 2.0 * np.pi * FREQUENCIES / SPEED
    source = np.array([1.0, 0.75, 0.85])
    quick = seconds(lambda: edge_pressure(source, EAR, wedge, 0.0, wedge[4], k, np.zeros((0, len(k)), complex)))
    slow = seconds(lambda: [edge_by_quadrature(source, EAR, wedge, float(one)) for one in k[:: len(k) // few]])
    return quick, slow * len(k) / few / quick


def furnished_room() -> tuple[Room, np.ndarray]:
    """A room of four bodies, and four drivers."""
    patches = box_patches(np.zeros(3), np.array([5.0, 4.0, 2.6]), "room", inward=True)
    for number, box in enumerate(BOXES):
        patches += box_patches(*np.array(box), f"body {number}")
    return build_room(patches), np.array([[1.0, y, z] for y in (0.75, 3.25) for z in (0.85, 1.1)])


def main() -> None:
    """Edges of a room of four bodies from four drivers, one edge against quadrature, and a desk."""
    room, drivers = furnished_room()
    edges, bare = bare_edges(room), bare_stretches(room)

    def piston(ways: np.ndarray) -> np.ndarray:
        x = 2.0 * np.pi * FREQUENCIES / SPEED * 0.08
        return 1.0 / (1.0 + (x * (1.0 - ways[:, :1])) ** 2) + 0.0j

    def whole() -> None:
        for driver in drivers:
            edge_gains(room, driver, EAR, -2, FREQUENCIES, SPEED, piston, edges=edges, bare=bare)

    print(f"{len(edges)} edges, {len(drivers)} drivers, {len(FREQUENCIES)} frequencies: {seconds(whole):.3f} s")
    print(f"finding the bare edges once: {seconds(lambda: bare_edges(room)):.3f} s")
    quick, ratio = over_quadrature()
    print(f"one edge, 200 frequencies: {1e3 * quick:.2f} ms; SciPy quadrature takes {ratio:.0f} times as long")
    alone = 0.0
    for order in (1, 2, 3):
        took = seconds(
            lambda n=order: plate_total((1.6, 0.75, 0.03), (-0.2, -0.5, 0.3), (0.65, 0.1, 0.45), FREQUENCIES, order=n)
        )
        alone = alone or took
        print(
            f"desk, chains of up to {order}: {took:.3f} s for 200 frequencies up to 8 kHz, "
            f"{took / alone:.0f} times single edges"
        )


def in_a_scene(name: str = "bedroom-on-stands") -> None:
    """How much of the time for all edges single ones take, and with mirrors; the quick curve beside the whole sum."""
    _, built = build(f"scenes/{name}/scene.toml")
    with one_blas_thread():
        whole = seconds(lambda: trace_edges(built, 3))
        for depth in DEPTHS:
            took = seconds(lambda d=depth: trace_edges(built, 3, depth=d))
            print(f"{name}, edges {depth}: {took:.3f} s, {took / whole:.2f} of full")
        paths, edges = trace_paths(built, 3), trace_edges(built, 3, depth="mirrored")
        summed = edge_curve(built, edges)
        quick, slow = (
            seconds(lambda: ear_curve(built, paths, summed)),
            seconds(lambda: ear_response(built, paths, edges)),
        )
        print(f"{name}, curve at the ear: {1e3 * quick:.0f} ms; the whole sum takes {slow / quick:.0f} times as long")


if __name__ == "__main__":
    main()
    in_a_scene()
