"""Pictures, always in child processes, after the numbers are safe.

The 3D library can bring down the whole process on a machine without graphics libraries.  A child that dies takes
nothing with it: its death becomes one sentence that says what to install.  A child never outlives the process that
started it, and draws beside the folder that its pictures are meant for: they are moved in when they are whole.  Each
question that draws has a `main` in its front page, which is what the child runs.
"""

from __future__ import annotations

import os
import re
import signal
import subprocess
import sys
import threading
from collections import deque
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from sim.errors import BounceplanError, OutputError, PictureError
from sim.machine.processes import own_python
from sim.progress import Report, say_nothing

if TYPE_CHECKING:
    from sim.showing.folder import Additions

PACKAGES = "libgl1 libegl1 libxrender1"
PROBE = """
import pyvista
plotter = pyvista.Plotter(off_screen=True, window_size=[64, 64])
plotter.add_mesh(pyvista.Cube(), color="black")
assert plotter.screenshot(return_img=True).min() < 128
"""
PROBE_TIMEOUT_S = 120.0
CHILD_TIMEOUT_S = 900.0
MOST_AT_ONCE = 2
"""Children side by side: each keeps one core busy and takes some 300 MB."""
MOST_SAID = 100
"""So many of the last lines of a child's complaints are kept."""
REPORTED = 64
"""Exit code of a child whose last words are a sentence for the person."""
WINDOWS_FAULT = 0x8000_0000
"""Windows tells of a killed process by an exit code from here on."""


def probe_solid(timeout_s: float = PROBE_TIMEOUT_S) -> None:
    """Draw a cube in a child to find out whether pictures in space can be drawn here.

    Raises
    ------
    PictureError
        If they cannot, with the packages to install.
    """
    run_child([sys.executable, "-P", "-c", PROBE], timeout_s)


class Children:
    """Children that draw at the same time, from threads of ours; what ends one thread may end them all."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._living: set[subprocess.Popen[str]] = set()
        self._over = False

    def add(self, child: subprocess.Popen[str]) -> None:
        """Count a child that was started; it is ended at once where the others were ended before."""
        with self._lock:
            self._living.add(child)
            over = self._over
        if over:
            child.kill()

    def end(self) -> None:
        """End all that live, and all that are started from now on."""
        with self._lock:
            self._over = True
            living = list(self._living)
        for child in living:
            child.kill()


def run_child(
    command: Sequence[str],
    timeout_s: float = CHILD_TIMEOUT_S,
    report: Report = say_nothing,
    children: Children | None = None,
) -> None:
    """Run a command that draws; each line it prints goes to `report`.

    The other end of its standard input is ours, so that it can tell when we are gone.  Whatever ends this function ends
    the command, and so does `children.end()`.

    Raises
    ------
    PictureError
        If it dies, fails or does not come to an end within timeout_s; numbers written before are not touched.
    OutputError
        If it says, ending with `REPORTED`, that its pictures cannot be written.
    """
    package = str(Path(__file__).parents[2])
    paths = os.pathsep.join(path for path in (package, os.environ.get("PYTHONPATH", "")) if path)
    with subprocess.Popen(
        list(command),
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        encoding="utf-8",
        errors="replace",
        env={**os.environ, "PYTHONPATH": paths, "PYTHONIOENCODING": "utf-8"},
    ) as child:
        if children is not None:
            children.add(child)
        late = threading.Event()

        def stop() -> None:
            late.set()
            child.kill()

        said: deque[str] = deque(maxlen=MOST_SAID)
        alarm = threading.Timer(timeout_s, stop)
        listener = threading.Thread(target=lambda: said.extend(child.stderr or ()), daemon=True)
        try:
            alarm.start()
            listener.start()
            for line in child.stdout or ():
                report(line.rstrip())
            code = child.wait()
            listener.join()
        except BaseException:
            child.kill()
            raise
        finally:
            alarm.cancel()
    error_messages = [line.strip() for line in said if line.strip()]
    if late.is_set():
        raise PictureError(
            f"pictures: drawing took longer than {timeout_s:g} s and was stopped; try again on a machine that is less"
            " busy, or leave pictures out; the numbers are not affected."
        )
    if code == REPORTED and error_messages:
        raise OutputError(error_messages[-1])
    if code < 0 or code >= WINDOWS_FAULT:
        raise PictureError(
            f"pictures: the drawing process was killed by the system ({_killer(code)}), as happens where graphics"
            f" libraries are missing; install them (Debian, Ubuntu: apt-get install {PACKAGES}) and draw again; the"
            " numbers and the flat pictures are not affected."
        )
    if code:
        last = error_messages[-1] if error_messages else f"exit code {code}"
        raise PictureError(f"pictures: they could not be drawn ({last}); the numbers are not affected.")


def _killer(code: int) -> str:
    try:
        return signal.Signals(-code).name
    except ValueError:
        return f"exit code {code:#x}"


def draw_in_child(
    module: str, kind: str, place: Path, sources: Sequence[str], report: Report, children: Children | None = None
) -> str:
    """Run `main` of a module in a process of its own; returns why it failed, or an empty text.

    Raises
    ------
    OutputError
        If the pictures cannot be written.
    """
    try:
        run_child(own_python(module, kind, str(place), *sources), report=report, children=children)
    except PictureError as fault:
        return str(fault)
    return ""


def drawn_beside(
    module: str,
    kinds: Sequence[str],
    additions: Additions,
    place: Path,
    name: str,
    sources: Sequence[str],
    report: Report,
) -> str:
    """Draw beside a folder, two kinds at the same time, and move what is whole into it.

    Returns why something is missing, or an empty text.
    """
    from concurrent.futures import FIRST_EXCEPTION, ThreadPoolExecutor, wait

    aside = additions.beside(place)
    children, lock = Children(), threading.Lock()

    def say(words: str) -> None:
        with lock:
            report(words)

    def drawn(kind: str) -> str:
        return draw_in_child(module, kind, aside / name, sources, say, children)

    with ThreadPoolExecutor(min(len(kinds), MOST_AT_ONCE)) as pool:
        try:
            begun = [pool.submit(drawn, kind) for kind in kinds]
            ended, _ = wait(begun, return_when=FIRST_EXCEPTION)
            troubles = [each.result() for each in begun if each in ended]
        except OutputError as fault:
            children.end()
            raise OutputError(str(fault).replace(str(aside), str(place))) from None
        except BaseException:
            children.end()
            raise
    additions.move_in()
    return next((trouble for trouble in troubles if trouble), "")


def as_child(draw: Callable[[str, Path, list[str]], None], arguments: Sequence[str]) -> int:
    """Draw as the arguments (kind, place, sources) say, and end with the process that started this one."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # the parent is told, and ends us
    threading.Thread(target=_end_with_the_parent, daemon=True).start()
    kind, place, *sources = arguments
    try:
        draw(kind, Path(place), sources)
    except BounceplanError as fault:
        print(fault, file=sys.stderr)  # noqa: T201
        return REPORTED
    return 0


def tell(words: str) -> None:
    """Pass on to the parent what is being drawn."""
    print(words, flush=True)  # noqa: T201


def _end_with_the_parent() -> None:
    """Wait until the parent, which holds the other end of our standard input, is gone; then end at once."""
    os.read(0, 1)
    os._exit(1)


def file_name(words: str) -> str:
    """Turn a name into a plain file name: "left wall" is left_wall."""
    return re.sub(r"[^a-z0-9]+", "_", words.lower()).strip("_") or "surface"
