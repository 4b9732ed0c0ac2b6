from __future__ import annotations

import argparse
import csv
from pathlib import Path

import pytest

from sim.__main__ import main
from sim.errors import BounceplanError, OutputError, SceneError
from sim.studies.decay import decay_arguments, decay_command, wanted_errors
from sim.studies.decay.study import CLARITY_DB, MOST_RAYS, PERCENT
from tests.studies.little_room import DESK, TEXT

FILES = ["README.txt", "decay.csv", "decay.h5", "decay.txt", "decay_figures.csv"]
BEDROOM = Path(__file__).resolve().parents[3] / "scenes" / "bedroom-on-stands"


def parser_of() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser()
    decay_arguments(parser)
    return parser


def chosen(*words: str) -> argparse.Namespace:
    return parser_of().parse_args(["--rays", "2048", *words])


@pytest.fixture
def scene(tmp_path: Path) -> str:
    path = tmp_path / "scene.toml"
    path.write_text(TEXT + DESK, encoding="utf-8")
    return str(path)


def test_the_bedroom_from_scene_to_papers(tmp_path: Path, capsys) -> None:
    out = tmp_path / "out"
    assert main(["decay", str(BEDROOM), "--rays", "4096", "-o", str(out)]) == 0
    assert sorted(path.name for path in out.iterdir()) == sorted(["contents.txt", *FILES, "decay.png"])
    said = capsys.readouterr()
    assert (out / "decay.txt").read_text(encoding="utf-8").strip() in said.out
    assert "4096 rays: T20 within" in said.err
    assert "decay_figures.csv  Every figure with its standard error" in said.out
    assert "4096 rays did not bring the standard errors to 2 % of T20 and 0.3 dB of C50 everywhere" in " ".join(
        said.out.split()
    )
    with (out / "decay_figures.csv").open(encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    t20 = {
        (row["loudspeaker"], row["octave_hz"]): (float(row["value"]), float(row["standard_error"]))
        for row in rows
        if row["figure"] == "t20_s"
    }
    assert {name for name, _ in t20} == {"left", "right", "all"}
    # mirror images of each other in a room that is nearly one: what they say agrees within their errors
    for octave in ("500", "1000", "2000", "4000"):
        (left, one), (right, other) = t20["left", octave], t20["right", octave]
        assert abs(left - right) < 4.0 * (one**2 + other**2) ** 0.5
        assert 0.0 < one < 0.3 * left


def test_the_same_seed_gives_the_same_bytes_on_any_threads(scene: str, tmp_path: Path) -> None:
    for name, words in (("a", ["--threads", "1"]), ("b", ["--threads", "2"]), ("c", ["--seed", "5"])):
        assert decay_command(chosen(scene, "--no-pictures", "-o", str(tmp_path / name), *words)) == 0
    for file in FILES:
        first, second, third = ((tmp_path / name / file).read_bytes() for name in "abc")
        assert first == second, file
        assert first != third, file


def test_a_folder_is_replaced_only_when_asked(scene: str, tmp_path: Path) -> None:
    out = str(tmp_path / "out")
    decay_command(chosen(scene, "--no-pictures", "-o", out))
    with pytest.raises(OutputError, match="exists; choose another"):
        decay_command(chosen(scene, "--no-pictures", "-o", out))
    assert decay_command(chosen(scene, "--no-pictures", "-o", out, "--replace")) == 0


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--error", "-1%"), "--error: it is '-1%'; give values above zero"),
        (("--error", "2"), "--error: it is '2'"),
        (("--error", "nan%"), "--error: it is 'nan%'"),
        (("--rays", "0"), "at most 0 rays; give 1024 or more"),
        (("--rays", "-5"), "give 1024 or more"),
        (("--threads", "0"), "--threads: it is 0; give 1 or more"),
        (("--seed", "-1"), "whole number from 0"),
    ],
)
def test_bad_numbers_leave_no_folder(scene: str, tmp_path: Path, capsys, words: tuple[str, str], said: str) -> None:
    assert main(["decay", scene, "-o", str(tmp_path / "out"), *("=".join(words),)]) == 2
    message = capsys.readouterr().err.splitlines()[-1]
    assert message.startswith("bounceplan: ")
    assert said in message
    assert [path.name for path in tmp_path.iterdir()] == ["scene.toml"]


def test_another_seat_can_be_asked_for(scene: str, tmp_path: Path, capsys) -> None:
    words = ["--second-seat", "3.3", "1.2", "110 cm", "--no-pictures", "-o", str(tmp_path / "out")]
    assert decay_command(chosen(scene, *words)) == 0
    assert "right at the second seat" in capsys.readouterr().out
    readme = " ".join((tmp_path / "out" / "README.txt").read_text(encoding="utf-8").split())
    assert "(from_front 3.3 m, from_left 1.2 m, up 1.1 m) was given with the command" in readme
    assert main(["decay", scene, "-o", str(tmp_path / "b"), "--second-seat", "9", "1", "1"]) == 2
    assert "second_seat" in capsys.readouterr().err
    assert not (tmp_path / "b").exists()


def test_stopping_leaves_nothing(scene: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def stopped(*_: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr("sim.studies.decay.tables.write_decay_tables", stopped)
    assert main(["decay", scene, "--rays", "2048", "--no-pictures", "-o", str(tmp_path / "out")]) == 130
    assert [path.name for path in tmp_path.iterdir()] == ["scene.toml"]


def test_wanted_errors_are_read() -> None:
    assert wanted_errors("3%,0.4dB") == (3.0, 0.4)
    assert wanted_errors("5%") == (5.0, CLARITY_DB)
    assert wanted_errors(" 0.1 db ") == (PERCENT, 0.1)
    usual = parser_of()
    assert wanted_errors(usual.get_default("error")) == (PERCENT, CLARITY_DB)
    assert usual.get_default("rays") == MOST_RAYS
    with pytest.raises(SceneError, match="give values above zero"):
        wanted_errors("")


def test_a_scene_that_is_not_there_is_told(tmp_path: Path) -> None:
    with pytest.raises(BounceplanError, match="there is no such file"):
        decay_command(chosen(str(tmp_path / "none.toml"), "-o", str(tmp_path / "out")))
