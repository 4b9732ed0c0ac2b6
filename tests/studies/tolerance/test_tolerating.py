from __future__ import annotations

import argparse
from pathlib import Path

import pytest

from sim.errors import OutputError, SceneError
from sim.studies.tolerance import tolerance_arguments, tolerance_command
from tests.studies.little_room import DESK, TEXT

FILES = ["points.csv", "reflections.csv", "samples.csv", "sensitivity.csv", "tolerance.txt"]


def chosen(*words: str) -> argparse.Namespace:
    parser = argparse.ArgumentParser()
    tolerance_arguments(parser)
    return parser.parse_args(["--processes", "1", "--samples", "64", *words])


@pytest.fixture
def scene(tmp_path: Path) -> str:
    path = tmp_path / "scene.toml"
    path.write_text(TEXT + DESK, encoding="utf-8")
    return str(path)


def test_a_folder_is_written_and_told(scene: str, tmp_path: Path, capsys) -> None:
    out = tmp_path / "out"
    assert tolerance_command(chosen(scene, "-o", str(out))) == 0
    assert sorted(path.name for path in out.iterdir()) == sorted(["contents.txt", *FILES, "tolerance.png"])
    said = capsys.readouterr()
    assert (out / "tolerance.txt").read_text(encoding="utf-8").strip() in said.out
    assert "64 of 64 samples" in said.err
    with pytest.raises(OutputError, match="exists; choose another"):
        tolerance_command(chosen(scene, "-o", str(out)))
    before = (out / "samples.csv").read_bytes()
    assert tolerance_command(chosen(scene, "-o", str(out), "--replace", "--no-pictures")) == 0
    assert (out / "samples.csv").read_bytes() == before, "the same seed, the same answer"
    assert sorted(path.name for path in out.iterdir()) == ["contents.txt", *FILES]
    assert tolerance_command(chosen(scene, "-o", str(tmp_path / "b"), "--no-pictures", "--seed", "9")) == 0
    assert (tmp_path / "b" / "samples.csv").read_bytes() != before


@pytest.mark.parametrize(
    ("words", "said"),
    [(("--samples", "5"), "ask for 32"), (("--seed", "-1"), "give 0 or more"), (("--processes", "0"), "1 or more")],
)
def test_bad_numbers_leave_no_folder(scene: str, tmp_path: Path, words: tuple[str, str], said: str) -> None:
    with pytest.raises(SceneError, match=said):
        tolerance_command(chosen(scene, "-o", str(tmp_path / "out"), *words))
    assert [path.name for path in tmp_path.iterdir()] == ["scene.toml"]


def test_a_scene_that_is_not_there_is_told(tmp_path: Path) -> None:
    with pytest.raises(SceneError, match="there is no such file"):
        tolerance_command(chosen(str(tmp_path / "none.toml"), "-o", str(tmp_path / "out")))
