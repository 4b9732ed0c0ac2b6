"""Closed forms of resonators against worked values, and what build-ups are said to be tuned to."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sim.acoustics.air import Air
from sim.acoustics.buildups import find_build_up
from sim.acoustics.layers import AirGap, BuildUp, Cloth, Membrane, PerforatedSheet, PorousLayer
from sim.acoustics.resonators import (
    END_CORRECTION,
    MEMBRANE_RULE,
    end_correction,
    membrane_resonance_hz,
    perforated_resonance_hz,
    quarter_wave_hz,
    tuning,
)
from tests.acoustics.layered_by_hand import ends_in_diameters

AIR = Air()


def test_worked_membranes() -> None:
    # (c/2 pi) sqrt(rho/(m d)), Cox & D'Antonio; rounded there to 60/sqrt(m d).
    assert membrane_resonance_hz(6.4, 0.10, AIR) == pytest.approx(74.92, abs=0.01)
    assert membrane_resonance_hz(10.0, 0.20, AIR) == pytest.approx(42.38, abs=0.01)
    assert membrane_resonance_hz(1.0, 1.0, AIR) == pytest.approx(59.94, abs=0.01)
    assert membrane_resonance_hz(1.0, 1.0, AIR) == pytest.approx(MEMBRANE_RULE, rel=2e-3)
    # Air at one temperature: 50.66/sqrt(m d).
    assert membrane_resonance_hz(1.0, 1.0, AIR, filled=True) == pytest.approx(50.66, abs=0.01)


def test_worked_perforated_sheets() -> None:
    # (c/2 pi) sqrt(eps/(t' d)), t' = t + e diameters, Cox & D'Antonio; e by Fok's series, summed by hand:
    # 0.5370 at 7.07 % open, 0.5878 at 4.91 %.  With 0.85, a hole alone, they were 496.65 and 267.29 Hz.
    fine = PerforatedSheet.with_pitch(0.012, 0.006, 0.020)
    coarse = PerforatedSheet.with_pitch(0.012, 0.010, 0.040)
    assert perforated_resonance_hz(fine, 0.05, AIR) == pytest.approx(526.40, abs=0.05)
    assert perforated_resonance_hz(coarse, 0.10, AIR) == pytest.approx(286.22, abs=0.05)


def test_ends_of_holes_among_others() -> None:
    """A hole alone, no sheet left, and the piston in a tube between them, which moves as one and so weighs more."""
    assert end_correction(1e-8) == pytest.approx(8.0 / (3.0 * np.pi), rel=2e-3)  # Rayleigh
    assert end_correction(1.0) == 0.0
    shares = np.linspace(1e-3, 1.0, 400)
    ends = np.array([end_correction(share) for share in shares])
    assert (np.diff(ends) <= 0.0).all() and (ends >= 0.0).all()
    for share, within in ((0.005, 0.01), (0.02, 0.02), (0.05, 0.035), (0.1, 0.05), (0.2, 0.09)):
        assert end_correction(share) == pytest.approx(ends_in_diameters(share), rel=within)
        assert end_correction(share) < ends_in_diameters(share)
    # The short form 1 - 1.47 sqrt(s) + 0.47 sqrt(s^3) (Rschevkin, A Course of Lectures on the Theory of Sound, 1963;
    # from memory) lies within 3 % of Fok's series up to 10 % open.
    for share in (0.005, 0.02, 0.05, 0.1):
        short = 1.0 - 1.47 * share**0.5 + 0.47 * share**1.5
        assert end_correction(share) == pytest.approx(END_CORRECTION * short, rel=0.03)


def test_worked_quarter_wavelengths() -> None:
    worked = {0.025: 3432.0, 0.05: 1716.0, 0.1: 858.0, 0.15: 572.0, 0.2: 429.0}
    for distance, frequency in worked.items():
        assert quarter_wave_hz(distance, AIR) == pytest.approx(frequency, abs=0.5)


@given(mass=st.floats(0.1, 50.0), gap=st.floats(0.01, 0.5))
def test_four_times_the_mass_or_the_gap_halves_the_resonance(mass: float, gap: float) -> None:
    once = membrane_resonance_hz(mass, gap, AIR)
    assert membrane_resonance_hz(4.0 * mass, gap, AIR) == pytest.approx(0.5 * once)
    assert membrane_resonance_hz(mass, 4.0 * gap, AIR) == pytest.approx(0.5 * once)


def test_a_membrane_over_wool_is_tuned_by_its_mass_and_the_whole_depth_behind() -> None:
    tuned = tuning(find_build_up("membrane over 100 mm wool"), AIR)
    assert tuned is not None and tuned.kind == "membrane"
    assert tuned.depth_m == pytest.approx(0.1)
    assert tuned.frequency_hz == pytest.approx(50.66 / (5.0 * 0.1) ** 0.5, abs=0.1)
    assert "tuned to about 72 Hz" in tuned.sentence


def test_a_perforated_board_is_tuned_by_its_holes() -> None:
    tuned = tuning(find_build_up("perforated board over 50 mm wool"), AIR)
    assert tuned is not None and tuned.kind == "perforated sheet"
    assert tuned.frequency_hz == pytest.approx(526.40 / 1.4**0.5, rel=2e-3)  # wool keeps the air at one temperature
    assert "belongs at a wall" in tuned.sentence


def test_only_the_spring_up_to_the_next_sheet_counts() -> None:
    double = BuildUp("double", (Cloth(10.0), Membrane(2.0), AirGap(0.05), Membrane(2.0), AirGap(0.2)))
    tuned = tuning(double, AIR)
    assert tuned is not None
    assert tuned.frequency_hz == pytest.approx(membrane_resonance_hz(2.0, 0.05, AIR))


def test_wool_is_told_by_its_distance_from_the_wall() -> None:
    tuned = tuning(BuildUp("wool", (Cloth(10.0), PorousLayer(0.1, 10_000.0), AirGap(0.1))), AIR)
    assert tuned is not None and tuned.kind == "porous layer"
    assert tuned.frequency_hz == pytest.approx(429.0)
    assert tuned.sentence.startswith("Its face stands 200 mm off the wall")


def test_a_bare_wall_and_a_membrane_glued_to_it_are_tuned_to_nothing() -> None:
    assert tuning(BuildUp("bare", ()), AIR) is None
    assert tuning(BuildUp("glued", (Membrane(5.0),)), AIR) is None
    assert tuning(BuildUp("curtain", (Cloth(400.0), AirGap(0.1))), AIR) is None


def test_sizes_that_cannot_be() -> None:
    with pytest.raises(ValueError, match="gap_m is 0; give a value above zero"):
        membrane_resonance_hz(5.0, 0.0, AIR)
    with pytest.raises(ValueError, match="mass_kg_m2 is -1; give"):
        membrane_resonance_hz(-1.0, 0.1, AIR)
    with pytest.raises(ValueError, match="distance_m is 0; give"):
        quarter_wave_hz(0.0, AIR)
