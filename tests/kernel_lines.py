"""Which statements of the kernels the tests run: `python -m tests.kernel_lines [--seconds 10] [tests ...]`.

The compiler is switched off (NUMBA_DISABLE_JIT), so kernels are plain Python and can be watched; lanes, which only the
compiler knows, come from `sim.rays.plain_lanes`.  Plain Python takes hundreds of times as long: a test is cut off
after some seconds, and what it ran until then counts.  Tests of the compiler itself are left out.
"""

from __future__ import annotations

import argparse
import ast
import json
import os
import signal
import sys
import time
from pathlib import Path
from types import CodeType, FrameType
from typing import Any

HOME = Path(__file__).resolve().parent.parent
KERNELS = sorted((HOME / "sim").rglob("*kernels.py"))
"""All modules of kernels; `kinds_of_kernels` has decorators only and drops out by itself."""
ABOUT_THE_COMPILER = ("test_kinds_of_kernels.py", "test_batch_kernels.py")
"""Tests of what the compiler makes of kernels."""
EXAMPLES = 3
"""Of tests that make their own cases; the compiled ones try a hundred."""


class Watch:
    """Lines that ran, by file; a function all of whose lines ran is no longer watched."""

    def __init__(self, files: list[Path]) -> None:
        self.ran: dict[str, set[int]] = {str(file): set() for file in files}
        self._left: dict[CodeType, set[int]] = {}

    def __call__(self, frame: FrameType, event: str, _: Any) -> Any:
        code = frame.f_code
        if code.co_filename not in self.ran:
            return None
        left = self._left.get(code)
        if left is None:
            left = self._left[code] = {line for _, _, line in code.co_lines() if line} - {code.co_firstlineno}
        if not left:
            return None
        seen = self.ran[code.co_filename]

        def line(inner: FrameType, what: str, _: Any) -> Any:
            seen.add(inner.f_lineno)
            left.discard(inner.f_lineno)
            return line

        return line


def statements(file: Path) -> dict[int, int]:
    """First and last line of each statement inside a function, without docstrings and without what it encloses."""
    found = {}
    for function in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
        if isinstance(function, ast.FunctionDef):
            for node in ast.walk(function):
                if isinstance(node, ast.stmt) and node is not function and not _is_text(node):
                    inner = getattr(node, "body", None)
                    found[node.lineno] = inner[0].lineno - 1 if inner else (node.end_lineno or node.lineno)
    return {first: max(first, last) for first, last in found.items()}


def _is_text(node: ast.stmt) -> bool:
    plain = isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant)
    return plain or isinstance(node, (ast.FunctionDef, ast.Continue, ast.Break, ast.Pass))


def nearest_tests() -> list[str]:
    """Tests of the kernels themselves, and of the modules beside them that call them on small cases."""
    places = [*(HOME / "tests" / "rays").glob("test_*.py"), *(HOME / "tests" / "propagation").glob("*/test_*.py")]
    return [str(file) for file in sorted(places) if file.name not in ABOUT_THE_COMPILER]


class CutOff:
    """Ends a test after some seconds of processor time, and begins none when the minutes are over; counts both."""

    def __init__(self, seconds: float, minutes: float) -> None:
        self.seconds, self.ended, self.never = seconds, 0, 0
        self._over = time.monotonic() + 60.0 * minutes

    def _ring(self, *_: Any) -> None:
        import pytest

        self.ended += 1
        pytest.skip("cut off: plain Python is slow")

    def pytest_collection_modifyitems(self, items: list[Any]) -> None:
        from hypothesis import settings

        for item in items:
            made_with = "_hypothesis_internal_use_settings"
            if hasattr(item.obj, made_with):
                setattr(item.obj, made_with, settings(getattr(item.obj, made_with), max_examples=EXAMPLES))

    def pytest_runtest_setup(self) -> None:
        import pytest

        if time.monotonic() > self._over:
            self.never += 1
            pytest.skip("no time left")
        signal.signal(signal.SIGVTALRM, self._ring)
        signal.setitimer(signal.ITIMER_VIRTUAL, self.seconds)

    def pytest_runtest_teardown(self) -> None:
        signal.setitimer(signal.ITIMER_VIRTUAL, 0.0)


def say(line: str) -> None:
    sys.stdout.write(line + "\n")


def main() -> int:
    asked = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    asked.add_argument("--seconds", type=float, default=10.0, help="processor time of each test (default 10)")
    asked.add_argument("--minutes", type=float, default=60.0, help="time for all of them (default 60)")
    asked.add_argument("--missed", action="store_true", help="also list the statements that no test ran")
    asked.add_argument("tests", nargs="*", default=nearest_tests())
    chosen = asked.parse_args()
    os.environ["NUMBA_DISABLE_JIT"] = "1"
    import numpy as np
    import pytest

    from sim.rays.without_compiler import work_without_compiler

    work_without_compiler()
    watch, cut = Watch(KERNELS), CutOff(chosen.seconds, chosen.minutes)
    sys.settrace(watch)
    with np.errstate(all="ignore"):
        result = pytest.main([*chosen.tests, "-q", "-W", "ignore", "--tb=line", "-p", "no:cacheprovider"], [cut])
    sys.settrace(None)
    everything = done = 0
    rows = []
    for file in KERNELS:
        every = statements(file)
        ran = watch.ran[str(file)]
        missed = [first for first, last in every.items() if not ran & set(range(first, last + 1))]
        if every:
            rows.append((file.relative_to(HOME).as_posix(), len(every), len(missed), missed))
            everything, done = everything + len(every), done + len(every) - len(missed)
    for name, count, lost, missed in rows:
        reported = f"  not run: {json.dumps(sorted(missed))}" if chosen.missed and missed else ""
        say(f"{name:48} {count - lost:4} of {count:4}  {(count - lost) / count:6.1%}{reported}")
    say(f"{'all kernels':48} {done:4} of {everything:4}  {done / everything:6.1%}")
    say(f"{cut.ended} tests were cut off after {chosen.seconds:g} s, {cut.never} not begun for want of time")
    return int(result)


if __name__ == "__main__":
    sys.exit(main())
