"""WAV files of anybody, read whole: every number as a fraction of full scale, or one sentence that says why not."""

from __future__ import annotations

import stat
import warnings
from pathlib import Path
from typing import NamedTuple

import numpy as np

from sim.arrays import FloatArray

SLOWEST_HZ, FASTEST_HZ = 1_000, 1_000_000
ASK = "export it as WAV with 16, 24 or 32 bits"


class WaveSamples(NamedTuple):
    """What a WAV file holds.

    Attributes
    ----------
    rate_hz
        Sampling rate in Hz.
    samples
        (channel, n) fractions of full scale.
    full_scale
        Largest value that the file's numbers can say; infinite for floating point.
    """

    rate_hz: int
    samples: FloatArray
    full_scale: float


def read_samples(path: Path, most_bytes: int, too_large: str, longest_s: float = float("inf")) -> WaveSamples:
    """Read a WAV file of integers or floating point, with any number of channels.

    Parameters
    ----------
    path
        The file.
    most_bytes
        A larger file is not opened.
    too_large
        What would work then.
    longest_s
        A longer one is refused too.

    Raises
    ------
    FileNotFoundError
        If there is no such file.
    ValueError
        "what was found; what would work": it is no file, too large or long, no WAV, cut off, empty, has a rate that
        cannot be, or holds what is no number.
    """
    try:
        known = path.stat()
    except (OSError, ValueError):  # not there, a name longer than the system takes, a zero byte
        raise FileNotFoundError(path.name) from None
    if not stat.S_ISREG(known.st_mode):
        raise ValueError("is no file; name a WAV file")
    if known.st_size > most_bytes:
        raise ValueError(f"has {known.st_size:,} bytes; {too_large}")
    try:
        with warnings.catch_warnings(record=True) as said:
            warnings.simplefilter("always")
            rate, raw = _read(path)
    except Exception:  # a damaged file makes the reader stumble in ways of its own
        raise ValueError(f"is not a WAV file that can be read; {ASK}") from None
    if any("prematurely" in str(each.message) for each in said):  # chunks of other kinds are passed over in silence
        raise ValueError("is cut off; copy or export it again")
    samples = raw[np.newaxis] if raw.ndim == 1 else raw.T
    if not samples.size:
        raise ValueError("holds no samples; record or export it again")
    if not SLOWEST_HZ <= rate <= FASTEST_HZ:
        raise ValueError(f"says that it was sampled at {rate:g} Hz; export it with its true rate")
    if samples.shape[1] > longest_s * rate:
        raise ValueError(f"is {samples.shape[1] / rate / 60.0:.1f} minutes long; {too_large}")
    with np.errstate(invalid="ignore"):  # some numbers that are none complain on the way; they are refused below
        values = samples.astype(np.float64)
    if samples.dtype == np.uint8:
        values = (values - 128.0) / 128.0
    elif np.issubdtype(samples.dtype, np.integer):
        values = values / -float(np.iinfo(samples.dtype).min)
    if not np.isfinite(values).all():
        raise ValueError("holds numbers that are not finite; record or export it again")
    return WaveSamples(int(rate), values, float("inf") if np.issubdtype(samples.dtype, np.floating) else 1.0)


def _read(path: Path) -> tuple[int, np.ndarray]:
    from scipy.io import wavfile

    rate, raw = wavfile.read(path)
    return int(rate), np.asarray(raw)
