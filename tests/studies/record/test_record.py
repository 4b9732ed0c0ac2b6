"""The command that plays and records: nothing without --play, and a stand-in for the sound card."""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import pytest
from scipy.io import wavfile
from scipy.signal import fftconvolve

import sim
from sim.__main__ import main
from sim.measuring.wave_files import read_wave
from tests.measuring.test_sound_card import StandIn

ROOM = np.zeros(400)
ROOM[[240, 390]] = 0.5, 0.2


class Room(StandIn):
    """A card with a room between its output and the first input, and a cable on the second."""

    def playrec(self, data: np.ndarray, **options: object) -> np.ndarray:
        super().playrec(data, **{**options, "input_mapping": options["input_mapping"]})
        inputs = {1: fftconvolve(data[:, 0], ROOM)[: len(data)], 2: data[:, 0], 3: 0.0 * data[:, 0]}
        return np.stack([inputs[k] for k in options["input_mapping"]], axis=1)  # type: ignore[attr-defined]


@pytest.fixture
def card(monkeypatch: pytest.MonkeyPatch) -> Room:
    room = Room()
    monkeypatch.setitem(sys.modules, "sounddevice", room)
    return room


@pytest.fixture
def sine(tmp_path: Path) -> Path:
    place = tmp_path / "sine.wav"
    assert main(["signal", "-o", str(place), "--seconds", "1"]) == 0
    return place


def test_without_play_nothing_sounds(card: Room, sine: Path, capsys: pytest.CaptureFixture[str]) -> None:
    place = sine.with_name("recording.wav")
    assert main(["record", "--signal", str(sine), "-o", str(place)]) == 0
    said = capsys.readouterr().out
    for words in ("Nothing was played.", "Turn the monitors down", "no headphones", "Tweeters burn", "box with knobs"):
        assert words in said
    assert card.asked == [] and not place.exists()


def test_from_the_sine_to_the_response(card: Room, sine: Path, capsys: pytest.CaptureFixture[str]) -> None:
    place = sine.with_name("recording.wav")
    command = ["record", "--signal", str(sine), "-o", str(place), "--loop", "2"]
    assert main([*command, "--play"]) == 0
    assert "Recorded 5." in capsys.readouterr().out and read_wave(place).samples.shape[0] == 2
    found = sim.impulse(place, signal=sine)
    assert (found.channel, found.reference) == (1, 2)
    assert found.flight_time_ms == pytest.approx(240 / 48.0, abs=0.03)
    assert main([*command, "--play"]) == 2 and len(card.asked) == 1
    assert "exists already" in capsys.readouterr().err


def test_a_dead_input_is_told(card: Room, sine: Path) -> None:
    found = sim.record(sine, microphone=3)
    assert "hears next to nothing" in sim.words(found)
    assert found.rows() == [{"input": 3, "peak_dbfs": pytest.approx(-240.0)}]
    names = {each.name for each in sim.save(found, sine.with_name("out")).iterdir()}
    assert names == {"recording.wav", "answer.txt", "contents.txt"}


def test_what_must_not_be_played(card: Room, sine: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out = ["-o", str(sine.with_name("recording.wav")), "--play"]
    loud, two = sine.with_name("loud.wav"), sine.with_name("two.wav")
    wavfile.write(loud, 48_000, np.array([0.0, 0.9] * 1000, dtype=np.float32))
    wavfile.write(two, 48_000, np.zeros((100, 2), dtype=np.float32) + 0.1)
    for options, said in (
        (["--signal", str(loud)], "its peak is -0.9 dB re full scale; make it with --level-dbfs -6 or less"),
        (["--signal", str(two)], "it has two channels"),
        (["--signal", str(sine), "--monitor", "0"], "output: it is 0; count channels from 1"),
        (["--signal", str(sine), "--loop", "1"], "loop: it is the channel of the microphone"),
    ):
        assert main(["record", *options, *out]) == 2
        assert said in capsys.readouterr().err
    assert card.asked == [] and not sine.with_name("recording.wav").exists()


def test_the_library_is_named_in_one_place_and_imported_in_none() -> None:
    sources = [(file, file.read_text(encoding="utf-8")) for file in Path(sim.__file__).parent.rglob("*.py")]
    assert [file.name for file, text in sources if '"sounddevice"' in text] == ["sound_card.py"]
    assert not any("import sounddevice" in text for _, text in sources)
