"""Filters of early sound: delays, energy by octave, an independent room, and a head of closed form."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from sim.measuring.head_files import HeadResponses
from sim.responses.frequency import response_frequencies
from sim.responses.records import Results
from sim.responses.window import window_weight
from sim.studies.listen.early_sound import LEAD_MS, EarlySound, filter_taps
from tests.builders.lattice_rooms import SPEED_M_S, WALLS, images
from tests.builders.measured_rooms import random_room, traced

HZ = response_frequencies()
OCTAVES_HZ = 125.0 * 2.0 ** np.arange(7)


def spectrum(taps: np.ndarray, rate_hz: int, hz: np.ndarray) -> np.ndarray:
    """Fourier sum of taps, time zero after the lead."""
    time = (np.arange(len(taps)) - round(LEAD_MS * rate_hz / 1000.0)) / rate_hz
    return np.exp(-2j * np.pi * np.outer(hz, time)) @ taps


def octave_db(hz: np.ndarray, pressure: np.ndarray) -> np.ndarray:
    energy = np.abs(pressure) ** 2
    inside = [(hz >= middle / np.sqrt(2.0)) & (hz < middle * np.sqrt(2.0)) for middle in OCTAVES_HZ]
    return 10.0 * np.log10([energy[one].mean() for one in inside])


@pytest.mark.parametrize("rate_hz", [32_000, 44_100, 48_000, 96_000])
def test_a_delay_of_any_fraction_of_a_sample(rate_hz: int) -> None:
    """A sound 3.3771 ms late is flat and has that delay at every frequency, to 0.02 dB and 0.02 rad."""
    late_s = 3.3771e-3
    taps = filter_taps(np.exp(-2j * np.pi * HZ * late_s), HZ, rate_hz, 20.0)
    hz = np.geomspace(60.0, 0.85 * min(22_000.0, 0.5 * rate_hz), 40)
    seen = spectrum(taps, rate_hz, hz) * np.exp(2j * np.pi * hz * late_s)
    assert np.abs(20.0 * np.log10(np.abs(seen))).max() < 0.02
    assert np.abs(np.angle(seen)).max() < 0.02


def test_octaves_have_the_energy_of_the_response(traced_attic: Results) -> None:
    """Desk, slopes, edges, sound waves and two drivers: within 0.5 dB in every octave from 125 Hz to 8 kHz."""
    sound = EarlySound(traced_attic, 0)
    whole = sound.spectra()[:, 0]
    taps = filter_taps(whole, HZ, 48_000, sound.window_ms)
    for one, spoken in zip(whole, taps, strict=True):
        assert octave_db(HZ, spectrum(spoken, 48_000, HZ)) == pytest.approx(octave_db(HZ, one), abs=0.5)


def test_a_box_room_sounds_as_its_lattice_of_images_does(tmp_path: Path) -> None:
    """Images in plain NumPy (Allen and Berkley, J. Acoust. Soc. Am. 65 (1979) 943-950): 0.5 dB by octave, each side.

    They also tell how much later and weaker the monitor further off arrives.
    """
    room = random_room(11, tmp_path, cupboard=False, seat_off_m=0.0)
    results = traced(room)
    sound = EarlySound(results, 0)
    taps = filter_taps(sound.spectra()[:, 0], HZ, 48_000, sound.window_ms)
    size = np.array([results.built.room.triangles[..., axis].max() for axis in range(3)])
    materials = results.scene.blueprint.materials
    factor = {wall: float(np.sqrt(1.0 - materials[f"m{k}"].absorption[3])) for k, wall in enumerate(WALLS)}
    ear, sources = results.built.ears[0], [one.axis_point for one in results.built.loudspeakers]
    near = min(float(np.linalg.norm(ear - one)) for one in sources)
    hz = HZ[HZ > 60.0]
    for source, spoken in zip(sources, taps, strict=True):
        direct = float(np.linalg.norm(ear - source))
        pressure = np.zeros(len(hz), dtype=complex)
        for one in images(size, source, ear, factor, direct + 8.0):
            gain = one.gain * near * window_weight(np.array([1e3 * (one.length_m - direct) / SPEED_M_S]), 20.0)[0]
            pressure += gain * np.exp(-2j * np.pi * hz * (one.length_m - near) / results.built.air.speed_of_sound_m_s)
        assert octave_db(hz, spectrum(spoken, 48_000, hz)) == pytest.approx(octave_db(hz, pressure), abs=0.5)


# Heads.


def ball(rate_hz: float = 48_000.0) -> HeadResponses:
    """An invented head: sound is later and weaker at the ear that looks away, by a rule of its own."""
    up = np.radians(np.arange(-90.0, 91.0, 15.0))
    round_it = np.radians(np.arange(0.0, 360.0, 15.0))
    toward = np.array([(np.cos(e) * np.cos(a), np.cos(e) * np.sin(a), np.sin(e)) for e in up for a in round_it])
    responses, delays = np.zeros((len(toward), 2, 64)), np.zeros((len(toward), 2))
    for ear, side in enumerate((1.0, -1.0)):
        responses[:, ear, 10] = 1.0 + 0.5 * side * toward[:, 1]
        delays[:, ear] = 12.0 - 12.0 * side * toward[:, 1]
    return HeadResponses("ball.sofa", rate_hz, toward, responses, delays)


def point(toward: np.ndarray) -> HeadResponses:
    """No head: both ears hear everything alike."""
    responses = np.zeros((len(toward), 2, 4))
    responses[:, :, 0] = 1.0
    return HeadResponses("point.sofa", 48_000.0, toward, responses, np.zeros((len(toward), 2)))


@pytest.mark.parametrize("without", ["", "desk", "left knee wall"])
def test_with_ears_of_a_point_nothing_changes(traced_attic: Results, without: str) -> None:
    """Paths one by one, and what no path says, add up to the response at the ear, to the last digits."""
    plain, headed = EarlySound(traced_attic, 0), EarlySound(traced_attic, 0, point(ball().toward))
    found = headed.spectra(without)
    assert found.shape == (2, 2, len(HZ))
    assert np.abs(found - plain.spectra(without)).max() < 1e-9


def test_what_is_left_of_no_path_is_small(traced_attic: Results) -> None:
    """Above the sound waves, all that is heard comes by a path with a direction of its own."""
    one = np.array([[1.0, 0.0, 0.0]])
    sound = EarlySound(traced_attic, 0, ball())
    everything = EarlySound(traced_attic, 0, point(one)).spectra()[:, 0]
    heard = sound.spectra()
    high = HZ > 1500.0
    assert np.abs(heard[:, :, high]).max() <= 1.5 * 1.6 * np.abs(everything[:, high]).max()
    assert sound.farthest_deg < 10.7  # half the diagonal of the grid of 15 degrees


def test_left_is_heard_on_the_left(traced_attic: Results) -> None:
    """The ear nearer to a monitor hears its direct sound sooner and louder, as the file says."""
    head = ball()
    direct = EarlySound(traced_attic, 0, head).spectra(direct_only=True)
    built = traced_attic.built
    for s, one in enumerate(built.loudspeakers):
        way = one.axis_point - built.ears[0]
        seen = way * [-1.0, -1.0, 1.0] / np.linalg.norm(way)
        (number,), _ = head.nearest(seen[None])
        across = head.toward[number, 1]
        assert np.sign(across) == (1.0 if one.name == "left" else -1.0)
        ratio = direct[s, 0] / direct[s, 1]
        inner = (HZ > 200.0) & (HZ < 15_000.0)
        assert np.abs(ratio[inner]) == pytest.approx(np.full(inner.sum(), (1 + 0.5 * across) / (1 - 0.5 * across)))
        turned = np.exp(2j * np.pi * HZ[inner] * 24.0 * across / 48_000.0)
        assert np.abs(np.angle(ratio[inner] / turned)).max() < 1e-6
