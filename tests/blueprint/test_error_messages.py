"""Each fault alone, and the whole sentence it gives: where, what was found, what would work."""

from __future__ import annotations

from pathlib import Path
from typing import get_args

import pytest

from sim.blueprint.error_messages import closest, shown
from sim.blueprint.furniture import kinds_of_furniture
from sim.blueprint.reader import parse_scene
from sim.errors import SceneError
from tests.blueprint.scene_texts import BOX_LINE, DESK, LISTENER_LINES, TEN_LINES, changed, with_mesh

BOX = TEN_LINES + DESK
FIRST_KINDS = ("desk", "shelf", "bridge", "riser", "rack", "cupboard", "beam", "block", "screen", "sofa", "mesh")
WORDS = [word for kind in kinds_of_furniture() for word in get_args(kind.model_fields["kind"].annotation)]
KINDS = ", ".join(f'"{word}"' for word in dict.fromkeys([*FIRST_KINDS, *WORDS]))
LENGTH = 'write a number and a unit (m, cm, mm, in, ft), such as "600 mm", "24 in" or "7 ft 10 1/2 in"'

SENTENCES = {
    "both loudspeakers rolled in a way that is none": (
        TEN_LINES.replace("up = 1.22 }", 'up = 1.22 }\nroll = "upside down"'),
        'scene.toml, line 8, loudspeakers[0].roll: it is "upside down"; it must be one of "upright", "inverted",'
        ' "on its right side", "on its left side" or a number.',
    ),
    "all corners of an outline with a wrong word": (
        changed(BOX_LINE, "outline = [" + "{ from_frnt = 0, from_left = 0 }, " * 3 + "]\nheight = 2.4\n"),
        'scene.toml, line 2, room.outline[0].from_frnt: unknown key "from_frnt"; perhaps you mean "from_front" (known'
        " here are from_front, from_left).",
    ),
    "a table in place of a number or a word": (
        TEN_LINES + "toe_in_deg = { angle = 3 }\n",
        'scene.toml, line 11, loudspeakers[1].toe_in_deg: it is { angle = 3 }; it must be a number or "ear".',
    ),
    "true in place of a number or a word": (
        TEN_LINES + "roll = true\n",
        'scene.toml, line 11, loudspeakers[1].roll: it is true; it must be one of "upright", "inverted",'
        ' "on its right side", "on its left side" or a number.',
    ),
    "true in place of a whole number": (
        TEN_LINES + "[method]\norder = true\n",
        "scene.toml, line 12, method.order: it is true; it must be a whole number.",
    ),
    "an angle that is none": (
        TEN_LINES + "tilt_deg = 1700\n",
        'scene.toml, line 11, loudspeakers[1].tilt_deg: it is 1700; it must be a number of at most 90 or "ear".',
    ),
    "unknown key": (
        changed("width = 3.4", "widht = 3.4"),
        'scene.toml, line 2, room.box.widht: unknown key "widht";'
        ' perhaps you mean "width" (known here are width, depth, height).',
    ),
    "unknown section": (
        TEN_LINES + "[aire]\ntemperature_c = 20\n",
        'scene.toml, line 11, aire: unknown key "aire"; perhaps you mean "air" (known here are title, units, room,'
        " listener, loudspeakers, plays, silent, models, furniture, openings, keep_clear, panels, treatment, materials,"
        " air, target, method, notes).",
    ),
    "unknown key that resembles nothing": (
        TEN_LINES + "[air]\nzzz = 20\n",
        'scene.toml, line 12, air.zzz: unknown key "zzz";'
        " known here are temperature_c, relative_humidity_percent, pressure_kpa.",
    ),
    "unknown key in furniture of one kind": (
        TEN_LINES + DESK + "topp = 0.7\n",
        'scene.toml, line 17, furniture[0].topp: unknown key "topp"; perhaps you mean "top" (known here are kind, name,'
        " from_front, from_left, top, thickness, tilt_deg, front, turn_deg, material,"
        " top_material, perforated, split, cut_outs).",
    ),
    "unknown key in a model": (
        TEN_LINES + '[models.mine]\nkind = "two-way"\nmass = 5\n',
        'scene.toml, line 13, models.mine.mass: unknown key "mass"; perhaps you mean "mass_kg" (known here are kind,'
        " width, height, depth, mass_kg, woofer_diameter, mid_diameter, tweeter_diameter, spacing, mid_spacing,"
        " crossovers_hz, slope_db_per_octave, plate_turn_deg, axis, waveguide_diameter, coverage_deg, drivers,"
        " file, axis_above_bottom, axis_right_of_middle).",
    ),
    "no room": (
        changed("[room]\n" + BOX_LINE, ""),
        "scene.toml: the section [room] is missing;"
        " add [room] with the line box = { width = 3.40, depth = 4.20, height = 2.40 }.",
    ),
    "no listener": (
        changed(LISTENER_LINES, ""),
        "scene.toml: the section [listener] is missing;"
        " add [listener] with the line ear = { from_front = 1.60, from_left = 1.70, up = 1.20 }.",
    ),
    "no loudspeakers": (
        TEN_LINES.partition("[[loudspeakers]]")[0],
        'scene.toml: the section [[loudspeakers]] is missing; add [[loudspeakers]] with the lines name = "left" and'
        " acoustic_axis = { from_front = 0.42, from_left = 1.08, up = 1.22 }.",
    ),
    "empty list of loudspeakers": (
        "loudspeakers = []\n" + TEN_LINES.partition("[[loudspeakers]]")[0],
        "scene.toml, line 1, loudspeakers: it has 0 entries; give at least 1.",
    ),
    "an empty file": (
        "",
        "scene.toml: the section [room] is missing;"
        " add [room] with the line box = { width = 3.40, depth = 4.20, height = 2.40 }.",
    ),
    "missing key": (
        changed("[listener]", '[[room.slopes]]\nname = "slope"\nwall = "left wall"\nangle_deg = 45\n[listener]'),
        'scene.toml, line 3, room.slopes[0]: "starts_at_height" is missing; add starts_at_height = 1.05.',
    ),
    "negative size": (
        changed("height = 2.4", "height = -2.4"),
        "scene.toml, line 2, room.box.height: it is -2.4; it must be more than 0, such as height = 2.40.",
    ),
    "negative size as text": (
        changed("height = 2.4", 'height = "-2.4 m"'),
        'scene.toml, line 2, room.box.height: it is "-2.4 m"; it must be more than 0, such as height = 2.40.',
    ),
    "size of nothing": (
        changed("height = 2.4", "height = 0"),
        "scene.toml, line 2, room.box.height: it is 0; it must be more than 0, such as height = 2.40.",
    ),
    "nan": (
        changed("height = 2.4", "height = nan"),
        "scene.toml, line 2, room.box.height: it is nan (not a number); write a finite length, such as 2.40.",
    ),
    "infinite": (
        changed("up = 1.22", "up = -inf"),
        "scene.toml, line 7, loudspeakers[0].acoustic_axis.up: it is infinite; write a finite length, such as 2.40.",
    ),
    "nan that is no length": (
        TEN_LINES + "[air]\ntemperature_c = nan\n",
        "scene.toml, line 12, air.temperature_c: it is nan; it must be a finite number.",
    ),
    "millimetres in a file in metres": (
        changed("depth = 4.2", "depth = 4200"),
        "scene.toml, line 2, room.box.depth: it is 4200 m, longer than any room here (60 m);"
        ' is it in another unit? write "4200 mm" (4.2 m), or set units = "mm" at the top for the whole file.',
    ),
    "centimetres in a file in metres": (
        changed("from_front = 1.6", "from_front = 160"),
        "scene.toml, line 4, listener.ear.from_front: it is 160 m, longer than any room here (60 m); is it in another"
        ' unit? write "160 cm" (1.6 m) or "160 mm" (0.16 m) or "160 in" (4.06 m), or set units = "cm" or units = "mm"'
        ' or units = "in" at the top for the whole file.',
    ),
    "a wall of 4200 m with its unit": (
        changed("depth = 4.2", 'depth = "4200 m"'),
        f"scene.toml, line 2, room.box.depth: it is 4200 m, longer than any room here (60 m); {LENGTH}.",
    ),
    "metres in a file in millimetres": (
        'units = "mm"\n' + TEN_LINES,
        "scene.toml, line 3, room.box.width: the room would be 0.0034 m wide;"
        ' is 3.4 in m? write "3.4 m", or set units = "m" at the top for the whole file.',
    ),
    "unknown unit": (
        'units = "yd"\n' + TEN_LINES,
        'scene.toml, line 1, units: it is "yd"; the units are "m", "cm", "mm", "in", "ft".',
    ),
    "unit that is no text": (
        'units = ["m"]\n' + TEN_LINES,
        'scene.toml, line 1, units: it is ["m"]; the units are "m", "cm", "mm", "in", "ft".',
    ),
    "length without unit in quotes": (
        changed("depth = 4.2", 'depth = "4.2"'),
        f'scene.toml, line 2, room.box.depth: "4.2" is not a length; {LENGTH}.',
    ),
    "length that is true": (
        changed("depth = 4.2", "depth = true"),
        "scene.toml, line 2, room.box.depth: true is not a length;"
        ' write a number in the file\'s unit or a text such as "600 mm".',
    ),
    "furniture without kind": (
        changed('kind = "desk"\n', "", BOX),
        f'scene.toml, line 12, furniture[0]: it has no "kind"; add kind = one of {KINDS}.',
    ),
    "furniture of unknown kind": (
        changed('kind = "desk"', 'kind = "dask"', BOX),
        f'scene.toml, line 12, furniture[0]: its kind is "dask"; perhaps you mean "desk" (the kinds are {KINDS}).',
    ),
    "falling span": (
        changed("[0.55, 1.30]", "[1.30, 0.55]", BOX),
        "scene.toml, line 14, furniture[0].from_front: it runs from 1.3 m to 0.55 m;"
        " the second number must be larger than the first.",
    ),
    "span of one": (
        changed("[0.55, 1.30]", "[0.55]", BOX),
        "scene.toml, line 14, furniture[0].from_front: it is [0.55];"
        " it needs more entries, such as from_front = [0.55, 1.30].",
    ),
    "span of three": (
        changed("[0.55, 1.30]", "[0.55, 1.30, 2]", BOX),
        "scene.toml, line 14, furniture[0].from_front: it has 3 entries; give 2, such as from_front = [0.55, 1.30].",
    ),
    "span that is a number": (
        changed("[0.55, 1.30]", "0.55", BOX),
        "scene.toml, line 14, furniture[0].from_front: it is 0.55;"
        " it must be a list in square brackets, such as from_front = [0.55, 1.30].",
    ),
    "word that is not a choice": (
        BOX + 'front = "close"\n',
        'scene.toml, line 17, furniture[0].front: it is "close";'
        ' perhaps you mean "closed" (it must be one of "open", "closed", "solid").',
    ),
    "number or word": (
        TEN_LINES + 'toe_in_deg = "eer"\n',
        'scene.toml, line 11, loudspeakers[1].toe_in_deg: it is "eer";'
        ' perhaps you mean "ear" (it must be a number or "ear").',
    ),
    "word or number": (
        TEN_LINES + 'roll = "sideways"\n',
        'scene.toml, line 11, loudspeakers[1].roll: it is "sideways"; it must be one of "upright", "inverted",'
        ' "on its right side", "on its left side" or a number.',
    ),
    "choice of numbers": (
        TEN_LINES + '[models.mine]\nkind = "two-way"\nslope_db_per_octave = 20\n',
        "scene.toml, line 13, models.mine.slope_db_per_octave: it is 20; it must be one of 12, 18, 24.",
    ),
    "angle out of range": (
        BOX + "tilt_deg = 80\n",
        "scene.toml, line 17, furniture[0].tilt_deg: it is 80; it must be at most 45.",
    ),
    "not a whole number": (
        TEN_LINES + "[method]\norder = 2.5\n",
        "scene.toml, line 12, method.order: it is 2.5; it must be a whole number.",
    ),
    "not a text": (
        changed('name = "right"', "name = 3"),
        "scene.toml, line 9, loudspeakers[1].name: it is 3; it must be a text in quotes.",
    ),
    "single brackets": (
        changed("[[furniture]]", "[furniture]", BOX),
        "scene.toml, line 12, furniture: [furniture] stands in single brackets; write [[furniture]], once for each.",
    ),
    "double brackets": (
        changed("[listener]", "[[listener]]"),
        "scene.toml, line 3, listener: [[listener]] stands in double brackets;"
        " write [listener], for there is only one.",
    ),
    "two shapes": (
        changed("[listener]", 'mesh = "room.obj"\n[listener]'),
        "scene.toml, line 1, room: its shape is given by box and mesh; give exactly one of"
        ' box = { width = 3.40, depth = 4.20, height = 2.40 }, outline (with height) or mesh = "room.obj".',
    ),
    "no shape": (
        changed(BOX_LINE, ""),
        "scene.toml, line 1, room: nothing tells its shape; give exactly one of"
        ' box = { width = 3.40, depth = 4.20, height = 2.40 }, outline (with height) or mesh = "room.obj".',
    ),
    "outline without height": (
        changed(BOX_LINE, "outline = [" + "{ from_front = 0, from_left = 0 }, " * 3 + "]\n"),
        "scene.toml, line 1, room: the outline has no height; add height = 2.40, that of the flat ceiling.",
    ),
    "mesh without unit": (
        with_mesh("room.obj", frame='frame = { depth = "+x" }'),
        'scene.toml, line 3, room.frame: "unit" is missing; add unit = "m" (or cm, mm, in, ft).',
    ),
    "mesh without frame": (
        with_mesh("room.obj", frame=""),
        'scene.toml, line 1, room: the mesh has no unit; add [room.frame] with unit = "m" (or mm, cm, in, ft).',
    ),
    "mesh without tape": (
        with_mesh("room.obj", tape=False),
        "scene.toml, line 1, room: nothing confirms the scale of the mesh; measure one distance with a tape and"
        ' add tape = [{ along = "depth", distance = 5.40 }].',
    ),
    "height unknown": (
        changed(", up = 1.22", ""),
        'scene.toml, line 5, loudspeakers[0]: its acoustic_axis has no "up"; add one such as up = 1.22,'
        ' or say standing = "desk" or "stand", from which it follows.',
    ),
    "falling window": (
        TEN_LINES + "[target]\nwindow_ms = [20, 0]\n",
        "scene.toml, line 11, target: its window_ms runs from 20 to 0;"
        " start at zero or above and end at a larger number.",
    ),
    "too few octaves": (
        TEN_LINES + '[materials.mine]\nsource = "guess"\nabsorption = [0.1, 0.2]\n',
        "scene.toml, line 13, materials.mine.absorption: it is [0.1, 0.2]; it needs more entries, such as"
        " absorption = [0.10, 0.10, 0.10, 0.10, 0.10, 0.10, 0.10, 0.10].",
    ),
}


@pytest.mark.parametrize(("text", "sentence"), SENTENCES.values(), ids=SENTENCES.keys())
def test_the_whole_sentence(text: str, sentence: str, tmp_path: Path) -> None:
    with pytest.raises(SceneError) as fault:
        parse_scene(text, tmp_path)
    assert str(fault.value) == sentence
    assert fault.value.found
    assert fault.value.remedy


def test_an_unknown_key_is_told_before_what_is_missing_for_its_sake(tmp_path: Path) -> None:
    text = changed("up = 1.2 }", "upp = 1.2 }", changed("width", "breadth"))
    with pytest.raises(SceneError, match=r"line 2, room\.box\.breadth: unknown key"):
        parse_scene(text, tmp_path)


@pytest.mark.parametrize("word", ["pydantic", "Input should", "validation error", "type=", "Value error", "https"])
def test_no_wording_of_a_library_leaks(word: str) -> None:
    assert not [sentence for _, sentence in SENTENCES.values() if word in sentence]


def test_values_are_shown_as_the_file_has_them_and_shortened() -> None:
    assert shown({"a": [True, 1.5, "x"]}) == '{ a = [true, 1.5, "x"] }'
    assert len(shown("x" * 100)) == 60


def test_the_closest_name_comes_first() -> None:
    assert closest("plasterbord", ["brick", "plasterboard"], what="the materials") == (
        'perhaps you mean "plasterboard" (the materials are "brick", "plasterboard")'
    )
    assert closest("zzz", ["brick"], what="the materials") == 'the materials are "brick"'
