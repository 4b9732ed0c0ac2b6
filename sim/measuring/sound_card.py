"""The one place that plays and records sound: a library that is loaded only when a person asks for it."""

from __future__ import annotations

from importlib import import_module
from typing import Any, Final

import numpy as np

from sim.arrays import FloatArray, frozen
from sim.errors import SceneError

LIBRARY: Final = "sounddevice"
LOUDEST_DBFS: Final = -6.0
"""A louder file is not played: a sweep at full scale takes tweeters with it (our choice)."""


def sound_library() -> Any:
    """The audio library.

    Raises
    ------
    SceneError
        If it is not installed, or the system lacks what it stands on.
    """
    try:
        return import_module(LIBRARY)
    except ImportError:
        raise SceneError(
            "record",
            f"the library {LIBRARY} is not installed",
            f"install it with: pip install {LIBRARY}; or play and record with any other program",
        ) from None
    except OSError:
        raise SceneError(
            "record",
            f"{LIBRARY} does not find PortAudio, on which it stands",
            "install that (on Debian and Ubuntu: libportaudio2), or play and record with any other program",
        ) from None


def device_lines() -> list[str]:
    """What there is to play and record with, a line each, as the library lists it."""
    return [line.rstrip() for line in str(sound_library().query_devices()).splitlines()]


def play_and_record(
    samples: FloatArray, rate_hz: int, output: int, inputs: tuple[int, ...], device: str | None
) -> FloatArray:
    """Play samples (n,) on one channel of a sound card and record others (channel, n) at the same time.

    Parameters
    ----------
    samples
        Fractions of full scale, peak -6 dB at most.
    rate_hz
        Sampling rate in Hz.
    output, inputs
        Channels of the card, from 1.
    device
        Number or name of the card, as the library lists it; None: the system's own.

    Raises
    ------
    SceneError
        If there is no such card or channel, or it breaks off; ValueError for samples that are too loud.
    """
    if float(np.abs(samples).max()) > 10.0 ** (LOUDEST_DBFS / 20.0) * 1.001:
        raise ValueError(f"samples above {LOUDEST_DBFS:g} dB re full scale are not played")
    library = sound_library()
    chosen: int | str | None = int(device) if device is not None and device.isdecimal() else device
    try:
        recorded = library.playrec(
            samples.astype(np.float32)[:, np.newaxis],
            samplerate=rate_hz,
            output_mapping=[output],
            input_mapping=list(inputs),
            device=chosen,
            dtype="float32",
            blocking=True,
        )
    except (library.PortAudioError, ValueError) as fault:
        said = " ".join(str(fault).split())[:160]
        raise SceneError(
            "record",
            f"the sound card refuses: {said}",
            "choose another with --device, other channels, or make the signal at a rate that it has",
        ) from None
    finally:
        library.stop()
    return frozen(np.ascontiguousarray(np.asarray(recorded, dtype=np.float64).T))
