"""What is worked out when things stand still, in a process of its own: edge diffraction, all mirrors, waves, every map.

The process takes the newest setting, says what it found in steps, and drops what it is at as soon as it learns between
two stages that there is a newer one.  Questions about the setting (`sim.studies.view.asking`) are answered after it,
while it is the newest.  It ends when the process that started it has ended.
"""

from __future__ import annotations

import multiprocessing
import os
import signal
import threading
import time
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, field
from multiprocessing.connection import Connection
from multiprocessing.connection import wait as wait_for_end
from typing import Final

import numpy as np

from sim.blueprint.reader import SceneFile
from sim.errors import BounceplanError
from sim.pipeline import trace_scene
from sim.propagation.edges.kept_pieces import keep_pieces
from sim.propagation.edges.tracing import EdgesStoppedError
from sim.propagation.paths import PathTable
from sim.responses.records import Results
from sim.showing.archive.kept_traces import kept_trace
from sim.showing.words import cure
from sim.studies.view.asking import Ask, Known, Reply, answered
from sim.studies.view.keeping import as_filed
from sim.studies.view.lanes import first_response, third_octaves
from sim.studies.view.snapshot import (
    NOW,
    OLD,
    Snapshot,
    hidden_loudspeakers,
    listed_arrivals,
    octaves,
    over_time,
    shown_arrivals,
    shown_maps,
)
from sim.studies.view.state import State

NICENESS: Final = 10
"""How far the process stands back for the one that follows the hand, where the system knows of such a thing."""
END_S: Final = 2.0
MOST_ASKED: Final = 4
"""Questions that may wait; of more the oldest are not answered."""
MOVED: Final = "Something moved before that was worked out; ask again once it stands still."


@dataclass(frozen=True, slots=True)
class Task:
    """A setting to be worked out: its number, and the setting, whose scene is taken as its file would say it."""

    number: int
    state: State

    @property
    def scene(self) -> SceneFile:
        """The scene as the file of the setting would say it."""
        return as_filed(self.state)


@dataclass(frozen=True, slots=True)
class Found:
    """What was found of a setting: a snapshot, or the sentence that says why there is none; `whole` ends the task."""

    number: int
    snapshot: Snapshot | None
    sentence: str
    whole: bool
    seconds: float


class NewerSettingError(Exception):
    """There is a newer setting: what is being worked out is not wanted any more."""


def whole_snapshot(results: Results, number: int, *, edges: str = NOW, rest: str = NOW) -> Snapshot:
    """What a page shows of a traced scene; the numbers are those of `trace`.

    `edges` and `rest`, the waves and maps, say how fresh these are: on the way to the whole they are not yet of now.
    """
    built, response = results.built, results.responses.response
    cures = [cure(results, one) for one in shown_arrivals(results)]
    _, first = first_response(built, _of_first(results.paths))
    levels = response.levels
    return Snapshot(
        number=number,
        reflections=listed_arrivals(results, cures),
        hidden=hidden_loudspeakers(results),
        curve_db=np.asarray(levels.whole_db[:, 0, 0]),
        third_octaves_hz=third_octaves(),
        maps=shown_maps(results.responses.maps, octaves()),
        fresh={"reflections": NOW, "curve": rest, "maps": rest, "edges": edges},
        warnings=built.warnings,
        judged_from_hz=results.responses.transition_hz,
        without_db={
            name: np.asarray(levels.whole_db[:, 0, place]) for place, name in enumerate(levels.without) if name
        },
        beyond=np.asarray(response.total[:, 0]) - first,
        over_time=over_time(results),
    )


def _of_first(paths: PathTable) -> PathTable:
    return paths.chosen(np.flatnonzero(paths.order <= 1))


class Rest:
    """The process that works out settings at rest; `take` is called from a thread with whatever it finds."""

    def __init__(self, take: Callable[[Found | Reply], None]) -> None:
        context = multiprocessing.get_context("spawn")
        self._pipe, its_end = context.Pipe()
        self._process = context.Process(target=_work, args=(its_end,), daemon=True, name="bounceplan at rest")
        self._take = take
        self._process.start()
        its_end.close()
        threading.Thread(target=self._listen, daemon=True).start()

    def ask(self, task: Task | Ask | None) -> None:
        """Ask for a setting, or about it, or with None for nothing: what is being worked out is dropped."""
        with suppress(OSError, ValueError):
            self._pipe.send(task)

    @property
    def alive(self) -> bool:
        """Whether the process is there."""
        return self._process.is_alive()

    def close(self) -> None:
        """End the process at once: it holds nothing that could be lost, and stands back where the machine is busy."""
        self._process.kill()
        self._process.join(END_S)
        self._pipe.close()

    def _listen(self) -> None:
        with suppress(EOFError, OSError):
            while True:
                self._take(self._pipe.recv())


def _work(pipe: Connection) -> None:
    """Work out settings until the other process ends."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # whoever started this is told, and ends it
    for name in ("SIGTERM", "SIGHUP"):
        if hasattr(signal, name):
            signal.signal(getattr(signal, name), signal.SIG_DFL)
    threading.Thread(target=_end_with_parent, daemon=True).start()
    with suppress(OSError, AttributeError):
        os.nice(NICENESS)
    keep_pieces()
    desk = _Desk(pipe)
    with suppress(EOFError, OSError):
        while True:
            desk.wait()
            with suppress(NewerSettingError, EdgesStoppedError):
                if desk.wanted:
                    _work_out(desk)
                else:
                    _answer(desk)


@dataclass
class _Desk:
    """What was asked and what was last worked out: the newest setting first, then questions about it.

    Attributes
    ----------
    pipe
        To the process that asks.
    task
        The setting that is wanted next.
    wanted
        Whether one is wanted, or the one at work is not wanted any more.
    asks
        Questions, the oldest first.
    number, results
        The setting that was last worked out whole.
    known
        What was worked out for questions.
    """

    pipe: Connection
    task: Task | None = None
    wanted: bool = False
    asks: list[Ask] = field(default_factory=list)
    number: int = -1
    results: Results | None = None
    known: Known = field(default_factory=Known)

    def wait(self) -> None:
        """Wait until there is something to do."""
        while not self.wanted and not self.asks:
            self._take(self.pipe.recv())
        while self.pipe.poll():
            self._take(self.pipe.recv())

    def newer(self) -> bool:
        """Whether another setting is wanted than the one at work."""
        while self.pipe.poll():
            self._take(self.pipe.recv())
        return self.wanted

    def go_on(self, _: str = "") -> None:
        """Raise NewerSettingError where another setting is wanted."""
        if self.newer():
            raise NewerSettingError

    def _take(self, asked: Task | Ask | None) -> None:
        if isinstance(asked, Ask):
            self.asks = [*self.asks, asked][-MOST_ASKED:]
        else:
            self.task, self.wanted = asked, True


def _answer(desk: _Desk) -> None:
    """Answer the oldest question, or say why there is no answer."""
    ask = desk.asks.pop(0)

    def go_on(words: str) -> None:
        desk.go_on()
        if words.startswith("judging"):
            desk.pipe.send(Reply(ask.number, {"kind": "working", "page": ask.page, "words": words}))

    fault = MOVED
    try:
        if desk.results is not None and desk.number == ask.number:
            desk.pipe.send(Reply(ask.number, answered(ask, desk.results, desk.known, go_on)))
            return
    except BounceplanError as refused:
        fault = str(refused)
    except NewerSettingError:
        pass
    about = {"kind": "unanswered", "page": ask.page, "number": ask.number, "asked": ask.kind, "words": fault}
    desk.pipe.send(Reply(ask.number, about))


def _work_out(desk: _Desk) -> None:
    task, desk.task, desk.wanted = desk.task, None, False
    if task is None:
        return
    pipe, begun = desk.pipe, time.monotonic()

    def on_way(results: Results) -> None:
        desk.go_on()
        edges.append(NOW if edges else OLD)  # single ones first, then all
        pipe.send(_found(task, results, begun, edges[-1]))

    edges: list[str] = []
    try:
        scene = task.scene
        whole = kept_trace(scene) or trace_scene(scene, desk.go_on, stop=desk.newer, on_way=on_way)
        desk.go_on()
        if task.number >= 0:
            desk.number, desk.results = task.number, whole
        pipe.send(_found(task, whole, begun))
    except BounceplanError as fault:
        pipe.send(Found(task.number, None, str(fault), True, time.monotonic() - begun))


def _found(task: Task, results: Results, begun: float, edges: str = "") -> Found:
    """What was found: the whole, or what is known on the way, `edges` saying whether all of them are of now."""
    fresh = OLD if edges else NOW
    snapshot = whole_snapshot(results, task.number, edges=edges or NOW, rest=fresh)
    return Found(task.number, snapshot, "", not edges, time.monotonic() - begun)


def _end_with_parent() -> None:
    parent = multiprocessing.parent_process()
    if parent is not None:
        wait_for_end([parent.sentinel])
        os._exit(1)
