"""WAV files of every kind of number, and those that cannot be read."""

from __future__ import annotations

import os
from pathlib import Path

import numpy as np
import pytest
from scipy.io import wavfile

from sim.machine.wave_samples import read_samples


@pytest.mark.parametrize(
    ("kind", "written", "read"),
    [
        (np.uint8, [0, 128, 192], [-1.0, 0.0, 0.5]),
        (np.int16, [-32768, 0, 16384], [-1.0, 0.0, 0.5]),
        (np.int32, [-(2**31), 0, 2**30], [-1.0, 0.0, 0.5]),
        (np.float32, [-1.5, 0.0, 0.5], [-1.5, 0.0, 0.5]),
        (np.float64, [-1.5, 0.0, 0.5], [-1.5, 0.0, 0.5]),
    ],
)
def test_every_number_is_a_fraction_of_full_scale(
    kind: type, written: list[float], read: list[float], tmp_path: Path
) -> None:
    wavfile.write(tmp_path / "a.wav", 48_000, np.array(written, dtype=kind))
    found = read_samples(tmp_path / "a.wav", 10_000, "cut it")
    assert found.rate_hz == 48_000
    assert np.array_equal(found.samples, [read])
    assert found.full_scale == (np.inf if np.issubdtype(kind, np.floating) else 1.0)


def test_channels_are_rows(tmp_path: Path) -> None:
    wavfile.write(tmp_path / "a.wav", 8_000, np.array([[1.0, -1.0], [0.5, -0.5], [0.25, 0.0]]))
    found = read_samples(tmp_path / "a.wav", 10_000, "cut it")
    assert np.array_equal(found.samples, [[1.0, 0.5, 0.25], [-1.0, -0.5, 0.0]])


def test_what_cannot_be_read_is_told(tmp_path: Path) -> None:
    good, wave = tmp_path / "good.wav", np.zeros(100, dtype=np.int16)
    wavfile.write(good, 48_000, wave)
    whole = good.read_bytes()
    (tmp_path / "cut.wav").write_bytes(whole[:-50])
    (tmp_path / "words.wav").write_text("RIFFRAFF")
    wavfile.write(tmp_path / "slow.wav", 20, wave)
    wavfile.write(tmp_path / "empty.wav", 48_000, wave[:0])
    wavfile.write(tmp_path / "nan.wav", 48_000, np.array([0.0, np.nan]))
    (tmp_path / "folder.wav").mkdir()
    os.mkfifo(tmp_path / "pipe.wav") if hasattr(os, "mkfifo") else None
    for name, said in (
        ("cut.wav", "is cut off; copy or export it again"),
        ("words.wav", "is not a WAV file that can be read; export it as WAV"),
        ("slow.wav", "says that it was sampled at 20 Hz; export it with its true rate"),
        ("empty.wav", "holds no samples; record"),
        ("nan.wav", "holds numbers that are not finite; record"),
        ("folder.wav", "is no file; name a WAV file"),
        *([("pipe.wav", "is no file; name a WAV file")] if hasattr(os, "mkfifo") else []),
    ):
        with pytest.raises(ValueError, match=said):
            read_samples(tmp_path / name, 10_000, "cut it")
    with pytest.raises(ValueError, match="has 244 bytes; cut it"):
        read_samples(good, 100, "cut it")
    for missing in ("none.wav", "n" * 300, "a\0b"):
        with pytest.raises(FileNotFoundError):
            read_samples(tmp_path / missing, 100, "cut it")
