"""A file of the person's that is called like a library or like us is left alone, whatever process looks for it."""

from __future__ import annotations

import os
import shutil
import subprocess
from pathlib import Path

import pytest

from sim.child import own_python
from sim.pictures import draw_plan_of

HOME = Path(__file__).resolve().parent.parent
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
