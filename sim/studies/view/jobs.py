"""Files of a setting, written beside its scene by our own commands, each in a process of its own that can be stopped.

Names are the program's: `scene-live-1.toml` is the setting itself, and `scene-live-1.html`, `scene-live-1-drawings` and
`scene-live-1-trace` are what `report`, `sheets` and `trace` write of it.  Nothing that was there before is replaced.
"""

from __future__ import annotations

import os
import re
import subprocess
import threading
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from sim.errors import OutputError
from sim.machine.processes import own_command
from sim.machine.whole_files import write_whole
from sim.studies.view.keeping import file_bytes
from sim.studies.view.state import State

KINDS: Final = {
    "report": ("report", ".html", "the report"),
    "drawings": ("sheets", "-drawings", "the drawings"),
    "trace": ("trace", "-trace", "tables and pictures"),
}
"""Of what a page may ask for: the command, what the name ends in, and what it is called."""
SCENE: Final = ".toml"
NICENESS: Final = 10
END_S: Final = 20.0
"""How long a command may take to clear up after itself when the program ends."""
_NUMBERED: Final = re.compile(r"-live-\d+$")
MOST: Final = 999


@dataclass(frozen=True, slots=True)
class News:
    """How a job goes: a text for all pages."""

    message: dict[str, Any]


class Jobs:
    """The one job that may be under way; `take` is called, also from a thread, with what is new of it."""

    def __init__(self, take: Callable[[News], None]) -> None:
        self._take = take
        self._process: subprocess.Popen[str] | None = None
        self._stopped = False
        self._names: list[tuple[State, Path]] = []
        self._lock = threading.Lock()

    @property
    def busy(self) -> bool:
        """Whether a job is under way."""
        with self._lock:
            return self._process is not None

    def start(self, state: State, kind: str) -> None:
        """Write the setting and begin to write its files.

        Raises
        ------
        BounceplanError
            If there is no such kind, another job is under way, or the setting cannot be written.
        """
        self.refuse(kind)
        command, ending, words = KINDS[kind]
        scene = self._scene_of(state)
        place = scene.with_name(f"{scene.stem}{ending}")
        more = ["--replace"] if place.exists() else []
        self._stopped = False
        process = subprocess.Popen(
            own_command(command, str(scene), "-o", str(place), *more),
            stdin=subprocess.DEVNULL,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.PIPE,
            text=True,
            encoding="utf-8",
            errors="replace",
        )
        with suppress(OSError, AttributeError):
            os.setpriority(os.PRIO_PROCESS, process.pid, NICENESS)
        with self._lock:
            self._process = process
        self._take(_news("begun", f"Saving {words} as {place.name} ...", kind))
        threading.Thread(
            target=self._follow, args=(process, kind, place, state.base.scene.path.name), daemon=True
        ).start()

    def refuse(self, kind: str, *, busy: bool = False) -> None:
        """Raise OutputError where there is no such kind, or another job is under way, or about to be."""
        if kind not in KINDS:
            raise OutputError("save: report, drawings or trace can be saved; choose one of them.")
        if self.busy or busy:
            raise OutputError("save: something is being saved already; wait for it, or stop it first.")

    def stop(self) -> None:
        """Have the job end as Ctrl-C ends a command: nothing half-written stays."""
        with self._lock:
            if self._process is not None:
                self._stopped = True
                self._process.terminate()

    def close(self) -> None:
        """End the job, giving it time to clear up."""
        self.stop()
        with self._lock:
            process = self._process
        if process is not None:
            with suppress(subprocess.TimeoutExpired):
                process.wait(END_S)
            if process.poll() is None:
                process.kill()

    def _scene_of(self, state: State) -> Path:
        """The file of a setting: the one it was given before, else a new one with the next free number."""
        content = file_bytes(state)
        for known, path in self._names:
            if known == state and path.is_file() and path.read_bytes() == content:
                return path
        path = free_name(state.base.scene.path)
        write_whole(path, content, "the scene")
        self._names.append((state, path))
        return path

    def _follow(self, process: subprocess.Popen[str], kind: str, place: Path, beside: str) -> None:
        last = ""
        assert process.stderr is not None
        for line in process.stderr:
            last = line.strip()
            if last.startswith("... "):
                self._take(_news("working", f"{place.name}: {last[4:]}", kind))
        code = process.wait()
        process.stderr.close()
        with self._lock:
            self._process = None
        if code == 0:
            self._take(_news("done", f"Saved as {place.name}, beside {beside}.", kind))
        elif self._stopped:
            self._take(_news("stopped", f"Stopped: {place.name} was not written, nothing else has changed.", kind))
        else:
            words = last.removeprefix("bounceplan: ") or f"{place.name} was not written; see the terminal."
            self._take(_news("failed", words, kind))


def free_name(scene: Path) -> Path:
    """The next scene file `NAME-live-N.toml` beside a scene of which nothing is there yet.

    Raises
    ------
    OutputError
        If all numbers are taken.
    """
    stem = _NUMBERED.sub("", scene.stem)
    for number in range(1, MOST + 1):
        path = scene.with_name(f"{stem}-live-{number}{SCENE}")
        others = [path.with_name(f"{path.stem}{ending}") for _, ending, _ in KINDS.values()]
        if not any(os.path.lexists(one) for one in (path, *others)):
            return path
    raise OutputError(f"{scene.parent}: {MOST} settings are kept there already; move some away.")


def _news(step: str, words: str, what: str) -> News:
    return News({"kind": "job", "step": step, "words": words, "what": what})
