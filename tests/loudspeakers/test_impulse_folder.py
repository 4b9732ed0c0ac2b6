"""Folders of impulse responses."""

from __future__ import annotations

import os
from pathlib import Path

import numpy as np
import pytest
from scipy.io import wavfile
from scipy.signal import butter, lfilter

from sim.errors import SceneError
from sim.loudspeakers.assembled import read_measured

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
    assert data.layout == "two orbits"  # these azimuths and elevations are all on one of both
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
        ("file,orbit,angle_deg\nsub/x.wav,horizontal,0\n", "name a file in the same folder"),
        ("file,orbit,angle_deg\n+000.wav,diagonal,0\n", 'orbit is "diagonal"'),
        ("file,orbit,angle_deg\n+000.wav,horizontal,left\n", 'angle_deg is "left"'),
        ("file,angle\n+000.wav,0\n", 'its columns are "file,angle"'),
        ("file,orbit,angle_deg\n", "it names 0 files"),
        ("file,orbit,angle_deg\n+090.wav,horizontal,90\n", "nothing was measured on the axis"),
        ("file,orbit,angle_deg\nstereo.wav,horizontal,0\n", "2 channels"),
        ("file,orbit,angle_deg\nangles.csv,horizontal,0\n", "not a WAV file"),
        ("file,orbit,angle_deg\n+000.wav,horizontal,0\nslow.wav,horizontal,30\n", "sampled at 44100 and 48000 Hz"),
        ("file,orbit,angle_deg\nsilent.wav,horizontal,0\n", "silent"),
        ("file,orbit,angle_deg\n+000.wav,horizontal,0\n", "only the axis was measured"),
        ("file,orbit,angle_deg\n+000.wav,horizontal,0\n+090.wav,horizontal,1.57\n", "looks like radians"),
        ("file,orbit,angle_deg\n+000.wav,horizontal,0\n+090.wav,horizontal,900\n", "line 3: angle_deg is 900"),
        ("file,azimuth_deg,elevation_deg\n+000.wav,0,0\n+090.wav,0,120\n", "line 3: elevation_deg is 120"),
        ("file,orbit,angle_deg\n+000.wav,horizontal,0,0\n", "it has 4 cells where the first line has 3"),
        ("file,file,orbit,angle_deg\n", "two of its columns are called file"),
        (
            "file,orbit,angle_deg\n+000.wav,horizontal,0\nquiet.wav,horizontal,0\n+060.wav,vertical,60\n",
            "at 0 degrees was measured twice, 20 dB",
        ),
        ("", "it is empty"),
        ("file,orbit,angle_deg\n+000.wav,horizontal,0\nnone,horizontal,30\n", r'line 3: there is no file "none"'),
        ("file,orbit,angle_deg\nnan.wav,horizontal,0\n", '"nan.wav" holds numbers that are not finite'),
        ("file,orbit,angle_deg\nnothing.wav,horizontal,0\n", '"nothing.wav" holds no samples'),
        ("file,orbit,angle_deg\ncut.wav,horizontal,0\n", '"cut.wav" is cut off'),
        ("file,orbit,angle_deg\ndamaged.wav,horizontal,0\n", '"damaged.wav" is not a WAV file that can be read'),
        ("file,orbit,angle_deg\ncrawling.wav,horizontal,0\n", "sampled at 100 Hz"),
        ("file,orbit,angle_deg\nshort.wav,horizontal,0\n", "last 1 ms, too short"),
    ],
)
def test_what_cannot_be_used_is_refused_in_one_sentence(tmp_path: Path, table: str, words: str) -> None:
    place = folder(tmp_path / "irs", table=table)
    wavfile.write(place / "stereo.wav", RATE, np.zeros((100, 2), np.int16))
    wavfile.write(place / "slow.wav", 44100, np.ones(4800, np.float32))
    wavfile.write(place / "silent.wav", RATE, np.zeros(4800, np.float32))
    wavfile.write(place / "quiet.wav", RATE, (0.05 * response(0.0)).astype(np.float32))
    wavfile.write(place / "nan.wav", RATE, np.full(4800, np.nan, np.float32))
    wavfile.write(place / "nothing.wav", RATE, np.zeros(0, np.float32))
    wavfile.write(place / "crawling.wav", 100, np.ones(4800, np.float32))
    wavfile.write(place / "short.wav", RATE, np.ones(48, np.float32))
    whole = (place / "+000.wav").read_bytes()
    (place / "damaged.wav").write_bytes(whole[:16] + b"\xff\xff" + whole[18:])
    (place / "cut.wav").write_bytes(whole[: len(whole) // 2])
    with pytest.raises(SceneError, match=words) as raised:
        read_measured(place, "models.mine.file")
    assert "\n" not in str(raised.value)


def test_a_folder_without_a_table_is_refused(tmp_path: Path) -> None:
    place = folder(tmp_path / "irs")
    (place / "angles.csv").unlink()
    with pytest.raises(SceneError, match=r"there is no angles\.csv in it"):
        read_measured(place, "file")


def test_a_sphere_of_directions_and_a_table_with_semicolons(tmp_path: Path) -> None:
    place = folder(tmp_path / "irs")
    rows = ["file;azimuth_deg;elevation_deg"]
    rows += [f"+{a:03.0f}.wav;{a};{e},0" for a in (0, 30, 60, 90, 120, 150) for e in (-30, 0, 30)]
    (place / "angles.csv").write_text("\ufeff" + "\n\n".join(rows), encoding="utf-8")
    data = read_measured(place, "file")
    assert data.layout == "sphere"
    assert len(data.directions) == 18
    up = np.radians(30.0)
    assert data.pressure([[np.cos(up), 0.0, np.sin(up)]], [1000.0])[0, 0] == pytest.approx(1.0)


def test_files_that_are_not_named_are_said(tmp_path: Path) -> None:
    place = folder(tmp_path / "irs", angles=[0.0, 30.0, 60.0, 90.0])
    for name in ("a.wav", "b.WAV", "c.wav", "d.wav"):
        wavfile.write(place / name, RATE, response(0.0))
    notes = read_measured(place, "file").notes
    assert "not in angles.csv and so not used: a.wav, b.WAV, c.wav and 1 more" in notes
    assert "nothing was measured left: it is taken from the other side" in notes


def test_one_orbit_only_is_taken_for_both(tmp_path: Path) -> None:
    place = folder(tmp_path / "irs")
    rows = (place / "angles.csv").read_text().splitlines()
    (place / "angles.csv").write_text("\n".join(row for row in rows if "vertical" not in row))
    data = read_measured(place, "file")
    assert "no vertical orbit was measured: it is taken to be like the horizontal one" in data.notes
    turned = np.radians(60.0)
    across, upright = data.pressure([[np.cos(turned), np.sin(turned), 0], [np.cos(turned), 0, np.sin(turned)]], [4e3])
    assert upright == pytest.approx(across)


@pytest.mark.parametrize("kind", [np.uint8, np.int16, np.int32, np.float32])
def test_every_sample_format_is_read_alike(tmp_path: Path, kind: type) -> None:
    """Eight-bit files count from 128."""
    place = folder(tmp_path / "irs")
    for path in place.glob("*.wav"):
        wave = 0.9 * response(float(path.stem))
        if kind is np.uint8:
            stored = np.round(127.0 * wave + 128.0).astype(kind)
        else:
            stored = (wave * (1.0 if kind is np.float32 else np.iinfo(kind).max)).astype(kind)
        wavfile.write(path, RATE, stored)
    found = read_measured(place, "file").pressure([[0.5, np.sqrt(0.75), 0.0]], [2000.0])[0, 0]
    assert found == pytest.approx(written_out(60.0, 2000.0), abs=0.03)


def test_a_wav_with_chunks_of_other_kinds_is_read_in_silence(tmp_path: Path) -> None:
    place = folder(tmp_path / "irs")
    path = place / "+000.wav"
    whole = path.read_bytes()
    more = b"note" + (4).to_bytes(4, "little") + b"abcd"
    path.write_bytes(whole[:4] + (len(whole) + len(more) - 8).to_bytes(4, "little") + whole[8:] + more)
    assert read_measured(place, "file").pressure([[1.0, 0.0, 0.0]], [1000.0])[0, 0] == pytest.approx(1.0)


def test_what_has_not_changed_is_read_once(tmp_path: Path) -> None:
    """A study of poses places the same loudspeaker dozens of times."""
    place = folder(tmp_path / "irs")
    first = read_measured(place, "file")
    assert read_measured(place, "file") is first
    wavfile.write(place / "+030.wav", RATE, response(90.0, 5000).astype(np.float32))
    assert read_measured(place, "file") is not first


def test_a_table_elsewhere_is_not_followed(tmp_path: Path) -> None:
    place = folder(tmp_path / "irs")
    (place / "angles.csv").rename(tmp_path / "angles.csv")
    (place / "angles.csv").symlink_to(tmp_path / "angles.csv")
    with pytest.raises(SceneError, match="leads out of its folder"):
        read_measured(place, "file")


def test_pipes_and_folders_are_no_recordings(tmp_path: Path) -> None:
    """Reading a pipe that nobody writes to would wait for ever."""
    irs = folder(tmp_path / "irs")
    (irs / "+000.wav").unlink()
    os.mkfifo(irs / "+000.wav")
    with pytest.raises(SceneError, match=r'"\+000.wav" is no file'):
        read_measured(irs, "file")
    (irs / "+000.wav").unlink()
    (irs / "+000.wav").mkdir()
    with pytest.raises(SceneError, match=r'"\+000.wav" is no file'):
        read_measured(irs, "file")


def test_more_samples_than_a_computer_holds(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """One long recording that thousands of rows name would be copied as often."""
    irs = folder(tmp_path / "irs")
    monkeypatch.setattr("sim.loudspeakers.impulse_responses.MOST_SAMPLES", 24 * 4800 - 1)
    with pytest.raises(SceneError, match="it names 24 responses of up to 4,800 samples"):
        read_measured(irs, "file")
    monkeypatch.setattr("sim.loudspeakers.impulse_responses.LARGEST_WAV_BYTES", 3)
    with pytest.raises(SceneError, match="has 19,244 bytes"):
        read_measured(irs, "file")


@pytest.mark.parametrize("name", ["a\0b.wav", "x" * 300 + ".wav", "../secret.wav", "ring.wav"])
def test_names_that_no_file_beside_the_table_has(tmp_path: Path, name: str) -> None:
    irs = folder(tmp_path / "irs")
    (irs / "ring.wav").symlink_to(irs / "ring.wav")
    (irs / "angles.csv").write_text(f"file,orbit,angle_deg\n{name},horizontal,0\n", encoding="utf-8")
    with pytest.raises(SceneError, match=r"irs/angles.csv, line 2|line contains NUL|not a WAV|there is no file"):
        read_measured(irs, "file")
