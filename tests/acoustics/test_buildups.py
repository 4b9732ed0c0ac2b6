"""The library of build-ups: sources, names, plausible levels, and layers told in words."""

import math
from itertools import pairwise
from typing import Any

import numpy as np
import pytest

from sim.acoustics.air import Air
from sim.acoustics.bands import octave_bands
from sim.acoustics.buildups import assemble, build_ups, find_build_up, find_porous_material, layer_of, porous_materials
from sim.acoustics.layered_reflection import random_incidence, reflection_factor_at
from sim.acoustics.layers import AirGap, Cloth, Membrane, PerforatedSheet, PorousLayer

AIR = Air()


def test_every_row_names_its_source_and_lies_in_its_own_range() -> None:
    for name, material in porous_materials().items():
        low, high = material.range_pa_s_m2
        assert name == name.lower() == material.name
        assert material.source
        assert low < material.flow_resistivity_pa_s_m2 < high
        assert 10.0 <= material.density_kg_m3 <= 200.0
    for name, build_up in build_ups().items():
        assert name == name.lower() == build_up.name
        assert build_up.source
        assert build_up.layers
        assert build_up.mass_kg_m2 is not None and 0.5 < build_up.mass_kg_m2 < 20.0


def test_printed_formulas_of_flow_resistivity() -> None:
    # Bies & Hansen, Applied Acoustics 13 (1980) 357-391: 3.18e-9 density^1.53/diameter^2.
    for name, diameter in (("light glass wool", 6e-6), ("glass wool", 10e-6)):
        material = porous_materials()[name]
        formula = 3.18e-9 * material.density_kg_m3**1.53 / diameter**2
        assert material.flow_resistivity_pa_s_m2 == pytest.approx(formula, rel=0.01)
    # Garai & Pompoli, Applied Acoustics 66 (2005) 1383-1398: 25.989 density^1.404.
    polyester = porous_materials()["polyester wool"]
    assert polyester.flow_resistivity_pa_s_m2 == pytest.approx(25.989 * polyester.density_kg_m3**1.404, rel=0.01)


def test_names_say_what_is_in_them() -> None:
    for name, build_up in build_ups().items():
        sizes = [int(word) for word, unit in zip(name.split(), name.split()[1:], strict=False) if unit == "mm"]
        thick = [layer for layer in build_up.layers if isinstance(layer, PorousLayer | AirGap)]
        assert sum(sizes) == pytest.approx(1000.0 * sum(layer.thickness_m for layer in thick))


def test_stock_panels_of_wool_do_more_the_deeper_they_are() -> None:
    octaves = octave_bands(125, 1000).exact_hz
    names = ["25 mm wool", "50 mm wool", "100 mm wool", "200 mm wool"]
    taken = [random_incidence(build_ups()[name], octaves, air=AIR) for name in names]
    for thinner, thicker in pairwise(taken):
        assert np.all(thicker[:2] > thinner[:2])


def test_pressure_absorbers_reflect_what_lies_above_their_tuning() -> None:
    for name in ("perforated board over 50 mm wool", "membrane over 100 mm wool"):
        factor = reflection_factor_at(build_ups()[name], [8000.0], [math.radians(45.0)], AIR)
        assert 20.0 * math.log10(abs(factor[0, 0])) > -3.0


def test_mass_is_wool_and_facing() -> None:
    assert find_build_up("100 mm wool").mass_kg_m2 == pytest.approx(0.1 * 40.0 + 3.0)
    assert assemble("own", [{"porous": 0.1, "flow_resistivity": 9000.0}]).mass_kg_m2 == pytest.approx(4.0)


def test_names_are_found_in_any_case_and_the_closest_are_named() -> None:
    assert find_build_up("  100 MM  wool ") is build_ups()["100 mm wool"]
    with pytest.raises(KeyError, match="no build-up is called '100 mm wol'; the closest are '100 mm wool'"):
        find_build_up("100 mm wol")
    with pytest.raises(KeyError, match="the library has '100 mm foam'"):
        find_build_up("qqqq")
    with pytest.raises(KeyError, match="no porous material is called 'woool'; the closest are 'wool'"):
        find_porous_material("woool")


@pytest.mark.parametrize(
    ("words", "layer"),
    [
        ({"porous": 0.1, "of": "wool"}, PorousLayer(0.1, 10_000.0)),
        (
            {"porous": 0.1, "flow_resistivity": 7000, "model": "delany-bazley", "divided": True, "of": None},
            PorousLayer(0.1, 7000.0, "delany-bazley", True),
        ),
        ({"gap": 0.05, "divided": True}, AirGap(0.05, True)),
        ({"cloth": 50}, Cloth(50.0)),
        ({"cloth": 50, "mass": 0.3}, Cloth(50.0, 0.3)),
        ({"membrane": 5, "friction": 10}, Membrane(5.0, 10.0)),
        ({"perforated": 0.012, "hole": 0.006, "open_share": 0.1}, PerforatedSheet(0.012, 0.006, 0.1)),
        ({"perforated": 0.012, "hole": 0.006, "pitch": 0.02}, PerforatedSheet.with_pitch(0.012, 0.006, 0.02)),
    ],
)
def test_layers_in_words(words: dict[str, Any], layer: object) -> None:
    assert layer_of(words) == layer


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        ({}, "has none of porous, gap, cloth, perforated, membrane; give each layer exactly one"),
        ({"gap": 0.1, "cloth": 4.0}, "the layer is gap and cloth at once; give"),
        ({"gap": 0.1, "of": "wool"}, 'the layer "gap" has "of"; what may stand with "gap" is divided'),
        ({"porous": 0.1}, 'has neither of "of" and "flow_resistivity"; give one of them'),
        ({"porous": 0.1, "of": "wool", "flow_resistivity": 5.0}, 'has both "of" and "flow_resistivity"; give one'),
        ({"porous": 0.1, "of": "straw"}, "no porous material is called 'straw'; "),
        ({"porous": 0.1, "flow_resistivity": 10}, "write 10000"),
        ({"perforated": 0.012, "hole": 0.006}, "holes of a perforated layer are not clear; give hole"),
        ({"perforated": 0.012, "pitch": 0.006}, "holes of a perforated layer are not clear; give hole"),
    ],
)
def test_layers_that_are_not_clear(words: dict[str, Any], sentence: str) -> None:
    with pytest.raises(ValueError, match=sentence):
        layer_of(words)
