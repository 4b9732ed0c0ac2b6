"""Folders of impulse responses."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from scipy.io import wavfile
from scipy.signal import butter, lfilter

from sim.errors import SceneError
from sim.loudspeakers.measured import read_measured

RATE = 48000


def response(angle_deg: float, length: int = 4800) -> np.ndarray:
    """A band-limited pulse that grows dull and late off the axis."""
    pulse = np.zeros(length)
    pulse[60 + round(abs(angle_deg) / 30.0)] = 1.0
    shaped = lfilter(*butter(2, 60.0, "high", fs=RATE), pulse)
    corner = 20000.0 / (1.0 + abs(angle_deg) / 20.0)
    return np.asarray(lfilter(*butter(1, corner, fs=RATE), shaped))


def folder(
    path: Path, angles: list[float] | None = None, table: str | None = None, sphere: bool = False, length: int = 4800
) -> Path:
    path.mkdir()
    rows = ["file,azimuth_deg,elevation_deg" if sphere else "file,orbit,angle_deg"]
    for angle in angles if angles is not None else [float(a) for a in range(-180, 180, 30)]:
        name = f"{angle:+04.0f}.wav"
        samples = 0.5 * response(angle, length)
        wavfile.write(path / name, RATE, (samples * 2**31).astype(np.int32))
        if sphere:
            rows += [f"{name},{angle},0", f"{name},0,{angle}"] if abs(angle) <= 90 else [f"{name},{angle},0"]
        else:
            rows += [f"{name},horizontal,{angle}", f"{name},vertical,{angle}"]
    (path / "angles.csv").write_text(table if table is not None else "\n".join(rows), encoding="utf-8")
    return path


def written_out(angle_deg: float, frequency: float) -> complex:
    """Ratio of two Fourier sums, sample by sample."""
    samples = np.arange(4800)
    turn = np.exp(-2j * np.pi * frequency / RATE * samples)
    return complex(response(angle_deg) @ turn / (response(0.0) @ turn))


@pytest.mark.parametrize("sphere", [False, True])
def test_directivity_is_the_ratio_of_spectra(tmp_path: Path, sphere: bool) -> None:
    data = read_measured(folder(tmp_path / "irs", sphere=sphere), "file")
    assert data.layout == ("sphere" if sphere else "two orbits")
    for angle in (0.0, 30.0, -90.0):
        turned = np.radians(angle)
        way = [np.cos(turned), np.sin(turned), 0.0]
        for frequency in (100.0, 1000.0, 8000.0):
            assert data.pressure([way], [frequency])[0, 0] == pytest.approx(written_out(angle, frequency), abs=0.02)
    assert "no window was applied to the impulse responses" in data.notes


def test_short_responses_say_nothing_about_bass(tmp_path: Path) -> None:
    data = read_measured(folder(tmp_path / "irs", length=480), "file")
    assert any("say nothing below 100 Hz" in note for note in data.notes)
    assert data.frequencies_hz[0] == pytest.approx(100.0)


@pytest.mark.parametrize(
    ("table", "words"),
    [
        ("file,orbit,angle_deg\nnone.wav,horizontal,0\n", r'line 2: there is no file "none.wav"'),
        ("file,orbit,angle_deg\n../x.wav,horizontal,0\n", "name a file in the same folder"),
        ("file,orbit,angle_deg\n+000.wav,diagonal,0\n", 'orbit is "diagonal"'),
        ("file,orbit,angle_deg\n+000.wav,horizontal,left\n", 'angle_deg is "left"'),
        ("file,angle\n+000.wav,0\n", "its columns are file, angle"),
        ("file,orbit,angle_deg\n", "it names 0 files"),
        ("file,orbit,angle_deg\n+090.wav,horizontal,90\n", "nothing was measured on the axis"),
        ("file,orbit,angle_deg\nstereo.wav,horizontal,0\n", "2 channels"),
        ("file,orbit,angle_deg\nangles.csv,horizontal,0\n", "not a WAV file"),
        ("file,orbit,angle_deg\n+000.wav,horizontal,0\nslow.wav,horizontal,30\n", "sampled at 44100 and 48000 Hz"),
        ("file,orbit,angle_deg\nsilent.wav,horizontal,0\n", "silent"),
    ],
)
def test_what_cannot_be_used_is_refused_in_one_sentence(tmp_path: Path, table: str, words: str) -> None:
    place = folder(tmp_path / "irs", table=table)
    wavfile.write(place / "stereo.wav", RATE, np.zeros((100, 2), np.int16))
    wavfile.write(place / "slow.wav", 44100, np.ones(4800, np.float32))
    wavfile.write(place / "silent.wav", RATE, np.zeros(4800, np.float32))
    with pytest.raises(SceneError, match=words) as told:
        read_measured(place, "models.mine.file")
    assert "\n" not in str(told.value)


def test_a_folder_without_a_table_is_refused(tmp_path: Path) -> None:
    place = folder(tmp_path / "irs")
    (place / "angles.csv").unlink()
    with pytest.raises(SceneError, match=r"there is no angles\.csv in it"):
        read_measured(place, "file")
