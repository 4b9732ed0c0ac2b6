"""The folder of a sweep: begun, added to, continued after a kill, and read at any time."""

from __future__ import annotations

import os
import time
from collections.abc import Sequence
from contextlib import suppress
from pathlib import Path
from types import TracebackType
from typing import Final, Self

import numpy as np

from sim.arrays import IntArray
from sim.errors import OutputError
from sim.layouts.records import DONE, OPEN, Sweep, SweepPlan
from sim.layouts.workers import PointResult
from sim.machine.locks import FolderLock
from sim.showing.folder import results_folder
from sim.studies.sweep.journal import NAMES, Journal, JournalRecord, read_journal
from sim.studies.sweep.store_file import difference, plan_key, put_in, read_file, split_rows, write_empty

FILE: Final = "sweep.h5"
JOURNAL: Final = "sweep.db"
FORMER_JOURNAL: Final = "sweep.journal"
"""What earlier versions kept their journal in; it is not read."""
FINDINGS: Final = "sweep.txt"
REST_S: Final = 5.0
FRACTION: Final = 0.04
"""sweep.h5 is rewritten at most so often, and for at most this share of the time; until then the journal has it."""


class SweepStore:
    """An open sweep folder; only one process may have it open.

    Use it as a context: leaving it puts everything into sweep.h5.

    Attributes
    ----------
    note
        What the person should know about how it was opened, as one sentence; mostly empty.
    """

    def __init__(self, folder: Path, plan: SweepPlan, *, replace: bool = False) -> None:
        """Begin a sweep in a new folder, or continue the one in it.

        Raises
        ------
        OutputError
            If the folder cannot be made, holds something else or another sweep, or another process is at work there.
        """
        self.folder, self.plan, self._key = folder, plan, plan_key(plan)
        self.note = ""
        path = folder / FILE
        if replace or not path.is_file():
            self._begin(replace)
        self._lock = FolderLock(folder)
        try:
            old, key, state, _, _ = read_file(path)
            if key != self._key:
                raise OutputError(
                    f"{folder}: {difference(old, plan)}; choose another folder with -o, or add --replace."
                )
            self._state = state
            former = folder / FORMER_JOURNAL
            if former.is_file():
                former.unlink()
                self.note = "layouts that an earlier version had left in sweep.journal are worked out anew"
            self._journal = Journal(folder / JOURNAL, key)
            try:
                for record in self._journal.records():
                    self._state[record.point] = record.state
            except BaseException:
                self._journal.close()
                raise
        except BaseException:
            self._lock.release()
            raise
        self._closed = False
        self._last, self._cost = time.monotonic(), 0.0

    def _begin(self, replace: bool) -> None:
        """Make the folder; one in which another process is at work is never replaced."""
        held = FolderLock(self.folder) if (self.folder / FILE).is_file() else None
        if held is not None and os.name != "posix":
            held.release()  # an open file would keep its folder where it is
        try:
            with results_folder(self.folder, overwrite=replace) as part:
                write_empty(part / FILE, self.plan)
                Journal(part / JOURNAL, self._key).close()
            with suppress(OSError):
                (self.folder / FORMER_JOURNAL).unlink()
        finally:
            if held is not None and os.name == "posix":
                held.release()

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
        self._journal.add(records)
        for record in records:
            self._state[record.point] = record.state
        if time.monotonic() - self._last > max(REST_S, self._cost / FRACTION):
            self.settle()

    def settle(self) -> None:
        """Move what is in the journal into sweep.h5; raises as `add`."""
        begun = time.monotonic()
        try:
            put_in(self.folder / FILE, self._journal.records())
        except OSError as fault:
            raise OutputError(
                f"{self.folder}: the disk does not take the results ({fault.strerror or fault}); make room and give the"
                " same command again, it continues."
            ) from None
        self._journal.empty()
        self._last = time.monotonic()
        self._cost = self._last - begun

    def close(self) -> None:
        """Put everything into sweep.h5; when no point is open the journal goes.  Raises as `add`."""
        if self._closed:
            return
        try:
            self.settle()
        except BaseException:
            self._let_go()
            raise
        self._let_go()
        if not self.open_points.size:
            (self.folder / JOURNAL).unlink(missing_ok=True)

    def _let_go(self) -> None:
        """Close journal and lock, whatever is in them."""
        self._closed = True
        self._journal.close()
        self._lock.release(remove=True)

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, fault: BaseException | None, trace: TracebackType | None
    ) -> None:
        if kind is not None and issubclass(kind, OutputError):
            if not self._closed:
                self._let_go()  # the disk takes no more; the journal is as it is
        else:
            self.close()


def read_sweep(folder: Path | str) -> Sweep:
    """Read a sweep as far as it is known, also while it runs or after it was killed.

    Figures stay on the disk until they are looked at.

    Raises
    ------
    OutputError
        If the folder holds no sweep, or its file or journal is damaged.
    """
    path = Path(folder) / FILE
    if not path.is_file():
        raise OutputError(f"{folder} holds no {FILE}; name a folder that bounceplan sweep has made.")
    # the journal first: what leaves it meanwhile is in the file by then
    journal_of, records = read_journal(Path(folder) / JOURNAL)
    plan, key, state, reasons, figures = read_file(path)
    shapes = plan.figure_shapes()
    for record in records if journal_of == key else ():
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
