"""The command that compares orientations: a whole folder or none."""

from __future__ import annotations

import argparse
from pathlib import Path

import pytest

from sim.errors import OutputError, SceneError
from sim.studies.orient import orient_arguments

BEDROOM = str(Path(__file__).resolve().parents[3] / "scenes" / "bedroom-on-desk")


def run(*words: str) -> int:
    parser = argparse.ArgumentParser()
    orient_arguments(parser)
    chosen = parser.parse_args(list(words))
    code = chosen.run(chosen)
    assert isinstance(code, int)
    return code


def test_it_writes_words_tables_and_pictures(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out = tmp_path / "orientations"
    assert run(BEDROOM, "--orientations", "upright,inverted", "--keep", "support", "-o", str(out)) == 0
    assert sorted(path.name for path in out.iterdir()) == [
        "contents.txt",
        "driver_reflection_points.csv",
        "driver_times.csv",
        "drivers.csv",
        "orientation.csv",
        "orientation.txt",
        "orientation_1_left.png",
        "orientation_2_right.png",
        "surfaces.csv",
    ]
    reported = capsys.readouterr().out
    assert "left (two-way), crossover 2.2 kHz" in reported
    assert (out / "orientation.txt").read_text(encoding="utf-8").splitlines()[4] in reported
    with pytest.raises(OutputError, match="--replace"):
        run(BEDROOM, "-o", str(out))


def test_an_orientation_that_is_none_leaves_no_folder(tmp_path: Path) -> None:
    with pytest.raises(SceneError, match="choose from upright"):
        run(BEDROOM, "--orientations", "sideways", "-o", str(tmp_path / "orientations"))
    assert list(tmp_path.iterdir()) == []
