"""Absorbers in a scene file: by name, in words, layer by layer; what is not clear is told with a remedy."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import ValidationError

from sim.acoustics.buildups import assemble, build_ups, porous_materials
from sim.acoustics.layers import AirGap, Cloth, PerforatedSheet, PorousLayer
from sim.blueprint.build_ups import BuildUpRecord, LayerRecord, build_up_in_words, layers_in_words


def read(document: dict[str, Any], unit: str = "m") -> BuildUpRecord:
    return BuildUpRecord.model_validate(document, context={"unit": unit})


def scene_error(document: dict[str, Any], record: type[LayerRecord | BuildUpRecord] = BuildUpRecord) -> str:
    with pytest.raises(ValidationError) as refused:
        record.model_validate(document, context={"unit": "m"})
    fault = refused.value.errors()[0]
    return str(fault.get("ctx", {}).get("error", fault["msg"]))


def test_layers_are_read_in_metres_whatever_the_unit() -> None:
    record = read(
        {"layers": [{"porous": "100 mm", "flow_resistivity": 10000}, {"gap": "4 in"}], "source": "maker's sheet"}
    )
    assert record.layer_words == ({"porous": 0.1, "flow_resistivity": 10000.0}, {"gap": 0.1016})
    assert assemble("cloud", record.layer_words or ()).layers == (PorousLayer(0.1, 10_000.0), AirGap(0.1016))
    assert read({"layers": [{"gap": 10}]}, "cm").layer_words == ({"gap": 0.1},)


def test_every_kind_of_layer_can_be_written() -> None:
    record = read(
        {
            "layers": [
                {"cloth": 80, "mass": 0.3},
                {"perforated": "12 mm", "hole": "6 mm", "pitch": "20 mm"},
                {"porous": "50 mm", "of": "foam", "model": "delany-bazley", "divided": True},
                {"gap": "20 mm", "divided": True},
                {"membrane": 5, "friction": 20},
                {"perforated": "1 mm", "hole": "0.5 mm", "open_share": 0.01},
            ]
        }
    )
    layers = assemble("all", record.layer_words or ()).layers
    assert layers[0] == Cloth(80.0, 0.3)
    assert layers[1] == PerforatedSheet.with_pitch(0.012, 0.006, 0.02)
    assert layers[2] == PorousLayer(0.05, porous_materials()["foam"].flow_resistivity_pa_s_m2, "delany-bazley", True)
    assert len(layers) == 6


def test_a_name_of_the_library_stands_for_its_layers() -> None:
    record = read({"build_up": "100 mm Wool,  100 mm gap", "behind": "brick"})
    assert record.layer_words is None
    assert build_up_in_words("100 mm Wool,  100 mm gap") is build_ups()["100 mm wool, 100 mm gap"]


@pytest.mark.parametrize(
    ("text", "layers"),
    [
        ("80 mm stone wool, 40 mm gap", ({"porous": 0.08, "of": "stone wool"}, {"gap": 0.04})),
        ("80 mm Stone Wool + 40 mm of air", ({"porous": 0.08, "of": "stone wool"}, {"gap": 0.04})),
        ("7,5 cm foam, 2,5 cm gap", ({"porous": 0.075, "of": "foam"}, {"gap": 0.025})),
        ("4 in glass wool,2 in gap", ({"porous": 0.1016, "of": "glass wool"}, {"gap": 0.0508})),
        ("2 1/2 in wool", ({"porous": 0.0635, "of": "wool"},)),
        ('4" wool', ({"porous": 0.1016, "of": "wool"},)),
        (
            "0.08 m wool, 30 mm gap, 20 mm foam",
            ({"porous": 0.08, "of": "wool"}, {"gap": 0.03}, {"porous": 0.02, "of": "foam"}),
        ),
    ],
)
def test_words(text: str, layers: tuple[dict[str, Any], ...]) -> None:
    assert layers_in_words(text) == layers
    assert build_up_in_words(text).name == text


@given(st.lists(st.tuples(st.integers(5, 400), st.sampled_from([*porous_materials(), "gap"])), min_size=1, max_size=4))
def test_words_written_by_rule_are_read_back(layers: list[tuple[int, str]]) -> None:
    text = ", ".join(f"{size} mm {what}" for size, what in layers)
    made = build_up_in_words(text)
    assert [round(1000 * layer.thickness_m) for layer in made.layers] == [size for size, _ in layers]  # type: ignore[union-attr]
    assert [isinstance(layer, AirGap) for layer in made.layers] == [what == "gap" for _, what in layers]


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("100 wool", "no build-up that is known; write layers from the room to the wall"),
        ("wool", "the closest are"),
        ("", "the library has"),
        ("50 mm moss", "a layer is of 'moss'; it may be of 'wool'"),
        ("3 m wool", "a porous layer is 3 m thick; give at most 1 m"),
        ("0 mm wool", "a porous layer is 0 m thick; give a thickness above zero"),
        ("-50 mm gap", "an air gap is -0.05 m thick; give a thickness above zero"),
        ("1,000 mm wool", "comma that could part thousands or decimals; "),
        ("100 mm wool,", "no build-up that is known; "),
    ],
)
def test_words_that_are_not_clear(text: str, words: str) -> None:
    sentence = scene_error({"build_up": text})
    assert words in sentence and "; " in sentence


@pytest.mark.parametrize(
    ("layer", "words"),
    [
        ({}, "has none of porous, gap, cloth, perforated, membrane; give"),
        ({"gap": 0.1, "cloth": 40}, "is gap and cloth at once; give"),
        ({"gap": 0.1, "of": "wool"}, 'the layer "gap" has "of"; '),
        ({"porous": 0.1}, 'has neither of "of" and "flow_resistivity"; give'),
        ({"porous": 0.1, "flow_resistivity": 10}, "meant in kPa s/m2, write 10000"),
        ({"porous": 0.1, "of": "wol"}, "the closest are 'wool'"),
        ({"porous": 2.0, "of": "wool"}, "is 2 m thick; give at most 1 m"),
        ({"perforated": 0.012, "hole": 0.006}, "are not clear; give hole"),
        ({"perforated": 0.012, "hole": 0.006, "pitch": 0.004}, "holes of 6 mm are 4 mm apart"),
        ({"porous": -0.1, "of": "wool"}, "greater than 0"),
        ({"porous": 0.1, "of": "wool", "colour": "grey"}, "not permitted"),
    ],
)
def test_layers_that_cannot_be(layer: dict[str, Any], words: str) -> None:
    assert words in scene_error(layer, LayerRecord)


def test_a_build_up_is_told_once() -> None:
    assert "has neither build_up nor layers; give one of them" in scene_error({})
    assert "has both build_up and layers; give one" in scene_error({"build_up": "50 mm wool", "layers": [{"gap": 0.1}]})
    assert "at least 1" in scene_error({"layers": []})
