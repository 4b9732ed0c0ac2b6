"""Where models are out of their range, in sentences and per frequency."""

from sim.acoustics.air import Air
from sim.acoustics.bands import third_octave_bands
from sim.acoustics.layered_reflection import out_of_range, within_range
from sim.acoustics.layers import AirGap, BuildUp, Membrane, PerforatedSheet, PorousLayer

THIRDS = third_octave_bands(50, 16000).nominal_hz
AIR = Air()


def test_wool_of_usual_resistivity_is_told_at_both_ends() -> None:
    wool = BuildUp("wool", (PorousLayer(0.1, 10_000.0), AirGap(0.1)))
    (sentence,) = out_of_range(wool, THIRDS)
    assert sentence == (
        "The model of the layer (porous, 100 mm, flow resistivity 10000 Pa s/m2) is trusted from 100 Hz to 10 kHz; "
        "at 50 Hz to 80 Hz and at 12.5 kHz to 16 kHz it is a guess."
    )
    good = within_range(wool, THIRDS)
    assert [float(f) for f in THIRDS[~good]] == [50.0, 63.0, 80.0, 12500.0, 16000.0]


def test_nothing_is_said_within_the_range_or_of_air() -> None:
    wool = BuildUp("wool", (PorousLayer(0.1, 10_000.0),))
    assert out_of_range(wool, [100.0, 1000.0, 10_000.0]) == ()
    assert out_of_range(BuildUp("gap", (AirGap(0.1),)), THIRDS) == ()
    assert within_range(BuildUp("gap", (AirGap(0.1),)), THIRDS).all()


def test_heavy_felt_is_out_of_range_in_the_bass_alone() -> None:
    (sentence,) = out_of_range(BuildUp("felt", (PorousLayer(0.02, 100_000.0),)), [63.0, 1000.0, 4000.0])
    assert "from 1 kHz to 100 kHz; at 63 Hz it is a guess" in sentence


def test_like_layers_are_told_once() -> None:
    twice = BuildUp("two", (PorousLayer(0.05, 10_000.0), AirGap(0.01), PorousLayer(0.05, 10_000.0)))
    assert len(out_of_range(twice, [63.0])) == 1


def test_holes_far_apart_are_no_even_sheet_at_high_frequencies() -> None:
    coarse = BuildUp("slab", (PerforatedSheet.with_pitch(0.012, 0.010, 0.040), AirGap(0.1)))
    (sentence,) = out_of_range(coarse, [500.0, 4000.0, 8000.0], AIR)
    assert "trusted up to 4.29 kHz; at 8 kHz it is a guess" in sentence  # 343.2/(2 x 0.04)
    assert within_range(coarse, [4000.0, 8000.0], AIR).tolist() == [True, False]


def test_a_membrane_says_that_its_stiffness_is_left_out() -> None:
    assert "stiffness" in out_of_range(BuildUp("skin", (Membrane(5.0), AirGap(0.1))), [100.0])[0]
