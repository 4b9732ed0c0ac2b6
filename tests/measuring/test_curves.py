"""Measured curves: times and levels of known sounds at any sampling rate, and files of responses."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from scipy.io import wavfile

from sim.acoustics.bands import octave_bands
from sim.errors import SceneError
from sim.measuring.curves import measured_curves, standing_out
from sim.measuring.response_files import read_response
from sim.measuring.wave_files import Recording
from sim.responses.frequency import response_frequencies
from tests.builders.lattice_rooms import SPEED_M_S, response

BANDS = octave_bands()
SOUNDS = ((2.0, 0.5), (3.1, 0.2), (5.7, 0.08))
"""Lengths in m and heights."""


@pytest.mark.parametrize("rate_hz", [44_100, 48_000, 96_000])
def test_known_sounds_have_their_times_and_levels(rate_hz: int) -> None:
    wave = response(list(SOUNDS), rate_hz, 0.2, start_s=0.0123)
    curves = measured_curves(Recording("a", rate_hz, wave[None], 1.0), BANDS, response_frequencies(), 20.0)
    places, prominence = standing_out(curves.time_ms, curves.broadband_db, -30.0, 20.0)
    for length, height in SOUNDS[1:]:
        k = int(np.argmin(np.abs(curves.time_ms[places] - 1000.0 * (length - 2.0) / SPEED_M_S)))
        assert curves.time_ms[places[k]] == pytest.approx(1000.0 * (length - 2.0) / SPEED_M_S, abs=0.012)
        assert curves.broadband_db[places[k]] == pytest.approx(20.0 * np.log10(height / 0.5), abs=0.5)
    assert len(places) == 2 and prominence.min() > 10.0


def test_a_comb_has_its_dips_where_they_belong() -> None:
    """Two sounds 1.6 ms apart cancel at (2n + 1)/(2 x 1.6 ms)."""
    wave = response([(1.0, 1.0), (1.0 + 1.6e-3 * SPEED_M_S, 0.8)], 48_000, 0.2, start_s=0.02)
    hz = response_frequencies()
    curves = measured_curves(Recording("a", 48_000, wave[None], 1.0), BANDS, hz, 20.0)
    level = np.abs(curves.spectrum)
    for n in (1, 2, 3):
        near = np.abs(hz - n / 1.6e-3) < 200.0
        assert hz[near][np.argmax(level[near])] == pytest.approx(n / 1.6e-3, abs=25.0)
        dip = (2 * n + 1) / 3.2e-3
        near = np.abs(hz - dip) < 200.0
        assert hz[near][np.argmin(level[near])] == pytest.approx(dip, abs=25.0)


@pytest.mark.parametrize("unit", ["s", "ms"])
def test_text_with_time_and_value(unit: str, tmp_path: Path) -> None:
    wave = response(list(SOUNDS), 48_000, 0.1, start_s=0.01)
    scale = 1.0 if unit == "s" else 1000.0
    rows = "\n".join(f"{scale * k / 48_000:.7g}; {value:.6g}" for k, value in enumerate(wave))
    (tmp_path / "a.txt").write_text(f"time; value\n{rows}\n")
    found = read_response(tmp_path / "a.txt")
    assert found.rate_hz == 48_000
    assert found.samples[0] == pytest.approx(wave, abs=1e-5)


@pytest.mark.parametrize(
    ("content", "said"),
    [
        ("time value\n", "it holds 0 rows"),
        ("0 1\n1e-5 nan\n2e-5 0\n", "not finite"),
        ("0 1\n1e-5 1\n9e-5 1\n1e-4 0\n", "do not rise in even steps"),
        ("0 0\n1e-5 0\n2e-5 0\n", "it is silent"),
    ],
)
def test_text_that_cannot_be(content: str, said: str, tmp_path: Path) -> None:
    (tmp_path / "a.txt").write_text(content)
    with pytest.raises(SceneError, match=said):
        read_response(tmp_path / "a.txt")


def test_a_recording_is_no_response(tmp_path: Path) -> None:
    noise = (np.random.default_rng(0).normal(size=96_000) * 3000).astype(np.int16)
    wavfile.write(tmp_path / "a.wav", 48_000, noise)
    with pytest.raises(SceneError, match="it is no impulse response; make one of the recording"):
        read_response(tmp_path / "a.wav")
    wavfile.write(tmp_path / "b.wav", 48_000, np.column_stack([noise, noise]))
    with pytest.raises(SceneError, match="it has two channels"):
        read_response(tmp_path / "b.wav")
