"""The first run: said whenever something long is to be compiled, by what is missing and not by an empty folder."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from sim import compiling
from sim.compiling import GROUPS, compile_kernels
from sim.errors import BounceplanError
from sim.machine import kernel_cache
from sim.machine import kernel_cache as kernel_folder
from sim.machine.kernel_cache import KernelFolder, kept
from sim.showing.archive.kept_traces import FRESH

HOME = Path(__file__).resolve().parent.parent
FIRST = "first run on this machine: compiling the ray kernels, once (about 12 s)"


@pytest.fixture
def said(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """Two groups of one little kernel each, in a folder of their own; what the work did."""
    monkeypatch.setattr(kernel_folder, "kernel_folder", lambda: KernelFolder(tmp_path))
    monkeypatch.setattr(kernel_cache, "kernel_folder", lambda: KernelFolder(tmp_path))
    monkeypatch.setattr(kernel_cache, "_touched", set())
    done: list[str] = []

    def work(name: str, add: int) -> Callable[[], None]:
        def run() -> None:
            def more(x):  # type: ignore[no-untyped-def]
                return x + add

            more.__qualname__ = name
            kept()(more)(1)
            done.append(name)

        return run

    monkeypatch.setattr(compiling, "GROUPS", {"one": (5, work("one", 1)), "two": (7, work("two", 2))})
    return done


def reported(*groups: str) -> list[str]:
    words: list[str] = []
    compile_kernels(words.append, groups or None)
    return words


def test_the_sentence_comes_with_every_group_that_is_missing(said: list[str]) -> None:
    assert reported() == [FIRST, "compiling 1 of 2: one", "compiling 2 of 2: two"]
    assert said == ["one", "two"]
    assert reported() == []
    assert said == ["one", "two"]


def test_some_kernels_that_are_there_do_not_hide_others_that_are_not(said: list[str]) -> None:
    assert reported("one") == [FIRST.replace("12", "5")]
    assert reported("one", "two") == [FIRST.replace("12", "7")]
    assert reported("one", "two") == []


@pytest.mark.parametrize("how", ["gone", "empty", "turned", "note"])
def test_damaged_kernels_are_told_once_and_made_anew(said: list[str], tmp_path: Path, how: str) -> None:
    reported("one")
    (file,) = tmp_path.glob("*.kernel")
    if how == "gone":
        file.unlink()
    if how == "empty":
        file.write_bytes(b"")
    if how == "turned":
        text = bytearray(file.read_bytes())
        text[-9] ^= 1
        file.write_bytes(bytes(text))
    if how == "note":
        (tmp_path / "one.done").write_bytes(b"../elsewhere \xff")
    assert reported("one") == [FIRST.replace("12", "5")]
    assert reported("one") == []


def test_a_folder_that_cannot_be_kept_says_so(said: list[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(kernel_folder, "kernel_folder", lambda: KernelFolder(tmp_path / "gone", "It is shut."))
    assert reported("one") == [FIRST.replace("12", "5"), "It is shut."]


def test_a_group_that_there_is_not_is_refused() -> None:
    with pytest.raises(
        BounceplanError, match="'three'; there are rooms, paths, edges, waves, maps, decay, bounces, boxes"
    ):
        compile_kernels(groups=["three"])


def taken_by(script: str) -> set[str]:
    """Files of kernels that a process took; a trace that another test left would leave it nothing to do."""
    code = f"import json, sys\nfrom sim.machine.kernel_cache import files_touched\n{script}\n"
    code += "print(json.dumps(sorted(files_touched())))"
    fresh = {**os.environ, FRESH: "1"}
    done = subprocess.run([sys.executable, "-c", code], cwd=HOME, capture_output=True, text=True, check=True, env=fresh)
    return set(json.loads(done.stdout.splitlines()[-1]))


COMMANDS = {
    "check": (("rooms",), ["check", "control-room-bridge"]),
    "trace": (("rooms", "paths", "edges", "waves", "maps", "decay"), ["trace", "--no-pictures", "control-room-bridge"]),
    "treat": (
        ("rooms", "paths", "edges", "waves", "maps", "decay"),
        ["treat", "--no-pictures", "attic-lying", "--panels", "1"],
    ),
    "sweep": (
        ("rooms", "paths", "edges", "waves", "maps", "decay"),
        ["sweep", "--no-pictures", "bedroom-on-desk", "--vary", "left.tilt=0"],
    ),
    "decay": (("paths", "decay"), ["decay", "--no-pictures", "attic-turned", "--rays", "512"]),
    "loudspeaker": (("boxes",), ["loudspeaker", "two-way"]),
    "bounces": (("bounces",), ["bounces", "--no-pictures", "attic-turned", "--rays", "512"]),
}


@pytest.mark.parametrize("command", COMMANDS)
def test_groups_hold_every_kernel_that_their_commands_take(command: str, tmp_path: Path) -> None:
    """Also for the types: a command that hands over others would compile in silence."""
    groups, arguments = COMMANDS[command]
    work = "\n".join(f"GROUPS[{name!r}][1]()" for name in groups)
    in_groups = taken_by(f"from sim.compiling import GROUPS\n{work}")
    whole = [f"scenes/{each}" if (HOME / "scenes" / each).is_dir() else each for each in arguments]
    if command not in ("check", "loudspeaker"):
        whole += ["-o", str(tmp_path / "out")]
    in_command = taken_by(f"from sim.__main__ import main\nmain({whole!r})")
    assert in_command
    assert in_command <= in_groups
    assert set(groups) <= set(GROUPS)
