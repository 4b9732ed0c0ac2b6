"""Panels and layered materials in a scene file: read, written back, and refused in whole sentences."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest

from sim.blueprint.reader import parse_scene
from sim.blueprint.schema import Blueprint
from sim.blueprint.writing import to_toml
from sim.errors import SceneError
from tests.blueprint.scene_texts import DESK, TEN_LINES, changed

PANEL = """[[panels]]
name = "side"
surface = "left wall"
from_front = ["600 mm", "1200 mm"]
up = [0.6, 1.8]
material = "100 mm wool"
"""
OWN = """[materials.mine]
layers = [{ perforated = "9 mm", hole = "6 mm", open_share = 0.1 }, { porous = "2 in", of = "wool" }, { gap = 0.05 }]
behind = "brick"
[materials."in words"]
build_up = "4 in foam, 2 in gap"
[materials.curtain]
absorption = [0.05, 0.07, 0.31, 0.49, 0.75, 0.70, 0.60, 0.60]
source = "guess"
"""
SURFACES = '"left wall", "right wall", "front wall", "rear wall", "floor", "ceiling"'
OWN_LAYERS = ', or describe your own under [materials] with build_up = "100 mm wool, 100 mm gap".'

SENTENCES = {
    "unknown surface": (
        TEN_LINES + changed("left wall", "left wal", PANEL),
        'scene.toml, line 13, panels[0].surface: no surface is called "left wal"; perhaps you mean "left wall"'
        f" (the surfaces of a box room are {SURFACES}).",
    ),
    "a span is missing": (
        TEN_LINES + changed("up = [0.6, 1.8]\n", "", PANEL),
        'scene.toml, line 11, panels[0]: the place of "side" in "left wall" is not complete; give from_front and up,'
        " each as [from, to].",
    ),
    "span the wrong way round": (
        TEN_LINES + changed("[0.6, 1.8]", "[1.8, 0.6]", PANEL),
        "scene.toml, line 15, panels[0].up: it runs from 1.8 m to 0.6 m; the second number must be larger than the"
        " first.",
    ),
    "material told by coefficients": (
        TEN_LINES + changed("100 mm wool", "curtain", PANEL) + OWN,
        'scene.toml, line 16, panels[0].material: "curtain" is given by absorption coefficients, and a panel needs'
        " layers; the layered materials are ",
    ),
    "material of the library of coefficients": (
        TEN_LINES + changed("100 mm wool", "heavy curtain", PANEL),
        'scene.toml, line 16, panels[0].material: "heavy curtain" is given by absorption coefficients, and a panel'
        " needs layers; ",
    ),
    "unknown build-up": (
        TEN_LINES + changed("100 mm wool", "100 mm wol", PANEL),
        'scene.toml, line 16, panels[0].material: no layered material is called "100 mm wol"; perhaps you mean'
        ' "100 mm wool"' + OWN_LAYERS,
    ),
    "unknown key": (
        TEN_LINES + PANEL + "thickness = 0.1\n",
        'scene.toml, line 17, panels[0].thickness: unknown key "thickness"; known here are name, surface, from_front,'
        " from_left, up, material, gap, movable, held_by, fixings, mass_kg, price, note.",
    ),
    "single brackets": (
        TEN_LINES + changed("[[panels]]", "[panels]", PANEL),
        "scene.toml, line 11, panels: [panels] stands in single brackets; write [[panels]], once for each.",
    ),
    "no material": (
        TEN_LINES + changed('material = "100 mm wool"\n', "", PANEL),
        'scene.toml, line 11, panels[0]: "material" is missing; add material = ',
    ),
    "the same name twice": (
        TEN_LINES + PANEL + PANEL,
        'scene.toml, line 18, panels[1].name: the name "side" is already taken; give each its own name, such as'
        ' name = "side 2".',
    ),
    "a material told twice": (
        TEN_LINES + OWN + 'build_up = "100 mm wool"\n',
        "scene.toml, line 16, materials.curtain: it has absorption and build_up; give one of them, such as"
        ' build_up = "100 mm wool, 100 mm gap".',
    ),
    "a material not told": (
        TEN_LINES + '[materials.mine]\nsource = "guess"\n',
        "scene.toml, line 11, materials.mine: it has none of absorption, build_up and layers; give one of them, such as"
        ' build_up = "100 mm wool, 100 mm gap".',
    ),
    "coefficients without a source": (
        TEN_LINES + changed('source = "guess"\n', "", OWN),
        'scene.toml, line 16, materials.curtain: its absorption has no source; add source = "where the numbers come'
        ' from".',
    ),
    "coefficients with a wall behind": (
        TEN_LINES + OWN + 'behind = "brick"\n',
        "scene.toml, line 16, materials.curtain: it has absorption and behind; leave behind out, or tell the layers"
        " before that wall.",
    ),
    "words that are no build-up": (
        TEN_LINES + changed("4 in foam", "4 in cheese", OWN),
        "scene.toml, line 14, materials.in words: a layer is of 'cheese'; it may be of ",
    ),
    "a layer that cannot be": (
        TEN_LINES + changed('porous = "2 in"', 'porous = "2 m"', OWN),
        "scene.toml, line 12, materials.mine.layers[1]: a porous layer is 2 m thick; give at most 1 m.",
    ),
    "an unknown wall behind": (
        TEN_LINES + changed('"brick"', '"brik"', OWN),
        'scene.toml, line 13, materials.mine.behind: no material is called "brik"; perhaps you mean "brick"',
    ),
    "layers behind layers": (
        TEN_LINES + changed('"brick"', '"in words"', OWN),
        'scene.toml, line 13, materials.mine.behind: "in words" is given in layers itself; name a wall that is given by'
        " absorption coefficients, and put all layers into one material.",
    ),
}


@pytest.mark.parametrize(("text", "sentence"), SENTENCES.values(), ids=SENTENCES.keys())
def test_the_sentence(text: str, sentence: str, tmp_path: Path) -> None:
    with pytest.raises(SceneError) as fault:
        parse_scene(text, tmp_path)
    assert str(fault.value).startswith(sentence)


def test_panels_and_layers_survive_being_written(tmp_path: Path) -> None:
    text = 'units = "cm"\n' + TEN_LINES.replace("3.4, depth = 4.2, height = 2.4", "340, depth = 420, height = 240")
    text = text.replace("1.6, from_left = 1.7, up = 1.2", "160, from_left = 170, up = 120")
    text = text.replace("0.42", "42").replace("1.08", "108").replace("2.32", "232").replace("1.22", "122")
    panel = changed("[0.6, 1.8]", "[60, 180]", PANEL) + 'movable = true\nnote = "on a stand"\n'
    own = changed("gap = 0.05", "gap = 5", OWN)
    first = parse_scene(text + changed('"100 mm wool"', '"mine"', panel) + own, tmp_path).blueprint
    again = Blueprint.model_validate(tomllib.loads(to_toml(first)), context={"unit": "m"})
    assert again == first.model_copy(update={"units": "m"})
    assert again.panels[0].from_front == (0.6, 1.2)
    assert again.panels[0].up == (0.6, 1.8)
    assert again.panels[0].movable
    layers = again.materials["mine"].layers
    assert layers is not None
    assert [layer.words for layer in layers] == [
        {"perforated": 0.009, "hole": 0.006, "open_share": 0.1},
        {"porous": 0.0508, "of": "wool"},
        {"gap": 0.05},
    ]
    assert again.materials["in words"].layer_words == ({"porous": 0.1016, "of": "foam"}, {"gap": 0.0508})


def test_a_panel_may_hang_on_furniture_or_an_opening(tmp_path: Path) -> None:
    door = '[[openings]]\nname = "door"\nkind = "door"\nsurface = "rear wall"\nfrom_left = [1, 2]\nup = [0, 2]\n'
    for surface in ("desk top", "door"):
        text = TEN_LINES + DESK + door + changed("left wall", surface, PANEL)
        assert parse_scene(text, tmp_path).blueprint.panels[0].surface == surface
    with pytest.raises(SceneError, match='no surface is called "shelf top"'):
        parse_scene(TEN_LINES + DESK + changed("left wall", "shelf top", PANEL), tmp_path)
