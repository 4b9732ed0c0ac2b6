"""The live page, from a move that arrives to the frame that goes out: median, 90th percentile, bytes, processor time.

Run: .venv/bin/python benchmarks/bench_view.py [moves]
"""

from __future__ import annotations

import sys
import time
from pathlib import Path

import numpy as np

from sim.blueprint.reader import read_scene
from sim.compiling import compile_kernels
from sim.machine.processes import one_blas_thread
from sim.studies.view.session import Session

HOME = Path(__file__).resolve().parent.parent
SCENES = {
    "bedroom-on-desk": ("left.tilt", 0.0, 10.0),
    "bedroom-on-stands": ("left.from_front", 0.42, 0.50),
    "attic-facing-gable": ("left.height", 1.22, 1.30),
    "control-room-stands": ("left.from_left", 1.45, 1.55),
}


def frames_of(name: str, moves: int) -> tuple[list[float], list[float], int]:
    """Move one number of a demo room to and fro: wall ms and processor ms of each frame, and bytes of most."""
    field, low, high = SCENES[name]
    frames: list[bytes] = []
    session = Session(read_scene(HOME / "scenes" / name), lambda _: None, frames.append, lambda _: None)
    rng = np.random.default_rng(1)
    took, worked = [], []
    for value in [low, high, *rng.uniform(low, high, moves)]:
        begun, processor = time.perf_counter(), time.process_time()
        session.act({"kind": "move", "values": {field: float(value)}, "fine": True})
        took.append(1000.0 * (time.perf_counter() - begun))
        worked.append(1000.0 * (time.process_time() - processor))
    return took[2:], worked[2:], int(np.median([len(one) for one in frames]))


def measured(name: str, moves: int) -> str:
    """Say what each frame took."""
    took, worked, size = frames_of(name, moves)
    median, high_ms = np.percentile(took, [50, 90])
    return (
        f"{name:22} {SCENES[name][0]:16} {median:7.1f} ms median {high_ms:7.1f} ms p90 "
        f"{np.median(worked):7.1f} ms processor {size:7} bytes"
    )


def main() -> None:
    """Measure all."""
    moves = int(sys.argv[1]) if len(sys.argv) > 1 else 40
    compile_kernels(groups=("rooms", "paths", "maps"))
    with one_blas_thread():
        for name in SCENES:
            print(measured(name, moves))


if __name__ == "__main__":
    main()
