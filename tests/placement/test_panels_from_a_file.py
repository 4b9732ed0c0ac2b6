"""Panels that cannot hang, told from a scene file by `bounceplan check`: one sentence and exit code 2; and notes."""

from __future__ import annotations

from pathlib import Path

import pytest

from sim.__main__ import main

SCENES = Path(__file__).resolve().parents[2] / "scenes"
BEDROOM = (SCENES / "bedroom-on-desk" / "scene.toml").read_text(encoding="utf-8")
CLOUD = """
[[panels]]
name = "cloud"
surface = "ceiling"
from_front = [0.60, 1.50]
from_left = [1.00, 2.40]
material = "deep"
fixings = "four hooks in joists"
"""
Screen = pytest.CaptureFixture[str]
DEEP = '\n[materials.deep]\nlayers = [{ porous = "100 mm", of = "wool" }, { gap = "500 mm" }]\n'
BEAM = """
[[furniture]]
kind = "beam"
name = "beam"
from_front = [1.20, 1.40]
from_left = [0.00, 3.40]
up = [2.10, 2.40]
"""
SIDE = """
[[panels]]
name = "side panel"
surface = "right wall"
from_front = [%s]
up = [%s]
material = "%s"
"""


def deeper_by(*gaps: str) -> str:
    """The material with several air gaps, a gap being 1 m at most."""
    reported = ", ".join(f'{{ gap = "{gap}" }}, {{ cloth = 100.0 }}' for gap in gaps)
    return f'\n[materials.deep]\nlayers = [{{ porous = "100 mm", of = "wool" }}, {reported}]\n'


def checked(tmp_path: Path, screen: Screen, *more: str) -> tuple[int, str, str]:
    """Exit code, what is printed and what is complained about."""
    scene = tmp_path / "scene.toml"
    scene.write_text(BEDROOM + "".join(more), encoding="utf-8")
    code = main(["check", str(scene)])
    said = screen.readouterr()
    return code, said.out, said.err


def refused(tmp_path: Path, screen: Screen, *more: str) -> str:
    code, out, err = checked(tmp_path, screen, *more)
    assert code == 2
    assert out == ""
    (line,) = [line for line in err.splitlines() if not line.startswith("  ... ")]
    assert "Traceback" not in err
    return line


def test_a_cloud_deeper_than_the_space_above_a_beam(tmp_path: Path, capsys: Screen) -> None:
    line = refused(tmp_path, capsys, DEEP, CLOUD, BEAM)
    assert 'panels "cloud": it stands 0.60 m before the surface and goes through the beam' in line
    assert line.endswith("make it thinner or smaller, or move it.")
    shallow = CLOUD.replace('"deep"', '"100 mm wool"')
    code, _, _ = checked(tmp_path, capsys, shallow.replace("[0.60, 1.50]", "[0.30, 1.19]"), BEAM)
    assert code == 0


def test_a_build_up_that_reaches_a_loudspeaker(tmp_path: Path, capsys: Screen) -> None:
    """2.40 m less 1.30 m leave 1.10 m; the boxes on the desk are 1.13 m high."""
    deep = deeper_by("1 m", "0.25 m")
    line = refused(tmp_path, capsys, deep, CLOUD.replace("[1.00, 2.40]", "[0.80, 1.30]"))
    assert 'it reaches into the cabinet of "left"; move it away, or make it thinner.' in line


def test_a_build_up_deeper_than_the_room(tmp_path: Path, capsys: Screen) -> None:
    deep = deeper_by("1 m", "1 m", "1 m", "0.5 m")
    line = refused(tmp_path, capsys, deep, SIDE % ("2.20, 2.80", "0.50, 1.70", "deep"))
    assert "goes through the left wall" in line or "is outside the room" in line


def test_a_build_up_that_reaches_the_head(tmp_path: Path, capsys: Screen) -> None:
    deep = deeper_by("1 m", "0.5 m")
    line = refused(tmp_path, capsys, deep, SIDE % ("1.40, 2.00", "0.80, 1.60", "deep"))
    assert "it reaches where the head may be" in line


def test_a_panel_in_the_swing_of_the_escape_door(tmp_path: Path, capsys: Screen) -> None:
    """The door in the rear wall ends 0.20 m from the right wall and swings 0.80 m; movable does not help."""
    movable = SIDE % ("3.50, 4.10", "0.50, 1.70", "deep") + "movable = true\n"
    line = refused(tmp_path, capsys, DEEP.replace("500 mm", "200 mm"), movable)
    assert 'it stands in the swing of "door", a way out; move it out of the 0.80 m' in line
    thin = SIDE % ("3.50, 4.10", "0.50, 1.70", "100 mm wool")
    assert checked(tmp_path, capsys, thin)[0] == 0


def test_a_flow_resistivity_beyond_the_model_is_noted_not_refused(tmp_path: Path, capsys: Screen) -> None:
    dense = '\n[materials.dense]\nlayers = [{ porous = "50 mm", flow_resistivity = 90000.0 }]\n'
    code, out, _ = checked(tmp_path, capsys, dense, SIDE % ("0.70, 1.40", "0.50, 1.70", "dense"))
    assert code == 0
    assert "dense: The model of the layer" in out


@pytest.mark.parametrize(
    ("layers", "words"),
    [
        ('{ porous = "0 mm", of = "wool" }', "thick"),
        ('{ porous = "-5 mm", of = "wool" }', "thick"),
        ('{ porous = "50 mm", flow_resistivity = 0.0 }', "flow_resistivity"),
        ('{ porous = "50 mm", flow_resistivity = -3.0 }', "flow_resistivity"),
        ('{ porous = "50 mm", flow_resistivity = 5.0e8 }', "flow resistivity"),
        ('{ porous = "900 m", of = "wool" }', ""),
    ],
)
def test_numbers_that_no_layer_has_are_refused(tmp_path: Path, capsys: Screen, layers: str, words: str) -> None:
    odd = f"\n[materials.odd]\nlayers = [{layers}]\n"
    line = refused(tmp_path, capsys, odd, SIDE % ("0.70, 1.40", "0.50, 1.70", "odd"))
    assert "materials" in line and words.replace("thick", "porous") in line
