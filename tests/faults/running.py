"""Run the tests that should catch a fault, in a child process in which one module of `sim` holds it.

No file of the tree is touched: an importer hands the child the changed module.  Kernels are compiled anew where they
hold the fault or call what does; all others come from the cache.
"""

from __future__ import annotations

import ast
import os
import re
import resource
import shutil
import signal
import sys
import time
import traceback
from importlib.machinery import ModuleSpec, SourceFileLoader
from importlib.util import spec_from_file_location
from pathlib import Path
from typing import Any

import h5py  # noqa: F401  (what sim imports, so that each child need not)
import numba
import pydantic  # noqa: F401
import pytest
import scipy.optimize
import scipy.special  # noqa: F401
import shapely  # noqa: F401
import trimesh  # noqa: F401
from hypothesis import Phase, settings

from tests.faults.kinds import with_fault

ROOT = Path(__file__).parents[2]
EVERYWHERE = ("tests/closed_form", "tests/published", "tests/rooms")
LEFT_OUT = ("tests/browser", "tests/builders", "tests/faults", "tests/test_cli.py", "tests/test_docs.py", "tests/views")

PHYSICS = ("acoustics", "loudspeakers", "placement", "geometry", "propagation", "responses")
"""Folders whose faults must also show in rooms with known answers, the others in their own tests."""
OPTIONS = ("-x", "-q", "--tb=line", "-p", "no:cacheprovider", "-W", "ignore::pytest.PytestAssertRewriteWarning")


def tests_for(module: Path) -> list[Path]:
    """Test files for a module of sim, the nearest first: its own, those that import it, its folder's, the rooms."""
    folder, name = module.parent.name, module.stem
    every = [path for path in sorted(ROOT.glob("tests/**/test_*.py")) if not _left_out(path)]
    whole = re.compile(rf"sim\.{folder}\.{name}\b|from sim\.{folder} import [^\n]*\b{name}\b")
    own = [path for path in every if path.parent.name == folder and path.stem == f"test_{name}"]
    naming = [path for path in every if whole.search(path.read_text(encoding="utf-8"))]
    rooms = [path for path in every if any(path.is_relative_to(ROOT / each) for each in EVERYWHERE)]
    beside = [path for path in every if path.parent.name == folder]
    naming.sort(key=lambda path: path.parent.name != folder)
    last = [*beside, *rooms, ROOT / "tests" / "test_pipeline.py"] if folder in PHYSICS else beside
    return list(dict.fromkeys([*own, *naming, *last]))


def _left_out(path: Path) -> bool:
    return any(path.is_relative_to(ROOT / each) for each in LEFT_OUT)


def outcome(module: Path, number: int | None, tests: list[Path], seconds: float, cache: Path, log: Path) -> list[Any]:
    """Run tests one file after another until one fails or time is up: [what came of it, by which file, seconds].

    "caught", "survived" (all files passed), "unfinished" (time was up, no file had failed) or "hangs"
    (twenty times as long has gone by on the clock).  `seconds` are those of the processor.
    """
    started = time.monotonic()
    folder = _cache_for(module, cache)
    heard, said = os.pipe()
    child = os.fork()
    if child == 0:
        os.close(heard)
        os.setpgid(0, 0)
        resource.setrlimit(resource.RLIMIT_CPU, (int(seconds), int(seconds) + 5))
        _child(module, number, tests, folder, said, log)
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
    if folder != cache:
        shutil.rmtree(folder, ignore_errors=True)
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


def _child(module: Path, number: int | None, tests: list[Path], cache: Path, said: int, log: Path) -> None:
    os.chdir(ROOT)
    sys.path.insert(0, str(ROOT))
    sink = os.open(log, os.O_WRONLY | os.O_CREAT | os.O_TRUNC)
    os.dup2(sink, 1)
    os.dup2(sink, 2)
    os.environ["NUMBA_CACHE_DIR"] = numba.config.CACHE_DIR = str(cache)
    if number is not None:
        tree = with_fault(module.read_text(encoding="utf-8"), number)
        sys.meta_path.insert(0, _Faulty(f"sim.{module.parent.name}.{module.stem}", module, tree))
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


def _cache_for(module: Path, cache: Path) -> Path:
    """Give a folder of compiled kernels without those that a fault in `module` would change."""
    sources = {path.stem: path for path in [*ROOT.glob("sim/*/*kernels.py"), ROOT / "sim" / "geometry" / "lanes.py"]}
    if module not in sources.values() and module.stem not in sources:
        return cache
    stale, more = {module.stem}, True
    while more:
        more = False
        for name, path in sources.items():
            imported = set(re.findall(r"^from \.+(?:\w+\.)?(\w+) import", path.read_text(encoding="utf-8"), re.M))
            if name not in stale and imported & stale:
                stale.add(name)
                more = True
    folder = cache.with_name(f"{cache.name}-faulty-{os.getpid()}")
    shutil.rmtree(folder, ignore_errors=True)
    shutil.copytree(cache, folder, ignore=lambda _, names: [n for n in names if n.split(".")[0] in stale])
    return folder
