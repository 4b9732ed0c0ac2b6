"""The packages of .venv: installed as the lock files say, in two sets, with words about how far it is.

`requirements.lock` holds what running needs, `requirements-tests.lock` the same and what tests need.  A file in .venv
for each set says from what it was installed; it is written last, so an interrupted call is begun anew by the next.
"""

import collections
import contextlib
import hashlib
import importlib.util
import os
import queue
import re
import shutil
import subprocess
import sys
import threading
import time
import venv
from collections.abc import Generator
from pathlib import Path

HOME = Path(__file__).resolve().parent.parent
PLACE = HOME / ".venv"
BIN = PLACE / ("Scripts" if os.name == "nt" else "bin")
PYTHON = BIN / ("python.exe" if os.name == "nt" else "python")
WHEELS = HOME / ".ci" / "wheels.py"
RUN_LOCK, TESTS_LOCK = HOME / "requirements.lock", HOME / "requirements-tests.lock"
RUN_MARK, TESTS_MARK = PLACE / "installed-from.txt", PLACE / "installed-tests-from.txt"
RUN_GB, TESTS_GB = 1.3, 1.6
"""What .venv takes on the disk, measured with du on Linux: without and with the packages of the tests."""
LOG_EVERY_S = 10.0
"""A log gets a line no more often than this, a terminal one line that changes."""


def say(words: str) -> None:
    print(f"bounceplan: {words}", file=sys.stderr, flush=True)


def install(*, with_tests: bool) -> int:
    """Make .venv hold exactly what the lock files say; nothing is done when it already does.  Returns an exit code."""
    wanted = [hashlib.sha256(RUN_LOCK.read_bytes() + (HOME / "pyproject.toml").read_bytes()).hexdigest(), str(PLACE)]
    noted = RUN_MARK.read_text(encoding="utf-8").splitlines() if RUN_MARK.is_file() and PYTHON.exists() else []
    whole = [*wanted, str(PYTHON.resolve())]
    if len(noted) == 3 and noted != whole and (noted[0], noted[2]) == (whole[0], whole[2]):
        say(f"this checkout was at {Path(noted[1]).parent} before; setting .venv right for its new place")
        failed = settle()
        if not failed:
            RUN_MARK.write_text("\n".join(whole), encoding="utf-8")
            noted = whole
    if noted != whole:
        failed = (
            begin() or add(RUN_LOCK, f"the packages into .venv (about {RUN_GB} GB on the disk; once)") or ourselves()
        )
        if failed:
            return failed
        RUN_MARK.write_text("\n".join([*wanted, str(PYTHON.resolve())]), encoding="utf-8")
    tests = hashlib.sha256(TESTS_LOCK.read_bytes()).hexdigest()
    if with_tests and not (TESTS_MARK.is_file() and TESTS_MARK.read_text(encoding="utf-8") == tests):
        TESTS_MARK.unlink(missing_ok=True)
        failed = add(
            TESTS_LOCK, there=RUN_LOCK, what=f"what tests need besides (about {TESTS_GB - RUN_GB:.1f} GB more; once)"
        )
        if failed:
            return failed
        TESTS_MARK.write_text(tests, encoding="utf-8")
    return 0


def version() -> tuple[int, int]:
    """Version of the Python in .venv, which need not be the one that runs this."""
    asked = subprocess.run([PYTHON, "-V"], stdout=subprocess.PIPE, text=True, check=True)
    major, minor, *_ = asked.stdout.split()[1].split(".")
    return int(major), int(minor)


def begin() -> int:
    """Make an empty .venv."""
    if importlib.util.find_spec("ensurepip") is None:
        say("this Python lacks ensurepip, which sets up .venv; on Debian and Ubuntu: apt-get install python3-venv")
        return 2
    RUN_MARK.unlink(missing_ok=True)
    try:
        venv.create(PLACE, with_pip=True, clear=True, symlinks=os.name != "nt")
    except (OSError, subprocess.CalledProcessError) as fault:
        say(f".venv could not be made: {fault}")
        return 2
    return 0


def ourselves() -> int:
    """Install bounceplan so that it runs from this checkout."""
    return pip("--no-deps", "--no-build-isolation", "-e", str(HOME))


def settle() -> int:
    """Set right what in .venv holds the folder where the checkout was: activation, commands, bounceplan's place."""
    failed = subprocess.run([PYTHON.resolve(), "-m", "venv", "--without-pip", PLACE], check=False).returncode
    return failed or subprocess.run([PYTHON, "-P", WHEELS, "commands"], check=False).returncode or ourselves()


def add(lock: Path, what: str, there: Path | None = None) -> int:
    """Install a lock file, unless a package of it has no wheel for this machine; `there` is one installed before."""
    asking = [PYTHON, "-P", WHEELS, "needed", lock, *([there] if there else [])]
    asked = subprocess.run(asking, stdout=subprocess.PIPE, text=True, check=False)
    if asked.returncode:
        say(asked.stdout.strip() or "it could not be found out which packages this machine needs")
        return 2
    sizes = {name: int(size) for size, name in map(str.split, asked.stdout.splitlines())}
    say(f"installing {what}: {len(sizes)} packages, {sum(sizes.values()) / 1e6:.0f} MB to fetch")
    started = time.monotonic()
    failed = pip("--require-hashes", "-r", str(lock), sizes=sizes)
    if not failed:
        say(f"installed in {time.monotonic() - started:.0f} s")
    return failed


def pip(*arguments: str, sizes: dict[str, int] | None = None) -> int:
    """Run pip install and tell how far it is; if it fails, its last lines and a sentence.  Returns an exit code."""
    quiet = ("--disable-pip-version-check", "--no-input", "--no-color", "--progress-bar", "off")
    command = [str(PYTHON), "-P", "-m", "pip", "install", *quiet, *arguments]
    last: collections.deque[str] = collections.deque(maxlen=12)
    how_far = HowFar(sizes or {})
    with subprocess.Popen(
        command,
        cwd=HOME,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        encoding="utf-8",
        errors="replace",
    ) as child:
        try:
            with contextlib.closing(lines_as_they_come(child)) as lines:
                for line in lines:
                    if line and "is neither a file nor a directory" not in line:
                        last.append(line)
                    how_far.hear(line)
            failed = child.wait()
        except KeyboardInterrupt:
            child.wait()
            raise
        finally:
            how_far.end()
    if failed:
        print("\n".join(last), file=sys.stderr)
        say("the packages could not be installed; pip's last lines are above, and the same command tries again")
    return 2 if failed else 0


def lines_as_they_come(child: subprocess.Popen[str]) -> Generator[str, None, None]:
    """Lines of what a process prints; an empty one whenever half a second brings none.

    Closing it waits until the process prints no more: a thread that reads on what is closed would complain.
    """
    waiting: queue.Queue[str | None] = queue.Queue()

    def listen() -> None:
        assert child.stdout is not None
        for line in child.stdout:
            waiting.put(line.strip())
        waiting.put(None)

    listener = threading.Thread(target=listen, daemon=True)
    listener.start()
    try:
        while True:
            try:
                line = waiting.get(timeout=0.5)
            except queue.Empty:
                line = ""
            if line is None:
                return
            yield line
    finally:
        listener.join()


class HowFar:
    """What is told while pip works: packages fetched, then packages unpacked."""

    def __init__(self, sizes: dict[str, int]) -> None:
        self.sizes, self.fetched, self.now, self.unpacking = sizes, dict[str, int](), "", False
        self.before = self.unpacked()
        self.said_at = self.started = time.monotonic()
        self.terminal = sys.stderr.isatty()

    @staticmethod
    def unpacked() -> int:
        return sum(1 for folder in ("lib", "Lib") for _ in (PLACE / folder).glob("**/site-packages/*.dist-info"))

    def hear(self, line: str) -> None:
        named = re.match(r"(?:Downloading|Using cached|Processing) (\S+\.whl)(?!\.metadata)", line)
        if named:
            self.now = named[1].rpartition("/")[2]
            self.fetched[self.now] = self.sizes.get(self.now, 0)
        self.unpacking = self.unpacking or line.startswith("Installing collected packages")
        if self.sizes:
            self.tell(due=bool(named) and self.sizes.get(self.now, 0) > 50e6)

    def tell(self, *, due: bool) -> None:
        if self.unpacking:
            words = f"unpacked {self.unpacked() - self.before} of {len(self.fetched)} packages"
        elif self.now:
            size = self.sizes.get(self.now, 0)
            before, total = (sum(self.fetched.values()) - size) / 1e6, sum(self.sizes.values()) / 1e6
            name = "-".join(self.now.split("-")[:2])
            words = f"{len(self.fetched)} of {len(self.sizes)} packages, {before:.0f} of {total:.0f} MB;"
            words += f" now {name} ({size / 1e6:.1f} MB)"
        else:
            words = "looking for the packages"
        now = time.monotonic()
        if self.terminal:
            width = shutil.get_terminal_size().columns - 1
            print(
                f"\r{f'  ... {now - self.started:.0f} s, {words}'[:width]}\x1b[K", end="", file=sys.stderr, flush=True
            )
        elif due or now - self.said_at >= LOG_EVERY_S:
            print(f"  ... {now - self.started:.0f} s, {words}", file=sys.stderr, flush=True)
            self.said_at = now

    def end(self) -> None:
        if self.terminal and self.sizes:
            print("\r\x1b[K", end="", file=sys.stderr, flush=True)
