"""The sweep command: what it writes and says, what it refuses, and that the same command continues."""

from __future__ import annotations

import argparse
from pathlib import Path

import pytest

from sim.errors import BounceplanError, SceneError
from sim.layouts.values import asked
from sim.studies.sweep import in_words, sweep_arguments
from sim.studies.sweep.store import read_sweep
from tests.studies.sweep.sweep_scenes import TABLE


@pytest.fixture
def scene(tmp_path: Path) -> str:
    path = tmp_path / "scene.toml"
    path.write_text(TABLE, encoding="utf-8")
    return str(path)


def run(*arguments: str) -> int:
    command = argparse.ArgumentParser()
    sweep_arguments(command)
    chosen = command.parse_args(arguments)
    code: int = chosen.run(chosen)
    return code


def test_a_sweep_writes_its_tables_and_says_the_best(
    scene: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out = tmp_path / "out"
    twice = (scene, "--vary", "desk.height=60cm:80cm:10cm", "--vary", "left.tilt=0,5", "-o", str(out), "--no-pictures")
    assert run(*twice) == 0
    said, progress = capsys.readouterr()
    names = {path.name for path in out.iterdir()}
    assert names == {"sweep.h5", "sweep.csv", "sweep_summary.csv", "sweep.txt", "contents.txt"}
    assert (out / "sweep.txt").read_text(encoding="utf-8").strip() in said
    assert "Best settings" in said
    assert "6 layouts, about 1 s on this machine" in progress
    assert "6 of 6 layouts" in progress
    first = (out / "sweep.h5").read_bytes()
    assert run(*twice) == 0
    assert len((out / "sweep.h5").read_bytes()) == len(first)
    assert capsys.readouterr().out == said


def test_values_may_run_side_by_side_and_loudspeakers_alone(scene: str, tmp_path: Path) -> None:
    out = tmp_path / "out"
    vary = ["--vary", "left.tilt=0,5", "--vary", "right.tilt=1,2"]
    assert run(scene, *vary, "--together", "--untied", "-o", str(out), "--no-pictures") == 0
    plan = read_sweep(out).plan
    assert (plan.points, plan.together, plan.tied) == (2, True, False)


def test_impossible_layouts_are_marked_and_only_impossible_ones_end_with_code_2(
    scene: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(scene, "--vary", "desk.height=-1,0.7", "-o", str(tmp_path / "one"), "--no-pictures") == 0
    assert "Impossible: 1 of 2" in capsys.readouterr().out
    assert run(scene, "--vary", "desk.height=-1,-2", "-o", str(tmp_path / "all")) == 2
    assert "None of the layouts is possible." in capsys.readouterr().out


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["--vary", "desk.heigth=1"], '"desk" has no number called "heigth"'),
        (["--vary", "left.tilt=0:10:0"], "the step"),
        (["--vary", "left.tilt=10:0:1"], "its step runs the other way"),
        (["--vary", "left.tilt=5cm"], "write it in degrees, without a unit"),
        (["--vary", "left.tilt"], '"left.tilt" is not FIELD=VALUES; write it like left.tilt=-10:15:1'),
        (["--vary", "left.tilt="], "is not FIELD=VALUES"),
        (["--vary", "left.tilt=1", "--vary", "left.tilt=2"], "left.tilt is there twice"),
        (["--vary", "left.tilt=1", "--processes", "0"], "--processes: it is 0; give 1 or more"),
    ],
)
def test_what_cannot_be_asked_is_told_in_one_sentence_and_nothing_is_written(
    scene: str, tmp_path: Path, arguments: list[str], words: str
) -> None:
    with pytest.raises(BounceplanError) as fault:
        run(scene, *arguments, "-o", str(tmp_path / "out"))
    assert words in str(fault.value)
    assert "\n" not in str(fault.value)
    assert not (tmp_path / "out").exists()


def test_values_may_hold_an_equals_sign_only_after_the_field() -> None:
    assert asked(["left.tilt = 0:1:1"]) == {"left.tilt": "0:1:1"}
    with pytest.raises(SceneError):
        asked(["=1"])


def test_times_are_told_as_people_do() -> None:
    assert [in_words(seconds) for seconds in (0.2, 45, 200, 7200)] == ["1 s", "45 s", "3 min", "2.0 h"]
