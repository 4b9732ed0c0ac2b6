"""How long one layout takes in a sweep, a search and a tolerance, in one process: processor milliseconds.

Run it alone on the machine: python benchmarks/bench_layouts.py [layouts].  Median and 90th percentile over random
layouts of three demo rooms, each a little off what the scene tells, those that cannot be left out.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np

HOME = Path(__file__).resolve().parent.parent
ROOMS = ("bedroom-on-stands", "attic-facing-gable", "control-room-stands")
VARY = {"left.height": 0.06, "left.tilt": 3.0, "left.from_front": 0.05}
"""What is varied in sweep and search, and by how much to either side."""


def spent(work: Callable[[Any, Any], Any], task: Any, pieces: list[Any]) -> list[float]:
    """Processor milliseconds of each piece that gave an answer, the first left out."""
    times = []
    for number, piece in enumerate(pieces):
        begun = time.process_time()
        found = work(task, piece)
        took = 1000.0 * (time.process_time() - begun)
        cannot_be = isinstance(found, str) or getattr(found, "reason", "")
        if number and not cannot_be:
            times.append(took)
    return times


def of_room(room: str, count: int) -> dict[str, list[float]]:
    """Milliseconds of layouts of a sweep, a search and a tolerance of one room."""
    from sim.acoustics.bands import octave_bands
    from sim.blueprint.reader import read_scene
    from sim.layouts.fields import find_field
    from sim.layouts.figures import surface_names
    from sim.layouts.plan import plan_sweep
    from sim.layouts.values import value_of
    from sim.layouts.workers import work_point
    from sim.machine.processes import one_blas_thread
    from sim.placement.built_scene import build_scene
    from sim.studies.search.search import plan_search
    from sim.studies.search.trials import try_layout
    from sim.studies.tolerance.samples import ToleranceTask, work_sample
    from sim.studies.tolerance.tolerance import draw
    from sim.studies.tolerance.uncertainties import uncertainties_of

    scene, rng = read_scene(HOME / "scenes" / room), np.random.default_rng(1)
    blueprint = scene.blueprint
    now = {name: value_of(blueprint, find_field(blueprint, name)) for name in VARY}
    sweep = plan_sweep(
        scene, {name: f"{now[name] - by:.6g}:{now[name] + by:.6g}:{by:.6g}" for name, by in VARY.items()}
    )
    search = plan_search(scene, {name: f"{now[name] - by:.6g}:{now[name] + by:.6g}" for name, by in VARY.items()})
    low, high = (np.array([now[name] + sign * by for name, by in VARY.items()]) for sign in (-1.0, 1.0))
    values = [tuple(low + (high - low) * rng.random(len(low))) for _ in range(count)]
    points = rng.integers(0, 27, count).tolist()
    built = build_scene(blueprint, scene.folder)
    uncertainties = uncertainties_of(blueprint, built)
    task = ToleranceTask(blueprint, scene.folder, uncertainties, blueprint.target, octave_bands(), surface_names(built))
    with one_blas_thread():
        return {
            "sweep": spent(work_point, sweep, points),
            "search": spent(try_layout, search, values),
            "tolerance": spent(work_sample, task, list(draw(uncertainties, count, 1))),
        }


def main() -> None:
    """Measure and print."""
    sys.path.insert(0, str(HOME))
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 32
    for room in ROOMS:
        told = [
            f"{name} {np.median(ms):5.1f} /{np.percentile(ms, 90):5.1f}" for name, ms in of_room(room, count).items()
        ]
        print(f"{room:22} {'   '.join(told)}  ms a layout")


if __name__ == "__main__":
    main()
