"""The question: an impulse response out of files."""

from __future__ import annotations

import os
from pathlib import Path

from sim.measuring.from_recording import MeasuredResponse, response_of
from sim.measuring.wave_files import read_wave


def impulse(
    recording: Path | str, *, signal: Path | str, channel: int | None = None, reference: int | None = None
) -> MeasuredResponse:
    """Work out the impulse response of a recording of the measuring signal, and check the recording.

    Parameters
    ----------
    recording
        WAV file of one or two channels.
    signal
        WAV file that was played.
    channel, reference
        Channel of the microphone, and of the signal as it was sent, from 1; left out, found out.

    Raises
    ------
    SceneError
        If a file cannot be read, or the recording does not hold the signal.
    """
    heard, sent = read_wave(Path(os.fspath(recording))), read_wave(Path(os.fspath(signal)))
    return response_of(heard, sent, channel, reference)
