"""A disk that is full, or a file that may not grow: one sentence, exit code 2, and nothing left.

Two kinds of full disk: a limit on the size of a file for whoever runs this (setrlimit(2), EFBIG), and as root a small
disk in memory with less and less room (tmpfs(5), ENOSPC).  results.h5 is stood in for by plain bytes: its own tests
say that the library makes it in memory.
"""

from __future__ import annotations

import os
import resource
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from sim.__main__ import main
from sim.blueprint.reader import read_scene
from sim.pipeline import trace, trace_scene
from sim.responses.plan import Plan
from sim.responses.records import Results
from sim.showing.tables import write_traced
from sim.studies.treat.plan import plan_treatment

SCENE = Path(__file__).resolve().parent.parent.parent / "scenes" / "bedroom-on-desk"
Screen = pytest.CaptureFixture[str]


@pytest.fixture(scope="module")
def traced() -> Results:
    return trace(SCENE, order=1)


@pytest.fixture(scope="module")
def planned() -> Plan:
    return plan_treatment(read_scene(SCENE), trace_scene, lambda _: None, panels=1)


@pytest.fixture
def quick(traced: Results, planned: Plan, monkeypatch: pytest.MonkeyPatch) -> None:
    """Commands that need not work out again what they write."""
    monkeypatch.setattr("sim.showing.archive.kept_traces.trace_kept", lambda *_, **__: traced)
    for study in ("compare.comparison", "report.report", "sheets.sheet_set"):
        monkeypatch.setattr(f"sim.studies.{study}.trace_kept", lambda *_, **__: traced)
    monkeypatch.setattr("sim.studies.treat.plan.plan_treatment", lambda *_, **__: planned)


@contextmanager
def longest_file(size: int) -> Iterator[None]:
    """Let no file of this process and its children become longer."""
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (size, hard))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))


def refused(command: list[str], capsys: Screen) -> str:
    """The one sentence of a command that must end with code 2."""
    capsys.readouterr()
    code = main(command)
    lines = [line for line in capsys.readouterr().err.splitlines() if not line.startswith("  ... ")]
    assert (code, len(lines)) == (2, 1), lines
    return lines[0]


COMMANDS: dict[str, list[str]] = {
    "trace": ["trace", str(SCENE), "-o", "out", "--no-pictures"],
    "compare": ["compare", str(SCENE), str(SCENE), "-o", "out", "--no-pictures"],
    "sheets": ["sheets", str(SCENE), "-o", "out"],
    "treat": ["treat", str(SCENE), "-o", "out", "--no-pictures"],
    "report": ["report", str(SCENE), "-o", "out.html"],
}


@pytest.mark.parametrize("size", [1, 2_000, 20_000])
@pytest.mark.parametrize("name", COMMANDS)
def test_a_file_that_may_not_grow_is_told_and_leaves_nothing(
    name: str, size: int, quick: None, tmp_path: Path, capsys: Screen, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    with longest_file(size):
        sentence = refused(COMMANDS[name], capsys)
    assert "File too large" in sentence
    assert list(tmp_path.iterdir()) == []


def test_pictures_that_have_no_room_leave_the_numbers(traced: Results, tmp_path: Path, capsys: Screen) -> None:
    out = tmp_path / "out"
    out.mkdir()
    write_traced(traced, out)
    before = sorted(out.iterdir())
    with longest_file(10_000):
        sentence = refused(["draw", str(out)], capsys)
    assert sentence == (
        f"bounceplan: {out}/plan.png: the picture cannot be written (File too large); choose a folder that may be "
        "written to and has room."
    )
    assert sorted(out.iterdir()) == before
    assert list(tmp_path.iterdir()) == [out]


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    disk = tmp_path / "disk"
    disk.mkdir()
    mounted = subprocess.run(["mount", "-t", "tmpfs", "-o", "size=4m", "tmpfs", disk], capture_output=True, check=False)
    if mounted.returncode:
        pytest.skip("only root can make a small disk")
    try:
        yield disk
    finally:
        subprocess.run(["umount", "--lazy", disk], check=True)


@pytest.mark.skipif(sys.platform != "linux", reason="a disk in memory is made in another way there")
@pytest.mark.parametrize("name", COMMANDS)
def test_a_full_disk_is_told_and_nothing_is_left_on_it(
    name: str, quick: None, small_disk: Path, capsys: Screen, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(small_disk)
    ballast = small_disk / "ballast"
    reported = 0
    for room in (0, 4096, 3 * 4096, 5 * 4096, 8 * 4096, 16 * 4096, 32 * 4096, 64 * 4096):
        filled = os.statvfs(small_disk)
        have = ballast.stat().st_size if ballast.exists() else 0
        with ballast.open("ab") as file:
            file.truncate(0)
            file.write(bytes(have + filled.f_bavail * filled.f_frsize - room))
        if name != "report" and room > 16 * 4096:
            break
        sentence = refused(COMMANDS[name], capsys)
        assert "No space left on device" in sentence
        assert [path.name for path in small_disk.iterdir()] == ["ballast"]
        assert os.statvfs(small_disk).f_bavail == room // 4096
        reported += 1
    assert reported >= 6
