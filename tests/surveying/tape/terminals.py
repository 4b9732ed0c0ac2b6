"""A terminal of our own (a pseudo-terminal of the standard library) in which `bounceplan` is run and typed to."""

from __future__ import annotations

import os
import re
import select
import subprocess
import sys
import time
from pathlib import Path

HOME = Path(__file__).resolve().parents[3]
QUESTION = re.compile(r"[^\n]*: $")
LAST_QUESTION = "change the last answers): "
PATIENCE_S = 120.0
"""For a step that may compile kernels first."""
NOTHING_DRAWN = """
import fcntl, sys, termios
fcntl.ioctl(0, termios.TIOCSCTTY, 0)  # so that Ctrl-C and hanging up reach the command as signals
import sim.studies.check
sim.studies.check.draw_plan_of = lambda *_: ""
from sim.__main__ import main
sys.exit(main())
"""


def flat(said: str) -> str:
    """What was said without its breaks."""
    return " ".join(said.split())


class Terminal:
    """A command that thinks it talks to a person, without its pictures."""

    def __init__(self, *arguments: str, folder: Path) -> None:
        import pty

        self._side, theirs = pty.openpty()
        self.process = subprocess.Popen(
            [sys.executable, "-P", "-c", NOTHING_DRAWN, *arguments],
            stdin=theirs,
            stdout=theirs,
            stderr=theirs,
            cwd=folder,
            env={**os.environ, "PYTHONPATH": str(HOME), "TERM": "dumb"},
            start_new_session=True,
        )
        os.close(theirs)
        self.said = ""
        self._answered = 0

    def __enter__(self) -> Terminal:
        return self

    def __exit__(self, *_: object) -> None:
        if self.process.poll() is None:
            self.process.kill()
        self.process.wait()
        self.hang_up()

    def answer(self, *lines: str) -> str:
        """Answer the next questions; returns all that was said since the first answer, up to the next question."""
        begun = None
        for line in lines:
            self.question()
            self._type(f"{line}\n")
            begun = self._answered if begun is None else begun
        self.question()
        return self.said[begun:]

    def finish(self, *lines: str) -> str:
        """Answer the next questions, see the command end well without another, and return all that it said."""
        for line in lines:
            self.question()
            self._type(f"{line}\n")
        end = time.monotonic() + PATIENCE_S
        while self._read(end):
            assert not self.said[self._answered :].endswith(LAST_QUESTION), f"it asks again:\n{self.said}"
        assert self.process.wait(PATIENCE_S) == 0, self.said
        return self.said

    def question(self) -> str:
        """Read until a question stands on the last line, and return it."""
        end = time.monotonic() + PATIENCE_S
        while not (found := QUESTION.search(self.said[self._answered :])):
            if not self._read(end):
                raise AssertionError(f"nothing more is asked:\n{self.said}")
        return found[0]

    def interrupt(self) -> int:
        """Press Ctrl-C at the next question, and return the exit code."""
        self.question()
        self._type("\x03")
        return self.ended()

    def hang_up(self) -> None:
        """Close the terminal."""
        if self._side >= 0:
            os.close(self._side)
            self._side = -1

    def ended(self) -> int:
        """Read to the end, and return the exit code."""
        end = time.monotonic() + PATIENCE_S
        while self._read(end):
            pass
        return self.process.wait(PATIENCE_S)

    def _type(self, text: str) -> None:
        self._answered = len(self.said)
        os.write(self._side, text.encode())

    def _read(self, end: float) -> bool:
        ready, _, _ = select.select([self._side], [], [], max(0.0, end - time.monotonic()))
        if not ready:
            return False
        try:
            data = os.read(self._side, 65536)
        except OSError:  # Linux says so when the other side is closed
            return False
        self.said += data.decode("utf-8", "replace").replace("\r\n", "\n")
        return bool(data)
