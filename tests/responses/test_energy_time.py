"""Energy-time curves: where the peaks stand, how high, and what they are called."""

from __future__ import annotations

import numpy as np
import pytest

from sim.acoustics.air import attenuation_db_per_m
from sim.acoustics.bands import octave_bands
from sim.blueprint.schema import Target
from sim.placement.built_scene import BuiltScene
from sim.propagation.mirrors.image_sources import trace_paths
from sim.responses.arrivals import list_arrivals
from sim.responses.ear_records import EnergyTimeCurve
from sim.responses.energy_time import SAMPLE_RATE_HZ, SAMPLES, analytic, energy_time_curve, local_peaks, name_peaks
from sim.responses.frequency import ear_response
from sim.responses.records import Arrival
from tests.built_scenes import box, built_scene_of, desk, loudspeaker
from tests.naive import plain_local_peaks

BANDS = octave_bands()


def curve_of(built: BuiltScene, order: int = 1) -> tuple[EnergyTimeCurve, tuple[Arrival, ...]]:
    paths = trace_paths(built, order)
    arrivals = list_arrivals(built, paths, BANDS, Target())
    return energy_time_curve(built, ear_response(built, paths), BANDS, arrivals), arrivals


def one_bounce(height: float, distance: float) -> BuiltScene:
    """A hard floor in a room that swallows all else: a point and an ear `height` above it."""
    room = box(9.0, 8.0, 4.0, {"walls": "open", "ceiling": "open"})
    return built_scene_of(room, [(2.0, 4.0, height)], (2.0 + distance, 4.0, height))


@pytest.mark.parametrize(("height", "distance"), [(0.45, 1.2), (0.45, 1.0), (1.2, 1.5), (1.2, 2.5), (1.6, 0.9)])
def test_two_peaks_at_their_delays_with_their_levels(height: float, distance: float) -> None:
    """0 dB at 0 ms, and 20 lg(d/l) at (l - d)/c, less what air takes from a pulse flat to 12 and gone at 22 kHz."""
    built = one_bounce(height, distance)
    curve, _ = curve_of(built)
    length = np.hypot(distance, 2.0 * height)
    delay, level = 1000.0 * (length - distance) / 343.2, 20.0 * np.log10(distance / length)
    hertz = np.linspace(0.0, 22_000.0, 2000)
    pulse = np.where(hertz < 12_000.0, 1.0, np.cos(0.5 * np.pi * (hertz - 12_000.0) / 10_000.0) ** 2)
    air_db = attenuation_db_per_m(hertz, built.air)
    heights = [float((pulse * 10.0 ** (-air_db * way / 20.0)).sum()) for way in (distance, length)]
    level += 20.0 * np.log10(heights[1] / heights[0])
    time, shown = curve.time_ms, curve.broadband_db[0, 0]
    near_direct = np.abs(time) < 0.1
    near_bounce = np.abs(time - delay) < 0.1
    assert time[near_direct][np.argmax(shown[near_direct])] == pytest.approx(0.0, abs=0.011)
    assert shown[near_direct].max() == pytest.approx(0.0, abs=0.1)
    assert time[near_bounce][np.argmax(shown[near_bounce])] == pytest.approx(delay, abs=0.03)
    assert shown[near_bounce].max() == pytest.approx(level, abs=0.1)
    first, second = sorted(curve.peaks[0][0], key=lambda peak: peak.time_ms)[:2]
    assert (first.label, second.label) == ("direct sound", "floor")
    assert second.time_ms == pytest.approx(delay, abs=0.03)
    assert second.level_db == pytest.approx(level, abs=0.1)
    assert second.arrivals == (1,)


def test_time_counted_from_the_loudspeaker() -> None:
    built = one_bounce(1.2, 2.5)
    curve, _ = curve_of(built)
    assert curve.flight_ms.shape == (1, 1)
    assert curve.flight_ms[0, 0] == pytest.approx(1000.0 * 2.5 / 343.2)
    assert np.diff(curve.time_ms) == pytest.approx(1000.0 / SAMPLE_RATE_HZ)
    assert curve.time_ms[0] == pytest.approx(-2.0) and curve.time_ms[-1] < 45.0


def test_before_the_direct_sound_it_is_silent_and_the_pulse_is_narrow() -> None:
    room = box(9.0, 8.0, 4.0, "open")
    curve, _ = curve_of(built_scene_of(room, [(2.0, 4.0, 1.2)], (4.0, 4.0, 1.2)))
    shown, time = curve.broadband_db[0, 0], curve.time_ms
    # the envelope of a pulse that reaches down to 0 Hz falls as 1/t: 1/(2 pi t) over the area of its spectrum
    assert shown[np.abs(time) > 0.2].max() == pytest.approx(-27.0, abs=0.5)
    assert shown[np.abs(time) > 1.0].max() < -40.0
    assert (np.diff(shown[(time > 0.2) & (time < 2.0)]) < 0.01).all()
    half_width = np.abs(time[shown > -6.0]).max()
    assert 0.02 < half_width < 0.06
    assert len(curve.peaks[0][0]) == 1


@pytest.mark.parametrize("band", [4, 5, 6, 7])
def test_octave_curves_have_their_own_direct_peak_and_the_bounce(band: int) -> None:
    """A delay far longer than the octaves ring: 5.7 ms; each curve stands at 0 dB at the direct sound."""
    curve, _ = curve_of(one_bounce(1.6, 2.0))
    length = np.hypot(2.0, 3.2)
    delay, level = 1000.0 * (length - 2.0) / 343.2, 20.0 * np.log10(2.0 / length)
    shown, time = curve.octave_db[0, 0, band], curve.time_ms
    assert shown[np.abs(time) < 0.3].max() == pytest.approx(0.0, abs=0.25)
    near = np.abs(time - delay) < 0.4
    assert shown[near].max() == pytest.approx(level, abs=0.4)
    assert time[near][np.argmax(shown[near])] == pytest.approx(delay, abs=0.06)


def test_octaves_share_out_the_energy_of_the_whole() -> None:
    """Octave filters are power-complementary: their energies add up to that of the broadband impulse response."""
    built = one_bounce(0.45, 1.2)
    response = ear_response(built, trace_paths(built, 1))
    from sim.acoustics.bands import band_weights

    weights = band_weights(response.frequencies_hz, BANDS)
    inside = (response.frequencies_hz > BANDS.exact_hz[0]) & (response.frequencies_hz < BANDS.exact_hz[-1])
    assert weights[:, inside].sum(axis=0) == pytest.approx(1.0, abs=1e-12)
    energy = np.abs(response.total[0, 0]) ** 2
    by_band = [float((np.abs(analytic(response.total[0] * np.sqrt(row), 0, SAMPLES)) ** 2).sum()) for row in weights]
    limited = np.where(weights.sum(axis=0) > 0.0, weights.sum(axis=0) * energy, 0.0)
    whole = 4.0 * limited.sum() / SAMPLES * (SAMPLE_RATE_HZ / SAMPLES) ** 2
    assert sum(by_band) == pytest.approx(whole, rel=1e-9)


def test_analytic_is_signal_and_its_hilbert_transform() -> None:
    from scipy.signal import hilbert

    rng = np.random.default_rng(2)
    bins = 1800
    spectrum = np.zeros((1, bins), complex)
    spectrum[0, 1:] = rng.normal(size=bins - 1) + 1j * rng.normal(size=bins - 1)
    real = np.fft.irfft(np.pad(spectrum[0], (0, SAMPLES // 2 + 1 - bins)), SAMPLES) * SAMPLE_RATE_HZ / SAMPLES
    found = analytic(spectrum, -100, SAMPLES - 100)[0]
    assert found == pytest.approx(np.roll(hilbert(real), 100), rel=1e-9, abs=1e-9)


def test_the_impulse_response_has_a_direct_peak_of_one_and_polarity() -> None:
    curve, _ = curve_of(one_bounce(0.45, 1.2))
    response = curve.impulse[0, 0]
    assert response[np.abs(curve.time_ms) < 0.02].max() == pytest.approx(1.0, abs=0.02)
    delay = 1000.0 * 0.3 / 343.2
    assert response[np.abs(curve.time_ms - delay) < 0.02].max() == pytest.approx(0.8, abs=0.02)
    assert (np.abs(response) <= 10.0 ** (curve.broadband_db[0, 0] / 20.0) + 1e-9).all()


def test_levels_are_those_of_each_loudspeakers_own_direct_sound() -> None:
    room = box(9.0, 8.0, 4.0, {"walls": "open", "ceiling": "open"})
    near_and_far = [(3.0, 3.0, 1.2), (1.0, 5.5, 1.2)]
    built = built_scene_of(room, near_and_far, (4.0, 4.0, 1.2))
    curve, _ = curve_of(built)
    for s in range(2):
        assert curve.broadband_db[s, 0][np.abs(curve.time_ms) < 0.05].max() == pytest.approx(0.0, abs=0.05)


def test_prominent_maxima_only() -> None:
    level = np.array([-40.0, -3.0, -40.0, -10.0, -11.0, -9.5, -40.0, -30.0, -40.0, -20.0])
    assert local_peaks(level, 2.0) == [1, 5, 7]
    assert local_peaks(level, 0.4) == [1, 3, 5, 7]
    assert local_peaks(level, 20.0) == [1, 5]
    assert local_peaks(np.zeros(20), 1.0) == []


def test_prominent_maxima_are_those_of_the_plain_way() -> None:
    """Wandering levels, also with plateaus, ties and a floor."""
    chance = np.random.default_rng(5)
    found = 0
    for case in range(400):
        level = 2.0 * chance.normal(size=chance.integers(3, 300)).cumsum()
        if case % 2:
            level = np.round(level)
        if case % 5 == 0:
            level = np.maximum(level, -3.0)
        rise_db = (0.5, 1.0, 2.0, 3.0)[case % 4]
        places = local_peaks(level, rise_db)
        assert places == plain_local_peaks(level, rise_db)
        found += len(places)
    assert found > 1000


def test_a_peak_between_two_arrivals_says_so() -> None:
    _, arrivals = curve_of(one_bounce(0.45, 1.2))
    time = np.arange(-1.0, 10.0, 0.01)
    level = np.full(len(time), -60.0)
    for at, high in ((0.0, 0.0), (0.87, -2.0), (5.0, -12.0)):
        level[np.argmin(np.abs(time - at))] = high
    peaks = name_peaks(time, level, arrivals)
    assert [peak.label for peak in peaks[:2]] == ["direct sound", "floor"]
    assert peaks[2].label == "between floor and direct"
    assert [peak.level_db for peak in peaks] == [0.0, -2.0, -12.0]


def test_a_desk_under_a_two_way_is_found_and_named() -> None:
    built = built_scene_of(
        box(5.0, 4.0, 2.6),
        [loudspeaker((1.0, 1.4, 1.15), "left", model="two-way")],
        (2.2, 2.0, 1.2),
        furniture=[desk((1.1, 1.9), (0.8, 3.2), 0.74)],
    )
    curve, arrivals = curve_of(built, 2)
    named = {peak.label for peak in curve.peaks[0][0]}
    assert {"direct sound", "desk top", "ceiling"} <= named
    desk_peak = next(peak for peak in curve.peaks[0][0] if peak.label == "desk top")
    arrival = next(a for a in arrivals if a.via == "desk top")
    assert min(abs(part.delay_ms - desk_peak.time_ms) for part in arrival.parts) <= 0.12


def test_octave_curves_are_pulses_of_the_root_of_the_octaves_weights() -> None:
    """The direct sound alone, against a sum over frequencies in which each octave has half its power at its edges.

    Edges: cos^2(pi/4 (1 + sin(pi p / 2))) over half an octave (Antoni, J. Acoust. Soc. Am. 127 (2010) 884-895), of
    which the spectrum takes the root.
    """
    curve, _ = curve_of(built_scene_of(box(9.0, 8.0, 4.0, "open"), [(3.0, 4.0, 2.0)], (3.1, 4.0, 2.0)))
    hertz = np.arange(1.0, 22_000.0, 5.0)
    fade = np.cos(0.5 * np.pi * np.clip((hertz - 12_000.0) / 10_000.0, 0.0, 1.0)) ** 2
    for middle in (500.0, 1000.0, 2000.0, 4000.0):
        band = int(np.argmin(np.abs(BANDS.nominal_hz - middle)))
        octaves = np.abs(np.log2(hertz / 1000.0) * np.log(2.0) / np.log(10.0**0.3) - round(np.log2(middle / 1000.0)))
        power = np.cos(0.25 * np.pi * (1.0 + np.sin(0.5 * np.pi * np.clip((octaves - 0.5) / 0.25, -1.0, 1.0)))) ** 2
        shape = fade * np.sqrt(power)
        shown = (curve.time_ms >= -1.2 / (middle / 1000.0)) & (curve.time_ms <= 1.2 / (middle / 1000.0))
        time = curve.time_ms[shown] / 1000.0
        envelope = np.abs(np.exp(2j * np.pi * np.outer(time, hertz)) @ shape) / shape.sum()
        level = 20.0 * np.log10(envelope)
        loud = level > -25.0
        assert np.ptp(level[loud]) > 15.0
        assert curve.octave_db[0, 0, band][shown][loud] == pytest.approx(level[loud], abs=0.15)
