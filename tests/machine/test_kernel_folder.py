"""The folder of compiled kernels: nobody else's code is run, and no home directory is needed."""

from __future__ import annotations

import os
import shutil
import stat
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from sim.machine.cache_home import cache_home, why_distrusted
from sim.machine.kernel_cache import KEPT_FOLDERS, SHARED, fingerprint, kernel_folder

HOME = Path(__file__).resolve().parents[2]
OURS = 1000


@pytest.fixture
def fresh(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Path]:
    """A cache home of its own; the folder is chosen anew in it, and as before afterwards."""
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))
    monkeypatch.setenv(SHARED, "")
    kernel_folder.cache_clear()
    yield tmp_path / "bounceplan"
    kernel_folder.cache_clear()


def test_it_is_made_for_us_alone(fresh: Path) -> None:
    found = kernel_folder()
    assert found.path == fresh / f"kernels-{fingerprint()}"
    assert found.trouble == ""
    assert stat.S_IMODE(found.path.stat().st_mode) == 0o700


def test_one_that_others_may_read_is_shut(fresh: Path) -> None:
    path = fresh / f"kernels-{fingerprint()}"
    path.mkdir(parents=True)
    path.chmod(0o755)
    assert kernel_folder().path == path
    assert stat.S_IMODE(path.stat().st_mode) == 0o700


@pytest.mark.parametrize("trap", ["written by others", "link", "file", "home is a file"])
def test_what_others_may_have_filled_is_left_alone(fresh: Path, tmp_path: Path, trap: str) -> None:
    path = fresh / f"kernels-{fingerprint()}"
    if trap == "home is a file":
        fresh.write_text("")
    else:
        fresh.mkdir()
    if trap == "written by others":
        path.mkdir()
        path.chmod(0o777)
    if trap == "link":
        (tmp_path / "elsewhere").mkdir()
        path.symlink_to(tmp_path / "elsewhere")
    if trap == "file":
        path.write_text("")
    found = kernel_folder()
    assert found.path != path
    assert found.path.name.startswith("bounceplan-kernels-")
    assert stat.S_IMODE(found.path.stat().st_mode) == 0o700
    assert str(path) in found.trouble
    assert found.trouble.endswith("set XDG_CACHE_HOME to a folder of your own.")
    kernel_folder.cache_clear()
    assert kernel_folder().path == found.path, "children use the folder of their parent"
    shutil.rmtree(found.path)


@pytest.mark.parametrize(
    ("mode", "owner", "us", "why"),
    [
        (stat.S_IFDIR | 0o700, OURS, OURS, ""),
        (stat.S_IFDIR | 0o755, 0, OURS, ""),  # root may do as it likes anyway
        (stat.S_IFDIR | 0o700, OURS + 1, OURS, "belongs to somebody else"),
        (stat.S_IFDIR | 0o720, OURS, OURS, "can be written by others"),
        (stat.S_IFDIR | 0o1777, 0, OURS, "can be written by others"),
        (stat.S_IFLNK | 0o777, OURS, OURS, "is no folder (or a link to one)"),
        (stat.S_IFDIR | 0o777, 0, None, ""),
    ],
)
def test_who_is_trusted(mode: int, owner: int, us: int | None, why: str) -> None:
    assert why_distrusted(mode, owner, us) == why


def test_the_private_folder_goes_with_its_process(tmp_path: Path) -> None:
    (tmp_path / "bounceplan").write_text("")
    environment = {**os.environ, "XDG_CACHE_HOME": str(tmp_path), SHARED: "", "TMPDIR": str(tmp_path)}
    code = "from sim.machine.kernel_cache import kernel_folder as f; print(f().path, f().path.is_dir())"
    command = [sys.executable, "-c", code]
    done = subprocess.run(command, cwd=HOME, env=environment, capture_output=True, text=True, check=True)
    path, was_there = done.stdout.split()
    assert was_there == "True"
    assert not Path(path).exists()


def test_every_system_has_a_place(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setenv("HOME", str(tmp_path))
    assert cache_home({"XDG_CACHE_HOME": "/c"}, "linux") == Path("/c/bounceplan")
    assert cache_home({"XDG_CACHE_HOME": "relative"}, "linux") == tmp_path / ".cache" / "bounceplan"
    assert cache_home({}, "darwin") == tmp_path / "Library" / "Caches" / "bounceplan"
    assert cache_home({"LOCALAPPDATA": "/l"}, "win32") == Path("/l/bounceplan/cache")
    assert cache_home({}, "win32") == tmp_path / "AppData" / "Local" / "bounceplan" / "cache"


def test_old_folders_go_and_others_stay(fresh: Path) -> None:
    fresh.mkdir()
    (fresh / "notes").mkdir()
    month_old = fresh / "kernels-0123456789ab"
    month_old.mkdir()
    os.utime(month_old, (0, time.time() - 40 * 86_400))
    recent = [fresh / f"kernels-{number:012x}" for number in range(KEPT_FOLDERS + 3)]
    for age, folder in enumerate(recent):
        folder.mkdir()
        os.utime(folder, (0, time.time() - 60 * age))
    current = kernel_folder().path
    assert {each.name for each in fresh.iterdir()} == {"notes", current.name, *(f.name for f in recent[:KEPT_FOLDERS])}


def test_it_follows_every_source_of_compiled_code_wherever_it_lies(tmp_path: Path) -> None:
    """An edited kernel must lead to another folder, or stale machine code would run."""
    copy = tmp_path / "sim"
    shutil.copytree(HOME / "sim", copy, ignore=shutil.ignore_patterns("__pycache__"))
    command = [sys.executable, "-c", "from sim.machine.kernel_cache import fingerprint; print(fingerprint())"]

    def now() -> str:
        found = {name: value for name, value in os.environ.items() if name != "PYTHONSAFEPATH"}  # a command sets it
        return subprocess.run(command, cwd=tmp_path, env=found, capture_output=True, text=True, check=True).stdout

    seen = [now()]
    for name in ("rays/shape_kernels.py", "rays/lanes.py", "machine/kernel_cache.py"):
        with (copy / name).open("a", encoding="utf-8") as file:
            file.write("\n# edited\n")
        seen.append(now())
    (copy / "propagation" / "deeper").mkdir()
    (copy / "rays" / "lanes.py").rename(copy / "propagation" / "deeper" / "lanes.py")
    seen.append(now())
    assert len(set(seen)) == len(seen)
    with (copy / "errors.py").open("a", encoding="utf-8") as file:
        file.write("\n# edited\n")
    assert now() == seen[-1]
