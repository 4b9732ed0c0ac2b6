"""The command that makes an impulse response of a recording: sentences, files, refusals."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from scipy.io import wavfile
from scipy.signal import fftconvolve

import sim
from sim.__main__ import main
from sim.measuring.sweeps import measuring_signal
from sim.measuring.wave_files import pcm_bytes, read_wave

RATE_HZ = 48_000


@pytest.fixture(scope="module")
def measured(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with sine.wav and recordings of it: good, clipped and inverted, silent, of another rate."""
    folder = tmp_path_factory.mktemp("measured")
    sent, _ = measuring_signal(RATE_HZ, 1.0, -12.0)
    (folder / "sine.wav").write_bytes(pcm_bytes(sent, RATE_HZ))
    room = np.zeros(1500)
    room[[240, 440]] = 0.4, 0.1
    heard = np.concatenate([np.zeros(7000), fftconvolve(sent, room)])
    heard += 1e-5 * np.random.default_rng(4).normal(size=len(heard))
    wavfile.write(folder / "recording.wav", RATE_HZ, (heard * 2**15).round().astype(np.int16))
    bad = np.clip(-40.0 * heard, -1.0, 32767 / 32768)
    wavfile.write(folder / "clipped.wav", RATE_HZ, (bad * 2**15).astype(np.int16))
    wavfile.write(folder / "silent.wav", RATE_HZ, np.zeros(90_000, dtype=np.int16))
    wavfile.write(folder / "other-rate.wav", 44_100, (heard * 2**15).round().astype(np.int16))
    (folder / "no-sound.wav").write_text("no sound")
    return folder


def test_a_good_recording(measured: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    place = tmp_path / "response.wav"
    command = ["impulse", str(measured / "recording.wav"), "--signal", str(measured / "sine.wav"), "-o", str(place)]
    assert main(command) == 0
    found = read_wave(place)
    direct = int(np.argmax(np.abs(found.samples[0])))
    assert direct == pytest.approx(480, abs=1)
    assert found.samples[0, direct + 200] / found.samples[0, direct] == pytest.approx(0.25, abs=0.01)
    said = capsys.readouterr().out
    for part in ("Clipping: none", "Peak above the noise", "Clock drift: ", "begins positive", "no timing reference"):
        assert part in said
    assert main(command) == 2


def test_a_bad_recording_says_so_first(measured: Path) -> None:
    words = sim.words(sim.impulse(measured / "clipped.wav", signal=measured / "sine.wav"))
    assert words.startswith("Measure again: ")
    assert "Clipped: " in words and "Polarity: the direct sound begins negative" in words


@pytest.mark.parametrize(
    ("name", "said"),
    [
        ("silent.wav", "silent.wav: it is silent;"),
        ("other-rate.wav", "it was sampled at 44100 Hz and sine.wav at 48000 Hz"),
        ("no-sound.wav", "it is not a WAV file that can be read"),
        ("missing.wav", "there is no such file"),
    ],
)
def test_what_cannot_be_used_gets_one_sentence(
    name: str, said: str, measured: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    place = tmp_path / "a.wav"
    assert main(["impulse", str(measured / name), "--signal", str(measured / "sine.wav"), "-o", str(place)]) == 2
    error = capsys.readouterr().err
    assert said in error and len(error.strip().splitlines()) == 1
    assert not place.exists()


def test_a_recording_is_never_written_over(measured: Path, capsys: pytest.CaptureFixture[str]) -> None:
    mine = measured / "recording.wav"
    before = mine.read_bytes()
    command = ["impulse", str(mine), "--signal", str(measured / "sine.wav"), "-o", str(mine), "--replace"]
    assert main(command) == 2
    assert "would be lost" in capsys.readouterr().err
    assert mine.read_bytes() == before


def test_it_is_saved_with_its_table(measured: Path, tmp_path: Path) -> None:
    found = sim.impulse(measured / "recording.wav", signal=measured / "sine.wav")
    place = sim.save(found, tmp_path / "out")
    names = {each.name for each in place.iterdir()}
    assert names == {"response.wav", "signal_to_noise.csv", "answer.txt", "contents.txt"}
    assert len(found.rows()) == 9
