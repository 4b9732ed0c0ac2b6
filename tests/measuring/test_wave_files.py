"""WAV files of every kind read as fractions of full scale; broken ones get one sentence."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from scipy.io import wavfile

from sim.errors import OutputError, SceneError
from sim.measuring.wave_files import float_bytes, pcm_bytes, read_wave, refuse_silence, refuse_wave_place

RAMP = np.linspace(-0.9, 0.9, 500)


@pytest.mark.parametrize(("scale", "kind"), [(2**15, np.int16), (2**31, np.int32), (1, np.float32), (1, np.float64)])
def test_kinds_of_numbers(scale: int, kind: type, tmp_path: Path) -> None:
    stored = (RAMP * scale).astype(kind)
    wavfile.write(tmp_path / "a.wav", 48_000, np.column_stack([stored, stored[::-1]]))
    found = read_wave(tmp_path / "a.wav")
    assert (found.rate_hz, found.samples.shape) == (48_000, (2, 500))
    assert found.samples[0] == pytest.approx(RAMP, abs=2.0 / 2**15)
    assert found.samples[1] == pytest.approx(RAMP[::-1], abs=2.0 / 2**15)


def test_24_bits_and_floats_that_we_write(tmp_path: Path) -> None:
    (tmp_path / "pcm.wav").write_bytes(pcm_bytes(RAMP, 44_100))
    (tmp_path / "float.wav").write_bytes(float_bytes(3.0 * RAMP, 96_000))
    assert read_wave(tmp_path / "pcm.wav").samples[0] == pytest.approx(RAMP, abs=2.0**-22)
    assert read_wave(tmp_path / "float.wav").samples[0] == pytest.approx(3.0 * RAMP, rel=1e-6)


def broken(kind: str, folder: Path) -> Path:
    """A file that cannot be used."""
    path = folder / f"{kind}.wav"
    if kind == "text":
        path.write_text("not a sound\n" * 20)
    elif kind == "one-sample":
        wavfile.write(path, 48_000, np.zeros(1, dtype=np.int16))
    elif kind == "hour":
        wavfile.write(path, 8_000, np.zeros(3_600 * 8_000, dtype=np.int16))
    elif kind == "nan":
        wavfile.write(path, 48_000, np.array([0.0, np.nan, 0.1], dtype=np.float32))
    elif kind == "three-channels":
        wavfile.write(path, 48_000, np.zeros((50, 3), dtype=np.int16))
    elif kind == "cut-off":
        wavfile.write(path, 48_000, np.ones(500, dtype=np.int16))
        path.write_bytes(path.read_bytes()[:-300])
    elif kind == "empty":
        path.write_bytes(b"")
    return path


@pytest.mark.parametrize(
    ("kind", "said"),
    [
        ("text", "it is not a WAV file that can be read"),
        ("one-sample", "it holds 1 sample;"),
        ("hour", "it is 60.0 minutes long"),
        ("nan", "numbers that are not finite"),
        ("three-channels", "it has 3 channels"),
        ("cut-off", "it is"),
        ("empty", "it is not a WAV file"),
        ("missing", "there is no such file"),
    ],
)
def test_broken_files_get_one_sentence(kind: str, said: str, tmp_path: Path) -> None:
    with pytest.raises(SceneError, match=said) as complaint:
        read_wave(broken(kind, tmp_path))
    assert str(complaint.value).startswith(f"{kind}.wav: ")
    assert str(complaint.value).count(". ") == 0


def test_silence_is_refused(tmp_path: Path) -> None:
    wavfile.write(tmp_path / "a.wav", 48_000, np.zeros(5000, dtype=np.int16))
    with pytest.raises(SceneError, match="it is silent"):
        refuse_silence(read_wave(tmp_path / "a.wav"))


def test_what_is_read_is_never_written_over(tmp_path: Path) -> None:
    kept = tmp_path / "recording.wav"
    kept.write_bytes(b"mine")
    with pytest.raises(OutputError, match="would be lost"):
        refuse_wave_place(kept, True, (kept,))
    with pytest.raises(OutputError, match="exists already"):
        refuse_wave_place(kept, False)
    with pytest.raises(OutputError, match=r"ends in \.wav"):
        refuse_wave_place(tmp_path / "a.txt", False)
    with pytest.raises(OutputError, match="no such folder"):
        refuse_wave_place(tmp_path / "not" / "a.wav", False)
