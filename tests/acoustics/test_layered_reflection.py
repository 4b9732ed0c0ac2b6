"""Reflection from layers: worked tables, closed forms, limits, the slow twin, and never more energy than arrives."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sim.acoustics.air import Air
from sim.acoustics.buildups import build_ups
from sim.acoustics.layered_reflection import random_incidence, reflection_factor_at, surface_impedance
from sim.acoustics.layers import AirGap, Backing, BuildUp, Cloth, Layer, Membrane, PerforatedSheet, PorousLayer
from sim.acoustics.materials import reflection_factor
from sim.acoustics.resonators import membrane_resonance_hz, perforated_resonance_hz, quarter_wave_hz, tuning
from tests.acoustics.layered_by_hand import impedance_written_out, reflection_written_out

AIR = Air()
RHO_C = AIR.density_kg_m3 * AIR.speed_of_sound_m_s
OCTAVES = [125.0, 250.0, 500.0, 1000.0, 2000.0, 4000.0]
TOLERANCE = 2e-4
"""Of the worked tables, absolute."""

thickness = st.floats(0.002, 0.4)
layer = st.one_of(
    st.builds(
        PorousLayer, thickness, st.floats(500.0, 500_000.0), st.sampled_from(["miki", "delany-bazley"]), st.booleans()
    ),
    st.builds(AirGap, thickness, st.booleans()),
    st.builds(Cloth, st.floats(0.0, 5000.0), st.none() | st.floats(0.01, 5.0)),
    st.builds(PerforatedSheet, st.floats(2e-4, 0.03), st.floats(1e-4, 0.02), st.floats(0.005, 0.5)),
    st.builds(Membrane, st.floats(0.05, 50.0), st.floats(0.0, 500.0)),
)
octaves = st.lists(st.floats(0.0, 1.2), min_size=8, max_size=8).map(tuple)
backing = st.one_of(
    st.just(Backing()),
    st.builds(lambda rows: Backing("wall", absorption=rows), octaves),
    st.builds(lambda r, x: Backing("wall", impedance_pa_s_m=complex(r, x)), st.floats(0.0, 1e5), st.floats(-1e5, 1e5)),
)
frequencies = st.lists(st.floats(20.0, 20_000.0), min_size=1, max_size=6)
angles = st.lists(st.floats(0.0, 0.5 * math.pi), min_size=1, max_size=4)


def built(*layers: Layer, behind: Backing | None = None) -> BuildUp:
    return BuildUp("test", layers, behind if behind is not None else Backing())


def absorbed(build_up: BuildUp, angle_deg: float) -> list[float]:
    factor = reflection_factor_at(build_up, OCTAVES, [math.radians(angle_deg)], AIR)
    return list(1.0 - np.abs(factor[0]) ** 2)


WOOL_50 = PorousLayer(0.05, 10_000.0)
WOOL_100 = PorousLayer(0.1, 10_000.0)
WOOL_50_DIVIDED = PorousLayer(0.05, 10_000.0, divided=True)
WOOL_100_DIVIDED = PorousLayer(0.1, 10_000.0, divided=True)
ANGLE_TABLE = [
    ((WOOL_50,), 0, [0.0642, 0.1900, 0.4835, 0.8824, 0.9815, 0.9709]),
    ((WOOL_50,), 45, [0.1157, 0.3101, 0.6132, 0.8706, 0.9852, 0.9901]),
    ((WOOL_50_DIVIDED,), 45, [0.0878, 0.2414, 0.5243, 0.8213, 0.9893, 0.9310]),
    ((WOOL_100,), 0, [0.2604, 0.6198, 0.9367, 0.9474, 0.9820, 0.9906]),
    ((WOOL_100,), 45, [0.3595, 0.7077, 0.9434, 0.9958, 0.9903, 0.9979]),
    ((WOOL_100,), 60, [0.4434, 0.7413, 0.9083, 0.9751, 0.9737, 0.9782]),
    ((WOOL_50, AirGap(0.05)), 0, [0.1734, 0.4928, 0.9080, 0.9655, 0.8858, 0.9977]),
    ((WOOL_50, AirGap(0.05)), 45, [0.1708, 0.4409, 0.7839, 0.9773, 0.9689, 0.9960]),
    ((WOOL_100, AirGap(0.1)), 0, [0.6051, 0.8872, 0.8871, 0.9408, 0.9832, 0.9853]),
    ((PorousLayer(0.1, 20_000.0),), 0, [0.3457, 0.6615, 0.8445, 0.8800, 0.9487, 0.9740]),
    ((PorousLayer(0.05, 10_000.0, "delany-bazley"),), 0, [0.0340, 0.1724, 0.4965, 0.8854, 0.9863, 0.9734]),
    ((PorousLayer(0.1, 10_000.0, "delany-bazley"),), 0, [0.2219, 0.6195, 0.9427, 0.9578, 0.9853, 0.9948]),
]
"""Worked in separate programs from the constants of Miki (1990) and Delany & Bazley (1970)."""
RANDOM_TABLE = [
    ((WOOL_50,), [0.1371, 0.3223, 0.5876, 0.8272, 0.9298, 0.9537]),
    ((WOOL_50_DIVIDED,), [0.1006, 0.2467, 0.4938, 0.7635, 0.9336, 0.8703]),
    ((WOOL_100,), [0.3692, 0.6792, 0.8963, 0.9451, 0.9511, 0.9590]),
    ((WOOL_100_DIVIDED,), [0.3341, 0.6433, 0.8809, 0.9417, 0.9150, 0.9264]),
    ((WOOL_50, AirGap(0.05)), [0.1916, 0.4568, 0.7671, 0.9028, 0.9070, 0.9519]),
    ((WOOL_100, AirGap(0.1)), [0.5508, 0.8301, 0.9136, 0.9303, 0.9511, 0.9582]),
    ((PorousLayer(0.1, 20_000.0),), [0.4583, 0.7413, 0.8852, 0.9137, 0.9391, 0.9507]),
]


@pytest.mark.parametrize(("layers", "angle_deg", "expected"), ANGLE_TABLE)
def test_worked_coefficients_at_an_angle(layers: tuple[Layer, ...], angle_deg: float, expected: list[float]) -> None:
    assert absorbed(built(*layers), angle_deg) == pytest.approx(expected, abs=TOLERANCE)


@pytest.mark.parametrize(("layers", "expected"), RANDOM_TABLE)
def test_worked_coefficients_at_random_incidence(layers: tuple[Layer, ...], expected: list[float]) -> None:
    assert random_incidence(built(*layers), OCTAVES, 90.0, AIR) == pytest.approx(expected, abs=TOLERANCE)


@pytest.mark.parametrize(
    ("layers", "expected"),
    [
        (
            (WOOL_50,),
            [
                0.7485 - 6.6012j,
                0.6465 - 3.3019j,
                0.5924 - 1.5380j,
                0.6552 - 0.4800j,
                1.2283 + 0.2013j,
                0.8869 - 0.3058j,
            ],
        ),
        (
            (WOOL_100,),
            [
                0.9277 - 3.2457j,
                0.9257 - 1.5054j,
                1.0644 - 0.5325j,
                1.4955 - 0.2947j,
                1.0979 - 0.2664j,
                1.1371 - 0.1561j,
            ],
        ),
        (
            (WOOL_50, AirGap(0.05)),
            [
                0.7174 - 3.6872j,
                0.7199 - 1.6986j,
                0.8289 - 0.5537j,
                1.4307 + 0.1373j,
                0.8093 - 0.6173j,
                0.9356 - 0.0661j,
            ],
        ),
    ],
)
def test_worked_surface_impedances(layers: tuple[Layer, ...], expected: list[complex]) -> None:
    impedance = surface_impedance(built(*layers), OCTAVES, [1.0], AIR)
    assert impedance.shape == (1, 6)
    assert list(impedance[0] / RHO_C) == pytest.approx(expected, abs=TOLERANCE)


def test_levels_of_100_mm_at_45_degrees() -> None:
    factor = reflection_factor_at(built(WOOL_100), OCTAVES, [math.pi / 4.0], AIR)
    expected = [-1.935, -5.342, -12.472, -23.757, -20.155, -26.679]
    assert list(20.0 * np.log10(np.abs(factor[0]))) == pytest.approx(expected, abs=0.01)


@pytest.mark.parametrize(
    ("layer", "angle_deg", "frequency_hz"),
    [
        (WOOL_100, 0, 439.6),
        (WOOL_100, 45, 414.5),
        (WOOL_100, 60, 474.1),
        (WOOL_50, 0, 1040.9),
        (WOOL_50, 45, 1123.7),
        (WOOL_50, 60, 1622.5),
    ],
)
def test_where_the_reflection_is_ten_decibels_down(layer: PorousLayer, angle_deg: float, frequency_hz: float) -> None:
    factor = reflection_factor_at(built(layer), [frequency_hz], [math.radians(angle_deg)], AIR)
    assert 20.0 * np.log10(np.abs(factor[0, 0])) == pytest.approx(-10.0, abs=0.01)


def test_levels_that_studio_builders_reckon_with() -> None:
    """Rounded levels re a hard wall in the octaves 250 Hz to 4 kHz (common practice, no source), flow resistivity
    10 kPa s/m2; each within the decibel it is rounded to."""
    rounded = [
        ((PorousLayer(0.025, 10_000.0),), 23, [0, -1, -2, -6, -12]),
        ((WOOL_50,), 23, [-1, -3, -9, -21, -15]),
        ((WOOL_50, AirGap(0.05)), 55, [-3, -6, -11, -34, -19]),
        ((WOOL_100, AirGap(0.05)), 23, [-7, -14, -12, -16, -23]),
        ((WOOL_100, AirGap(0.1)), 31, [-10, -13, -13, -18, -24]),
        ((WOOL_100, AirGap(0.1)), 35, [-10, -14, -13, -18, -24]),
    ]
    for layers, angle_deg, levels in rounded:
        factor = reflection_factor_at(built(*layers), OCTAVES[1:], [math.radians(angle_deg)], AIR)
        assert list(20.0 * np.log10(np.abs(factor[0]))) == pytest.approx(levels, abs=0.6)


@pytest.mark.parametrize(
    ("impedance", "expected"),
    [
        (1, 0.909645),
        (2, 0.938884),
        (5, 0.719941),
        (10, 0.489064),
        (1.56692, 0.951222),
        (2 - 3j, 0.559551),
        (1 - 1j, 0.781124),
        (0.8 - 2.5j, 0.399763),
    ],
)
def test_random_incidence_of_a_local_impedance(impedance: complex, expected: float) -> None:
    """Closed form of the Paris integral (Vigran, Building Acoustics, 2008, equation 3.80)."""
    bare = built(behind=Backing("given", impedance_pa_s_m=impedance * RHO_C))
    assert random_incidence(bare, [1000.0], 90.0, AIR)[0] == pytest.approx(expected, abs=1e-6)
    r, x, m = complex(impedance).real, complex(impedance).imag, abs(impedance) ** 2
    arc = math.atan(x / (1.0 + r)) / x if x else 1.0 / (1.0 + r)
    closed = 8.0 * r / m * (1.0 - r / m * math.log(1.0 + 2.0 * r + m) + (r * r - x * x) / m * arc)
    assert closed == pytest.approx(expected, abs=1e-6)


def test_oblique_reflection_from_a_local_impedance() -> None:
    bare = built(behind=Backing("given", impedance_pa_s_m=(2 - 3j) * RHO_C))
    factor = reflection_factor_at(bare, [1000.0], np.radians([0, 30, 45, 60, 80]), AIR)[:, 0]
    assert list(np.abs(factor)) == pytest.approx([0.74536, 0.71595, 0.67253, 0.60000, 0.57813], abs=1e-5)
    assert list(np.degrees(np.angle(factor))) == pytest.approx([-26.565, -30.704, -37.646, -53.130, -120.266], abs=1e-3)


@settings(max_examples=30)
@given(layer=st.sampled_from([WOOL_50, WOOL_100, PorousLayer(0.025, 30_000.0)]), frequency=st.floats(50.0, 10_000.0))
def test_field_incidence_is_the_plain_mean_up_to_78_degrees(layer: PorousLayer, frequency: float) -> None:
    """Trapezoids in steps of a twentieth of a degree, weight sin t cos t, over their own weight."""
    steps = np.radians(np.linspace(0.0, 78.0, 1561))
    weight = np.sin(steps) * np.cos(steps)
    fraction = 1.0 - np.abs(reflection_factor_at(built(layer), [frequency], steps, AIR)[:, 0]) ** 2
    plain = np.trapezoid(fraction * weight, steps) / np.trapezoid(weight, steps)
    assert random_incidence(built(layer), [frequency], air=AIR)[0] == pytest.approx(plain, abs=1e-6)


def test_a_surface_that_takes_everything_has_one_at_any_limit() -> None:
    opening = built(behind=Backing("opening", absorption=(1.0,) * 8))
    for limit in (45.0, 78.0, 90.0):
        assert random_incidence(opening, [500.0], limit, AIR)[0] == pytest.approx(1.0)


@settings(max_examples=150)
@given(st.lists(layer, max_size=5), backing, frequencies, angles)
def test_a_passive_surface_never_reflects_more_than_arrives(
    layers: list[Layer], behind: Backing, at_hz: list[float], at_rad: list[float]
) -> None:
    factor = reflection_factor_at(BuildUp("any", tuple(layers), behind), at_hz, at_rad, AIR)
    assert factor.shape == (len(at_rad), len(at_hz))
    assert np.all(np.isfinite(factor))
    assert np.all(np.abs(factor) <= 1.0 + 1e-9)


@settings(max_examples=40)
@given(st.lists(layer, max_size=5), backing)
def test_random_incidence_lies_between_zero_and_one(layers: list[Layer], behind: Backing) -> None:
    fraction = random_incidence(BuildUp("any", tuple(layers), behind), [63.0, 500.0, 4000.0], air=AIR)
    assert np.all((fraction >= -1e-9) & (fraction <= 1.0 + 1e-9))


gentle = st.one_of(
    st.builds(PorousLayer, st.floats(0.005, 0.15), st.floats(2000.0, 40_000.0), divided=st.booleans()),
    st.builds(AirGap, st.floats(0.005, 0.2), st.booleans()),
    st.builds(Cloth, st.floats(1.0, 2000.0), st.none() | st.floats(0.05, 2.0)),
    st.builds(Membrane, st.floats(0.05, 20.0), st.floats(0.0, 300.0)),
)


@settings(max_examples=150)
@given(
    layers=st.lists(gentle, min_size=1, max_size=4),
    given_ohm=st.none() | st.builds(complex, st.floats(1.0, 1e4), st.floats(-1e4, 1e4)),
    frequency=st.floats(40.0, 8000.0),
    angle=st.floats(0.0, 1.45),
)
def test_layers_written_out_one_by_one(
    layers: list[Layer], given_ohm: complex | None, frequency: float, angle: float
) -> None:
    build_up = BuildUp("any", tuple(layers), Backing("given", impedance_pa_s_m=given_ohm))
    expected = reflection_written_out(build_up, frequency, angle, AIR)
    assert complex(reflection_factor_at(build_up, [frequency], [angle], AIR)[0, 0]) == pytest.approx(expected, abs=1e-6)


def test_perforated_board_over_wool_written_out() -> None:
    """Within what separates Maa's closed form from the exact tube."""
    board = built(PerforatedSheet.with_pitch(0.012, 0.006, 0.02), WOOL_50)
    for frequency in (100.0, 300.0, 497.0, 800.0, 3000.0):
        expected = reflection_written_out(board, frequency, 0.5, AIR)
        assert abs(reflection_factor_at(board, [frequency], [0.5], AIR)[0, 0] - expected) < 0.03


@given(frequencies, angles, octaves)
def test_a_thin_gap_before_a_wall_is_the_wall(at_hz: list[float], at_rad: list[float], rows: tuple[float, ...]) -> None:
    wall = Backing("wall", absorption=rows)
    factor = reflection_factor_at(built(AirGap(1e-9), behind=wall), at_hz, at_rad, AIR)
    assert np.allclose(factor, reflection_factor(rows, at_hz)[None, :], atol=1e-5)


@given(frequencies, st.lists(st.floats(0.0, 1.5), min_size=1, max_size=4))
def test_a_thin_gap_behind_wool_is_no_gap(at_hz: list[float], at_rad: list[float]) -> None:
    without = reflection_factor_at(built(WOOL_50), at_hz, at_rad, AIR)
    thin = reflection_factor_at(built(WOOL_50, AirGap(1e-8)), at_hz, at_rad, AIR)
    assert np.allclose(thin, without, atol=1e-4)


@given(frequencies, angles, st.floats(0.01, 0.99))
def test_a_layer_cut_in_two_is_the_same_layer(at_hz: list[float], at_rad: list[float], part: float) -> None:
    whole = reflection_factor_at(built(WOOL_100), at_hz, at_rad, AIR)
    cut = built(PorousLayer(0.1 * part, 10_000.0), PorousLayer(0.1 * (1.0 - part), 10_000.0))
    assert np.allclose(reflection_factor_at(cut, at_hz, at_rad, AIR), whole, atol=1e-9)


@given(
    st.floats(1000.0, 100_000.0),
    st.floats(0.005, 0.3),
    st.floats(50.0, 5000.0),
    st.floats(0.0, 1.5),
    st.floats(1.0, 3.0),
)
def test_twice_the_resistivity_and_half_the_thickness_act_an_octave_higher(
    sigma: float, depth: float, frequency: float, angle: float, factor: float
) -> None:
    """Miki's power law depends on f/sigma and k d alone: R(f, sigma, d) = R(2f, 2 sigma, d/2)."""
    low = reflection_factor_at(built(PorousLayer(depth, sigma)), [frequency], [angle], AIR)
    shifted = built(PorousLayer(depth / factor, sigma * factor))
    assert np.allclose(reflection_factor_at(shifted, [frequency * factor], [angle], AIR), low, atol=1e-9)


@pytest.mark.parametrize("depth", [0.025, 0.05, 0.1, 0.2])
@pytest.mark.parametrize("resistance", [0.6, 1.2, 2.4])
def test_a_rigid_backed_layer_peaks_near_a_quarter_wavelength(depth: float, resistance: float) -> None:
    """With a flow resistance of 0.5 to 2.5 rho c in all, the first maximum lies within a fifth of c/(4 d)."""
    at_hz = np.geomspace(100.0, 8000.0, 8000)
    layer = PorousLayer(depth, resistance * RHO_C / depth)
    left = np.abs(reflection_factor_at(built(layer), at_hz, [0.0], AIR)[0])
    minima = np.flatnonzero((left[1:-1] < left[:-2]) & (left[1:-1] < left[2:])) + 1
    assert at_hz[minima[0]] == pytest.approx(quarter_wave_hz(depth, AIR), rel=0.2)


@pytest.mark.parametrize("distance", [0.025, 0.05, 0.1, 0.15, 0.2])
def test_a_resistive_cloth_takes_everything_a_quarter_wavelength_off_the_wall(distance: float) -> None:
    curtain = built(Cloth(RHO_C), AirGap(distance))
    assert abs(reflection_factor_at(curtain, [quarter_wave_hz(distance, AIR)], [0.0], AIR)[0, 0]) < 1e-9
    assert abs(reflection_factor_at(curtain, [2.0 * quarter_wave_hz(distance, AIR)], [0.0], AIR)[0, 0]) > 1.0 - 1e-9


def test_resonators_take_most_where_their_closed_forms_say() -> None:
    at_hz = np.geomspace(30.0, 2000.0, 20_000)
    membrane = built(Membrane(6.4, 200.0), AirGap(0.1))
    deepest = at_hz[np.argmin(np.abs(reflection_factor_at(membrane, at_hz, [0.0], AIR)[0]))]
    assert deepest == pytest.approx(membrane_resonance_hz(6.4, 0.1, AIR), rel=0.01)
    sheet = PerforatedSheet.with_pitch(0.012, 0.006, 0.020)
    board = built(sheet, Cloth(100.0), AirGap(0.05))
    deepest = at_hz[np.argmin(np.abs(reflection_factor_at(board, at_hz, [0.0], AIR)[0]))]
    assert deepest == pytest.approx(perforated_resonance_hz(sheet, 0.05, AIR), rel=0.06)


@pytest.mark.parametrize("name", ["perforated board over 50 mm wool", "membrane over 100 mm wool"])
def test_pressure_absorbers_over_wool_are_tuned_to_where_they_take_most(name: str) -> None:
    at_hz = np.geomspace(30.0, 2000.0, 5000)
    build_up = build_ups()[name]
    deepest = at_hz[np.argmin(np.abs(reflection_factor_at(build_up, at_hz, [0.0], AIR)[0]))]
    tuned = tuning(build_up, AIR)
    assert tuned is not None
    assert tuned.frequency_hz == pytest.approx(deepest, rel=0.06)


def test_a_gap_alone_shifts_phase_by_the_way_there_and_back() -> None:
    factor = reflection_factor_at(built(AirGap(0.1)), [500.0], [0.6], AIR)[0, 0]
    phase = -2.0 * 2.0 * math.pi * 500.0 / AIR.speed_of_sound_m_s * 0.1 * math.cos(0.6)
    assert factor == pytest.approx(complex(math.cos(phase), math.sin(phase)), abs=1e-12)


def test_a_hard_face_has_no_end_to_its_impedance() -> None:
    assert np.isinf(surface_impedance(built(), [500.0], [1.0], AIR)[0, 0])
    assert reflection_factor_at(built(), [500.0], [0.5 * math.pi], AIR)[0, 0] == pytest.approx(1.0)


@given(layers=st.lists(gentle, min_size=1, max_size=3), frequency=st.floats(40.0, 4000.0), angle=st.floats(0.0, 1.4))
def test_impedance_and_reflection_factor_say_the_same(layers: list[Layer], frequency: float, angle: float) -> None:
    behind = Backing("felt", impedance_pa_s_m=(0.5 - 8.0j) * RHO_C)
    build_up = BuildUp("any", tuple(layers), behind)
    impedance = complex(surface_impedance(build_up, [frequency], [math.cos(angle)], AIR)[0, 0])
    turned = impedance * math.cos(angle)
    factor = complex(reflection_factor_at(build_up, [frequency], [angle], AIR)[0, 0])
    assert factor == pytest.approx((turned - RHO_C) / (turned + RHO_C), abs=1e-9)
    assert abs(impedance / impedance_written_out(build_up, frequency, angle, AIR) - 1.0) < 1e-4


def test_a_metre_of_heavy_felt_overflows_nothing() -> None:
    felt = built(PorousLayer(1.0, 500_000.0), AirGap(1.0), PorousLayer(1.0, 500_000.0))
    factor = reflection_factor_at(felt, [20.0, 20_000.0], [0.0, 1.5], AIR)
    assert np.all(np.isfinite(factor)) and np.all(np.abs(factor) < 1.0)


@pytest.mark.parametrize(
    ("at_hz", "at_rad", "words"),
    [
        ([0.0], [0.0], "above 0 Hz"),
        ([-5.0], [0.0], "above 0 Hz"),
        ([math.nan], [0.0], "above 0 Hz"),
        ([100.0], [2.0], "outside 0 to 90 degrees"),
        ([100.0], [-0.1], "outside 0 to 90 degrees"),
    ],
)
def test_frequencies_and_angles_that_cannot_be(at_hz: list[float], at_rad: list[float], words: str) -> None:
    with pytest.raises(ValueError, match=words):
        reflection_factor_at(built(WOOL_50), at_hz, at_rad, AIR)


def test_limits_and_cosines_that_cannot_be() -> None:
    with pytest.raises(ValueError, match="give 78 or 90"):
        random_incidence(built(WOOL_50), [100.0], 0.0, AIR)
    with pytest.raises(ValueError, match="cosine of an angle lies outside"):
        surface_impedance(built(WOOL_50), [100.0], [1.2], AIR)
