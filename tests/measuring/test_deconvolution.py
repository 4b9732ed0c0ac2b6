"""Deconvolution against closed forms: a known filter, cubic distortion, clocks that differ."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.signal import fftconvolve

from sim.measuring.deconvolution import (
    band_of,
    clock_drift_ppm,
    deconvolve,
    direct_sound,
    envelope,
    mend_drift,
)
from sim.measuring.from_recording import response_of
from sim.measuring.sweeps import LOWEST_HZ, exponential_sweep, highest_hz, measuring_signal, sweep_rate_s
from sim.measuring.wave_files import Recording
from tests.builders import swept_rooms

RATE_HZ = 48_000
FINE_HZ = 192_000
"""Three times the highest frequency of a sweep lies under half of this, as it does in a loudspeaker."""
SECONDS = 2.0


def spectrum(response: np.ndarray, hz: np.ndarray, rate_hz: float = RATE_HZ) -> np.ndarray:
    """Fourier sum of a response at some frequencies."""
    return np.exp(-2j * np.pi * np.outer(hz, np.arange(len(response))) / rate_hz) @ response


def test_a_known_filter_comes_out() -> None:
    """A filter of 400 taps: its spectrum is that of the deconvolved response over the whole band, to 0.01 dB."""
    rng = np.random.default_rng(3)
    taps = rng.normal(size=400) * np.exp(-np.arange(400) / 60.0)
    sweep = exponential_sweep(RATE_HZ, SECONDS)
    found = deconvolve(fftconvolve(sweep, taps), sweep, RATE_HZ)
    assert band_of(sweep, RATE_HZ)[0] < 25.0 and band_of(sweep, RATE_HZ)[1] > 21_000.0
    hz = np.geomspace(40.0, 20_000.0, 60)
    true = spectrum(taps, hz)
    around = np.concatenate([found[-4800:], found[:9600]])
    seen = spectrum(around, hz) * np.exp(2j * np.pi * hz * 4800 / RATE_HZ)
    assert np.abs(seen - true).max() < 1e-3 * np.abs(true).max()


def test_nothing_wraps_around() -> None:
    """A response as long as the sweep stays where it is: late sound does not come out early."""
    sweep = exponential_sweep(RATE_HZ, 1.0)
    heard = np.concatenate([sweep, np.zeros(39_999)]) + 0.5 * np.concatenate([np.zeros(39_999), sweep])
    found = deconvolve(heard, sweep, RATE_HZ)
    peak = found[0]
    assert found[39_999] == pytest.approx(0.5 * peak, rel=1e-2)
    assert np.abs(found[-20_000:-2_000]).max() < 2e-3 * peak


def test_cubic_distortion_falls_before_the_linear_response() -> None:
    """sin^3 x = (3 sin x - sin 3x) / 4: the linear part is 1 + 3/4 a, the third harmonic -a/4, L ln 3 earlier."""
    cubic = 0.2
    sweep = exponential_sweep(FINE_HZ, SECONDS)
    found = deconvolve(sweep + cubic * sweep**3, sweep, FINE_HZ)
    clean = deconvolve(sweep, sweep, FINE_HZ)
    hz = np.geomspace(100.0, 5_000.0, 30)

    def near(response: np.ndarray, place: int) -> np.ndarray:
        return np.take(response, np.arange(place - 9600, place + 9600), mode="wrap")

    linear = np.abs(spectrum(near(found, 0), hz, FINE_HZ) / spectrum(near(clean, 0), hz, FINE_HZ))
    assert linear == pytest.approx(np.full(30, 1.0 + 0.75 * cubic), rel=5e-3)  # seen through a tenth of a second
    early = sweep_rate_s(SECONDS, LOWEST_HZ, highest_hz(FINE_HZ)) * np.log(3.0) * FINE_HZ
    third = np.abs(spectrum(near(found, round(-early)), hz[(hz > 300.0)], FINE_HZ))
    assert third == pytest.approx(np.full(len(third), 0.25 * cubic), rel=0.05)


def test_distortion_is_cut_off() -> None:
    """What comes ahead of the direct sound is the same with and without cubic distortion: the edges of the band."""
    samples, _ = measuring_signal(FINE_HZ, 1.0, -6.0)
    ahead = []
    for cubic in (0.0, 0.3):
        heard = np.concatenate([np.zeros(5000), samples + cubic * samples**3, np.zeros(100)])
        one = Recording("heard", FINE_HZ, heard[None], 1.0)
        found = response_of(one, Recording("sine", FINE_HZ, samples[None], 1.0))
        ahead.append(found.samples[: round(0.008 * FINE_HZ)] / np.abs(found.samples).max())
    assert np.abs(ahead[1] - ahead[0]).max() < 1e-3


def played(time_s: np.ndarray) -> np.ndarray:
    """The measuring signal as a function of time."""
    return swept_rooms.played(time_s, RATE_HZ, SECONDS)


@pytest.mark.parametrize("ppm", [50.0, -120.0, 0.0])
def test_drift_is_found_within_2_ppm_and_taken_out(ppm: float) -> None:
    """A recorder that counts ppm more samples, a room of three sounds, noise 60 dB down."""
    samples, _ = measuring_signal(RATE_HZ, SECONDS, 0.0)
    sounds = ((0.0, 1.0), (200 / RATE_HZ, -0.4), (640 / RATE_HZ, 0.25))
    time = np.arange(len(samples) + 9000) / (RATE_HZ * (1.0 + ppm * 1e-6)) - 0.05
    heard = sum(gain * played(time - late) for late, gain in sounds)
    heard = heard + 1e-3 * np.random.default_rng(5).normal(size=len(heard))
    found = response_of(Recording("heard", RATE_HZ, heard[None], 1.0), Recording("sine", RATE_HZ, samples[None], 1.0))
    assert found.drift_ppm == pytest.approx(ppm, abs=2.0)
    level = envelope(found.samples)
    direct = direct_sound(level, RATE_HZ)
    for late, gain in sounds[1:]:
        place = direct + round(late * RATE_HZ)
        near = level[place - 3 : place + 4]
        assert near.max() / level[direct] == pytest.approx(abs(gain), rel=0.05)
    if abs(ppm) > 1.0:
        assert found.mended


def test_drift_spoils_what_is_not_mended() -> None:
    """The check above can fail: without mending, 400 ppm take more than a third of the direct sound's height."""
    samples, parts = measuring_signal(RATE_HZ, SECONDS, 0.0)
    time = np.arange(len(samples)) / (RATE_HZ * (1.0 + 400e-6))
    sweep = samples[parts.sweep[0] : parts.sweep[1]]
    smeared = np.abs(deconvolve(played(time), sweep, RATE_HZ)).max()
    mended = np.abs(deconvolve(mend_drift(played(time), 400.0), sweep, RATE_HZ)).max()
    assert smeared < 0.65 * mended


def test_mending_reads_a_sine_between_its_samples() -> None:
    n = np.arange(4000)
    mended = mend_drift(np.sin(2 * np.pi * 0.11 * n), 300.0)
    inner = np.arange(100, 3900)
    assert np.abs(mended[inner] - np.sin(2 * np.pi * 0.11 * inner * (1 + 300e-6))).max() < 1e-4


def test_markers_tell_the_drift_of_their_distance() -> None:
    chirp = np.hanning(200) * np.sin(np.arange(200) ** 2 / 300.0)
    heard = np.zeros(60_000)
    heard[5_000:5_200] = chirp
    heard[55_010:55_210] = chirp  # 10 samples late over 50 000
    assert clock_drift_ppm(heard, (5_000, 55_000), 1_000, RATE_HZ) == pytest.approx(200.0, abs=0.5)
