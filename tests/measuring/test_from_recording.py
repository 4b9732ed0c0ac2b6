"""A recording checked: clipping, noise, polarity, channels, timing reference, the wrong file."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.signal import fftconvolve

from sim.errors import SceneError
from sim.measuring.from_recording import MeasuredResponse, response_of
from sim.measuring.sweeps import measuring_signal
from sim.measuring.wave_files import Recording

RATE_HZ = 48_000
SENT, PARTS = measuring_signal(RATE_HZ, 1.0, -12.0)
SINE = Recording("sine.wav", RATE_HZ, SENT[None], 1.0)
ROOM = np.zeros(2000)
ROOM[[300, 500, 1400]] = 0.5, -0.2, 0.1


def recorded(room: np.ndarray = ROOM, noise: float = 1e-5, late: int = 12_000) -> np.ndarray:
    """One channel: the signal through a room, `late` samples after the recorder began."""
    heard = np.concatenate([np.zeros(late), fftconvolve(SENT, room), np.zeros(500)])
    return heard + noise * np.random.default_rng(2).normal(size=len(heard))


def response(*channels: np.ndarray, **options: int) -> MeasuredResponse:
    return response_of(Recording("heard.wav", RATE_HZ, np.stack(channels), 1.0), SINE, **options)


def test_a_room_of_three_sounds() -> None:
    found = response(recorded())
    direct = round(found.direct_ms * RATE_HZ / 1000.0)
    assert found.direct_ms == pytest.approx(10.0, abs=0.03)
    ratio = found.samples[[direct + 200, direct + 1100]] / found.samples[direct]
    assert ratio == pytest.approx([-0.4, 0.2], abs=0.01)
    assert not found.inverted and not found.clipped and not found.remarks
    assert abs(found.drift_ppm) < 1.0 and not found.mended


def test_noise_is_told_by_octave() -> None:
    """Ten times the noise takes 20 dB, in each octave in which it is not the room's own end."""
    quiet, loud = (response(recorded(noise=noise)).signal_to_noise_db for noise in (1e-4, 1e-3))
    assert (quiet - loud)[2:-1] == pytest.approx(np.full(6, 20.0), abs=2.0)
    assert 20.0 < loud.min() < loud.max() < 100.0


def test_clipping_is_counted() -> None:
    heard = recorded()
    assert response(np.clip(heard * 20.0, -1.0, 1.0)).clipped > 100
    assert response(heard).clipped == 0


def test_polarity() -> None:
    assert response(-recorded()).inverted


def test_a_timing_reference_is_found_and_gives_the_time_of_flight() -> None:
    cable = np.concatenate([np.zeros(12_000), SENT, np.zeros(2499)])
    heard = recorded()
    for channels, numbers in (((cable, heard), (2, 1)), ((heard, cable), (1, 2))):
        found = response(*channels)
        assert (found.channel, found.reference) == numbers
        assert found.flight_time_ms == pytest.approx(300.0 / 48.0, abs=0.03)
        assert found.direct_ms == pytest.approx(300.0 / 48.0, abs=0.03)


def test_a_silent_channel_is_left_out_and_said() -> None:
    found = response(np.zeros(len(recorded())), recorded())
    assert (found.channel, found.reference) == (2, 0)
    assert found.remarks == ("channel 1 is silent",)


def test_two_rooms_need_a_choice() -> None:
    heard = recorded()
    with pytest.raises(SceneError, match="both channels sound like a room; say with --channel"):
        response(heard, recorded(noise=2e-5))
    assert response(heard, recorded(noise=2e-5), channel=2).channel == 2


def test_a_recording_without_both_markers_still_gives_a_response() -> None:
    found = response(recorded()[: 12_000 + PARTS.sweep[1] + 30_000])
    assert np.isnan(found.drift_ppm)
    assert any("both markers" in remark for remark in found.remarks)
    assert any("ends too soon" in remark for remark in found.remarks)


def test_an_octave_in_which_a_reflection_is_louder_is_no_other_sweep() -> None:
    """Here one 31 ms late is 6 dB louder at 500 Hz; it was refused as another signal."""
    room = np.concatenate([ROOM, np.zeros(1000)])
    ring = np.arange(288) / RATE_HZ
    room[1788 : 1788 + 288] += 0.015 * np.sin(2.0 * np.pi * 500.0 * ring) * np.hanning(288)
    assert response(recorded(room)).direct_ms == pytest.approx(10.0, abs=0.03)


@pytest.mark.parametrize("seconds", [1.5, 3.0])
def test_another_sweep_is_refused(seconds: float) -> None:
    other, _ = measuring_signal(RATE_HZ, seconds, -12.0)
    with pytest.raises(SceneError, match=r"the signal of sine\.wav is not in it"):
        response(fftconvolve(other, ROOM))


@pytest.mark.parametrize("turns", [28, 30])
def test_a_sweep_a_little_longer_or_shorter_is_refused(turns: int) -> None:
    """The sweep of ten seconds rises by e in 29 turns of 20 Hz; the lengths next to it differ by 3.4 %."""
    sent, other = (measuring_signal(RATE_HZ, n / 20.0 * np.log(21_600 / 20.0), -12.0)[0] for n in (29, turns))
    assert abs(len(other) / len(sent) - 1.0) > 0.02
    heard = fftconvolve(other, ROOM)
    heard += 1e-4 * np.random.default_rng(3).normal(size=len(heard))
    with pytest.raises(SceneError, match=r"the signal of sine\.wav is not in it"):
        response_of(Recording("heard.wav", RATE_HZ, heard[None], 1.0), Recording("sine.wav", RATE_HZ, sent[None], 1.0))


def test_noise_and_wrong_rates_are_refused() -> None:
    noise = np.random.default_rng(1).normal(size=200_000) * 0.1
    with pytest.raises(SceneError, match="is not in it, or drowns in noise"):
        response(noise)
    with pytest.raises(SceneError, match=r"sampled at 44100 Hz and sine\.wav at 48000 Hz"):
        response_of(Recording("heard.wav", 44_100, recorded()[None], 1.0), SINE)
    with pytest.raises(SceneError, match="it is silent"):
        response(np.zeros(100_000))
    with pytest.raises(SceneError, match="channel: it is 2"):
        response(recorded(), channel=2)
