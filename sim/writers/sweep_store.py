"""The folder of a sweep: begun, added to, continued after a kill, and read at any time."""

from __future__ import annotations

import time
from collections.abc import Sequence
from pathlib import Path
from types import TracebackType
from typing import BinaryIO, Final, Self

import numpy as np

from ..arrays import IntArray
from ..errors import OutputError
from ..studies.sweep_points import PointResult
from ..studies.sweep_records import DONE, OPEN, Sweep, SweepPlan
from .folder import DISK_FAULTS, results_folder
from .sweep_store_file import put_in, read_file, split_rows, write_empty
from .sweep_store_journal import (
    NAMES,
    JournalRecord,
    add_records,
    cut_journal,
    empty_journal,
    open_journal,
    read_journal,
)
from .sweep_store_plan import difference, plan_key

FILE: Final = "sweep.h5"
JOURNAL: Final = "sweep.journal"
FINDINGS: Final = "sweep.txt"
REST_S: Final = 5.0
SHARE: Final = 0.04
"""sweep.h5 is rewritten at most so often, and for at most this share of the time; until then the journal has it."""


class SweepStore:
    """An open sweep folder; only one process may have it open.

    Use it as a context: leaving it puts everything into sweep.h5.
    """

    def __init__(self, folder: Path, plan: SweepPlan, *, replace: bool = False) -> None:
        """Begin a sweep in a new folder, or continue the one in it.

        Raises
        ------
        OutputError
            If the folder cannot be made, holds something else or another sweep, or another process is at work there.
        """
        self.folder, self.plan, self._key = folder, plan, plan_key(plan)
        path = folder / FILE
        if replace or not path.is_file():
            with results_folder(folder, overwrite=replace) as part:
                write_empty(part / FILE, plan)
        journal = open_journal(folder / JOURNAL)
        if journal is None:
            raise OutputError(f"{folder}: another sweep is at work in this folder; wait for it, or choose another.")
        old, key, state, _, _ = read_file(path)
        if key != self._key:
            journal.close()
            raise OutputError(f"{folder}: {difference(old, plan)}; choose another folder with -o, or add --replace.")
        self._state = state
        self._journal: BinaryIO = journal
        cut_journal(journal, folder / JOURNAL, key)
        for record in read_journal(folder / JOURNAL, key):
            self._state[record.point] = record.state
        self._last, self._cost = time.monotonic(), 0.0

    @property
    def open_points(self) -> IntArray:
        """Numbers of the points that are not known yet."""
        return np.flatnonzero(self._state == OPEN)

    def add(self, results: Sequence[PointResult]) -> None:
        """Make results safe on the disk before returning.

        Raises
        ------
        OutputError
            If the disk does not take them; what was there before stays.
        """
        records = [JournalRecord.of(result) for result in results]
        try:
            add_records(self._journal, records)
            for record in records:
                self._state[record.point] = record.state
            if time.monotonic() - self._last > max(REST_S, self._cost / SHARE):
                self.settle()
        except OSError as fault:
            if fault.errno not in DISK_FAULTS:
                raise
            raise OutputError(
                f"{self.folder}: the disk does not take the results ({fault.strerror}); make room and give the same "
                "command again, it continues."
            ) from None

    def settle(self) -> None:
        """Move what is in the journal into sweep.h5."""
        begun = time.monotonic()
        put_in(self.folder / FILE, read_journal(self.folder / JOURNAL, self._key))
        empty_journal(self._journal, self._key)
        self._last = time.monotonic()
        self._cost = self._last - begun

    def close(self) -> None:
        """Put everything into sweep.h5; when no point is open the journal goes."""
        if self._journal.closed:
            return
        self.settle()
        if not self.open_points.size:
            (self.folder / JOURNAL).unlink()
        self._journal.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, fault: BaseException | None, trace: TracebackType | None
    ) -> None:
        if kind is not None and issubclass(kind, OutputError):
            self._journal.close()  # the disk takes no more; the journal is as it is
        else:
            self.close()


def read_sweep(folder: Path | str) -> Sweep:
    """Read a sweep as far as it is known, also while it runs or after it was killed.

    Figures stay on the disk until they are looked at.

    Raises
    ------
    OutputError
        If the folder holds no sweep, or its file is damaged.
    """
    path = Path(folder) / FILE
    if not path.is_file():
        raise OutputError(f"{folder} holds no {FILE}; name a folder that bounceplan sweep has made.")
    plan, key, state, reasons, figures = read_file(path)
    shapes = plan.figure_shapes()
    for record in read_journal(Path(folder) / JOURNAL, key):
        state[record.point] = record.state
        if record.state != DONE:
            reasons[record.point] = record.reason
            continue
        for name, part in split_rows(shapes, record.numbers()[None]).items():
            getattr(figures, name)[record.point] = part[0]
    for name in NAMES:
        getattr(figures, name).setflags(write=False)
    state.setflags(write=False)
    text = Path(folder) / FINDINGS
    findings = text.read_text(encoding="utf-8") if text.is_file() and not (state == OPEN).any() else ""
    return Sweep(plan, state, reasons, figures, findings)
