"""A file of the person's that is called like a library or like us is left alone, whatever process looks for it."""

from __future__ import annotations

import os
import shlex
import shutil
import subprocess
from pathlib import Path

import pytest

from sim.__main__ import main
from sim.blueprint.reader import read_scene
from sim.errors import SceneError
from sim.machine.processes import own_python, typed
from sim.studies.check import draw_plan_of

HOME = Path(__file__).resolve().parents[2]
TRAP = "raise SystemExit('a file of the person was run')\n"
SWEEP = ("sweep", "here", "--vary", "left.tilt=-5:5:5", "-o", "tilts", "--processes", "2", "--no-pictures")


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A folder with a scene and with files that are called like us, like a library and like parts of Python."""
    for name in ("sim", "numpy", "h5py", "matplotlib", "socket", "signal", "struct", "json"):
        (tmp_path / f"{name}.py").write_text(TRAP, encoding="utf-8")
    shutil.copytree(HOME / "scenes" / "bedroom-on-desk", tmp_path / "here")
    return tmp_path


@pytest.mark.parametrize("arguments", [("check", "here", "--plan", "plan.png"), SWEEP], ids=lambda a: a[0])
def test_commands_run_in_a_folder_of_files_called_like_libraries(folder: Path, arguments: tuple[str, ...]) -> None:
    plain = {name: value for name, value in os.environ.items() if not name.startswith("PYTHON")}
    done = subprocess.run(
        own_python("sim.__main__", *arguments), cwd=folder, env=plain, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr
    assert "a file of the person" not in done.stdout + done.stderr


def test_pictures_are_drawn_in_such_a_folder(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(folder)
    assert draw_plan_of(Path("here"), Path("plan.png"), lambda _: None) == ""
    assert (folder / "plan.png").stat().st_size > 10_000


@pytest.mark.skipif(os.name == "nt", reason="the shells of Windows quote in another way")
def test_commands_that_are_told_can_be_typed(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A folder with spaces, an apostrophe and a semicolon comes back whole from the shell."""
    folder = tmp_path / "mum's room; upstairs"
    folder.mkdir()
    with pytest.raises(SceneError) as caught:
        read_scene(folder)
    assert f"write one with: {typed('bounceplan', 'new', folder)} --box" in str(caught.value)
    assert main(["new", str(folder), "--box", "3.4", "4.2", "2.4"]) == 0
    reported = capsys.readouterr().out.rpartition("then: ")[2]
    assert shlex.split(reported) == ["bounceplan", "check", str(folder)]
    shell = f"printf '%s' {typed(folder)}"
    assert subprocess.run(shell, shell=True, capture_output=True, text=True, check=True).stdout == str(folder)
