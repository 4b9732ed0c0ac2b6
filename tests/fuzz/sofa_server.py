"""One process that forks for every AES69 file: the reader apart, as in `sim.loudspeakers.sofa_contents`, but faster.

Starting Python and loading HDF5 takes 0.4 s; a copy of a process that did both takes milliseconds.
"""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

from sim.loudspeakers.sofa_child import limit_this_process, write_contents


def serve() -> None:
    """Answer paths with files beside them: how it ended on a line, and what was read in the other file."""
    import h5py  # noqa: F401  # loaded once, for all copies

    for line in sys.stdin:
        path, answer, seconds = line.rstrip("\n").split("\t")
        copy = os.fork()
        if copy == 0:
            limit_this_process(int(seconds))
            with Path(answer).open("wb") as out:
                write_contents(path, out)
            os._exit(0)
        sys.stdout.write(f"{_ended(copy, float(seconds))}\n")
        sys.stdout.flush()


def _ended(copy: int, seconds: float) -> str:
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        done, state = os.waitpid(copy, os.WNOHANG)
        if done:
            code = os.waitstatus_to_exitcode(state)
            return "read" if code == 0 else f"ended with {code}"
        time.sleep(0.001)
    os.kill(copy, signal.SIGKILL)
    os.waitpid(copy, 0)
    return "not in time"


class SofaServer:
    """Stands in for `sim.loudspeakers.sofa_contents._answer`; counts how the copies ended."""

    def __init__(self, folder: Path, seconds: int = 5) -> None:
        self.answer = folder / "answer"
        self.seconds = seconds
        self.ended: dict[str, int] = {}
        self.process: subprocess.Popen[str] = subprocess.Popen(
            [sys.executable, "-P", __file__],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
            stderr=subprocess.DEVNULL,
            env={**os.environ, "HDF5_PLUGIN_PRELOAD": "::", "OPENBLAS_NUM_THREADS": "1"},
        )

    def __call__(self, path: Path, _: int) -> bytes:
        assert self.process.stdin is not None
        assert self.process.stdout is not None
        self.answer.write_bytes(b"")
        self.process.stdin.write(f"{path}\t{self.answer}\t{self.seconds}\n")
        self.process.stdin.flush()
        how = self.process.stdout.readline().strip()
        assert how
        self.ended[how] = self.ended.get(how, 0) + 1
        if how == "not in time":
            raise ValueError("it was not read in time, so it is damaged; copy or export it again")
        return self.answer.read_bytes() if how == "read" else b""

    def __enter__(self) -> SofaServer:
        return self

    def __exit__(self, *_: Any) -> None:
        for pipe in (self.process.stdin, self.process.stdout):
            assert pipe is not None
            pipe.close()
        self.process.wait()


if __name__ == "__main__":
    serve()
