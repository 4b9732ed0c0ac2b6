"""A terminal of our own (a pseudo-terminal of the standard library) in which a command is run and typed to."""

from __future__ import annotations

import os
import pty
import re
import select
import signal
import subprocess
import time
from pathlib import Path

from sim.machine.processes import own_python

HOME = Path(__file__).resolve().parents[3]
PROMPT = re.compile(r"[^\n]*: $")
PATIENCE_S = 120.0
"""For a step that may compile kernels first."""


class Terminal:
    """A command that thinks it talks to a person."""

    def __init__(self, *arguments: str, folder: Path) -> None:
        self._side, theirs = pty.openpty()
        self.process = subprocess.Popen(
            own_python("sim.__main__", *arguments),
            stdin=theirs,
            stdout=theirs,
            stderr=theirs,
            cwd=folder,
            env={**os.environ, "PYTHONPATH": str(HOME), "COLUMNS": "80", "TERM": "dumb"},
            start_new_session=True,
            preexec_fn=_take_terminal,
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
        """Answer the next questions, each when it stands there; returns what was said up to the last of them."""
        begun = len(self.said)
        for line in lines:
            self.read_until_asked()
            self._answered = len(self.said)
            os.write(self._side, f"{line}\n".encode())
        return self.said[begun:]

    def read_until_asked(self) -> str:
        """Read until a question stands on the last line; returns that line."""
        end = time.monotonic() + PATIENCE_S
        while time.monotonic() < end:
            found = PROMPT.search(self.said[self._answered :])
            if found and "\n" in self.said[self._answered :] + "\n" * (self._answered == 0):
                return found[0]
            if not self._read(end):
                raise AssertionError(f"the command ended without asking:\n{self.said}")
        raise AssertionError(f"nothing was asked:\n{self.said}")

    def ended(self) -> int:
        """Read to the end, and return the exit code."""
        end = time.monotonic() + PATIENCE_S
        while self._read(end):
            pass
        return self.process.wait(PATIENCE_S)

    def interrupt(self) -> int:
        """Press Ctrl-C at the next question, and return the exit code."""
        self.read_until_asked()
        os.write(self._side, b"\x03")
        return self.ended()

    def hang_up(self) -> None:
        """Close the terminal."""
        if self._side >= 0:
            os.close(self._side)
            self._side = -1

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


def _take_terminal() -> None:
    """Make the pseudo-terminal the controlling one, so that Ctrl-C and hanging up reach the command as signals."""
    import fcntl
    import termios

    fcntl.ioctl(0, termios.TIOCSCTTY, 0)
    signal.signal(signal.SIGHUP, signal.SIG_DFL)
    signal.signal(signal.SIGINT, signal.default_int_handler)
