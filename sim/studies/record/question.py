"""The question: a measuring signal played over one monitor and recorded, when a person asks for it."""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path
from typing import Any, ClassVar, Final

import numpy as np

from sim.answers import Answer
from sim.arrays import FloatArray
from sim.errors import SceneError
from sim.measuring.sound_card import LOUDEST_DBFS, play_and_record
from sim.measuring.wave_files import Recording, read_wave, refuse_silence
from sim.showing.words import SWEEP_CAUTIONS

CLIPPED_DBFS: Final = -0.1
FAINT_DBFS: Final = -50.0
"""A recording whose peak stays under this was not turned up, or the wrong input (our choice)."""


@dataclass(frozen=True, slots=True, repr=False)
class Recorded(Answer):
    """What a sound card recorded while it played a signal.

    Attributes
    ----------
    signal
        Name of the file that was played.
    rate_hz
        Sampling rate in Hz.
    output, inputs
        Channels of the card, from 1.
    samples
        (channel, n) fractions of full scale.
    """

    question: ClassVar[str] = "record"

    signal: str
    rate_hz: int
    output: int
    inputs: tuple[int, ...]
    samples: FloatArray

    @property
    def peaks_dbfs(self) -> tuple[float, ...]:
        """Highest level of each channel, dB re full scale."""
        return tuple(20.0 * float(np.log10(max(float(one), 1e-12))) for one in np.abs(self.samples).max(axis=1))

    def headline(self) -> str:
        """Length and levels."""
        levels = ", ".join(f"input {k} {peak:.1f}" for k, peak in zip(self.inputs, self.peaks_dbfs, strict=True))
        return f"recorded {self.samples.shape[1] / self.rate_hz:.1f} s; highest level, dB re full scale: {levels}"

    def rows(self) -> list[dict[str, Any]]:
        """One row for each channel: the input it came from, its peak in dB re full scale."""
        return [{"input": k, "peak_dbfs": peak} for k, peak in zip(self.inputs, self.peaks_dbfs, strict=True)]


def record(
    signal: Path | str, *, output: int = 1, microphone: int = 1, loop: int | None = None, device: str | None = None
) -> Recorded:
    """Play a measuring signal over one channel of a sound card, and record the microphone at the same time.

    This makes sound.  Turn the monitors down first.

    Parameters
    ----------
    signal
        WAV file of one channel, peak -6 dB re full scale at most.
    output
        Channel of the monitor, from 1.
    microphone
        Channel of the microphone, from 1.
    loop
        Channel on which the signal as sent comes back over a cable, if there is one.
    device
        Number or name of the sound card; left out, the system's own.

    Raises
    ------
    SceneError
        If the file cannot be read or is too loud, or the card or its library is not there.
    """
    sent = read_signal(signal)
    for words, number in (("output", output), ("microphone", microphone), ("loop", loop)):
        if number is not None and number < 1:
            raise SceneError(words, f"it is {number}", "count channels from 1")
    if loop == microphone:
        raise SceneError("loop", "it is the channel of the microphone", "give the other one, or leave it out")
    inputs = (microphone,) if loop is None else (microphone, loop)
    heard = play_and_record(sent.samples[0], sent.rate_hz, output, inputs, device)
    return Recorded(sent.name, sent.rate_hz, output, inputs, heard)


def read_signal(signal: Path | str) -> Recording:
    """Read what is to be played; SceneError for what must not be."""
    sent = read_wave(Path(os.fspath(signal)), "signal")
    refuse_silence(sent)
    if len(sent.samples) != 1:
        raise SceneError(sent.name, "it has two channels", "play one monitor at a time: give the file of signal")
    peak = 20.0 * float(np.log10(np.abs(sent.samples).max()))
    if peak > LOUDEST_DBFS + 0.01:
        raise SceneError(
            sent.name,
            f"its peak is {peak:.1f} dB re full scale",
            f"make it with --level-dbfs {LOUDEST_DBFS:g} or less: tweeters burn",
        )
    return sent


def recorded_lines(found: Recorded) -> list[str]:
    """What the command says after it has recorded: the answer first."""
    headline = found.headline()
    lines = [f"{headline[:1].upper()}{headline[1:]}."]
    for number, peak in zip(found.inputs, found.peaks_dbfs, strict=True):
        if peak >= CLIPPED_DBFS:
            lines.append(f"  Input {number} is at full scale: turn it down and record again.")
        elif peak < FAINT_DBFS:
            lines.append(f"  Input {number} hears next to nothing: check the microphone, its supply and the channel.")
    return lines


def asking_lines(devices: list[str], signal: Recording, output: int) -> list[str]:
    """What the command says where nothing was asked to be played."""
    return [
        f"Nothing was played. With --play, {signal.name} ({signal.seconds:.0f} s) goes to output {output}.",
        "",
        "Before you play it",
        *(f"  {caution}" for caution in SWEEP_CAUTIONS),
        "",
        "Sound cards (--device takes the number or the name)",
        *(f"  {line}" for line in devices),
    ]
