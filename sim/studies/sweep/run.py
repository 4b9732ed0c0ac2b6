"""Sweeps from beginning to end: plan, run here or on a cluster, keep, and say what was found."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import replace as replace_in
from pathlib import Path
from typing import TYPE_CHECKING, Final

from sim.blueprint.reader import AnyScene, made_scene, read_scene
from sim.blueprint.schema import Blueprint
from sim.errors import BounceplanError
from sim.layouts.plan import SweepTask, plan_sweep
from sim.layouts.records import Sweep
from sim.layouts.values import Values
from sim.layouts.workers import PointResult, chunks, run_points, work_points
from sim.progress import Report, say_nothing
from sim.responses.measure import Measure, changes_between, measure_of
from sim.showing.archive.kept_traces import trace_kept
from sim.showing.folder import add_to_contents
from sim.studies.sweep.findings import Findings, find_out
from sim.studies.sweep.store import FILE, SweepStore, read_sweep
from sim.studies.sweep.text import setting, sweep_lines

if TYPE_CHECKING:
    from distributed import Client, Future

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


def write_findings(task: SweepTask, folder: Path, say: Report = say_nothing) -> tuple[list[str], Findings]:
    """Write sweep.txt and the tables into the folder of a sweep; also return the lines and what was found.

    `say` is called with a sentence before a layout is judged by a full trace, which may take longer than the sweep.

    Raises
    ------
    OutputError
        If they cannot be written.
    """
    from sim.studies.sweep import write

    known = read_sweep(folder)
    found = find_out(known, task)
    lines = [*sweep_lines(known, task, found), *judged_lines(task, known, found, say)]
    write(replace_in(known, findings="\n".join(lines)), folder, say_nothing, False)
    add_to_contents(folder, [folder / name for name in (FILE, "sweep.csv", "sweep_summary.csv", "sweep.txt")])
    return lines, found


def judged_lines(task: SweepTask, sweep: Sweep, found: Findings, say: Report = say_nothing) -> list[str]:
    """The scene as it stands and the best setting, both traced in full, by the measure that all questions share.

    A full trace costs as much as hundreds of layouts: none is made of what was traced before, nor of one scene twice.
    """
    if found.best < 0 or found.now is None:
        return []
    places = [place for field in task.fields for place in field.places]
    values = task.plan.values(found.best)
    changed = task.blueprint_at(values)
    as_it_stands = made_scene(task.blueprint, task.folder, task.plan.scene_path)

    def judged(blueprint: Blueprint) -> Measure:
        # with maps and all, so that the same trace serves the next command too
        return measure_of(trace_kept(replace_in(as_it_stands, blueprint=blueprint)), places)

    say("judging the scene as it stands by a full trace")
    before = after = judged(task.blueprint)
    if changed != task.blueprint:
        say("judging the best setting by a full trace")
        after = judged(changed)
    changes = changes_between(before, after)
    lines = ["", f"By the measure, both traced in full, the best of these ({setting(sweep, found.best)}) is"]
    lines.append(f"  {changes[0].verdict}{' as the scene as it stands' if changes[0].verdict == 'the same' else ''}")
    return [*lines, *(f"  {one.words}: {one.verdict}" for one in changes)]


# Running points of a sweep on a Dask cluster that is already there; nothing here starts or schedules anything.
#
# The only module that needs the optional extra `cluster`.

CHUNK: Final = 8
"""Points that a worker takes at once, and that are worked out again when it is lost."""
AHEAD: Final = 3
"""Groups of points that wait for every thread of the cluster; more would only fill memory."""
PATIENCE: Final = "10s"
"""How long to wait for a scheduler to answer."""


def run_on_cluster(task: SweepTask, points: Sequence[int], address: str) -> Iterator[list[PointResult]]:
    """Work out points on the cluster whose scheduler is at `address`; groups come back as they become ready.

    The scheduler gives the points of a lost worker to another.  The task goes along with every group of points, so that
    no worker holds what the others need.

    Raises
    ------
    BounceplanError
        If Dask is not installed, no scheduler answers, or the cluster gives points up.
    """
    try:
        from distributed import Client
    except ImportError:
        raise BounceplanError(
            'sweeps on a cluster need Dask; in the checkout of bounceplan: .venv/bin/pip install -e ".[cluster]"'
            " (Windows: .venv\\Scripts\\pip)."
        ) from None
    try:
        client = Client(address, timeout=PATIENCE, set_as_default=False)
    except (OSError, ValueError, TimeoutError) as fault:
        raise BounceplanError(
            f"--scheduler {address}: no Dask scheduler answers there ({type(fault).__name__}); "
            "give an address such as tcp://10.0.0.5:8786."
        ) from None
    try:
        yield from _shared_out(client, task, points)
    finally:
        client.close()


def _shared_out(client: Client, task: SweepTask, points: Sequence[int]) -> Iterator[list[PointResult]]:
    from distributed import as_completed
    from distributed.scheduler import KilledWorker

    threads = sum(client.nthreads().values())
    groups = chunks(points, CHUNK)
    ready = as_completed([], loop=client.loop)

    def send(count: int) -> None:
        for _ in range(count):
            group = next(groups, None)
            if group is not None:
                # not "pure": the cluster must not look for an older result under the same name
                ready.add(client.submit(work_points, task, group, pure=False))

    send(AHEAD * max(1, threads))
    for future in ready:
        try:
            results = _gathered(future)
        except KilledWorker:
            raise BounceplanError(
                "the cluster lost several workers over the same layouts, perhaps for want of memory; what is finished "
                "is safe: give the same command again when it is well."
            ) from None
        future.release()
        send(1)
        yield results


def _gathered(future: Future) -> list[PointResult]:
    """Results of a finished future; its fault is raised here."""
    results: list[PointResult] = future.result()
    return results
