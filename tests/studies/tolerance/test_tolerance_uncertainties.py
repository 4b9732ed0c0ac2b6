from __future__ import annotations

from collections import Counter
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from sim.blueprint.reader import parse_scene, read_scene
from sim.placement.built_scene import build_scene
from sim.studies.tolerance.samples import shifted, shifted_all
from sim.studies.tolerance.uncertainties import KINDS, TAPE_M, Uncertainty, uncertainties_of
from tests.studies.compare.layouts import ON_DESK, ON_STANDS, SCENES


def uncertainties(text: str) -> dict[str, Uncertainty]:
    scene = parse_scene(text, Path("nowhere"))
    return {one.name: one for one in uncertainties_of(scene.blueprint, build_scene(scene.blueprint, scene.folder))}


def at(record: Any, place: tuple[str | int, ...]) -> float:
    for key in place:
        record = record[key] if isinstance(key, int) else getattr(record, key)
    return float(record)


def test_every_tape_reading_of_the_bedroom_is_in_doubt() -> None:
    known = uncertainties(ON_STANDS)
    counts = Counter(one.kind for one in known.values())
    # ear 3, loudspeakers 6, desk 5, screen 3, room 3; both loudspeakers and the head along three directions
    assert counts == {"tape": 20, "placement": 6, "head": 3, "material": 6, "directivity": 2}
    assert [one.kind for one in known.values()] == sorted((one.kind for one in known.values()), key=KINDS.index)
    assert known["desk.listener_edge"].places == (("furniture", 0, "from_front", 1),)
    assert known["desk.listener_edge"].words == "the listener-side edge of the desk"
    assert known["room.width"].places == (("room", "box", "width"),)
    assert known["desk.height"].standard_deviation == TAPE_M
    assert known["head.up"].standard_deviation == pytest.approx(0.10 / np.sqrt(12.0))
    assert known["left placed, up"].standard_deviation == pytest.approx(0.06 / np.sqrt(12.0))


def test_every_place_is_a_length_of_the_scene() -> None:
    """Each can be moved there and back: no name is misspelt, no span is a number."""
    for path in sorted(SCENES.iterdir()):
        if not path.is_dir():
            continue
        scene = read_scene(path)
        known = uncertainties_of(scene.blueprint, build_scene(scene.blueprint, scene.folder))
        assert len({one.name for one in known}) == len(known), path.name
        for one in known:
            for place in one.places:
                moved = shifted(scene.blueprint, place, 0.25)
                assert at(moved, place) - at(scene.blueprint, place) == pytest.approx(0.25)
                assert shifted(moved, place, at(scene.blueprint, place) - at(moved, place)) == scene.blueprint


def test_many_lengths_moved_in_one_go_are_each_moved_in_turn() -> None:
    scene = read_scene(SCENES / "control-room-bridge")
    known, rng = uncertainties_of(scene.blueprint, build_scene(scene.blueprint, scene.folder)), np.random.default_rng(4)
    moves = [(place, float(rng.normal(0.0, 0.003))) for one in known for place in one.places]
    one_by_one = scene.blueprint
    for place, by in moves:
        one_by_one = shifted(one_by_one, place, by)
    assert shifted_all(scene.blueprint, moves) == one_by_one != scene.blueprint


def test_a_loudspeaker_on_a_desk_rises_with_it() -> None:
    known = uncertainties(ON_DESK)
    assert "left.up" not in known
    assert "left placed, up" not in known
    dependents = [("loudspeakers", n, "acoustic_axis", "up") for n in (0, 1)]
    assert known["desk.height"].places == (("furniture", 0, "top"), *dependents)


def test_a_height_that_follows_from_a_stand_is_that_of_the_stand() -> None:
    known = uncertainties(ON_STANDS.replace("from_left = 1.08, up = 1.22", "from_left = 1.08"))
    assert known["left.up"].places == (("loudspeakers", 0, "stand_height"),)
    assert known["right.up"].places == (("loudspeakers", 1, "acoustic_axis", "up"),)


def test_what_is_built_in_stays_in_its_wall() -> None:
    scene = read_scene(SCENES / "control-room-built-in")
    names = {one.name for one in uncertainties_of(scene.blueprint, build_scene(scene.blueprint, scene.folder))}
    assert "left.from_left" in names
    assert not {"left.from_front", "left placed, from_front"} & names


def test_corners_of_an_outline_on_one_line_move_together() -> None:
    outline = (
        "outline = [{ from_front = 0, from_left = 0 }, { from_front = 0, from_left = 3.4 }, "
        "{ from_front = 4.2, from_left = 3.4 }, { from_front = 4.2, from_left = 0 }]\nheight = 2.4"
    )
    known = uncertainties(ON_STANDS.replace("box = { width = 3.40, depth = 4.20, height = 2.40 }", outline))
    assert known["room.from_front 4.2"].places == tuple(("room", "outline", n, "from_front") for n in (2, 3))
    assert known["room.from_left 3.4"].places == tuple(("room", "outline", n, "from_left") for n in (1, 2))
    assert known["room.height"].places == (("room", "height"),)


def test_layers_have_a_flow_resistivity_and_openings_no_absorption() -> None:
    panel = '[[panels]]\nname = "p"\nsurface = "ceiling"\nfrom_front = [0.5, 1.5]\nfrom_left = [1.0, 1.6]\n'
    panel += 'material = "100 mm wool"\nfixings = "screws"\n'
    text = ON_STANDS.replace('surface = "rear wall"', 'surface = "rear wall"\nmaterial = "air"')
    text += '[materials.air]\nabsorption = [1, 1, 1, 1, 1, 1, 1, 1]\nsource = "an opening"\n' + panel
    known = uncertainties(text)
    assert known["100 mm wool, flow"].subject == ("flow", "100 mm wool")
    assert "air" not in known
    assert "wooden door" not in known
