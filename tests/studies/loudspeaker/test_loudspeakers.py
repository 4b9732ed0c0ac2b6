"""`bounceplan loudspeaker`."""

from __future__ import annotations

import argparse
from pathlib import Path

import pytest

from sim.errors import OutputError, SceneError
from sim.studies.loudspeaker import loudspeaker_arguments, loudspeaker_command
from tests.blueprint.scene_texts import TEN_LINES
from tests.blueprint.test_loudspeakers import OWN
from tests.loudspeakers.test_polar_files import table


def run(*words: str) -> int:
    parser = argparse.ArgumentParser()
    loudspeaker_arguments(parser)
    return loudspeaker_command(parser.parse_args(words))


Screen = pytest.CaptureFixture[str]


def test_a_kind_a_file_and_a_model_of_a_scene(tmp_path: Path, capsys: Screen) -> None:
    assert run("coaxial") == 0
    assert capsys.readouterr().out.startswith("generic coaxial\n")
    assert run(str(table(tmp_path / "box.csv"))) == 0
    assert "Measured: box.csv" in capsys.readouterr().out
    (tmp_path / "scene.toml").write_text(TEN_LINES + OWN.replace('polarity = "inverted"\n', ""), encoding="utf-8")
    assert run(str(tmp_path), "--model", "mine") == 0
    assert capsys.readouterr().out.startswith("mine\nCabinet 200 mm x 330 mm x 280 mm")
    assert run(str(tmp_path / "scene.toml")) == 0
    assert capsys.readouterr().out.startswith("generic two-way\n")


def test_it_is_drawn(tmp_path: Path, capsys: Screen) -> None:
    picture = tmp_path / "box.png"
    assert run(str(table(tmp_path / "box.csv")), "--picture", str(picture)) == 0
    assert picture.read_bytes().startswith(b"\x89PNG")
    assert f"wrote {picture}" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (["four-way"], '"four-way" is neither a kind nor there as a file'),
        (["two-way", "--model", "mine"], "two-way is no scene"),
        (["SCENE", "--model", "yours"], 'is called "yours"; choose from two-way, mine'),
        (["SCENE", "--model", "mine"], "cancel each other on the axis at"),
    ],
)
def test_what_cannot_be_told_is_refused(tmp_path: Path, words: list[str], sentence: str) -> None:
    (tmp_path / "scene.toml").write_text(TEN_LINES + OWN, encoding="utf-8")
    with pytest.raises(SceneError, match=sentence) as fault:
        run(*(str(tmp_path) if word == "SCENE" else word for word in words))
    assert "\n" not in str(fault.value)


def test_a_picture_needs_a_folder(tmp_path: Path) -> None:
    with pytest.raises(OutputError, match="there is no such folder"):
        run("two-way", "--picture", str(tmp_path / "none" / "a.png"))
