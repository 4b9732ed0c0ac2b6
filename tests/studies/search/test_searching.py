from __future__ import annotations

import argparse
from pathlib import Path

import pytest

from sim.blueprint.reader import read_scene
from sim.errors import OutputError, SceneError
from sim.studies.search import search_arguments, search_command
from tests.studies.little_room import DESK, TEXT


def chosen(*words: str) -> argparse.Namespace:
    parser = argparse.ArgumentParser()
    search_arguments(parser)
    return parser.parse_args(["--processes", "1", *words])


@pytest.fixture
def scene(tmp_path: Path) -> str:
    path = tmp_path / "scene.toml"
    path.write_text(TEXT + DESK, encoding="utf-8")
    return str(path)


def test_layouts_are_written_as_scenes_that_compare_takes(scene: str, tmp_path: Path, capsys) -> None:
    out = tmp_path / "out"
    command = (scene, "--vary", "left.height=1.0:1.4", "--layouts", "2", "-o", str(out))
    assert search_command(chosen(*command)) == 0
    assert sorted(path.name for path in out.iterdir()) == [
        "contents.txt",
        "layout-1",
        "layout-2",
        "layouts.csv",
        "search.txt",
    ]
    assert read_scene(out / "layout-1").blueprint.title == "little room: layout-1"
    said = capsys.readouterr()
    assert (out / "search.txt").read_text(encoding="utf-8").strip() in said.out
    assert f"bounceplan compare {scene} {out / 'layout-1'} {out / 'layout-2'}" in said.out
    assert "looking for layout 1 of 2" in said.err
    with pytest.raises(OutputError, match="exists; choose another"):
        search_command(chosen(*command))
    assert search_command(chosen(*command, "--replace")) == 0


def test_no_layout_is_exit_code_2_and_still_tells_why(scene: str, tmp_path: Path, capsys) -> None:
    assert search_command(chosen(scene, "--vary", "left.tilt=20:25", "-o", str(tmp_path / "out"))) == 2
    assert "No layout in these ranges is possible" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("vary", "said"),
    [
        ("left.height", "is not FIELD=VALUES"),
        ("left.heigth=1:2", "no number called"),
        ("left.height=1.4:1.0", "reversed"),
        ("left.height=1.0,1.2", "is no range"),
    ],
)
def test_bad_ranges_leave_no_folder(scene: str, tmp_path: Path, vary: str, said: str) -> None:
    with pytest.raises(SceneError, match=said):
        search_command(chosen(scene, "--vary", vary, "-o", str(tmp_path / "out")))
    assert [path.name for path in tmp_path.iterdir()] == ["scene.toml"]


def test_no_process_is_refused(scene: str, tmp_path: Path) -> None:
    with pytest.raises(SceneError, match="give 1 or more"):
        search_command(chosen(scene, "--vary", "left.height=1:1.2", "-o", str(tmp_path / "x"), "--processes", "0"))
