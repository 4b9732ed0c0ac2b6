"""Threads of ours and of the linear algebra library: bounded, given back, and without influence on any bit."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from threadpoolctl import threadpool_info, threadpool_limits

from sim.machine.processes import SWITCHES, all_cores, one_blas_thread, start_with_one_thread

HOME = Path(__file__).resolve().parents[2]


def blas_threads() -> set[int]:
    np.ones((2, 2)) @ np.ones((2, 2))
    return {each["num_threads"] for each in threadpool_info() if each["user_api"] == "blas"}


def test_linear_algebra_has_one_thread_inside_and_as_many_as_before_afterwards() -> None:
    with threadpool_limits(2, user_api="blas"):
        with one_blas_thread():
            assert blas_threads() == {1}
            with one_blas_thread():
                assert blas_threads() == {1}
            assert blas_threads() == {1}
        assert blas_threads() == {2}


TWO = """
import threading
from sim.machine.processes import one_blas_thread
from tests.machine.test_threads import blas_threads
before = blas_threads()
begun, end = threading.Event(), threading.Event()
def other():
    with one_blas_thread():
        begun.set()
        end.wait(20.0)
with one_blas_thread():
    thread = threading.Thread(target=other)
    thread.start()
    assert begun.wait(20.0)
assert blas_threads() == {1}, "the other is still inside"
end.set()
thread.join()
assert blas_threads() == before
print(before)
"""


def test_the_first_of_two_threads_to_end_does_not_set_the_other_free() -> None:
    """In a process of its own, since a thread that has set a limit keeps others from changing it."""
    environment = {**os.environ, "OPENBLAS_NUM_THREADS": "2"}
    command = [sys.executable, "-c", TWO]
    done = subprocess.run(command, cwd=HOME, env=environment, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr


def test_a_process_of_our_own_starts_with_one_but_for_what_the_person_set(monkeypatch: pytest.MonkeyPatch) -> None:
    for name in SWITCHES:
        monkeypatch.delenv(name, raising=False)
    monkeypatch.setenv("MKL_NUM_THREADS", "3")
    start_with_one_thread()
    assert {name: os.environ[name] for name in SWITCHES} == dict.fromkeys(SWITCHES, "1") | {"MKL_NUM_THREADS": "3"}


BITS = """
import hashlib, os, sys
if sys.argv[1:] and hasattr(os, "sched_setaffinity"):
    os.sched_setaffinity(0, {min(os.sched_getaffinity(0))})
import sim
results = sim.trace("scenes/bedroom-on-desk", order=2)
response = results.responses.response
arrays = (results.bends.gains, response.by_surface, response.by_piece)
print(hashlib.sha256(b"".join(each.tobytes() for each in arrays)).hexdigest())
"""


def test_no_bit_depends_on_the_number_of_cores_or_threads() -> None:
    def bits(threads: int, *alone: str) -> str:
        environment = {**os.environ, **{name: str(threads) for name in SWITCHES}}
        command = [sys.executable, "-c", BITS, *alone]
        return subprocess.run(command, cwd=HOME, env=environment, capture_output=True, text=True, check=True).stdout

    assert bits(2) == bits(1, "on one core")


def test_cores_are_those_this_process_may_use() -> None:
    assert 1 <= all_cores() <= (os.cpu_count() or 1)
