from __future__ import annotations

import argparse
from pathlib import Path

import pytest

from sim.errors import OutputError, SceneError
from sim.studies.report import refuse_page, report_arguments, report_command

SCENE = """
title = "little room"
[room]
box = { width = 3.4, depth = 4.2, height = 2.4 }
[listener]
ear = { from_front = 1.6, from_left = 1.7, up = 1.2 }
[[loudspeakers]]
name = "left"
acoustic_axis = { from_front = 0.4, from_left = 1.0, up = 1.2 }
[method]
order = 1
grid = 0.3
"""


def chosen(*words: str) -> argparse.Namespace:
    parser = argparse.ArgumentParser()
    report_arguments(parser)
    return parser.parse_args(list(words))


@pytest.fixture
def scene(tmp_path: Path) -> Path:
    path = tmp_path / "scene.toml"
    path.write_text(SCENE, encoding="utf-8")
    return path


def test_one_file_is_written_and_nothing_beside_it(scene: Path, tmp_path: Path, capsys) -> None:
    out = tmp_path / "out"
    out.mkdir()
    file = out / "room.html"
    assert report_command(chosen(str(scene), "-o", str(file))) == 0
    assert [path.name for path in out.iterdir()] == ["room.html"]
    assert "little room" in file.read_text(encoding="utf-8")
    assert f"wrote {file}" in capsys.readouterr().out
    with pytest.raises(OutputError, match="exists; choose another name with -o, or add --replace"):
        report_command(chosen(str(scene), "-o", str(file)))
    file.write_text("older", encoding="utf-8")
    assert report_command(chosen(str(scene), str(scene), "-o", str(file), "--replace")) == 0
    assert "2 layouts compared" in file.read_text(encoding="utf-8")


def test_a_bad_scene_leaves_the_older_file_alone(tmp_path: Path) -> None:
    file = tmp_path / "room.html"
    file.write_text("older", encoding="utf-8")
    with pytest.raises(SceneError, match="there is no such file"):
        report_command(chosen(str(tmp_path / "none.toml"), "-o", str(file), "--replace"))
    assert file.read_text(encoding="utf-8") == "older"


def test_places_that_cannot_be_are_told_in_a_sentence(tmp_path: Path) -> None:
    (tmp_path / "folder.html").mkdir()
    for name, said in (
        ("room.pdf", "ends in .html"),
        ("folder.html", "this is a folder"),
        ("no/room.html", "there is no folder"),
    ):
        with pytest.raises(OutputError, match=said):
            refuse_page(tmp_path / name, replace=True)


def test_too_many_layouts_are_refused(scene: Path, tmp_path: Path) -> None:
    with pytest.raises(OutputError, match="at most 6 scenes and was given 7"):
        report_command(chosen(*[str(scene)] * 7, "-o", str(tmp_path / "x.html")))
