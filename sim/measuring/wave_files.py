"""WAV files of measurements: read with every channel as fractions of full scale, and made in memory."""

from __future__ import annotations

import io
import wave
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np
from scipy.io import wavfile

from sim.arrays import FloatArray, frozen
from sim.errors import OutputError, SceneError
from sim.machine.wave_samples import read_samples

RATES_HZ: Final = (44_100, 48_000, 88_200, 96_000, 176_400, 192_000)
LONGEST_S: Final = 180.0
"""A sweep of a minute with its pauses is far shorter; what is longer is another file."""
MOST_BYTES: Final = 300_000_000
MOST_CHANNELS: Final = 2
SILENT: Final = 1e-6
"""A channel that never exceeds this, -120 dB re full scale, holds nothing."""


@dataclass(frozen=True, slots=True)
class Recording:
    """Samples of a WAV file.

    Attributes
    ----------
    name
        Of the file, for messages.
    rate_hz
        Sampling rate in Hz.
    samples
        (channel, n) fractions of full scale.
    full_scale
        Largest value that the file's numbers can say; infinite for floating point.
    """

    name: str
    rate_hz: int
    samples: FloatArray
    full_scale: float

    @property
    def seconds(self) -> float:
        """Its length."""
        return float(self.samples.shape[1] / self.rate_hz)


def read_wave(path: Path, part: str = "measurement") -> Recording:
    """Read a WAV file of 16, 24 or 32-bit integers or floating point, one or two channels.

    part: what a file that is too long should be cut to, in a word.

    Raises
    ------
    SceneError
        If it is not there, no WAV file, cut off, too long, or holds one sample, or what is no number.
    """
    name, remedy = path.name, f"cut it to the {part}, at most {LONGEST_S:g} s"
    try:
        rate_hz, samples, full_scale = read_samples(path, MOST_BYTES, remedy, LONGEST_S)
    except FileNotFoundError:
        raise SceneError(name, "there is no such file", "correct its name") from None
    except ValueError as fault:
        found, _, mend = str(fault).partition("; ")
        raise SceneError(name, f"it {found}", mend) from None
    channels, count = samples.shape
    if count < 2:
        raise SceneError(name, "it holds 1 sample", "record or export it again")
    if channels > MOST_CHANNELS:
        raise SceneError(name, f"it has {channels} channels", "export it with one channel, or two")
    return Recording(name, rate_hz, frozen(samples), full_scale)


def silent_channels(recording: Recording) -> list[int]:
    """Numbers, from 0, of the channels that hold nothing."""
    return [int(k) for k in np.flatnonzero(np.abs(recording.samples).max(axis=1) <= SILENT)]


def refuse_silence(recording: Recording) -> None:
    """Raise SceneError where every channel is silent."""
    if len(silent_channels(recording)) == len(recording.samples):
        raise SceneError(recording.name, "it is silent", "check the microphone and its input, and record it again")


def pcm_bytes(samples: FloatArray, rate_hz: int) -> bytes:
    """One channel (n,), or several (channel, n), of fractions of full scale as the bytes of a 24-bit WAV file."""
    together = np.ascontiguousarray(np.atleast_2d(samples).T)
    whole = np.round(np.clip(together, -1.0, 1.0) * (2**23 - 1)).astype("<i4")
    content = io.BytesIO()
    with wave.open(content, "wb") as file:
        file.setnchannels(together.shape[1])
        file.setsampwidth(3)
        file.setframerate(rate_hz)
        file.writeframes(whole.view(np.uint8).reshape(-1, 4)[:, :3].tobytes())
    return content.getvalue()


def float_bytes(samples: FloatArray, rate_hz: int) -> bytes:
    """One channel (n,), or several (channel, n), as a WAV file of 32-bit floating point, which no level overloads."""
    content = io.BytesIO()
    wavfile.write(content, rate_hz, samples.T.astype(np.float32))
    return content.getvalue()


def refuse_wave_place(place: Path, replace: bool, reads: tuple[Path, ...] = ()) -> None:
    """Say at once that a WAV file cannot go where it should.

    Raises
    ------
    OutputError
        If its folder is not there, its name does not end in .wav, it is there already and not to be replaced, or it is
        one of the files that are read.
    """
    if place.suffix.lower() != ".wav":
        raise OutputError(f"{place}: this is a WAV file; give it a name that ends in .wav.")
    if not place.parent.is_dir():
        raise OutputError(f"{place}: there is no such folder; make it first, or choose another place.")
    if place.is_dir():
        raise OutputError(f"{place}: this is a folder; choose another name with -o.")
    if any(place.resolve() == one.resolve() for one in reads):
        raise OutputError(f"{place}: this is read, and would be lost; choose another name with -o.")
    if place.exists() and not replace:
        raise OutputError(f"{place}: exists already; choose another name with -o, or add --replace.")
