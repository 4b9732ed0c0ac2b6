"""What is worked out when things stand still, in a process of its own: edge diffraction, all mirrors, waves, every map.

The process takes the newest setting, says what it found in steps, and drops what it is at as soon as it learns between
two stages that there is a newer one.  It ends when the process that started it has ended.
"""

from __future__ import annotations

import multiprocessing
import os
import signal
import threading
import time
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from multiprocessing.connection import Connection
from multiprocessing.connection import wait as wait_for_end
from typing import Final

import numpy as np

from sim.blueprint.reader import SceneFile
from sim.errors import BounceplanError
from sim.pipeline import trace_scene
from sim.propagation.edges.tracing import EdgesStoppedError
from sim.propagation.paths import PathTable
from sim.responses.records import Results
from sim.showing.words import cure
from sim.studies.view.lanes import first_response, third_octaves
from sim.studies.view.snapshot import (
    NOW,
    OLD,
    Snapshot,
    hidden_loudspeakers,
    listed_arrivals,
    octaves,
    shown_arrivals,
    shown_maps,
)

NICENESS: Final = 10
"""How far the process stands back for the one that follows the hand, where the system knows of such a thing."""
END_S: Final = 2.0


@dataclass(frozen=True, slots=True)
class Task:
    """A setting to be worked out: its number and its scene."""

    number: int
    scene: SceneFile


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


def whole_snapshot(results: Results, number: int, *, edges: str, maps: str) -> Snapshot:
    """What a page shows of a traced scene; the numbers are those of `trace`."""
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
        fresh={"reflections": NOW, "curve": edges, "maps": maps},
        warnings=built.warnings,
        judged_from_hz=results.responses.transition_hz,
        without_db={
            name: np.asarray(levels.whole_db[:, 0, place]) for place, name in enumerate(levels.without) if name
        },
        beyond=np.asarray(response.total[:, 0]) - first,
    )


def _of_first(paths: PathTable) -> PathTable:
    return paths.chosen(np.flatnonzero(paths.order <= 1))


class Rest:
    """The process that works out settings at rest; `take` is called from a thread with whatever it finds."""

    def __init__(self, take: Callable[[Found], None]) -> None:
        context = multiprocessing.get_context("spawn")
        self._pipe, its_end = context.Pipe()
        self._process = context.Process(target=_work, args=(its_end,), daemon=True, name="bounceplan at rest")
        self._take = take
        self._process.start()
        its_end.close()
        threading.Thread(target=self._listen, daemon=True).start()

    def ask(self, task: Task | None) -> None:
        """Ask for a setting, or with None for nothing: what is being worked out is dropped."""
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
    task: Task | None = None
    with suppress(EOFError, OSError):
        while True:
            if task is None:
                task = pipe.recv()
            while pipe.poll():
                task = pipe.recv()
            if task is None:
                continue
            doing, task = task, None
            with suppress(NewerSettingError, EdgesStoppedError):
                _work_out(pipe, doing)


def _work_out(pipe: Connection, task: Task) -> None:
    def newer() -> bool:
        return pipe.poll()

    def go_on(_: str) -> None:
        if newer():
            raise NewerSettingError

    begun = time.monotonic()
    try:
        quick = trace_scene(task.scene, go_on, maps=False, waves_to_hz=0.0, edge_depth="single", stop=newer)
        go_on("")
        pipe.send(_found(task, quick, False, begun))
        whole = trace_scene(task.scene, go_on, stop=newer)
        go_on("")
        pipe.send(_found(task, whole, True, begun))
    except BounceplanError as fault:
        pipe.send(Found(task.number, None, str(fault), True, time.monotonic() - begun))


def _found(task: Task, results: Results, whole: bool, begun: float) -> Found:
    fresh = NOW if whole else OLD
    return Found(
        task.number,
        whole_snapshot(results, task.number, edges=fresh, maps=fresh),
        "",
        whole,
        time.monotonic() - begun,
    )


def _end_with_parent() -> None:
    parent = multiprocessing.parent_process()
    if parent is not None:
        wait_for_end([parent.sentinel])
        os._exit(1)
