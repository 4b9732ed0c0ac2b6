"""Broken files of every kind: each gives a result or one sentence, in time.

A minute of them here; BOUNCEPLAN_FUZZ=100000 for as many cases (python -m tests.fuzz writes a log as it goes), and
BOUNCEPLAN_FUZZ_FIRST for others than the last time.
"""

from __future__ import annotations

import os
from pathlib import Path

import numpy as np
import pytest

from tests.fuzz.kinds import KINDS, fuzz
from tests.fuzz.mutations import broken_bytes, broken_table
from tests.fuzz.tally import Tally

CASES = int(os.environ.get("BOUNCEPLAN_FUZZ", "600"))
FIRST = int(os.environ.get("BOUNCEPLAN_FUZZ_FIRST", "0"))


@pytest.mark.parametrize("kind", KINDS)
def test_no_broken_file_does_more_than_be_refused(kind: str, tmp_path: Path) -> None:
    for tally in fuzz(kind, tmp_path, FIRST, CASES):
        assert not tally.crashed, f"{tally.words()}\n{tally.scene_error()}"
        if tally.tried > 100:
            assert tally.refused > 0, "nothing was broken enough to be refused"
            assert tally.accepted > 0 or kind == "results", "everything was refused: only the first check is tried"


def test_the_same_seed_breaks_alike() -> None:
    table = {"a": [1.0, 2.0], "b": {"c": "text"}}
    for seed in range(50):
        first, second = (np.random.default_rng(seed) for _ in range(2))
        assert repr(broken_table(table, [table], first)) == repr(broken_table(table, [table], second))
        assert broken_bytes(b"some bytes", first) == broken_bytes(b"some bytes", second)
    assert table == {"a": [1.0, 2.0], "b": {"c": "text"}}


def test_a_crash_a_warning_and_a_bad_sentence_count() -> None:
    import warnings

    from sim.errors import BounceplanError

    def crash() -> None:
        raise KeyError("x")

    def warn() -> None:
        warnings.warn("overflow", RuntimeWarning, stacklevel=1)

    def mumble() -> None:
        raise BounceplanError("no full stop")

    def refuse() -> None:
        raise BounceplanError("a: b; c.")

    tally = Tally("test")
    assert [tally.run(number, case) for number, case in enumerate((crash, warn, mumble, refuse, lambda: None))] == [
        False,
        False,
        False,
        False,
        True,
    ]
    assert (tally.crashed, tally.refused, tally.accepted) == (3, 1, 1)
    assert "KeyError" in tally.scene_error()


def test_what_takes_too_long_counts_as_a_crash(monkeypatch: pytest.MonkeyPatch) -> None:
    import time

    def work() -> None:
        end = time.process_time() + 20.0
        while time.process_time() < end:
            pass

    monkeypatch.setattr("tests.fuzz.tally.WAITING_SECONDS", 0.2)
    tally = Tally("test")
    tally.run(0, lambda: time.sleep(30.0))
    monkeypatch.undo()
    monkeypatch.setattr("tests.fuzz.tally.SECONDS", 0.2)
    tally.run(1, work)
    assert tally.crashed == 2
    assert tally.slowest_s < 15.0
