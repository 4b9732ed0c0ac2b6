"""WAV files of measurements: read with every channel as fractions of full scale, and made in memory."""

from __future__ import annotations

import io
import warnings
import wave
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np
from scipy.io import wavfile

from sim.arrays import FloatArray, frozen
from sim.errors import OutputError, SceneError

RATES_HZ: Final = (44_100, 48_000, 88_200, 96_000, 176_400, 192_000)
LONGEST_S: Final = 180.0
"""A sweep of a minute with its pauses is far shorter; what is longer is another file."""
MOST_BYTES: Final = 300_000_000
MOST_CHANNELS: Final = 2
SILENT: Final = 1e-6
"""A channel that never exceeds this, -120 dB re full scale, holds nothing."""
ASK: Final = "export it as WAV with 16, 24 or 32 bits"


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


def read_wave(path: Path) -> Recording:
    """Read a WAV file of 16, 24 or 32-bit integers or floating point, one or two channels.

    Raises
    ------
    SceneError
        If it is not there, no WAV file, cut off, too long, or holds one sample, or what is no number.
    """
    name = path.name
    try:
        if not path.is_file():
            raise SceneError(name, "there is no such file", "correct its name")
        size = path.stat().st_size
    except (OSError, ValueError):  # a name longer than the system takes, a zero byte
        raise SceneError(name, "there is no such file", "correct its name") from None
    if size > MOST_BYTES:
        raise SceneError(name, f"it has {size / 1e6:.0f} MB", f"cut it to the measurement, at most {LONGEST_S:g} s")
    try:
        with warnings.catch_warnings(record=True) as said:
            warnings.simplefilter("always")
            rate, raw = wavfile.read(path)
    except Exception:  # a damaged file makes the reader stumble in ways of its own
        raise SceneError(name, "it is not a WAV file that can be read", ASK) from None
    if any("prematurely" in str(each.message) for each in said):
        raise SceneError(name, "it is cut off", "copy or export it again")
    samples = raw[np.newaxis] if raw.ndim == 1 else raw.T
    return Recording(name, int(rate), frozen(_fractions(name, samples, int(rate))), _full_scale(samples.dtype))


def _fractions(name: str, samples: np.ndarray, rate_hz: int) -> FloatArray:
    channels, count = samples.shape
    if not 1_000 <= rate_hz <= 768_000:
        raise SceneError(name, f"it says that it was sampled at {rate_hz} Hz", "export it with its true rate")
    if count < 2:
        raise SceneError(name, f"it holds {count} sample{'' if count == 1 else 's'}", "record or export it again")
    if channels > MOST_CHANNELS:
        raise SceneError(name, f"it has {channels} channels", "export it with one channel, or two")
    if count > LONGEST_S * rate_hz:
        raise SceneError(
            name,
            f"it is {count / rate_hz / 60.0:.1f} minutes long",
            f"cut it to the measurement, at most {LONGEST_S:g} s",
        )
    with np.errstate(invalid="ignore"):  # some numbers that are none complain on the way; they are refused below
        values = samples.astype(np.float64)
    if samples.dtype == np.uint8:
        values = (values - 128.0) / 128.0
    elif np.issubdtype(samples.dtype, np.integer):
        values = values / -float(np.iinfo(samples.dtype).min)
    if not np.isfinite(values).all():
        raise SceneError(name, "it holds values that are not finite numbers", "record or export it again")
    return values


def _full_scale(kind: np.dtype[np.generic]) -> float:
    if np.issubdtype(kind, np.floating):
        return float("inf")
    return 1.0


def silent_channels(recording: Recording) -> list[int]:
    """Numbers, from 0, of the channels that hold nothing."""
    return [int(k) for k in np.flatnonzero(np.abs(recording.samples).max(axis=1) <= SILENT)]


def refuse_silence(recording: Recording) -> None:
    """Raise SceneError where every channel is silent."""
    if len(silent_channels(recording)) == len(recording.samples):
        raise SceneError(recording.name, "it is silent", "check the microphone and its input, and record it again")


def pcm_bytes(samples: FloatArray, rate_hz: int) -> bytes:
    """One channel (n,) of fractions of full scale as the bytes of a 24-bit WAV file."""
    whole = np.round(np.clip(samples, -1.0, 1.0) * (2**23 - 1)).astype("<i4")
    content = io.BytesIO()
    with wave.open(content, "wb") as file:
        file.setnchannels(1)
        file.setsampwidth(3)
        file.setframerate(rate_hz)
        file.writeframes(whole.view(np.uint8).reshape(-1, 4)[:, :3].tobytes())
    return content.getvalue()


def float_bytes(samples: FloatArray, rate_hz: int) -> bytes:
    """One channel (n,) as the bytes of a WAV file of 32-bit floating point, which no level overloads."""
    content = io.BytesIO()
    wavfile.write(content, rate_hz, samples.astype(np.float32))
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
