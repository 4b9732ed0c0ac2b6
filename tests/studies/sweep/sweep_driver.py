"""A sweep in a process of its own, for tests that kill it: every layout that is begun leaves a line in a log.

Arguments: scene, vary (field=values), folder, log, processes, and "hurry" to rewrite sweep.h5 after every group.
"""

from __future__ import annotations

import os
import sys
from typing import Any

import sim.layouts.workers as points
import sim.studies.sweep.store as store
from sim.studies.sweep.run import sweep

_work_point = points.work_point


def counted(task: Any, point: int) -> Any:
    log = os.open(sys.argv[4], os.O_WRONLY | os.O_APPEND | os.O_CREAT)
    os.write(log, f"{point}\n".encode())
    os.close(log)
    return _work_point(task, point)


points.work_point = counted
if sys.argv[6:] == ["hurry"]:
    store.REST_S = 0.0  # type: ignore[misc]
    store.SHARE = 1.0e9  # type: ignore[misc]

if __name__ == "__main__":
    name, _, values = sys.argv[2].partition("=")
    sweep(sys.argv[1], {name: values}, sys.argv[3], processes=int(sys.argv[5]))
