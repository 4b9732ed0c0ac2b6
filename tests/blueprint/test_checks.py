from __future__ import annotations

from pathlib import Path

import pytest

from sim.blueprint.reader import parse_scene
from sim.errors import SceneError
from tests.blueprint.scene_texts import BOX_LINE, DESK, TEN_LINES, changed

WINDOW = '[[openings]]\nname = "window"\nkind = "window"\nsurface = "left wall"\nfrom_front = [1, 2]\nup = [1, 2]\n'
SURFACES = '"left wall", "right wall", "front wall", "rear wall", "floor", "ceiling"'

SENTENCES = {
    "left and right swapped": (
        changed("from_left = 1.08", "from_left = 2.40"),
        'scene.toml, line 7, loudspeakers[0].acoustic_axis.from_left: "left" is 2.40 m and "right" 2.32 m from the left'
        " wall: they are swapped; swap the two numbers, or the names; from_left counts from the wall at the left hand"
        " of the seat.",
    ),
    "outline that is too small": (
        changed(
            BOX_LINE,
            "outline = [{ from_front = 0, from_left = 0 }, { from_front = 0.5, from_left = 0 },"
            " { from_front = 0.5, from_left = 3 }]\nheight = 2.4\n",
        ),
        "scene.toml, line 2, room.outline: the room would be 0.5 m deep; write at least 1 m.",
    ),
    "inches in a file in millimetres": (
        changed(
            "width = 3.4, depth = 4.2, height = 2.4",
            "width = 134, depth = 165, height = 94",
            'units = "mm"\n' + TEN_LINES,
        ),
        'scene.toml, line 3, room.box.width: the room would be 0.134 m wide; is 134 in in? write "134 in",'
        ' or set units = "in" at the top for the whole file.',
    ),
    "box of a loudspeaker in another unit": (
        TEN_LINES + '[models.mine]\nkind = "two-way"\nwidth = 18\n',
        "scene.toml, line 13, models.mine.width: a monitor of 18 m is no size for a cabinet; write between 0.05 m and"
        ' 2 m, with the unit if it is not that of the file (m), such as "290 mm".',
    ),
    "same name twice": (
        changed('name = "right"', 'name = "left"'),
        'scene.toml, line 9, loudspeakers[1].name: the name "left" is already taken;'
        ' give each its own name, such as name = "left 2".',
    ),
    "loudspeaker called after the desk": (
        changed('name = "right"', 'name = "desk"') + DESK,
        'scene.toml, line 9, loudspeakers[1].name: the name "desk" is already taken;'
        ' give each its own name, such as name = "desk 2".',
    ),
    "desk called room": (
        TEN_LINES + DESK + 'name = "room"\n',
        'scene.toml, line 17, furniture[0].name: the name "room" is already taken;'
        ' give each its own name, such as name = "room 2".',
    ),
    "empty name": (
        changed('name = "right"', 'name = ""'),
        'scene.toml, line 9, loudspeakers[1].name: the name is empty; write one, such as name = "left".',
    ),
    "unknown material of a wall": (
        changed("[listener]", 'materials = { walls = "plasterbord on studs" }\n[listener]'),
        'scene.toml, line 3, room.materials.walls: no material is called "plasterbord on studs";'
        ' perhaps you mean "plasterboard on studs", or describe your own under [materials].',
    ),
    "unknown model": (
        TEN_LINES + 'model = "tree-way"\n',
        'scene.toml, line 11, loudspeakers[1].model: no model is called "tree-way"; perhaps you mean "three-way"'
        ' (the models are "two-way", "three-way", "coaxial", "point"),'
        ' or describe it under [models."tree-way"].',
    ),
    "crossovers of another kind": (
        TEN_LINES + '[models.mine]\nkind = "three-way"\ncrossovers_hz = [2200]\n',
        "scene.toml, line 13, models.mine.crossovers_hz: 1 crossover frequencies for a three-way; a three-way has 2.",
    ),
    "crossovers that fall": (
        TEN_LINES + '[models.mine]\nkind = "three-way"\ncrossovers_hz = [2200, 400]\n',
        "scene.toml, line 13, models.mine.crossovers_hz: the crossover frequencies do not rise;"
        " write the lowest first.",
    ),
    "on a desk that is not there": (
        TEN_LINES + 'standing = "desk"\n',
        'scene.toml, line 11, loudspeakers[1].standing: it is "desk", but the scene has no desk;'
        ' add a [[furniture]] with kind = "desk", or write standing = "stand".',
    ),
    "on a desk of another name": (
        TEN_LINES + 'standing = "desk"\nstands_on = "dsek"\n' + DESK,
        'scene.toml, line 12, loudspeakers[1].stands_on: no desk, shelf or bridge is called "dsek";'
        ' perhaps you mean "desk" (those in this scene are "desk").',
    ),
    "on a desk and on a stand": (
        TEN_LINES + 'standing = "stand"\nstands_on = "desk"\n' + DESK,
        'scene.toml, line 12, loudspeakers[1].stands_on: it is given although standing is "stand";'
        ' write standing = "desk" (also for shelves and bridges), or leave stands_on out.',
    ),
    "in a wall and on a stand": (
        TEN_LINES + 'standing = "stand"\nbuilt_into = ["front wall"]\n',
        'scene.toml, line 12, loudspeakers[1].built_into: it is given although standing is "stand";'
        ' write standing = "built in", or leave built_into out.',
    ),
    "opening in no wall": (
        TEN_LINES + changed("left wall", "letf wall", WINDOW),
        'scene.toml, line 14, openings[0].surface: no surface is called "letf wall"; perhaps you mean "left wall"'
        f" (the surfaces of a box room are {SURFACES}).",
    ),
    "opening without width": (
        TEN_LINES + changed("from_front = [1, 2]\n", "", WINDOW),
        'scene.toml, line 11, openings[0]: the place of "window" in "left wall" is not complete;'
        " give from_front and up, each as [from, to].",
    ),
    "two openings of one name": (
        TEN_LINES + WINDOW + WINDOW,
        'scene.toml, line 18, openings[1].name: the name "window" is already taken;'
        ' give each its own name, such as name = "window 2".',
    ),
}


@pytest.mark.parametrize(("text", "sentence"), SENTENCES.values(), ids=SENTENCES.keys())
def test_the_whole_sentence(text: str, sentence: str, tmp_path: Path) -> None:
    with pytest.raises(SceneError) as fault:
        parse_scene(text, tmp_path)
    assert str(fault.value) == sentence


def test_a_material_of_ones_own_is_known(tmp_path: Path) -> None:
    text = changed("[listener]", 'materials = { walls = "my wall" }\n[listener]')
    text += '[materials."my wall"]\nsource = "guess"\nabsorption = [0, 0, 0, 0, 0, 0, 0, 0]\n'
    assert parse_scene(text, tmp_path).blueprint.materials["my wall"].source == "guess"


def test_capitals_in_the_name_of_a_library_material_do_not_matter(tmp_path: Path) -> None:
    parse_scene(changed("[listener]", 'materials = { walls = "Brick" }\n[listener]'), tmp_path)


def test_an_opening_of_any_surface_name_is_left_to_the_mesh_or_outline(tmp_path: Path) -> None:
    outline = (
        "outline = [{ from_front = 0, from_left = 0 }, { from_front = 4, from_left = 0 },"
        " { from_front = 4, from_left = 3 }]\nheight = 2.4\n"
    )
    parse_scene(changed(BOX_LINE, outline) + changed("left wall", "east wall", WINDOW), tmp_path)


def test_a_block_without_a_name_is_called_after_its_kind(tmp_path: Path) -> None:
    block = '[[furniture]]\nkind = "rack"\nfrom_front = [1, 2]\nfrom_left = [0, 1]\nup = [0, 1]\n'
    assert parse_scene(TEN_LINES + block, tmp_path).blueprint.furniture[0].name == "rack"
    with pytest.raises(SceneError, match=r'furniture\[1\]\.name: the name "rack" is already taken'):
        parse_scene(TEN_LINES + block + block, tmp_path)
