"""What more cores bring to the main job, and what they cost: `trace --no-pictures` on 1, 2, 4 ... and all cores.

Run: python benchmarks/bench_cores.py [repeats]        (some seconds a repeat and number of cores; Linux)

Wall seconds, processor seconds of the process with its children, and a digest of results.h5's figures and the tables,
which must be the same in every line.  Processor seconds that grow with the cores are threads that wait for each other.
"""

from __future__ import annotations

import hashlib
import os
import resource
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

HOME = Path(__file__).resolve().parent.parent
SCENE = HOME / "scenes" / "bedroom-on-desk"


def traced(cores: list[int]) -> tuple[float, float, str]:
    """Wall and processor seconds of one trace on some cores, and a digest of what it wrote."""
    with tempfile.TemporaryDirectory() as folder:
        out = Path(folder) / "results"
        command = [sys.executable, "-m", "sim", "trace", "--no-pictures", str(SCENE), "-o", str(out)]
        before, begun = resource.getrusage(resource.RUSAGE_CHILDREN), time.perf_counter()
        subprocess.run(
            command,
            cwd=HOME,
            check=True,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
            env={**os.environ, "BOUNCEPLAN_FRESH": "1"},  # a trace that was kept would be read, not traced
            preexec_fn=lambda: os.sched_setaffinity(0, cores),
        )
        wall, after = time.perf_counter() - begun, resource.getrusage(resource.RUSAGE_CHILDREN)
        spent = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
        return wall, spent, digest(out)


def digest(out: Path) -> str:
    """Digest of every table, and of every number in results.h5."""
    import h5py
    import numpy as np

    reported = hashlib.sha256()
    for table in sorted(out.glob("*.csv")):
        reported.update(table.read_bytes())

    def add(name: str, thing: object) -> None:
        if isinstance(thing, h5py.Dataset) and thing.dtype.kind in "fciub":
            reported.update(name.encode() + np.asarray(thing[()]).tobytes())

    with h5py.File(str(out / "results.h5"), "r") as file:
        file.visititems(add)
    return reported.hexdigest()[:12]


def main() -> None:
    """Measure and print."""
    repeats = int(sys.argv[1]) if len(sys.argv) > 1 else 3
    mine = sorted(os.sched_getaffinity(0))
    counts = sorted({1, *(2**k for k in range(1, 10) if 2**k < len(mine)), len(mine)})
    traced(mine)  # compiles what is not compiled yet
    print("cores   wall s   processor s   digest")
    for count in counts:
        found = [traced(mine[:count]) for _ in range(repeats)]
        wall, spent = (statistics.median(each[k] for each in found) for k in (0, 1))
        print(f"{count:5d} {wall:8.2f} {spent:13.2f}   {' '.join(sorted({each[2] for each in found}))}")


if __name__ == "__main__":
    main()
