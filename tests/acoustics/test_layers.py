"""Records of layers: what they refuse, in sentences, and how deep a build-up is."""

import math
from collections.abc import Callable

import pytest

from sim.acoustics.layers import (
    AirGap,
    Backing,
    BuildUp,
    Cloth,
    Membrane,
    PerforatedSheet,
    PorousLayer,
    check_depth,
    layer_words,
)


@pytest.mark.parametrize(
    ("make", "words"),
    [
        (lambda: PorousLayer(50.0, 10_000.0), r"porous layer is 50 m thick; give at most 1 m \(50 mm are 0.05 m\)"),
        (lambda: PorousLayer(0.0, 10_000.0), "porous layer is 0 m thick; give a thickness above zero"),
        (lambda: PorousLayer(math.nan, 10_000.0), "is nan m thick; give a thickness"),
        (lambda: PorousLayer(math.inf, 10_000.0), "is inf m thick; give at most 1 m"),
        (lambda: PorousLayer(0.05, 10.0), "if it is meant in kPa s/m2, write 10000"),
        (lambda: PorousLayer(0.05, 10_000.0, "biot"), 'model is "biot"; write "miki" or "delany-bazley"'),  # type: ignore[arg-type]
        (lambda: AirGap(-0.1), "an air gap is -0.1 m thick; give"),
        (lambda: Cloth(-1.0), "flow resistance of a cloth is -1 Pa s/m; give 0 to 10000"),
        (lambda: Cloth(100.0, 0.0), "mass of a cloth is 0 kg/m2; give"),
        (lambda: PerforatedSheet(0.01, 0.006, 1.2), "open area fraction of a perforated sheet is 1.2"),
        (lambda: PerforatedSheet(0.01, 0.6, 0.2), "diameter of a hole is 0.6 m; give"),
        (lambda: PerforatedSheet.with_pitch(0.01, 0.006, 0.006), "holes of 6 mm are 6 mm apart"),
        (lambda: Membrane(math.nan), "mass of a membrane is nan kg/m2; give"),
        (lambda: Backing("door", absorption=(0.1,)), "has 1 absorption coefficients; give 8"),
        (lambda: Backing("door", absorption=(-0.1,) * 8), "absorption below zero or no number; give 0 to 1"),
        (lambda: Backing("door", absorption=(0.1,) * 8, impedance_pa_s_m=1.0), "give one of them"),
        (lambda: Backing("door", impedance_pa_s_m=-1.0 + 2j), "would give energy off; give zero or more"),
    ],
)
def test_what_cannot_be_is_refused_with_a_remedy(make: Callable[[], object], words: str) -> None:
    with pytest.raises(ValueError, match=words) as refused:
        make()
    assert "; " in str(refused.value)


def test_pitch_and_open_share_are_two_ways_to_say_the_same() -> None:
    sheet = PerforatedSheet.with_pitch(0.012, 0.006, 0.020)
    assert sheet.open_share == pytest.approx(0.07069, abs=1e-5)  # (pi/4)(6/20)^2
    assert sheet.pitch_m == pytest.approx(0.020)
    assert PerforatedSheet.with_pitch(0.012, 0.010, 0.040).open_share == pytest.approx(0.04909, abs=1e-5)


def test_depth_counts_what_is_thick() -> None:
    thick = BuildUp("b", (Cloth(50.0), PorousLayer(0.1, 10_000.0), AirGap(0.1), Membrane(2.0)))
    assert thick.depth_m == 0.2
    assert BuildUp("bare", ()).depth_m == 0.0


def test_a_build_up_thicker_than_its_space_is_refused() -> None:
    thick = BuildUp("100 mm wool, 100 mm gap", (PorousLayer(0.1, 10_000.0), AirGap(0.1)))
    check_depth(thick, 0.2)
    with pytest.raises(ValueError, match="is 200 mm deep, but there are 150 mm; choose a thinner one"):
        check_depth(thick, 0.15)


def test_layers_say_what_they_are() -> None:
    assert layer_words(PorousLayer(0.05, 8000.0)) == "porous, 50 mm, flow resistivity 8000 Pa s/m2"
    assert layer_words(PorousLayer(0.05, 8000.0, "delany-bazley", divided=True)).endswith(
        "model of Delany and Bazley, divided"
    )
    assert layer_words(AirGap(0.1, divided=True)) == "air gap, 100 mm, divided"
    assert layer_words(Cloth(50.0)) == "cloth, flow resistance 50 Pa s/m, held still"
    assert layer_words(PerforatedSheet(0.012, 0.006, 0.07)) == "perforated sheet, 12 mm, holes of 6 mm, 7 % open"
    assert layer_words(Membrane(5.0)) == "membrane, 5 kg/m2"
