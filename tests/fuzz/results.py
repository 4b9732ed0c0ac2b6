"""Stored results with bytes turned, lost or cut off: read back as they were written, or refused in a sentence.

Each is read in a copy of the process, for the library below may end it or hang.
"""

from __future__ import annotations

import hashlib
import os
import pickle
import signal
import time
import warnings
from collections.abc import Callable
from pathlib import Path

import numpy as np

import sim
from tests.fuzz.mutations import broken_bytes
from tests.fuzz.tally import SEED, Tally

SECONDS = 20.0


def fuzz_results(
    folder: Path, first: int, count: int, whole: bytes, said: Callable[[Tally], None] = lambda _: None
) -> list[Tally]:
    """Read broken results; what is accepted must say the same numbers as the whole file."""
    path = folder / "results.h5"
    path.write_bytes(whole)
    expected = _numbers(sim.read_results(path))
    tally = Tally("stored results")
    for number in range(first, first + count):
        random = np.random.default_rng([SEED, 7, number])
        if random.random() < 0.5:
            content = bytearray(whole)
            for _ in range(int(random.integers(1, 4))):
                content[int(random.integers(len(content)))] ^= 1 << int(random.integers(8))
            path.write_bytes(bytes(content))
        else:
            path.write_bytes(broken_bytes(whole, random))
        if path.read_bytes() != whole:
            tally.run(number, lambda: _apart(lambda: _read(path, expected)))
        said(tally)
    return [tally]


class DiffersError(Exception):
    """Read back, but with other numbers."""


def _numbers(results: sim.Results) -> bytes:
    """All that results hold, as a digest."""
    return hashlib.sha256(pickle.dumps(results)).digest()


def _read(path: Path, expected: bytes) -> None:
    if _numbers(sim.read_results(path)) != expected:
        raise DiffersError


def _apart(work: Callable[[], None]) -> None:
    """Do work in a copy of this process; raises what it raised."""
    reading, writing = os.pipe()
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", DeprecationWarning)  # copies of processes with threads: the copy only reads
        copy = os.fork()
    if copy == 0:
        os.close(reading)
        try:
            work()
            words = "done"
        except BaseException as fault:
            words = f"{type(fault).__name__}\t{fault}"
        os.write(writing, words.encode("utf-8", "replace")[:60_000])
        os._exit(0)
    os.close(writing)
    end = time.monotonic() + SECONDS
    state = None
    while state is None and time.monotonic() < end:
        done, code = os.waitpid(copy, os.WNOHANG)
        state = code if done else None
        if state is None:
            time.sleep(0.002)
    if state is None:
        os.kill(copy, signal.SIGKILL)
        os.waitpid(copy, 0)
    with os.fdopen(reading, "rb") as pipe:
        words = pipe.read().decode()
    if state is None:
        raise TimeoutError("reading it took too long")
    if words == "done":
        return
    name, _, sentence = words.partition("\t")
    if name in ("OutputError", "SceneError", "BounceplanError"):
        raise sim.BounceplanError(sentence)
    raise type(name or f"Ended{state}", (Exception,), {})(sentence)
