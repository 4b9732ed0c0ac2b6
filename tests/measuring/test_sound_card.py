"""Playing and recording, with a stand-in for the audio library: nothing sounds here."""

from __future__ import annotations

import sys
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from sim.errors import SceneError
from sim.measuring.sound_card import device_lines, play_and_record, sound_library


class PortAudioError(Exception):
    """As the library has it."""


class StandIn(SimpleNamespace):
    """What of the library is used; remembers what it was asked."""

    PortAudioError = PortAudioError

    def __init__(self, fault: Exception | None = None) -> None:
        super().__init__(asked=[], stopped=0, fault=fault)

    def playrec(self, data: np.ndarray, **options: Any) -> np.ndarray:
        """A cable on every input, half as loud."""
        self.asked.append((data, options))
        if self.fault is not None:
            raise self.fault
        return np.repeat(0.5 * data, len(options["input_mapping"]), axis=1)

    def stop(self) -> None:
        self.stopped += 1

    def query_devices(self) -> str:
        return "  0 built-in, (2 in, 2 out)\n> 1 box with knobs, (4 in, 4 out)\n"


def test_one_channel_goes_out_and_others_come_back(monkeypatch: pytest.MonkeyPatch) -> None:
    card = StandIn()
    monkeypatch.setitem(sys.modules, "sounddevice", card)
    sent = 0.25 * np.sin(np.arange(480) / 7.0)
    heard = play_and_record(sent, 48_000, 3, (2, 4), "1")
    ((data, options),) = card.asked
    assert data.shape == (480, 1) and data.dtype == np.float32
    assert options == {
        "samplerate": 48_000,
        "output_mapping": [3],
        "input_mapping": [2, 4],
        "device": 1,
        "dtype": "float32",
        "blocking": True,
    }
    assert heard.shape == (2, 480) and heard == pytest.approx(np.stack([sent, sent]) / 2.0, abs=1e-7)
    assert card.stopped == 1
    play_and_record(sent, 48_000, 1, (1,), "box with knobs")
    assert card.asked[-1][1]["device"] == "box with knobs"
    assert device_lines() == ["  0 built-in, (2 in, 2 out)", "> 1 box with knobs, (4 in, 4 out)"]


def test_what_is_too_loud_never_reaches_the_card(monkeypatch: pytest.MonkeyPatch) -> None:
    card = StandIn()
    monkeypatch.setitem(sys.modules, "sounddevice", card)
    with pytest.raises(ValueError, match="above -6 dB"):
        play_and_record(np.array([0.0, 0.6]), 48_000, 1, (1,), None)
    assert card.asked == []


@pytest.mark.parametrize("fault", [PortAudioError("Invalid sample rate\n[PaErrorCode -9997]"), ValueError("No device")])
def test_a_card_that_refuses_is_one_sentence(fault: Exception, monkeypatch: pytest.MonkeyPatch) -> None:
    card = StandIn(fault)
    monkeypatch.setitem(sys.modules, "sounddevice", card)
    with pytest.raises(SceneError, match="the sound card refuses: ") as complaint:
        play_and_record(np.zeros(10), 48_000, 1, (1,), None)
    assert "\n" not in str(complaint.value) and card.stopped == 1


def test_ctrl_c_stops_the_sound(monkeypatch: pytest.MonkeyPatch) -> None:
    card = StandIn(KeyboardInterrupt())  # type: ignore[arg-type]
    monkeypatch.setitem(sys.modules, "sounddevice", card)
    with pytest.raises(KeyboardInterrupt):
        play_and_record(np.zeros(10), 48_000, 1, (1,), None)
    assert card.stopped == 1


@pytest.mark.parametrize(
    ("fault", "said"),
    [
        (ImportError("none"), "sounddevice is not installed; install it with"),
        (OSError("none"), "does not find PortAudio"),
    ],
)
def test_a_library_that_is_not_there(fault: Exception, said: str, monkeypatch: pytest.MonkeyPatch) -> None:
    def missing(_: str) -> None:
        raise fault

    monkeypatch.setattr("sim.measuring.sound_card.import_module", missing)
    with pytest.raises(SceneError, match=said):
        sound_library()
