"""Loudspeaker models as written."""

from __future__ import annotations

from pathlib import Path

import pytest

from sim.blueprint.named_files import named_files
from sim.blueprint.reader import parse_scene
from sim.errors import SceneError
from tests.blueprint.scene_texts import TEN_LINES

OWN = """
[models.mine]
kind = "own drivers"
width = "200 mm"
height = "330 mm"
depth = "280 mm"
[[models.mine.drivers]]
name = "woofer"
diameter = "140 mm"
above_bottom = "110 mm"
to_hz = 2000
[[models.mine.drivers]]
name = "tweeter"
diameter = "25 mm"
above_bottom = "260 mm"
from_hz = 2000
polarity = "inverted"
"""


def refused(text: str, folder: Path) -> str:
    with pytest.raises(SceneError) as fault:
        parse_scene(TEN_LINES + text, folder)
    return str(fault.value)


def test_drivers_are_read_in_the_order_of_the_file(tmp_path: Path) -> None:
    woofer, tweeter = parse_scene(TEN_LINES + OWN, tmp_path).blueprint.models["mine"].drivers
    assert (woofer.name, woofer.from_hz, woofer.to_hz, woofer.polarity) == ("woofer", None, 2000.0, "normal")
    assert (tweeter.above_bottom, tweeter.right_of_middle, tweeter.slope_db_per_octave) == (0.26, 0.0, 24)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (OWN.replace('depth = "280 mm"\n', ""), "its depth is missing; write width, height and depth"),
        (OWN + '[models.other]\nkind = "own drivers"\nwidth = 1\nheight = 1\ndepth = 1\n', "it has no drivers"),
        (OWN.replace("to_hz = 2000", "to_hz = 200\nfrom_hz = 2000"), "plays from 2000 to 200 Hz"),
        (OWN.replace("to_hz", "crossover"), 'unknown key "crossover"'),
        (OWN.replace('"inverted"', '"reversed"'), 'it must be one of "normal", "inverted"'),
        (OWN.replace('mm"\n[[', 'mm"\nspacing = 0.1\n[[', 1), "spacing, which says nothing for kind"),
        ('[models.m]\nkind = "two-way"\nfile = "a.csv"\n', 'leave it out, or write kind = "measured"'),
        ('[models.m]\nkind = "two-way"\naxis_above_bottom = 0.1\n', 'axis = "tweeter" or "between"'),
        ('[models.m]\nkind = "measured"\n', 'it has no file; add one such as file = "speaker.sofa"'),
        ('[models.m]\nkind = "measured"\nfile = "a.csv"\nwidth = 0.2\n', "its cabinet is not complete"),
        ('[models.m]\nkind = "measured"\nfile = "a.csv"\naxis_above_bottom = 0.2\n', "an axis point but no cabinet"),
        ('[models.m]\nkind = "measured"\nfile = "/etc/a.csv"\n', "is an absolute path"),
        ('[models.m]\nkind = "measured"\nfile = "../a.csv"\n', "leads out of the scene's folder"),
        ('[models.m]\nkind = "measured"\nfile = "a.txt"\n', "of no kind that can be read"),
        ('[models.m]\nkind = "measured"\nfile = "b.csv"\n', 'the data files there are "a.csv"'),
        (OWN.replace("to_hz = 2000", 'to_hz = 2000\nfile = "b.sofa"'), "models.mine.drivers[0].file: there is no file"),
    ],
)
def test_what_cannot_be_is_refused_with_its_key(text: str, words: str, tmp_path: Path) -> None:
    (tmp_path / "a.csv").write_text("")
    sentence = refused(text, tmp_path)
    assert words in sentence
    assert "\n" not in sentence


def test_measured_files_belong_to_the_scene(tmp_path: Path) -> None:
    text = TEN_LINES + '[models.m]\nkind = "measured"\nfile = "irs"\n[models.n]\nkind = "measured"\nfile = "a.csv"\n'
    (tmp_path / "irs").mkdir()
    (tmp_path / "irs" / "angles.csv").write_text("one")
    (tmp_path / "a.csv").write_text("two")
    scene = parse_scene(text, tmp_path)
    assert named_files(scene.blueprint, tmp_path) == [tmp_path / "irs" / "angles.csv", tmp_path / "a.csv"]
    (tmp_path / "a.csv").write_text("three")
    assert parse_scene(text, tmp_path).digest != scene.digest
