"""The command that stacks: from a scene, from sizes, and what it refuses."""

from __future__ import annotations

import argparse
import re
from pathlib import Path

import pytest

from sim.errors import OutputError, SceneError
from sim.studies.stand import stand_arguments
from sim.studies.stand.answer import length

SCENES = Path(__file__).resolve().parents[3] / "scenes"
BOX = ["--axis-height", "1.20", "--cabinet", "180x290x230", "--axis-in-cabinet", "220mm", "--mass", "5.5"]
HAVE = ["--have", "block,390x190x190,12kg,x4", "--have", "plate 300x300x10 x2"]


def run(*words: str) -> int:
    parser = argparse.ArgumentParser()
    stand_arguments(parser)
    chosen = parser.parse_args(list(words))
    code = chosen.run(chosen)
    assert isinstance(code, int)
    return code


def test_sizes_alone_are_enough(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    assert run(*BOX, *HAVE, "--picture", str(tmp_path / "stand.png")) == 0
    reported = capsys.readouterr().out
    assert "so the top of the stack at 980 mm" in reported
    assert "1. plate 300 x 300 x 10 mm" in reported
    assert (tmp_path / "stand.png").is_file()


def test_a_scene_gives_box_mass_and_ear(capsys: pytest.CaptureFixture[str]) -> None:
    """Lying on its side the three-way is 550 wide and 350 high with its axis in the middle; the ear is at 1.22 m."""
    assert (
        run(
            "--scene",
            str(SCENES / "control-room-stands"),
            "--loudspeaker",
            "right",
            "--have",
            "stand 400x400x900-1100 12kg",
        )
        == 0
    )
    reported = capsys.readouterr().out
    assert "Cabinet 550 mm x 350 mm x 400 mm (width x height x depth), 28.0 kg" in reported
    assert "Acoustic axis wanted at 1220 mm" in reported
    assert "the top of the stack at 1045 mm" in reported
    assert "was not weighed" not in reported


def test_a_box_that_the_scene_does_not_weigh_is_told(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    text = (SCENES / "bedroom-on-desk" / "scene.toml").read_text(encoding="utf-8")
    (tmp_path / "scene.toml").write_text(text.replace("mass_kg = 5.5\n", ""), encoding="utf-8")
    assert run("--scene", str(tmp_path), *HAVE) == 0
    assert "The monitor was not weighed: 5.5 kg for its size; give --mass." in capsys.readouterr().out
    assert run("--scene", str(tmp_path), "--mass", "6", *HAVE) == 0
    assert "was not weighed" not in capsys.readouterr().out


def test_an_inch_tape_is_answered_in_inches_and_pounds(capsys: pytest.CaptureFixture[str]) -> None:
    """Three blocks of 26 lb and a cabinet of 12 lb are 90 lb, 48 in less 8 1/2 in are 39 1/2 in; nothing metric."""
    sizes = ["--axis-height", "48in", "--cabinet", "7x11x9in", "--axis-in-cabinet", "8.5in", "--mass", "12lb"]
    assert run(*sizes, "--units", "in", "--have", "block 16x8x8in 26lb x4") == 0
    reported = capsys.readouterr().out
    assert "Acoustic axis wanted at 48 in, so the top of the stack at 39 1/2 in." in reported
    assert "(width x height x depth), 12 lb" in reported
    assert "90 lb in all, 3 pieces" in reported
    assert re.search(r"\d (mm|cm|m|kg)\b", reported) is None


def test_what_does_not_stand_is_told(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(*BOX, "--have", "plate 90x90x980 9kg", "--depth-offset", "60mm") == 0
    assert "STOP" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("words", "reported"),
    [
        (["--axis-height", "1200", *BOX[2:], *HAVE], "--axis-height: it is 1200 m; give metres"),
        ([*BOX[2:], *HAVE], "--axis-height: it is missing"),
        ([*BOX, "--mass", "0", *HAVE], "--mass: it is 0; weigh"),
        (["--axis-height", "1.2", "--cabinet", "180x290", "--axis-in-cabinet", "0.2", *HAVE], "is not three sizes"),
        (["--axis-height", "1.2", "--cabinet", "180x290x230", "--axis-in-cabinet", "0.4", *HAVE], "outside a cabinet"),
        ([*BOX, "--have", "bricks"], "does not begin with a kind"),
        ([*BOX, *HAVE, "--stacks", "0"], "--stacks: it is 0"),
        ([*BOX, *HAVE, "--lowest-hz", "0"], "--lowest-hz: it is 0"),
        ([*BOX, *HAVE, "--depth-offset", "far"], "--depth-offset"),
        (["--scene", str(SCENES / "control-room-built-in"), *HAVE], "it has no cabinet that could stand"),
        (["--scene", str(SCENES / "bedroom-on-desk"), "--loudspeaker", "top", *HAVE], "choose from left, right"),
        (["--scene", str(SCENES / "bedroom-on-desk"), *BOX[2:4], *HAVE], "the cabinet comes from the scene"),
    ],
)
def test_what_cannot_be_is_told_in_a_sentence(words: list[str], reported: str) -> None:
    with pytest.raises(SceneError) as refused:
        run(*words)
    assert reported in str(refused.value)


def test_a_picture_needs_a_folder(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(OutputError, match="there is no such folder"):
        run(*BOX, *HAVE, "--picture", str(tmp_path / "none" / "stand.png"))
    assert capsys.readouterr().out == ""
    assert not (tmp_path / "none").exists()


def test_a_plain_number_is_in_metres() -> None:
    assert length("--distance", "1.2") == length("--distance", "1200 mm") == pytest.approx(1.2)
