"""Running points of a sweep on a Dask cluster that is already there; nothing here starts or schedules anything.

The only module that needs the optional extra `cluster`.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING, Final

from sim.errors import BounceplanError
from sim.layouts.plan import SweepTask
from sim.layouts.workers import PointResult, chunks, work_points

if TYPE_CHECKING:
    from distributed import Client, Future

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
