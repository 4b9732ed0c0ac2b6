"""The command that makes the signal: what it writes, says, and refuses."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from scipy.signal import fftconvolve

import sim
from sim.__main__ import main
from sim.measuring.wave_files import read_wave


def test_the_file_is_the_signal(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    place = tmp_path / "sine.wav"
    command = ["signal", "-o", str(place), "--rate-hz", "44100", "--seconds", "1", "--level-dbfs", "-20"]
    assert main(command) == 0
    made, found = sim.signal(rate_hz=44_100, seconds=1.0, level_dbfs=-20.0), read_wave(place)
    assert found.rate_hz == 44_100
    assert np.abs(found.samples[0] - made.samples).max() < 2.0**-22
    assert np.abs(found.samples).max() == pytest.approx(0.1, rel=1e-3)
    said = capsys.readouterr().out
    for caution in ("Turn the monitors down", "no headphones", "Tweeters burn"):
        assert caution in said
    assert [row["part"] for row in made.rows()] == ["marker", "sweep", "marker"]
    assert main(command) == 2
    assert "exists already" in capsys.readouterr().err
    assert main([*command, "--replace"]) == 0
    assert {each.name for each in tmp_path.iterdir()} == {"sine.wav", "sine-inverse.wav"}
    place.unlink()
    assert main(command) == 2  # an inverse of something else is not lost either
    assert "sine-inverse.wav: exists already" in capsys.readouterr().err
    assert not place.exists()


def test_its_inverse_makes_a_pulse_of_it(tmp_path: Path) -> None:
    """Convolved as any program would: height 1 at the sweep's end, flat from 50 Hz to 18 kHz within 0.5 dB."""
    place = tmp_path / "sine.wav"
    assert main(["signal", "-o", str(place), "--seconds", "2", "--level-dbfs", "-20"]) == 0
    made = sim.signal(seconds=2.0, level_dbfs=-20.0)
    sent, inverse = (read_wave(tmp_path / name).samples[0] for name in ("sine.wav", "sine-inverse.wav"))
    begin, end = made.parts.sweep
    pulse = fftconvolve(sent[begin:end], inverse)
    assert int(np.argmax(np.abs(pulse))) == end - begin - 1
    near = np.roll(pulse, 4096 - int(np.argmax(pulse)))[:8192]
    hz = np.fft.rfftfreq(8192, 1.0 / 48_000)
    level = 20.0 * np.log10(np.abs(np.fft.rfft(near * np.hanning(8192))))
    inside = (hz > 50.0) & (hz < 18_000.0)
    assert np.abs(level[inside]).max() < 0.5


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (["--rate-hz", "12345"], "rate_hz: it is 12345; give one of 44100, 48000"),
        (["--seconds", "0"], "seconds: it is 0; give 1 to 60"),
        (["--seconds", "nan"], "seconds: it is nan; give 1 to 60"),
        (["--level-dbfs", "3"], "level_dbfs: it is 3; give -60 to 0"),
    ],
)
def test_what_cannot_be_is_refused(
    options: list[str], said: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["signal", "-o", str(tmp_path / "a.wav"), *options]) == 2
    assert said in capsys.readouterr().err
    assert list(tmp_path.iterdir()) == []


def test_it_is_saved_with_its_words(tmp_path: Path) -> None:
    place = sim.save(sim.signal(seconds=1.0), tmp_path / "out")
    assert {each.name for each in place.iterdir()} == {"sine.wav", "inverse.wav", "answer.txt", "contents.txt"}
