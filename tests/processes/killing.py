"""Commands ended at random moments, and what must hold afterwards.

Each case is told by its number: the command, the signal and the moment follow from it.  The moment is counted from a
line that the command prints, so that it means the same on a slow machine.
"""

from __future__ import annotations

import os
import random
import re
import shutil
import signal
import subprocess
import sys
import threading
import time
import uuid
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import h5py
import numpy as np

from sim.machine.claims import is_hidden_work
from sim.machine.whole_files import write_whole
from sim.showing.folder import CONTENTS

HOME = Path(__file__).resolve().parent.parent.parent
SCENE = str(Path(__file__).resolve().parent / "small_room.toml")
MARK = "BOUNCEPLAN_KILLED_CASE"
SIGNALS = (signal.SIGKILL, signal.SIGTERM, signal.SIGINT)
PATIENCE_S = 20.0
"""A child looks after its parent in a thread, which waits while a library computes."""


@dataclass(frozen=True)
class Job:
    """A command with what it makes, and what may be seen of it after it was ended."""

    arguments: tuple[str, ...]
    out: str
    before: str = ""
    """Name of the reference that lies at `out` before it starts, if any."""
    after: str = ""
    """Name of the reference that it leads to."""
    resumable: bool = False
    adds: bool = False
    """Whether it adds files to what was there."""


JOBS = {
    "trace": Job(("trace", SCENE, "-o", "out", "--order", "1", "--no-pictures"), "out", after="first"),
    "trace again": Job(
        ("trace", SCENE, "-o", "out", "--order", "2", "--no-pictures", "--replace"),
        "out",
        "first",
        "second",
    ),
    "draw": Job(("draw", "out"), "out", "first", "drawn", adds=True),
    "report": Job(("report", SCENE, "-o", "out.html", "--replace"), "out.html", "old page", "page"),
    "treat": Job(("treat", SCENE, "-o", "out", "--panels", "1", "--no-pictures"), "out", after="plan"),
    "sweep": Job(
        ("sweep", SCENE, "-o", "out", "--vary", "ear.up=1.10:1.30:0.02", "--processes", "1", "--no-pictures"),
        "out",
        after="sweep",
        resumable=True,
    ),
    "shared sweep": Job(
        ("sweep", SCENE, "-o", "out", "--vary", "ear.up=1.10:1.50:0.01", "--processes", "2", "--no-pictures"),
        "out",
        after="long sweep",
        resumable=True,
    ),
}
QUICK = ("trace", "sweep", "trace again", "report")
ALL = ("trace", "shared sweep", "trace again", "report", "draw", "trace", "sweep", "trace again", "draw", "treat")
FEW = 20
"""The first cases take only commands that are done in a second or two."""


def job_of(number: int) -> str:
    """Which command a case ends."""
    return QUICK[number % len(QUICK)] if number < FEW else ALL[number % len(ALL)]


def command(job: Job, folder: Path, mark: str = "") -> subprocess.Popen[str]:
    (folder / "tmp").mkdir(exist_ok=True)
    return subprocess.Popen(
        [sys.executable, "-m", "sim", *job.arguments],
        cwd=folder,
        text=True,
        env={**os.environ, "PYTHONPATH": str(HOME), MARK: mark, "TMPDIR": str(folder / "tmp"), "BOUNCEPLAN_FRESH": "1"},
        stdin=subprocess.DEVNULL,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.PIPE,
        preexec_fn=heed_interrupts,
    )


def heed_interrupts() -> None:
    """Let a child heed Ctrl-C also where these tests run in the background, which ignores it."""
    signal.signal(signal.SIGINT, signal.SIG_DFL)


class References:
    """What each command makes when nobody disturbs it, and when it prints what."""

    def __init__(self, home: Path) -> None:
        self.home = home
        home.mkdir()
        self.lines: dict[str, list[float]] = {}
        (home / "old page").write_text("old", encoding="utf-8")

    def of(self, name: str) -> Path:
        """Where the things lie that a job leads to, or that were there before."""
        return self.home / name

    def need(self, names: list[str]) -> None:
        """Run the jobs once, those first that others start from."""
        for name in sorted(set(names), key=list(JOBS).index):
            job = JOBS[name]
            if job.before and not self.of(job.before).exists():
                self.need([other for other, one in JOBS.items() if one.after == job.before])
            if name in self.lines:
                continue
            folder = self.home / f"run of {name}"
            folder.mkdir()
            put_before(job, self, folder)
            begun, reported = time.monotonic(), [0.0]
            with command(job, folder) as child:
                assert child.stderr is not None
                for _ in child.stderr:
                    reported.append(time.monotonic() - begun)
                reported.append(time.monotonic() - begun)
            assert child.returncode == 0, name
            self.lines[name] = reported
            (folder / job.out).rename(self.of(job.after))


def put_before(job: Job, references: References, folder: Path) -> None:
    if job.before:
        there = references.of(job.before)
        copy: Callable[..., object] = shutil.copytree if there.is_dir() else shutil.copy
        copy(there, folder / job.out)


def end_one(number: int, folder: Path, references: References) -> str:
    """Run case `number` and return what was wrong, or an empty text."""
    chance = random.Random(f"bounceplan {number}")
    name = job_of(number)
    job, number_of_signal = JOBS[name], chance.choice(SIGNALS)
    reported = references.lines[name]
    line = chance.randrange(len(reported) - 1)
    wait_s = chance.uniform(0.0, reported[line + 1] - reported[line])
    folder.mkdir()
    put_before(job, references, folder)
    mark = uuid.uuid4().hex
    case = f"case {number}: {name}, {number_of_signal.name}, {wait_s:.3f} s after line {line}: "
    said: list[str] = []
    come = threading.Semaphore(0)

    def listen() -> None:
        for words in child.stderr or ():
            said.append(words)
            come.release()
        for _ in range(len(reported)):
            come.release()

    with command(job, folder, mark) as child:
        listener = threading.Thread(target=listen)
        listener.start()
        for _ in range(line):
            come.acquire()
        time.sleep(wait_s)
        unfinished = len(said) < len(reported) - 2  # it has more to say
        begun = line > 0 or heeds(child.pid)
        child.send_signal(number_of_signal)
        code = child.wait(timeout=120)
        listener.join()
    wrong = survivors(mark) or reported_wrong(code, "".join(said), number_of_signal, begun)
    wrong = wrong or ("it went on to its end" if unfinished and code == 0 else "")
    hidden = [path.name for path in folder.iterdir() if is_hidden_work(path.name)]
    if hidden and number_of_signal != signal.SIGKILL and code > 0:
        wrong = wrong or f"left {hidden}"
    wrong = wrong or seen_wrong(job, folder, references)
    write_whole(folder / "next.txt", "what the next run does first")
    left = [path.name for path in folder.iterdir() if path.name.startswith(".")]
    wrong = wrong or (f"the next run left {left}" if left else seen_wrong(job, folder, references))
    if job.resumable and not wrong:
        again = command(job, folder)
        message = again.communicate(timeout=300)[1]
        wrong = f"did not go on: {message}" if again.returncode else ""
        wrong = wrong or different(folder / job.out, references.of(job.after))
    shutil.rmtree(folder)
    return case + wrong if wrong else ""


def heeds(process: int) -> bool:
    """Whether a process has begun to take requests to stop, or no longer needs to; Python by itself takes only Ctrl-C.

    The kernel tells which signals are ignored or caught, as bits from 1 (proc_pid_status(5)).
    """
    status = Path(f"/proc/{process}/status").read_text(encoding="utf-8")
    masks = dict(re.findall(r"^(Sig(?:Ign|Cgt)):\s*([0-9a-f]+)$", status, re.MULTILINE))
    return not masks or any(int(mask, 16) >> (signal.SIGTERM - 1) & 1 for mask in masks.values())


def survivors(mark: str) -> str:
    """Processes of a case that do not end."""
    given_up = time.monotonic() + PATIENCE_S
    while True:
        left = []
        for process in Path("/proc").glob("[0-9]*"):
            try:
                if f"{MARK}={mark}".encode() in (process / "environ").read_bytes():
                    left.append(process.name)
            except OSError:
                continue
        if not left:
            return ""
        if time.monotonic() > given_up:
            return f"processes {left} are left"
        time.sleep(0.05)


def reported_wrong(code: int, said: str, number: signal.Signals, begun: bool) -> str:
    """What is wrong with the exit code and the words.

    Before the program has `begun` to take requests, in the first hundredths of a second while Python itself is loaded,
    a signal has its plain effect, without a sentence of ours; nothing may be left then either.  Python may then call
    an interrupt an error while it loads (exit code 1), and a request may come just when the program begins to take it.
    """
    if number == signal.SIGKILL:
        return "" if code in (0, -signal.SIGKILL) else f"exit code {code}: {said}"
    codes = {0, 128 + number} if begun else {128 + number, -number, 1}
    if number == signal.SIGINT:
        # Python ends itself by the signal, which shells show as 130 too, when Ctrl-C once came inside an exec of text
        codes |= {-number}
    lines = [line for line in said.splitlines() if line and not line.lstrip("\r ").startswith("...")]
    if code not in codes or (begun and len(lines) > (code != 0)):
        return f"exit code {code}: {said}"
    return ""


def seen_wrong(job: Job, folder: Path, references: References) -> str:
    """What is wrong with what a person would find."""
    out = folder / job.out
    if not out.exists():
        return "what was there is lost" if job.before else ""
    if job.resumable:
        with h5py.File(out / "sweep.h5") as file:
            return "" if len(file) else "an empty file"
    may_be = [references.of(name) for name in (job.before, job.after) if name]
    if out.is_file():
        return "" if out.read_bytes() in [each.read_bytes() for each in may_be] else "a page that is not whole"
    whole = [different(out, each, part=job.adds) for each in may_be]
    listed = set((out / CONTENTS).read_text(encoding="utf-8").splitlines())
    unlisted = [
        path.name for path in out.rglob("*") if path.is_file() and path.relative_to(out).as_posix() not in listed
    ]
    return "; ".join(whole) if all(whole) else f"{unlisted} are not listed" if unlisted else ""


def different(out: Path, other: Path, *, part: bool = False) -> str:
    """How a folder differs from what it should be; with `part` files may still be missing."""
    names = {path.relative_to(out).as_posix() for path in out.rglob("*") if path.is_file()}
    wanted = {path.relative_to(other).as_posix() for path in other.rglob("*") if path.is_file()}
    if names - wanted or (not part and wanted - names):
        return f"other files than in {other.name}: {sorted(names ^ wanted)}"
    for name in sorted(names - {CONTENTS, "drawings.dxf"}):  # the library of the latter notes the hour
        same = same_numbers if name.endswith(".h5") else same_bytes
        if not same(out / name, other / name):
            return f"{name} is not that of {other.name}"
    return ""


def same_bytes(one: Path, other: Path) -> bool:
    return one.read_bytes() == other.read_bytes()


def same_numbers(one: Path, other: Path) -> bool:
    """Whether two HDF5 files hold the same datasets, bit for bit."""

    def raw(item: h5py.Dataset | h5py.Group) -> bytes:
        if not isinstance(item, h5py.Dataset) or item.dtype.kind == "O" or item.shape is None:  # text, or empty
            return b""
        return np.asarray(item[()]).tobytes()

    def datasets(path: Path) -> dict[str, bytes]:
        found: dict[str, bytes] = {}
        with h5py.File(path) as file:
            file.visititems(lambda name, item: found.update({name: raw(item)}))
        return found

    return datasets(one) == datasets(other)
