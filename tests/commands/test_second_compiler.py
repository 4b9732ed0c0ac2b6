"""The second process that compiles on a first run: started only where it helps, never left behind."""

from __future__ import annotations

import multiprocessing
import os
import subprocess
import sys
import time
from collections import Counter
from pathlib import Path
from types import SimpleNamespace

import pytest

from sim.commands import second_compiler

ROOT = Path(__file__).parents[2]


@pytest.fixture
def empty_cache(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    folder = tmp_path / "kernels"
    monkeypatch.setenv("NUMBA_CACHE_DIR", str(folder))
    monkeypatch.setenv(second_compiler.SWITCH, "1")
    return folder


def until(condition: object, seconds: float) -> bool:
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        if condition():  # type: ignore[operator]
            return True
        time.sleep(0.05)
    return False


def test_it_compiles_into_the_folder_and_is_gone_when_told(empty_cache: Path) -> None:
    assert second_compiler.is_cold()
    process = second_compiler.start()
    assert process is not None
    try:
        assert until(lambda: any(empty_cache.rglob("*.nbi")), 60.0)
        assert process.poll() is None, "it should still be at the next kernel"
        assert not second_compiler.is_cold()
    finally:
        second_compiler.end(process)
    assert process.returncode == 0


def test_it_ends_when_the_first_process_is_killed(empty_cache: Path) -> None:
    script = (
        "import time; from sim.commands import second_compiler as s; print(s.start().pid, flush=True); time.sleep(60)"
    )
    with subprocess.Popen([sys.executable, "-c", script], cwd=ROOT, stdout=subprocess.PIPE, text=True) as first:
        assert first.stdout is not None
        number = int(first.stdout.readline())
        first.kill()
    state = Path(f"/proc/{number}/stat")
    if not state.parent.parent.joinpath("self").exists():
        return
    assert until(lambda: not state.exists() or state.read_text().split(")")[1].split()[0] == "Z", 5.0)


@pytest.mark.parametrize("reason", ["switched off", "worker", "one processor", "no place"])
def test_it_is_left_out(reason: str, empty_cache: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    if reason == "switched off":
        monkeypatch.setenv(second_compiler.SWITCH, "0")
    if reason == "worker":
        monkeypatch.setattr(multiprocessing, "parent_process", lambda: object())
    if reason == "one processor":
        monkeypatch.setattr(os, "cpu_count", lambda: 1)
    if reason == "no place":
        empty_cache.write_text("a file where the folder should be")
    assert second_compiler.start() is None


def test_an_interpreter_that_cannot_be_started_is_no_fault(empty_cache: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys, "executable", str(empty_cache / "nowhere"))
    assert second_compiler.start() is None


def test_one_kernel_that_is_there_is_enough_not_to_be_cold(empty_cache: Path) -> None:
    (empty_cache / "some").mkdir(parents=True)
    assert second_compiler.is_cold()
    (empty_cache / "some" / "kernel.nbi").write_bytes(b"")
    assert not second_compiler.is_cold()


def test_it_goes_on_until_it_meets_a_kernel_that_is_there(monkeypatch: pytest.MonkeyPatch) -> None:
    compiled = []

    class Kernel(SimpleNamespace):
        def compile(self, kinds: tuple[str, ...]) -> None:
            compiled.append((self.name, kinds))

    kernels = [
        (Kernel(name=name, stats=SimpleNamespace(cache_hits=Counter(hits))), (name.upper(),))
        for name, hits in (("c", ""), ("b", "x"), ("a", ""))
    ]
    monkeypatch.setattr(second_compiler, "kernels_from_the_last", lambda edges: iter(kernels))
    assert second_compiler.compile_from_the_last(True) == 1
    assert compiled == [("c", ("C",)), ("b", ("B",))]


def test_kernels_are_called_with_the_types_told(tmp_path: Path) -> None:
    scene = ROOT / "scenes" / "bedroom-on-desk"
    script = f"""
from sim.__main__ import main
from sim.commands.second_compiler import kernels_from_the_last
main(["trace", "--no-pictures", {str(scene)!r}, "--output", {str(tmp_path / "out")!r}])
for kernel, kinds in kernels_from_the_last(True):
    if kernel.signatures != [kinds]:
        print("WRONG", kernel.py_func.__name__, kernel.signatures, kinds)
"""
    ran = subprocess.run([sys.executable, "-c", script], cwd=ROOT, capture_output=True, text=True, check=True)
    assert "written to" in ran.stdout
    assert "WRONG" not in ran.stdout


def test_kernels_without_edges_are_the_last_of_those_with_them() -> None:
    every, few = list(second_compiler.kernels_from_the_last(True)), list(second_compiler.kernels_from_the_last(False))
    assert 0 < len(few) < len(every)
    assert every[-len(few) :] == few
