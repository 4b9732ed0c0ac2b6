from __future__ import annotations

import os

import pytest

from sim.errors import BounceplanError
from sim.layouts.workers import CANNOT_SHARE, Workers


def times(task: int, piece: int) -> int:
    return task * piece


def dies(_: int, __: int) -> int:
    os._exit(3)


@pytest.mark.parametrize("processes", [1, 2])
def test_answers_come_in_order_for_any_number_of_processes(processes: int) -> None:
    with Workers(times, 7, processes=processes) as workers:
        assert list(workers.answers(range(50))) == [7 * piece for piece in range(50)]
        assert list(workers.answers([])) == []
        assert list(workers.answers([3])) == [21]


def test_little_work_starts_no_process() -> None:
    with Workers(times, 2, expected=5) as workers:
        assert workers._pool is None


@pytest.mark.parametrize("fault", [OSError(30, "Read-only file system"), ImportError("no semaphores")])
def test_where_processes_can_share_nothing_one_does_it_all(fault: Exception, monkeypatch: pytest.MonkeyPatch) -> None:
    """As with a /dev/shm that cannot be written (sem_open(3)), or a system without semaphores."""

    def refuse(*_: object, **__: object) -> None:
        raise fault

    monkeypatch.setattr("sim.layouts.workers.ProcessPoolExecutor", refuse)
    said: list[str] = []
    with Workers(times, 7, processes=2, say=said.append) as workers:
        assert list(workers.answers(range(50))) == [7 * piece for piece in range(50)]
        assert list(workers.as_ready([3])) == [21]
    (words,) = said
    assert str(fault) in words


def test_a_process_that_was_ended_is_told_in_a_sentence() -> None:
    with Workers(dies, 1, processes=2) as workers:
        if workers._pool is None:
            pytest.skip(CANNOT_SHARE)
        with pytest.raises(BounceplanError, match="ended from outside"):
            list(workers.answers(range(4)))
