"""Impulse responses that are there already: WAV files, text with time and value, and AES69 files."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Final

import numpy as np

from sim.arrays import FloatArray, frozen
from sim.errors import SceneError
from sim.measuring.deconvolution import direct_sound, envelope
from sim.measuring.response_arrays import ENDS, room_responses
from sim.measuring.wave_files import LONGEST_S, Recording, read_wave, refuse_silence

MOST_TEXT_BYTES: Final = 100_000_000
SPREAD_S, LEAST_PART = 0.05, 0.3
"""Least part of the energy of an impulse response that lies within so long after its direct sound (our choice)."""
BEFORE_S: Final = 0.01
UNEVEN: Final = 0.02


def read_responses(path: Path) -> list[Recording]:
    """Read impulse responses: one of a WAV file, or of text with time and value; all that an AES69 file holds.

    Raises
    ------
    SceneError
        As `read_response`.
    """
    if path.suffix.lower() not in ENDS:
        return [read_response(path)]
    found = room_responses(path)
    for one in found:
        _refuse(one)
    return found


def read_response(path: Path) -> Recording:
    """Read an impulse response of one channel: a WAV file, or text with a time (s or ms) and a value on each line.

    Raises
    ------
    SceneError
        If it cannot be read, is silent, has two channels, or is no impulse response.
    """
    response = read_wave(path) if path.suffix.lower() in (".wav", ".wave") else _text(path)
    if len(response.samples) > 1:
        raise SceneError(response.name, "it has two channels", "give a file of its own for each monitor")
    _refuse(response)
    return response


def _refuse(response: Recording) -> None:
    """Raise SceneError for what is silent, or no impulse response."""
    refuse_silence(response)
    energy = response.samples[0] ** 2
    direct = direct_sound(envelope(response.samples[0]), response.rate_hz)
    begin = max(0, direct - round(BEFORE_S * response.rate_hz))
    if energy[begin : direct + round(SPREAD_S * response.rate_hz)].sum() < LEAST_PART * energy.sum():
        raise SceneError(
            response.name, "it is no impulse response", "make one of the recording with bounceplan impulse"
        )


def _text(path: Path) -> Recording:
    name = path.name
    try:
        if not path.is_file():
            raise SceneError(name, "there is no such file", "correct its name")
        if path.stat().st_size > MOST_TEXT_BYTES:
            raise SceneError(name, "it is larger than 100 MB", f"cut it to the response, at most {LONGEST_S:g} s")
        lines = path.read_text(encoding="utf-8", errors="strict").splitlines()
    except (OSError, ValueError):
        raise SceneError(name, "it is neither WAV nor text that can be read", "export it as WAV") from None
    rows = [row for row in map(_row, lines) if row is not None]
    if len(rows) < 2:
        raise SceneError(name, f"it holds {len(rows)} rows of time and value", "export both for every sample, or a WAV")
    table = np.array(rows, dtype=np.float64)
    if not np.isfinite(table).all():
        raise SceneError(name, "it holds values that are not finite numbers", "export it again")
    steps = np.diff(table[:, 0])
    step = float(np.median(steps))
    if step <= 0.0 or float(np.abs(steps - step).max()) > max(UNEVEN * step, 1.1e-6):
        raise SceneError(name, "its times do not rise in even steps", "export every sample, or a WAV")
    seconds = step if step < 1e-3 else step / 1000.0  # rates from 1 to 768 kHz: no step of one unit is one of the other
    mean = float(np.mean(steps)) * seconds / step
    rate = round(1.0 / mean)
    if not 1_000 <= rate <= 768_000:
        raise SceneError(name, f"its times say {rate} samples a second", "give times in seconds or milliseconds")
    if len(table) > LONGEST_S * rate:
        raise SceneError(name, f"it is longer than {LONGEST_S:g} s", "cut it to the response")
    values: FloatArray = table[:, 1]
    return Recording(name, rate, frozen(values[np.newaxis].copy()), float("inf"))


def _row(line: str) -> tuple[float, float] | None:
    """Time and value of a line; None for a heading or a remark."""
    cells = [cell for cell in re.split(r"[\s;,]+", line.strip()) if cell]
    if len(cells) != 2:
        return None
    try:
        return float(cells[0]), float(cells[1])
    except ValueError:
        return None
