"""How long a frame takes while something moves, beside the path before: unions, records and loops for every layout.

Run it alone on the machine: python benchmarks/bench_frames.py [frames] [room ...].  For each demo room, a treated one
and what moves in it, it prints median and 90th percentile of processor milliseconds of what is built, of paths, first
reflections and survey, of the map of the desk, and of the whole frame; then the same with nothing kept and everything
the long way round, in one run, so that the ratio counts on any machine.
"""

from __future__ import annotations

import contextlib
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    from sim.blueprint.reader import SceneFile

HOME = Path(__file__).resolve().parent.parent
MOVES = {
    "bedroom-on-stands": ("left.tilt", 1.0, 8.0),
    "bedroom with 4 panels": ("left.tilt", 1.0, 8.0),
    "bedroom-on-desk": ("desk.tilt", 0.0, 3.0),
    "bedroom-inverted": ("left.toe_in", 22.0, 30.0),
    "bedroom-coaxial": ("left.tilt", 0.0, 4.0),
    "attic-facing-gable": ("left.tilt", 0.0, 4.0),
    "attic-lying": ("desk.height", 0.70, 0.74),
    "attic-turned": ("left.tilt", 0.0, 4.0),
    "control-room-stands": ("left.toe_in", 20.0, 28.0),
    "control-room-bridge": ("left.tilt", 0.0, 4.0),
    "control-room-built-in": ("ear.from_front", 2.6, 2.8),
}
"""What moves in each room, and from where to where."""
TREATED = """
[[panels]]
name = "left"
surface = "left wall"
from_front = [0.6, 1.2]
up = [0.6, 1.8]
material = "100 mm wool"
movable = true

[[panels]]
name = "right"
surface = "right wall"
from_front = [0.6, 1.2]
up = [0.6, 1.8]
material = "100 mm wool"

[[panels]]
name = "cloud, left"
surface = "ceiling"
from_front = [0.5, 1.1]
from_left = [0.4, 1.6]
material = "50 mm wool, 50 mm gap"
fixings = "four anchors into joists, second tether"

[[panels]]
name = "cloud, right"
surface = "ceiling"
from_front = [0.5, 1.1]
from_left = [1.8, 3.0]
material = "50 mm wool, 50 mm gap"
fixings = "four anchors into joists, second tether"
"""
"""What hangs in the bedroom with four panels: where its first reflections are."""


def frames_of(room: str, count: int) -> list[tuple[float, float, float]]:
    """Processor milliseconds of each frame: built; paths, reflections and survey; map of the desk."""
    from sim.errors import SceneError
    from sim.layouts.fields import find_field
    from sim.layouts.frames import Frames, desk_tops
    from sim.layouts.values import with_value
    from sim.machine.processes import one_blas_thread
    from sim.propagation.mirrors.image_sources import survey_first_order, trace_paths
    from sim.propagation.surfaces.finite_facets import BESIDE_M, worth_keeping
    from sim.responses.first_arrivals import first_arrivals
    from sim.responses.surface_map import surface_maps

    name, low, high = MOVES[room]
    frames = Frames(scene_of(room))
    blueprint = frames.scene.blueprint
    field, rows = find_field(blueprint, name), []
    with one_blas_thread():
        for number, value in enumerate(np.linspace(low, high, count + 1)):
            begun = time.process_time()
            changed = with_value(blueprint, field, float(value))
            try:
                built = frames.build(changed)
            except SceneError:
                continue
            there = time.process_time()
            paths = trace_paths(built, 1, beside_m=BESIDE_M)
            paths = paths.chosen(worth_keeping(built, paths))
            first_arrivals(built, paths, frames.bands, changed.target)
            survey_first_order(built)
            heard = time.process_time()
            surface_maps(built, frames.bands, frames.grid_m, frames.error_m, desk_tops(changed, built))
            if number:
                rows.append((there - begun, heard - there, time.process_time() - heard))
    return [tuple(1000.0 * each for each in row) for row in rows]  # type: ignore[misc]


def scene_of(room: str) -> SceneFile:
    """The demo room, or the bedroom on stands with four panels."""
    from sim.blueprint.reader import parse_scene, read_scene

    if " with " not in room:
        return read_scene(HOME / "scenes" / room)
    folder = HOME / "scenes" / "bedroom-on-stands"
    return parse_scene((folder / "scene.toml").read_text(encoding="utf-8") + TREATED, folder)


@contextlib.contextmanager
def the_long_way() -> Iterator[None]:
    """Keep nothing by object, unite the triangles of every quadrilateral, compare every body's sides in Python."""
    from sim import arrays
    from sim.geometry import edges, facets, rims
    from tests.geometry.slow_facets import body_edges, flat_groups

    def united(patches: Any) -> Any:
        return [flat_groups(one.triangles) for one in patches]

    def compared(bodies: Any) -> Any:
        return [body_edges(body) for body in bodies]

    changes: list[tuple[Any, str, Callable[..., Any]]] = [
        (arrays.KeptFor, "find", lambda self, *objects: None),
        (facets, "_flats_of", united),
        (edges, "_small_bodies", compared),
        (rims, "pieces_seen", lambda facet, triangles: np.zeros(len(triangles), dtype=np.int64)),
    ]
    before = [getattr(home, name) for home, name, _ in changes]
    for home, name, slow in changes:
        setattr(home, name, slow)
    try:
        yield
    finally:
        for (home, name, _), was in zip(changes, before, strict=True):
            setattr(home, name, was)


def main() -> None:
    """Measure and print."""
    sys.path.insert(0, str(HOME))
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 20
    print("processor ms, median / 90th percentile; the long way: median, and how many times as long")
    print(f"{'room':22} {'what moves':15} {'built':>13} {'heard':>13} {'map':>13} {'frame':>13} {'long way':>14}")
    rooms = sys.argv[2:] or list(MOVES)
    for room, (name, _, _) in ((room, MOVES[room]) for room in rooms):
        quick = np.array(frames_of(room, count))
        if not len(quick):
            print(f"{room:22} {name:15} no such layout is possible")
            continue
        with the_long_way():
            slow = np.array(frames_of(room, max(3, count // 4)))
        columns = [*quick.T, quick.sum(axis=1)]
        told = " ".join(f"{np.median(one):6.1f} /{np.percentile(one, 90):5.1f}" for one in columns)
        whole = np.median(slow.sum(axis=1))
        print(f"{room:22} {name:15} {told} {whole:7.1f} {whole / np.median(columns[-1]):5.1f}x")


if __name__ == "__main__":
    main()
