from __future__ import annotations

from pathlib import Path

import pytest

from sim.blueprint.reader import read_scene
from sim.errors import SceneError
from sim.placement.built_scene import BuiltScene, build_scene
from sim.placement.sheet import setup_sheet

SCENES = Path(__file__).resolve().parents[2] / "scenes"

CLOUD = """
[[panels]]
name = "cloud"
surface = "ceiling"
from_front = [0.45, 1.05]
from_left = [1.10, 2.30]
material = "100 mm wool"
"""
OVER_WINDOW = """
[[panels]]
name = "left panel"
surface = "left wall"
from_front = [0.60, 1.20]
up = [0.60, 1.80]
material = "100 mm wool"
"""
HEATER = """
[[keep_clear]]
name = "radiator"
kind = "heater"
from_front = [1.20, 2.00]
from_left = [3.30, 3.40]
up = [0.10, 0.70]
"""


def built_scene_of(tmp_path: Path, more: str = "", **changed: str) -> BuiltScene:
    text = (SCENES / "bedroom-on-stands" / "scene.toml").read_text(encoding="utf-8")
    for old, new in changed.values():
        assert old in text
        text = text.replace(old, new)
    (tmp_path / "scene.toml").write_text(text + more, encoding="utf-8")
    scene = read_scene(tmp_path)
    return build_scene(scene.blueprint, scene.folder)


def test_a_load_over_heads_needs_fixings(tmp_path: Path) -> None:
    built = built_scene_of(tmp_path, CLOUD)
    (said,) = built.warnings
    assert said.startswith('STOP: the panel "cloud" reaches 2.40 m, over heads, with 9 kg')
    assert setup_sheet(built).warnings[0] == said
    assert built_scene_of(tmp_path, CLOUD + 'fixings = "eye bolts in joists, second wires"\n').warnings == ()


@pytest.mark.parametrize(("stand", "words"), [(0.80, "20 cm in the air above it"), (1.05, "5 cm inside it")])
def test_a_box_that_is_not_where_its_stand_ends_is_told(tmp_path: Path, stand: float, words: str) -> None:
    built = built_scene_of(tmp_path, stand=("stand_height = 1.00", f"stand_height = {stand:.2f}"))
    assert len(built.warnings) == 2
    for name, said in zip(("left", "right"), built.warnings, strict=True):
        assert said.startswith(
            f"{name}: by its acoustic axis the cabinet begins at 1.00 m, but its stand ends at {stand:.2f} m"
        )
        assert words in said and "write stand_height = 1.00" in said
    assert built_scene_of(tmp_path, stand=("stand_height = 1.00", "stand_height = 0.98")).warnings == ()


def test_a_box_over_its_desk_is_told(tmp_path: Path) -> None:
    text = (SCENES / "bedroom-on-desk" / "scene.toml").read_text(encoding="utf-8")
    (tmp_path / "scene.toml").write_text(text.replace('pad = "6 cm"', 'pad = "16 cm"'), encoding="utf-8")
    scene = read_scene(tmp_path)
    said = build_scene(scene.blueprint, scene.folder).warnings
    assert [sentence.split(":")[0] for sentence in said] == ["left", "right"]
    assert "10 cm inside it" in said[0] and "write the right pad or top" in said[0]


def test_a_panel_below_heads_needs_none(tmp_path: Path) -> None:
    assert built_scene_of(tmp_path, CLOUD.replace("ceiling", "floor").replace("cloud", "mat")).warnings == ()


@pytest.mark.parametrize(("tilt", "words"), [("15", 0), ("16", 2), ("-16", 2)])
def test_a_tilted_box_needs_a_strap(tmp_path: Path, tilt: str, words: int) -> None:
    built = built_scene_of(tmp_path, tilt=("tilt_deg = 0", f"tilt_deg = {tilt}"))
    assert len(built.warnings) == words
    assert all("tilted 16 degrees and no strap is noted" in said for said in built.warnings)
    strapped = built_scene_of(tmp_path, tilt=("tilt_deg = 0", f'tilt_deg = {tilt}\nstrap = "belt to the stand"'))
    assert strapped.warnings == ()


@pytest.mark.parametrize(("lowest", "refused"), [("0.95", True), ("1.05", False)])
def test_nothing_hangs_within_30_cm_of_a_heater(tmp_path: Path, lowest: str, refused: bool) -> None:
    panel = OVER_WINDOW.replace("left wall", "right wall").replace("[0.60, 1.80]", f"[{lowest}, 2.10]")
    panel += 'fixings = "rail"\n'
    if refused:
        with pytest.raises(SceneError, match=r'stands in the zone "radiator" \(heater\) with 0\.30 m around it'):
            built_scene_of(tmp_path, HEATER + panel)
    else:
        built_scene_of(tmp_path, HEATER + panel)


def test_a_way_out_may_be_crossed_only_by_what_slides_away(tmp_path: Path) -> None:
    escape = ("up = [0.95, 2.05]", "up = [0.95, 2.05]\nescape = true")
    movable = OVER_WINDOW + "movable = true\n"
    with pytest.raises(SceneError, match='it stands over "window", a way out'):
        built_scene_of(tmp_path, movable, window=escape)
    slides = (escape[0], escape[1] + "\npanel_may_slide = true")
    with pytest.raises(SceneError, match='it stands over "window", a way out'):
        built_scene_of(tmp_path, OVER_WINDOW, window=slides)
    built = built_scene_of(tmp_path, movable, window=slides)
    assert any("is a way out" in note and "in one movement" in note for note in built.notes)


def test_a_box_whose_middle_is_beyond_the_desk_needs_a_strap(tmp_path: Path) -> None:
    """Far edge at 0.55 m; a box 0.23 m deep, turned by 30.4 degrees: its middle is at 0.62 - 0.115 cos 30.4 = 0.521."""
    text = (SCENES / "bedroom-on-desk" / "scene.toml").read_text(encoding="utf-8")
    assert text.count("strap = ") == 2
    assert build_scene(read_scene(SCENES / "bedroom-on-desk").blueprint, tmp_path).warnings == ()
    bare = "\n".join(line for line in text.splitlines() if not line.startswith("strap = "))
    (tmp_path / "scene.toml").write_text(bare, encoding="utf-8")
    left, right = build_scene(read_scene(tmp_path).blueprint, tmp_path).warnings
    assert left.startswith("STOP: the middle of the cabinet of left is 3 cm beyond the edge of the desk: it tips off.")
    assert "cabinet of right" in right
    (tmp_path / "scene.toml").write_text(bare.replace("from_front = 0.62,", "from_front = 0.66,"), encoding="utf-8")
    assert build_scene(read_scene(tmp_path).blueprint, tmp_path).warnings == ()
