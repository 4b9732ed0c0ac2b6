"""The wheel holds what a person without a checkout needs: types, the JSON Schema, the demo rooms; and runs alone."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import sysconfig
import zipfile
from pathlib import Path

import pytest

from sim.errors import OutputError
from sim.studies.check.new_scene import copy_demo_room, demo_rooms

HOME = Path(__file__).resolve().parent.parent


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Build it with the locked build tool; nothing is fetched."""
    out = tmp_path_factory.mktemp("wheel")
    command = [sys.executable, "-P", "-m", "hatchling", "build", "-t", "wheel", "-d", str(out)]
    subprocess.run(command, cwd=HOME, check=True, capture_output=True)
    (made,) = out.glob("*.whl")
    return made


def test_it_holds_types_schema_and_every_demo_room(wheel: Path) -> None:
    with zipfile.ZipFile(wheel) as packed:
        names = set(packed.namelist())
        schema = json.loads(packed.read("sim/scene.schema.json"))
    assert schema == json.loads((HOME / "docs/reference/scene.schema.json").read_text(encoding="utf-8"))
    assert "sim/py.typed" in names
    kept = {f"sim/demo_rooms/{p.relative_to(HOME / 'scenes').as_posix()}" for p in (HOME / "scenes").rglob("*.*")}
    assert len(kept) > 30 and kept <= names
    assert not any(name.startswith(("tests/", "scenes/", "benchmarks/")) for name in names)


def test_it_runs_without_a_checkout(wheel: Path, tmp_path: Path) -> None:
    """Unpacked as pip does it for a package of pure Python, among this machine's other packages."""
    site = tmp_path / "site"
    with zipfile.ZipFile(wheel) as packed:
        packed.extractall(site)
    kept = {name: value for name, value in os.environ.items() if name != "PYTHONPATH"}
    kept["PYTHONPATH"] = os.pathsep.join([str(site), sysconfig.get_path("purelib"), *sys.path[1:]])
    for arguments in (["new", "den", "--demo", "attic-lying"], ["check", "den"]):
        code = "import sim, sys; from sim.__main__ import main; print(sim.__file__); sys.exit(main())"
        command = [sys.executable, "-P", "-c", code, *arguments]
        done = subprocess.run(command, cwd=tmp_path, env=kept, capture_output=True, text=True, check=False)
        assert done.returncode == 0, done.stderr
        assert done.stdout.startswith(str(site))
    assert sorted(file.name for file in (tmp_path / "den").iterdir()) == [
        "README.md",
        "attic.obj",
        "plan.png",
        "scene.toml",
    ]


def test_a_room_that_is_none_lists_them(tmp_path: Path) -> None:
    assert len(demo_rooms()) == 10
    with pytest.raises(OutputError, match=r"choose from attic-facing-gable, .*control-room-stands\.$"):
        copy_demo_room("ballroom", tmp_path / "here")
    copy_demo_room("bedroom-on-desk", tmp_path / "here")
    with pytest.raises(OutputError, match="is there already"):
        copy_demo_room("bedroom-on-stands", tmp_path / "here")
