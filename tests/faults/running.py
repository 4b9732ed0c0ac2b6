"""Run the tests that should catch a fault, in a child process in which one module of `sim` holds it.

No file of the tree is touched: an importer hands the child the changed module.  Kernels are compiled anew where they
hold the fault or call what does; all others come from the cache.
"""

from __future__ import annotations

import ast
import os
import resource
import signal
import sys
import time
import traceback
from functools import cache
from importlib import import_module
from importlib.machinery import ModuleSpec, SourceFileLoader
from importlib.util import spec_from_file_location
from pathlib import Path
from typing import Any

import h5py  # noqa: F401  (what sim imports, so that each child need not)
import pydantic  # noqa: F401
import pytest
import scipy.optimize
import scipy.special  # noqa: F401
import shapely  # noqa: F401
import trimesh  # noqa: F401
from hypothesis import Phase, settings

from sim.machine import kernel_cache
from tests.faults.kinds import with_fault

ROOT = Path(__file__).parents[2]
LEFT_OUT = ("tests/browser", "tests/builders", "tests/faults", "tests/test_cli.py", "tests/test_docs.py", "tests/views")

SLOW = (
    "tests/rooms/test_every_output.py",
    "tests/studies/treat/test_demo_rooms.py",
    "tests/propagation/test_demo_rooms.py",
    "tests/published/test_half_plane.py",
    "tests/propagation/energy/test_late_rays.py",
    "tests/studies/tolerance/test_tolerance.py",
    "tests/test_pipeline.py",
)
"""Tests that take more than a few seconds and say little about one formula."""
MOST_STEPS = 3
FAR = 99
OPTIONS = ("-x", "-q", "--tb=line", "-p", "no:cacheprovider", "-W", "ignore::pytest.PytestAssertRewriteWarning")


def dotted(module: Path) -> str:
    """The name under which a file of sim is imported."""
    return ".".join(module.relative_to(ROOT).with_suffix("").parts)


def nearest_tests(module: Path) -> list[Path]:
    """Test files for a module of sim, the nearest first: its own, then by how many imports lie between.

    Files that take long on their own come last.
    """
    folder, name = module.parent.name, dotted(module)
    ranked = []
    for path in sorted(ROOT.glob("tests/**/test_*.py")):
        steps = 0 if path.stem == f"test_{module.stem}" and path.parent.name == folder else _steps(path).get(name, FAR)
        if not _left_out(path) and steps <= MOST_STEPS:
            slow = any(path.is_relative_to(ROOT / each) for each in SLOW)
            ranked.append((steps > 1 and slow, steps, path.parent.name != folder, path))
    return [path for *_, path in sorted(ranked)]


@cache
def _steps(path: Path) -> dict[str, int]:
    """How many imports lie between a file and each module of sim that it reaches."""
    found: dict[str, int] = {}
    latest = _imported(path)
    for steps in range(1, MOST_STEPS + 1):
        for name in latest:
            found.setdefault(name, steps)
        latest = {
            further
            for name in latest
            for further in _imported(ROOT.joinpath(*name.split(".")).with_suffix(".py"))
            if further not in found
        }
    return found


@cache
def _imported(path: Path) -> frozenset[str]:
    """Names of modules of sim and of the tests' own helpers that a file imports."""
    if not path.exists():
        return frozenset()
    package = path.relative_to(ROOT).parts[:-1]
    names: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.ImportFrom):
            start = ".".join(package[: len(package) - node.level + 1]) if node.level else ""
            origin = ".".join(part for part in (start, node.module or "") if part)
            names |= {origin, *(f"{origin}.{alias.name}" for alias in node.names)}
    return frozenset(name for name in names if name.startswith(("sim.", "tests.")))


def _left_out(path: Path) -> bool:
    return any(path.is_relative_to(ROOT / each) for each in LEFT_OUT)


def warm_up() -> None:
    """Load all of sim and its compiled kernels once, so that every child has them from the start."""
    for path in sorted(ROOT.glob("sim/*/*.py")):
        if "picture" not in path.stem and path.stem not in ("command", "drawn", "__init__", "__main__", "sofa_child"):
            import_module(dotted(path))
    import_module("sim.pipeline").trace(ROOT / "scenes" / "bedroom-on-desk" / "scene.toml", order=2)


def forget(module: Path) -> None:
    """Take a module and whatever imports it out of memory, so that they are loaded anew."""
    stale, more = {dotted(module)}, True
    loaded = {name: ROOT.joinpath(*name.split(".")).with_suffix(".py") for name in sys.modules if name[:4] == "sim."}
    while more:
        new = {name for name, path in loaded.items() if name not in stale and _imported(path) & stale}
        more = bool(new)
        stale |= new
    for name in stale & set(sys.modules):
        package, _, last = name.rpartition(".")
        del sys.modules[name]
        if hasattr(sys.modules.get(package), last):
            delattr(sys.modules[package], last)


def outcome(module: Path, number: int | None, tests: list[Path], seconds: float, log: Path) -> list[Any]:
    """Run tests one file after another until one fails or time is up: [what came of it, by which file, seconds].

    "caught", "survived" (all files passed), "unfinished" (time was up, no file had failed) or "hangs"
    (twenty times as long has gone by on the clock).  `seconds` are those of the processor.
    """
    if not tests:
        return ["untested", "", 0.0]
    started = time.monotonic()
    heard, said = os.pipe()
    child = os.fork()
    if child == 0:
        os.close(heard)
        os.setpgid(0, 0)
        resource.setrlimit(resource.RLIMIT_CPU, (int(seconds), int(seconds) + 5))
        _child(module, number, tests, said, log)
    os.close(said)
    os.set_blocking(heard, False)
    passed, result = b"", 0
    while True:
        passed += _read(heard)
        done, status = os.waitpid(child, os.WNOHANG)
        if done:
            result = os.waitstatus_to_exitcode(status)
            passed += _read(heard)
            break
        if time.monotonic() - started > 20.0 * seconds:
            os.killpg(child, signal.SIGKILL)
            os.waitpid(child, 0)
            result = -signal.SIGKILL
            break
        time.sleep(0.02)
    os.close(heard)
    which = str(tests[min(len(passed), len(tests) - 1)].relative_to(ROOT))
    took = round(time.monotonic() - started, 1)
    if result in (-signal.SIGXCPU, -signal.SIGKILL):
        return ["unfinished" if result == -signal.SIGXCPU else "hangs", which, took]
    return ["caught", which, took] if result else ["survived", "", took]


def _read(pipe: int) -> bytes:
    try:
        return os.read(pipe, 1000)
    except BlockingIOError:
        return b""


def _child(module: Path, number: int | None, tests: list[Path], said: int, log: Path) -> None:
    os.chdir(ROOT)
    sys.path.insert(0, str(ROOT))
    sink = os.open(log, os.O_WRONLY | os.O_CREAT | os.O_TRUNC)
    os.dup2(sink, 1)
    os.dup2(sink, 2)
    if number is not None:
        forget(module)
        tree = with_fault(module.read_text(encoding="utf-8"), number)
        _compile_anew(_stale_kernels(module))
        sys.meta_path.insert(0, _Faulty(dotted(module), module, tree))
    result = 3
    try:
        for path in tests:
            result = int(pytest.main([str(path), *OPTIONS], [_NoShrinking()]))
            if result not in (0, 5):
                break
            result = 0
            os.write(said, b".")
    except BaseException:
        traceback.print_exc()
    finally:
        sys.stderr.flush()
        sys.stdout.flush()
        os._exit(min(result, 100))


class _NoShrinking:
    """A failing example need not be made small here."""

    def pytest_collection(self) -> None:
        parent = settings.get_profile("bounceplan")
        settings.register_profile("faults", parent, phases=(Phase.explicit, Phase.generate), database=None)
        settings.load_profile("faults")


class _Faulty:
    """Finds one module with the fault in it, leaves all others to Python."""

    def __init__(self, name: str, path: Path, tree: ast.Module) -> None:
        self.name, self.path, self.tree = name, path, tree

    def find_spec(self, name: str, path: object = None, target: object = None) -> ModuleSpec | None:
        if name != self.name:
            return None
        return spec_from_file_location(name, self.path, loader=_FromTree(name, str(self.path), self.tree))


class _FromTree(SourceFileLoader):
    def __init__(self, name: str, path: str, tree: ast.Module) -> None:
        super().__init__(name, path)
        self.tree = tree

    def get_code(self, fullname: str) -> Any:
        return compile(self.tree, self.path, "exec")


def _stale_kernels(module: Path) -> set[str]:
    """Names of modules whose compiled code a fault in `module` would change: its own, and those that call it."""
    sources = {dotted(path): path for path in [*ROOT.glob("sim/**/*kernels.py"), ROOT / "sim" / "rays" / "lanes.py"]}
    if dotted(module) not in sources:
        return set()
    stale, more = {dotted(module)}, True
    while more:
        new = {name for name, path in sources.items() if name not in stale and _imported(path) & stale}
        more = bool(new)
        stale |= new
    return stale


def _compile_anew(stale: set[str]) -> None:
    """Have this process neither take up nor keep compiled code of these modules."""
    files, load, save = kernel_cache._Files, kernel_cache._Files.load, kernel_cache._Files.save
    beginnings = tuple(f"{name}." for name in stale)

    def load_unless_stale(self: Any, key: Any) -> Any:
        return None if self.stem.startswith(beginnings) else load(self, key)

    def save_unless_stale(self: Any, key: Any, data: Any) -> None:
        if not self.stem.startswith(beginnings):
            save(self, key, data)

    if stale:
        files.load, files.save = load_unless_stale, save_unless_stale  # type: ignore[method-assign]
