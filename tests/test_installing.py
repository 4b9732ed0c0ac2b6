"""What a person installs: two lock files that agree, wheels for the machines we name, and a checkout that was moved."""

from __future__ import annotations

import importlib.util
import os
import re
import signal
import subprocess
import sys
import threading
import time
import tomllib
from pathlib import Path
from types import ModuleType
from typing import Any

import pip
import pytest

from tests.processes.killing import heed_interrupts

HOME = Path(__file__).resolve().parent.parent
RUN, TESTS = ((HOME / name).read_text(encoding="utf-8") for name in ("requirements.lock", "requirements-tests.lock"))
PROJECT = tomllib.loads((HOME / "pyproject.toml").read_text(encoding="utf-8"))


def script(name: str) -> ModuleType:
    spec = importlib.util.spec_from_file_location(name, HOME / ".ci" / f"{name}.py")
    assert spec and spec.loader
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


wheels: Any = script("wheels")
packages: Any = script("packages")


def all_pins(lock: str) -> set[tuple[str, str]]:
    """Every name and version of a lock file, for whatever machine."""
    return {(wheels.canonicalize_name(name), version) for name, version, _ in wheels.PIN.findall(lock)}


def test_what_running_needs_holds_nothing_of_the_tests() -> None:
    only_tests = {
        "pytest",
        "mypy",
        "ruff",
        "embreex",
        "netcdf4",
        "distributed",
        "selenium",
        "hypothesis",
        "scipy-stubs",
    }
    names = {name for name, _ in all_pins(RUN)}
    assert {"numpy", "numba", "vtk", "h5py"} <= names
    assert names & only_tests == set()
    assert only_tests <= {name for name, _ in all_pins(TESTS)}


def test_both_sets_pin_the_same_versions_with_hashes() -> None:
    assert all_pins(RUN) < all_pins(TESTS)
    for lock in (RUN, TESTS):
        entries = [entry for entry in re.split(r"^(?=\S)", lock, flags=re.MULTILINE) if "==" in entry.split("\n")[0]]
        assert len(entries) == len(wheels.PIN.findall(lock))
        assert all("--hash=sha256:" in entry for entry in entries)


def test_the_list_of_wheels_is_that_of_the_lock() -> None:
    """It cannot go stale: a version that is pinned but not listed, or listed but not pinned, is found here."""
    assert set(wheels.listed()) == all_pins(TESTS)


def test_numba_is_held_to_a_series_that_is_locked() -> None:
    (numba,) = (line for line in PROJECT["project"]["dependencies"] if line.startswith("numba"))
    (version,) = (version for name, version in all_pins(RUN) if name == "numba")
    bound = re.search(r"<0\.(\d+)$", numba)
    assert bound and int(bound[1]) == int(version.split(".")[1]) + 1


@pytest.mark.parametrize(
    ("machine", "python", "without"),
    [
        ("Linux on x86-64", (3, 11), set()),
        ("Linux on ARM", (3, 13), set()),
        ("macOS 14 on Apple silicon", (3, 14), set()),
        ("Windows on x86-64", (3, 12), set()),
        ("macOS 15 on Intel", (3, 13), {"numba", "llvmlite"}),
        ("Linux on x86-64", (3, 15), {"h5py"}),
    ],
)
def test_machines_without_a_wheel_are_known(machine: str, python: tuple[int, int], without: set[str]) -> None:
    """As the package index listed them on the day of the lock; after a new lock look at what has changed."""
    assert set(wheels.chosen(RUN, *wheels.imagined(machine, python))[1]) == without


@pytest.mark.parametrize("platform", ["musllinux_1_2_x86_64", "manylinux_2_17_i686", "win_arm64", "win32"])
def test_other_machines_are_refused_in_one_sentence(platform: str) -> None:
    environment, _ = wheels.imagined("Linux on x86-64", (3, 13))
    tags = [*wheels.cpython_tags((3, 13), platforms=[platform]), *wheels.compatible_tags((3, 13), "cp313", [platform])]
    _, without = wheels.chosen(RUN, environment, tags)
    assert "vtk" in without
    sentence = wheels.refusal(RUN, without, platform)
    assert "\n" not in sentence
    assert without[0] in sentence and platform in sentence and "Linux on ARM with Python 3.11 to 3.14" in sentence


def test_a_python_without_its_lock_is_refused() -> None:
    """Free-threaded builds take wheels of their own, which not every package has."""
    platforms = ["manylinux_2_28_x86_64"]
    environment, _ = wheels.imagined("Linux on x86-64", (3, 13))
    tags = [*wheels.cpython_tags((3, 13), abis=["cp313t"], platforms=platforms)]
    tags += wheels.compatible_tags((3, 13), "cp313", platforms)
    assert wheels.chosen(RUN, environment, tags)[1]


def test_the_readme_names_the_pythons_that_are_tested() -> None:
    """The classifiers are those of the README, and the oldest and the newest have wheels on every machine it names."""
    versions = re.findall(r":: Python :: (3\.\d+)$", "\n".join(PROJECT["project"]["classifiers"]), re.MULTILINE)
    page = (HOME / "README.md").read_text(encoding="utf-8")
    assert f"tested with Python {' and '.join(versions)}" in " ".join(page.split())
    assert versions[0] == PROJECT["project"]["requires-python"].removeprefix(">=")


# --- .ci/start with an interpreter that stands in for pip ------------------------------------------------------

PIP = """
import os, sys, time
print("Collecting one==1", flush=True)
print("  Downloading one-1-py3-none-any.whl (60 MB)", flush=True)
if os.environ.get("SLOW"):
    time.sleep(60)
print("Installing collected packages: one", flush=True)
sys.exit(int(os.environ.get("FAILS", "0")))
"""


@pytest.fixture
def checkout(tmp_path: Path) -> Path:
    """A checkout with an empty lock, whose .venv has a pip that does nothing; in a folder with a space.

    What reads the lock files takes the pip of these tests: to put one into each .venv takes long, and
    `.ci/newer` does it anyway.
    """
    home = tmp_path / "my room" / "bounceplan"
    (home / ".ci").mkdir(parents=True)
    for name in ("start", "packages.py", "wheels.py", "wheels.txt"):
        (home / ".ci" / name).write_bytes((HOME / ".ci" / name).read_bytes())
    for name in ("requirements.lock", "requirements-tests.lock", "pyproject.toml"):
        (home / name).write_text("# nothing\n", encoding="utf-8")
    (home / "sim").mkdir()
    (home / "sim" / "__init__.py").write_text("", encoding="utf-8")
    (home / "sim" / "__main__.py").write_text("print('it runs')\n", encoding="utf-8")
    start = home / ".ci" / "packages.py"
    faked = start.read_text(encoding="utf-8").replace('"-P", "-m", "pip", "install", *quiet, *arguments', '"-c", PIP')
    faked = faked.replace("with_pip=True", "with_pip=False")
    start.write_text(faked + f"\nPIP = '''{PIP}'''\n", encoding="utf-8")
    return home


def found_by(home: Path) -> str:
    """PYTHONPATH with the package of a checkout, then this pip."""
    return os.pathsep.join([str(home), str(Path(pip.__file__).parents[1])])


def call(home: Path, **environment: str) -> subprocess.CompletedProcess[str]:
    reported = {**os.environ, "PYTHONPATH": found_by(home), **environment}
    return subprocess.run(
        [sys.executable, str(home / ".ci" / "start")],
        env=reported,
        capture_output=True,
        text=True,
        check=False,
        timeout=120,
    )


def test_packages_are_installed_once_and_a_moved_checkout_is_set_right(checkout: Path) -> None:
    first = call(checkout)
    assert (first.returncode, first.stdout) == (0, "it runs\n"), first.stderr
    assert "installing the packages" in first.stderr
    assert call(checkout).stderr == ""
    moved = checkout.parent.parent / "other room"
    checkout.parent.rename(moved)
    again = call(moved / "bounceplan")
    assert (again.returncode, again.stdout) == (0, "it runs\n"), again.stderr
    assert f"this checkout was at {checkout} before" in again.stderr
    assert "installing the packages" not in again.stderr
    assert str(moved) in (moved / "bounceplan" / ".venv" / "bin" / "activate").read_text(encoding="utf-8")
    assert call(moved / "bounceplan").stderr == ""


def test_a_failed_install_is_told_and_tried_again(checkout: Path) -> None:
    failed = call(checkout, FAILS="1")
    assert failed.returncode == 2
    assert failed.stderr.splitlines()[-1].startswith("bounceplan: the packages could not be installed")
    assert "Traceback" not in failed.stderr
    assert call(checkout).returncode == 0


@pytest.mark.skipif(os.name == "nt", reason="Ctrl-C goes another way on Windows")
def test_ctrl_c_while_packages_are_installed_is_one_sentence(checkout: Path) -> None:
    reported = {**os.environ, "PYTHONPATH": found_by(checkout), "SLOW": "1"}
    with subprocess.Popen(
        [sys.executable, str(checkout / ".ci" / "start")],
        env=reported,
        stderr=subprocess.PIPE,
        text=True,
        start_new_session=True,
        preexec_fn=heed_interrupts,
    ) as child:
        assert child.stderr is not None
        assert "installing the packages" in child.stderr.readline()
        time.sleep(1.0)
        os.killpg(child.pid, signal.SIGINT)
        rest = child.stderr.read()
    assert child.returncode == 130
    assert rest.splitlines() == ["bounceplan: stopped; the same command again goes on or begins anew"]
    assert call(checkout).returncode == 0


def test_who_leaves_pip_waits_for_what_listens_to_it() -> None:
    """A thread that reads on what was closed complains, in the middle of the sentence that says what happened."""
    before = threading.active_count()
    script = "import time; print('one', flush=True); time.sleep(0.5); print('two')"
    with subprocess.Popen([sys.executable, "-c", script], stdout=subprocess.PIPE, text=True) as child:
        lines = packages.lines_as_they_come(child)
        assert next(line for line in lines if line) == "one"
        lines.close()
        assert threading.active_count() == before
