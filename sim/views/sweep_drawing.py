"""All pictures of a sweep: lines, maps and the film of hotspots."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Final

from ..studies.sweep_findings import Findings
from ..studies.sweep_plan import SweepTask
from ..studies.sweep_records import Sweep
from .drawing import file_name
from .hotspot_film import draw_film
from .sweep_map import draw_sweep_map
from .sweep_picture import draw_sweep_line

MOST_LINES: Final = 4
"""Of sweeps of more fields than this, lines are drawn along the first ones only."""

Report = Callable[[str], None]


def draw_sweep_pictures(
    sweep: Sweep, task: SweepTask, found: Findings, out: Path, report: Report
) -> tuple[Path, ...]:  # fmt: skip
    """Write every picture of a sweep into a folder; none when no layout is possible.

    sweep_line.png for one field, or fields that run side by side; else sweep_map.png and a line along each field
    through the best, such as sweep_line_left_tilt.png.  hotspots.gif and hotspots_first_last.png where at least two
    layouts are possible.
    """
    if found.best < 0:
        return ()
    axes = sweep.plan.axes
    report("drawing lines")
    if len(axes) == 1 or sweep.plan.together:
        made = [draw_sweep_line(sweep, found, out / "sweep_line.png")]
    else:
        varying = [number for number, axis in enumerate(axes) if len(axis.values) > 1] or [0]
        made = [
            draw_sweep_line(sweep, found, out / f"sweep_line_{file_name(axes[number].field)}.png", axis=number)
            for number in varying[:MOST_LINES]
        ]
        report("drawing maps")
        made.append(draw_sweep_map(sweep, found, out / "sweep_map.png"))
    return (*made, *draw_film(sweep, task, found, out, report))
