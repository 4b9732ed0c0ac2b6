"""Sweeps on a real local cluster of two worker processes, one of which is killed in the middle."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

import pytest

from sim.errors import BounceplanError
from sim.studies.sweep.run import AHEAD, CHUNK, run_on_cluster, run_sweep
from sim.studies.sweep.store import read_sweep
from tests.studies.sweep.sweep_scenes import planned, same_to_the_bit, swept, table

HOME = Path(__file__).resolve().parents[3]
COUNT = Path(__file__).with_name("cluster_count.py")
PATIENCE_S = 60.0


@dataclass
class LocalCluster:
    """A scheduler and two workers of one thread each, as a person starts them by hand."""

    address: str
    log: Path
    workers: list[subprocess.Popen[bytes]] = field(default_factory=list)

    def begun(self) -> list[tuple[int, int]]:
        """Point and process of every layout that was begun."""
        lines = self.log.read_text(encoding="utf-8").splitlines() if self.log.exists() else []
        return [(int(point), int(process)) for point, process in (line.split() for line in lines)]


@pytest.fixture
def cluster(tmp_path: Path) -> Iterator[LocalCluster]:
    log, contact = tmp_path / "log", tmp_path / "scheduler.json"
    environment = {
        **os.environ,
        "PYTHONPATH": str(HOME),
        "SWEEP_LOG": str(log),
        "DASK_DISTRIBUTED__COMM__TIMEOUTS__CONNECT": "2s",  # how long the cluster looks for a worker that is lost
    }
    quiet = {"env": environment, "cwd": tmp_path, "stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL}
    scheduler = subprocess.Popen(
        [
            sys.executable,
            "-m",
            "distributed.cli.dask_scheduler",
            "--host",
            "127.0.0.1",
            "--port",
            "0",
            "--no-dashboard",
            "--scheduler-file",
            str(contact),
        ],
        **quiet,  # type: ignore[call-overload]
    )
    made = LocalCluster("", log)
    try:
        made.workers = [
            subprocess.Popen(
                [
                    sys.executable,
                    "-m",
                    "distributed.cli.dask_worker",
                    "--scheduler-file",
                    str(contact),
                    "--nthreads",
                    "1",
                    "--no-nanny",
                    "--no-dashboard",
                    "--preload",
                    str(COUNT),
                    "--local-directory",
                    str(tmp_path),
                ],
                **quiet,  # type: ignore[call-overload]
            )
            for _ in range(2)
        ]
        made.address = _address(contact)
        yield made
    finally:
        for process in (*made.workers, scheduler):
            process.kill()
            process.wait()


def _address(contact: Path) -> str:
    from distributed import Client

    deadline = time.monotonic() + PATIENCE_S
    while time.monotonic() < deadline:
        try:
            address = str(json.loads(contact.read_text(encoding="utf-8"))["address"])
            break
        except (OSError, ValueError):
            time.sleep(0.05)
    else:
        raise AssertionError("the scheduler did not start")
    with Client(address, set_as_default=False) as client:
        client.wait_for_workers(2, timeout=PATIENCE_S)
    return address


def test_a_cluster_that_loses_a_worker_gives_the_same_bits(
    cluster: LocalCluster, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    task = planned(table(), {"desk.height": "0.5:0.9:0.002", "left.tilt": "0,-5"})
    total = task.plan.points
    victim, killed_after = cluster.workers[0], []

    def kill_in_the_middle(done: int, _: int, __: float) -> None:
        mine = [point for point, process in cluster.begun() if process == victim.pid]
        if not killed_after and len(mine) > 20:
            victim.send_signal(signal.SIGKILL)
            killed_after.append(done)

    monkeypatch.setattr("sim.studies.sweep.run.PROGRESS_S", 0.0)
    run_sweep(task, tmp_path / "out", scheduler=cluster.address, progress=kill_in_the_middle)
    assert killed_after
    assert killed_after[0] < 0.8 * total
    assert same_to_the_bit(read_sweep(tmp_path / "out"), swept(task))
    begun = cluster.begun()
    times = Counter(point for point, _ in begun)
    assert set(times) == set(range(total))
    twice = {point for point, count in times.items() if count > 1}
    # only what the lost worker had begun and not handed over: its groups under way
    assert twice <= {point for point, process in begun if process == victim.pid}
    assert len(twice) <= (AHEAD + 2) * CHUNK
    assert max(times.values()) <= 2
    assert {process for _, process in begun} == {worker.pid for worker in cluster.workers}


def test_a_whole_cluster_works_nothing_out_twice_and_continues_what_was_begun(
    cluster: LocalCluster, tmp_path: Path
) -> None:
    task = planned(table(), {"desk.height": "0.5:0.9:0.01"})
    results = run_on_cluster(task, range(16), cluster.address)
    groups = list(results)
    assert sorted(one.point for group in groups for one in group) == list(range(16))
    assert max(Counter(point for point, _ in cluster.begun()).values()) == 1
    run_sweep(task, tmp_path / "out", scheduler=cluster.address)
    assert same_to_the_bit(read_sweep(tmp_path / "out"), swept(task))
    before = len(cluster.begun())
    run_sweep(task, tmp_path / "out", scheduler=cluster.address)
    assert len(cluster.begun()) == before


def test_a_scheduler_that_does_not_answer_is_told_in_one_sentence(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("sim.studies.sweep.run.PATIENCE", "1s")
    task = planned(table(), {"desk.height": "0.5,0.6"})
    for address in ("tcp://127.0.0.1:9", "nonsense://here"):
        with pytest.raises(BounceplanError, match="no Dask scheduler answers there") as fault:
            list(run_on_cluster(task, [0], address))
        assert "\n" not in str(fault.value)


def test_without_dask_the_extra_is_named(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "distributed", None)
    with pytest.raises(BounceplanError, match=r'pip install -e "\.\[cluster\]"'):
        list(run_on_cluster(planned(table(), {"desk.height": "0.5"}), [0], "tcp://127.0.0.1:9"))
