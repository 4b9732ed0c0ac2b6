"""Sweeps from beginning to end: plan, run here or on a cluster, keep, and say what was found."""

from __future__ import annotations

import time
from collections.abc import Callable, Mapping
from pathlib import Path

from sim.blueprint.reader import AnyScene, read_scene
from sim.layouts.plan import SweepTask, plan_sweep
from sim.layouts.records import Sweep
from sim.layouts.values import Values
from sim.layouts.workers import run_points
from sim.progress import Report, say_nothing
from sim.showing.folder import add_to_contents
from sim.showing.words import write_lines
from sim.studies.sweep.findings import Findings, find_out
from sim.studies.sweep.store import FILE, SweepStore, read_sweep
from sim.studies.sweep.text import sweep_lines, write_sweep, write_sweep_summary

Progress = Callable[[int, int, float], None]
"""Called now and then with the number of finished layouts, that of all, and the seconds left (nan at first)."""
PROGRESS_S = 1.0


def _silent(_: int, __: int, ___: float) -> None:
    return None


def sweep(
    scene: AnyScene,
    vary: Mapping[str, Values],
    folder: Path | str,
    *,
    tied: bool = True,
    together: bool = False,
    processes: int | None = None,
    scheduler: str = "",
    replace: bool = False,
    progress: Progress = _silent,
) -> Sweep:
    """Work out first reflections of every layout of a sweep, and keep them in `folder` with what was found.

    `vary` maps fields to ranges ("-10:15:1", "50cm:90cm:5cm") or lists of values, numbers in the unit of the scene;
    all combinations are taken, or with `together` the lists side by side.  A folder that holds part of the same sweep
    is continued.  Several processes start afresh from the main module: call this below `if __name__ == "__main__"`.

    Raises
    ------
    SceneError
        If scene, field or values cannot be.
    OutputError
        If the folder cannot be used, or holds another sweep.
    """
    task = plan_sweep(read_scene(scene), vary, tied=tied, together=together)
    run_sweep(task, Path(folder), processes=processes, scheduler=scheduler, replace=replace, progress=progress)
    write_findings(task, Path(folder))
    return read_sweep(folder)


def run_sweep(
    task: SweepTask,
    folder: Path,
    *,
    processes: int | None = None,
    scheduler: str = "",
    replace: bool = False,
    progress: Progress = _silent,
    say: Report = say_nothing,
) -> None:
    """Work out every open point of a planned sweep into its folder; raises as `sweep`.

    `say` is called with a sentence where a person should know something about how the sweep is continued.
    """
    with SweepStore(folder, task.plan, replace=replace) as store:
        if store.note:
            say(store.note)
        points = [int(point) for point in store.open_points]
        total = task.plan.points
        if scheduler and points:
            from sim.studies.sweep.cluster import run_on_cluster

            groups = run_on_cluster(task, points, scheduler)
        else:
            groups = run_points(task, points, processes, say)
        begun, reported, done = time.monotonic(), 0.0, 0
        for results in groups:
            store.add(results)
            done += len(results)
            now = time.monotonic()
            if now - reported > PROGRESS_S or done == len(points):
                left = (now - begun) / done * (len(points) - done)
                progress(total - len(points) + done, total, left)
                reported = now


def write_findings(task: SweepTask, folder: Path) -> tuple[list[str], Findings]:
    """Write sweep.txt and the tables into the folder of a sweep; also return the lines and what was found.

    Raises
    ------
    OutputError
        If they cannot be written.
    """
    known = read_sweep(folder)
    found = find_out(known, task)
    lines = sweep_lines(known, task, found)
    write_sweep(known, folder / "sweep.csv")
    write_sweep_summary(known, folder / "sweep_summary.csv")
    write_lines(lines, folder / "sweep.txt")
    add_to_contents(folder, [folder / name for name in (FILE, "sweep.csv", "sweep_summary.csv", "sweep.txt")])
    return lines, found
