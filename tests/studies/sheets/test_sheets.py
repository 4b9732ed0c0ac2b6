"""The command that writes papers of a scene as it stands."""

from __future__ import annotations

import argparse
from pathlib import Path

import pytest

from sim.studies.sheets import sheets_arguments
from tests.studies.sheets.treated_rooms import LOPSIDED


def test_a_folder_of_papers_is_made(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    scene = tmp_path / "scene.toml"
    scene.write_text(LOPSIDED, encoding="utf-8")
    command = argparse.ArgumentParser()
    sheets_arguments(command)
    chosen = command.parse_args([str(scene), "-o", str(tmp_path / "out"), "--paper", "a3"])
    assert chosen.run(chosen) == 0
    made = {path.name for path in (tmp_path / "out").iterdir()}
    assert {"drawings.pdf", "drawings.dxf", "panels.csv", "parts.csv", "reflection_points.csv", "room.glb"} <= made
    assert "drawings.pdf" in capsys.readouterr().out


def test_other_papers_are_refused(capsys: pytest.CaptureFixture[str]) -> None:
    command = argparse.ArgumentParser()
    sheets_arguments(command)
    with pytest.raises(SystemExit):
        command.parse_args(["scene", "-o", "out", "--paper", "a0"])
    assert "a4" in capsys.readouterr().err
