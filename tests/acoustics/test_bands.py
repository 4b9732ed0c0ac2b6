import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sim.acoustics.bands import (
    OCTAVES_HZ,
    Bands,
    band_weights,
    octave_bands,
    sample_frequencies,
    third_octave_bands,
    transition_frequency_hz,
)
from sim.acoustics.levels import level_db


def test_octaves_have_base_ten_frequencies() -> None:
    # IEC 61260-1:2014: 1000 * 10^(3k/10), five significant digits.
    bands = octave_bands()
    assert tuple(bands.nominal_hz) == OCTAVES_HZ
    printed = [63.096, 125.89, 251.19, 501.19, 1000.0, 1995.3, 3981.1, 7943.3, 15849]
    assert bands.exact_hz == pytest.approx(printed, rel=5e-5)


def test_octave_edges_meet() -> None:
    bands = octave_bands(125, 8000)
    assert bands.upper_hz[:-1] == pytest.approx(bands.lower_hz[1:], rel=1e-14)
    one_khz = list(bands.nominal_hz).index(1000)
    assert bands.lower_hz[one_khz] == pytest.approx(707.946, abs=1e-3)
    assert bands.upper_hz[one_khz] == pytest.approx(1412.538, abs=1e-3)


def test_three_third_octaves_make_an_octave() -> None:
    thirds, octaves = third_octave_bands(), octave_bands()
    assert len(thirds) == 3 * len(octaves)
    assert thirds.lower_hz[::3] == pytest.approx(octaves.lower_hz, rel=1e-14)
    assert thirds.upper_hz[2::3] == pytest.approx(octaves.upper_hz, rel=1e-14)


def test_third_octaves_are_near_their_names() -> None:
    bands = third_octave_bands(100, 10000)
    assert bands.exact_hz == pytest.approx(bands.nominal_hz, rel=0.015)


@pytest.mark.parametrize(("lowest", "highest"), [(60, 8000), (8000, 63), (63, 20000)])
def test_bands_that_do_not_exist_are_refused(lowest: float, highest: float) -> None:
    with pytest.raises(ValueError, match="Hz"):
        octave_bands(lowest, highest)


@pytest.mark.parametrize("points", [1, 4, 9])
def test_sample_frequencies_lie_inside_and_centred(points: int) -> None:
    bands = octave_bands()
    frequencies = sample_frequencies(bands, points)
    assert frequencies.shape == (9, points)
    assert np.all(frequencies > bands.lower_hz[:, None])
    assert np.all(frequencies < bands.upper_hz[:, None])
    assert np.exp(np.log(frequencies).mean(axis=1)) == pytest.approx(bands.exact_hz, rel=1e-12)
    # Evenly spaced on a logarithmic axis, also across from one band to the next.
    steps = np.diff(np.log(frequencies.ravel()))
    assert steps == pytest.approx(np.full(len(steps), steps[0]), rel=1e-9)


def test_no_points_is_refused() -> None:
    with pytest.raises(ValueError, match="at least 1"):
        sample_frequencies(octave_bands(), 0)


def middle_of_the_range(bands: Bands, count: int) -> np.ndarray:
    return np.geomspace(bands.exact_hz[0], bands.exact_hz[-1], count)


@given(overlap=st.floats(0.01, 1.0), place=st.floats(0.0, 1.0))
def test_weights_share_out_all_energy(overlap: float, place: float) -> None:
    bands = octave_bands()
    lowest, highest = bands.exact_hz[0], bands.exact_hz[-1]
    frequency = lowest * (highest / lowest) ** place
    weights = band_weights([frequency], bands, overlap=overlap)
    assert weights.sum() == pytest.approx(1.0, abs=1e-9)
    assert np.all(weights >= 0.0)


def test_weights_of_third_octaves_sum_to_one() -> None:
    bands = third_octave_bands()
    assert band_weights(middle_of_the_range(bands, 2001), bands).sum(axis=0) == pytest.approx(1.0, abs=1e-12)


def test_weights_are_one_in_the_middle_and_half_at_the_edges() -> None:
    bands = octave_bands()
    assert np.diag(band_weights(bands.exact_hz, bands)) == pytest.approx(1.0)
    assert np.diag(band_weights(bands.lower_hz, bands)) == pytest.approx(0.5)
    assert np.diag(band_weights(bands.upper_hz, bands)) == pytest.approx(0.5)


def test_octave_filter_lies_inside_class_1() -> None:
    # IEC 61260:1995, class 1 (tighter than the 2014 edition): at G^x from the middle at most so much is
    # lost inside the band, at least so much outside, in dB.
    bands = octave_bands(1000, 1000)
    inside = 1000.0 * 10.0 ** (0.3 * np.array([0.0, 0.125, 0.25, 0.375, 0.5]))
    outside = 1000.0 * 10.0 ** (0.3 * np.array([1.0, 2.0, 3.0, 4.0]))
    for mirror in (inside, 1e6 / inside):
        assert np.all(-level_db(band_weights(mirror, bands)[0]) <= [0.3, 0.4, 0.6, 1.3, 5.0])
    for mirror in (outside, 1e6 / outside):
        assert np.all(-level_db(band_weights(mirror, bands)[0]) >= [17.5, 42.0, 61.0, 70.0])


def test_weights_below_the_range_and_at_zero_hertz() -> None:
    bands = octave_bands(63, 125)
    assert np.all(band_weights([0.0, 1.0, 20.0, 1000.0], bands) == 0.0)


def test_weights_agree_with_a_plain_loop() -> None:
    bands = octave_bands(125, 4000)
    frequencies = np.geomspace(40.0, 12000.0, 57)
    for band, middle in enumerate(bands.exact_hz):
        for column, frequency in enumerate(frequencies):
            octaves = abs(np.log10(frequency / middle)) / 0.3
            if octaves <= 0.25:
                expected = 1.0
            elif octaves >= 0.75:
                expected = 0.0
            else:
                p = (octaves - 0.5) / 0.25
                expected = np.cos(np.pi / 4 * (1 + np.sin(np.pi / 2 * p))) ** 2
            assert band_weights(frequencies, bands)[band, column] == pytest.approx(expected, abs=1e-12)


def test_overlap_out_of_range_is_refused() -> None:
    with pytest.raises(ValueError, match="overlap"):
        band_weights([1000.0], octave_bands(), overlap=0.0)


def test_transition_frequency() -> None:
    # Kuttruff, Room Acoustics: f = 2000 sqrt(T/V); 0.5 s in 200 m3 gives 100 Hz.
    assert transition_frequency_hz(0.5, 200.0) == pytest.approx(100.0)
    with pytest.raises(ValueError, match="above zero"):
        transition_frequency_hz(0.5, 0.0)
