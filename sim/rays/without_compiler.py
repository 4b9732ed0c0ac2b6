"""Kernels as the Python they are written in, for the process of a command that has little to work out.

Loading the compiler and each kernel takes half a second, a hundred times what a few boxes are worth.  A kernel is
Python all the same and gives the same bits, so such a process never loads them: `kinds_of_kernels` hands functions
back as they are, and eight lanes are arrays of eight (`plain_lanes`).
"""

from __future__ import annotations

import sys

_without = False


def work_without_compiler() -> bool:
    """Run kernels as plain Python from now on, in all of this process; False, and nothing, once they were loaded."""
    global _without
    if "sim.rays.kinds_of_kernels" not in sys.modules:
        import numpy as np

        import sim.rays
        from sim.rays import plain_lanes

        _without = True
        for name in ("lanes", "lane_lists"):
            sys.modules[f"sim.rays.{name}"] = plain_lanes
            setattr(sim.rays, name, plain_lanes)
        np.seterr(all="ignore")  # compiled kernels say nothing of what divides by zero, either
    return _without


def is_without_compiler() -> bool:
    """Whether kernels of this process are plain Python."""
    return _without
