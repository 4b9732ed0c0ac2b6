"""Layered materials of a scene become the absorbers that the acoustics know."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from sim.acoustics.bands import octave_bands
from sim.acoustics.buildups import build_ups
from sim.acoustics.layered_reflection import random_incidence, reflection_factor_at
from sim.acoustics.layers import AirGap, Cloth, Membrane, PerforatedSheet, PorousLayer
from sim.acoustics.materials import FLAT_SCATTERING, find_material
from sim.pipeline import build
from sim.placement.built_scene import BuiltScene
from sim.placement.finishes import layered_finishes, scattering_of
from tests.built_scenes import HARD, blueprint_of, box, built_scene_of
from tests.room_texts import room_text

PLAIN = {"hard": {"absorption": HARD, "source": "made up for a test"}}
EVERY_KIND = [
    {"membrane": 4.0, "friction": 200.0},
    {"cloth": 300.0, "mass": 0.3},
    {"cloth": 50.0},
    {"perforated": "9 mm", "hole": "6 mm", "pitch": "15 mm"},
    {"porous": "50 mm", "flow_resistivity": 7000, "model": "delany-bazley", "divided": True},
    {"porous": "30 mm", "of": "stone wool"},
    {"gap": "70 mm", "divided": True},
    {"gap": "10 mm"},
]


def built_from(wall: dict[str, Any], **more: Any) -> BuiltScene:
    room = box(5.0, 4.0, 2.5, {"left wall": "mine"})
    return built_scene_of(room, [(1.0, 1.0, 1.2)], (3.0, 2.0, 1.2), materials={**PLAIN, "mine": wall, **more})


def test_every_kind_of_layer_survives_as_a_row() -> None:
    (finish,) = built_from({"layers": EVERY_KIND}).finishes
    sheet = PerforatedSheet.with_pitch(0.009, 0.006, 0.015)
    assert finish.build_up.layers == (
        Membrane(4.0, 200.0),
        Cloth(300.0, 0.3),
        Cloth(50.0),
        sheet,
        PorousLayer(0.05, 7000.0, "delany-bazley", True),
        PorousLayer(0.03, 15000.0),
        AirGap(0.07, True),
        AirGap(0.01),
    )
    assert finish.name == "mine"


@pytest.mark.parametrize("name", build_ups())
def test_library_build_ups_reflect_the_same_after_becoming_rows(name: str) -> None:
    blueprint = blueprint_of(box(5.0, 4.0, 2.5), [(1.0, 1.0, 1.2)], (3.0, 2.0, 1.2))
    (finish,) = layered_finishes(blueprint, [name, "hard", name])
    frequencies, angles = np.geomspace(63.0, 16000.0, 20), np.radians([0.0, 40.0, 75.0])
    expected = reflection_factor_at(build_ups()[name], frequencies, angles)
    assert np.array_equal(reflection_factor_at(finish.build_up, frequencies, angles), expected)
    assert finish.build_up.depth_m == build_ups()[name].depth_m


def test_the_wall_behind_is_that_of_the_scene_first_and_then_of_the_library() -> None:
    (brick,) = built_from({"build_up": "50 mm wool", "behind": "brick"}).finishes
    assert brick.behind.tolist() == list(find_material("brick").absorption)
    assert brick.build_up.backing.absorption == find_material("brick").absorption
    own = {"absorption": [0.5] * 8, "source": "made up for a test"}
    (mine,) = built_from({"build_up": "50 mm wool, 20 mm gap", "behind": "brick"}, brick=own).finishes
    assert mine.behind.tolist() == [0.5] * 8
    (hard,) = built_from({"build_up": "50 mm wool"}).finishes
    assert hard.build_up.backing.absorption is None


def test_layered_facets_have_coefficients_of_random_incidence_and_others_keep_theirs() -> None:
    built = built_from({"build_up": "100 mm wool, 100 mm gap"})
    at = built.room.facet_numbers("left wall")[0]
    assert built.finish_of_facet.tolist() == [0 if n == at else -1 for n in range(len(built.room.facets))]
    single = random_incidence(build_ups()["100 mm wool, 100 mm gap"], octave_bands(63, 8000).exact_hz, air=built.air)
    assert built.absorption[at] == pytest.approx(single, abs=0.03)  # a mean over the octave, not its middle alone
    assert not np.delete(built.absorption, at, axis=0).any()


def test_a_scene_without_layers_has_no_finishes() -> None:
    built = built_scene_of(box(5.0, 4.0, 2.5), [(1.0, 1.0, 1.2)], (3.0, 2.0, 1.2))
    assert built.finishes == ()
    assert set(built.finish_of_facet.tolist()) == {-1}


def test_what_a_model_does_not_hold_for_is_said() -> None:
    (note,) = (n for n in built_from({"build_up": "100 mm wool"}).notes if n.startswith("mine: "))
    assert "trusted from 100 Hz to 10 kHz; at 63.1 Hz it is a guess" in note


def test_scattering_comes_from_the_scene_then_the_library_then_that_of_flat_surfaces() -> None:
    wall = {"absorption": HARD, "source": "made up for a test", "scattering": [0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8]}
    built = built_from(wall, hard={"absorption": HARD, "source": "made up for a test", "scattering": 0.25})
    at = built.room.facet_numbers("left wall")[0]
    assert built.scattering[at].tolist() == wall["scattering"]
    assert np.all(np.delete(built.scattering, at, axis=0) == 0.25)
    blueprint = blueprint_of(box(5.0, 4.0, 2.5), [(1.0, 1.0, 1.2)], (3.0, 2.0, 1.2))
    assert scattering_of("Upholstered  seat", blueprint) == find_material("upholstered seat").scattering
    assert scattering_of("hard", blueprint) == (FLAT_SCATTERING,) * 8


def test_a_layered_finish_scatters_as_its_material_says() -> None:
    (finish,) = built_from({"build_up": "50 mm wool", "scattering": 0.3}).finishes
    assert finish.scattering == (0.3,) * 8
    (plain,) = built_from({"build_up": "50 mm wool"}).finishes
    assert plain.scattering == (FLAT_SCATTERING,) * 8


@pytest.mark.parametrize("wrong", [-0.1, 1.5, [0.1] * 7])
def test_scattering_that_is_no_fraction_is_refused(wrong: object) -> None:
    with pytest.raises(ValueError, match="scattering"):
        built_from({"absorption": HARD, "source": "made up for a test", "scattering": wrong})


def test_an_everyday_name_is_taken_as_a_row_and_that_is_said() -> None:
    def of(walls: str, floor: str) -> BuiltScene:
        room = f'materials = {{ walls = "{walls}", ceiling = "{walls}", floor = "{floor}" }}'
        return build(room_text((3.4, 4.2, 2.4), (1.6, 1.7, 1.2), {"left": (0.6, 1.0, 1.2)}, room=room))[1]

    spoken, plain = of("Drywall", "rug"), of("plasterboard on studs", "carpet on concrete")
    np.testing.assert_array_equal(spoken.absorption, plain.absorption)
    np.testing.assert_array_equal(spoken.scattering, plain.scattering)
    assert 'material "Drywall" is taken as "plasterboard on studs" of the library' in spoken.notes
    assert 'material "rug" is taken as "carpet on concrete" of the library' in spoken.notes
    assert not any("taken as" in note for note in plain.notes)


def test_a_material_of_ones_own_comes_before_an_everyday_name() -> None:
    room = 'materials = { all = "rug" }\n[materials.rug]\nabsorption = [0, 0, 0, 0, 0, 0, 0, 0.5]\nsource = "made up"'
    built = build(room_text((3.4, 4.2, 2.4), (1.6, 1.7, 1.2), {"left": (0.6, 1.0, 1.2)}, room=room))[1]
    assert built.absorption[0].tolist() == [0, 0, 0, 0, 0, 0, 0, 0.5]
    assert not any("taken as" in note for note in built.notes)
