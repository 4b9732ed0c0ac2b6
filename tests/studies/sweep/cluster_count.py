"""Loaded by the workers of a test: every layout that is begun leaves its number and its worker in a log."""

from __future__ import annotations

import os
from typing import Any

import sim.layouts.workers as points

if points.work_point.__name__ == "work_point":  # a worker may load this file twice
    work_point = points.work_point

    def counted(task: Any, point: int) -> Any:
        """Note the layout, then work it out."""
        log = os.open(os.environ["SWEEP_LOG"], os.O_WRONLY | os.O_APPEND | os.O_CREAT)
        os.write(log, f"{point} {os.getpid()}\n".encode())
        os.close(log)
        if "SWEEP_FAULT" in os.environ:
            raise ZeroDivisionError("a fault of the program")
        return work_point(task, point)

    points.work_point = counted
