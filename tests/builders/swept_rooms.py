"""Recordings of the measuring signal whose truth is known: a room, a recorder whose clock runs off, noise.

What is played is written here again from its formula, as a function of time, so that a clock that runs off is a
stretched time and no resampling by the program.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
from scipy.io import wavfile
from scipy.signal import fftconvolve

from sim.measuring.sweeps import (
    FADE_IN_S,
    FADE_OUT_S,
    LOWEST_HZ,
    MARKER_HZ,
    MARKER_S,
    highest_hz,
    measuring_signal,
    sweep_rate_s,
)


def played(time_s: np.ndarray, rate_hz: int, seconds: float) -> np.ndarray:
    """The measuring signal as a function of time, markers and sweep where they lie."""
    _, parts = measuring_signal(rate_hz, seconds, 0.0)
    low, high = LOWEST_HZ, highest_hz(rate_hz)
    rate_s = sweep_rate_s(seconds, low, high)
    whole = np.zeros(len(time_s))
    for begin, _ in parts.markers:
        t = time_s - begin / rate_hz
        phase = 2.0 * np.pi * (MARKER_HZ[0] * t + 0.5 * (MARKER_HZ[1] - MARKER_HZ[0]) / MARKER_S * t**2)
        whole += np.where((t >= 0) & (t <= MARKER_S), np.sin(phase) * np.sin(np.pi * t / MARKER_S) ** 2, 0.0)
    t = time_s - parts.sweep[0] / rate_hz
    end = (parts.sweep[1] - 1 - parts.sweep[0]) / rate_hz
    inside = (t >= 0) & (t <= end)
    t = np.clip(t, 0.0, end)
    fade = np.sin(0.5 * np.pi * np.clip(t / FADE_IN_S, 0, 1)) ** 2
    fade *= np.sin(0.5 * np.pi * np.clip((end - t) / FADE_OUT_S, 0, 1)) ** 2
    return whole + np.where(inside, np.sin(2 * np.pi * low * rate_s * (np.exp(t / rate_s) - 1)) * fade, 0.0)


def record_room(
    response: Path, place: Path, *, seconds: float = 2.0, drift_ppm: float = 0.0, noise_db: float = -60.0, seed: int = 0
) -> None:
    """Write what a recorder hears of the signal in a room whose response is a file, as 24 bits would hold it.

    The clock of the recorder runs faster by `drift_ppm`; noise is told re the peak of the recording.
    """
    rate_hz, room = wavfile.read(response)
    count = len(measuring_signal(rate_hz, seconds, 0.0)[0])
    time = np.arange(count) / (rate_hz * (1.0 + drift_ppm * 1e-6))
    heard = fftconvolve(played(time, rate_hz, seconds), room.astype(np.float64))
    heard = heard / np.abs(heard).max() * 0.5
    heard += 0.5 * 10.0 ** (noise_db / 20.0) * np.random.default_rng(seed).normal(size=len(heard)) / 3.0
    wavfile.write(place, rate_hz, (np.round(heard * 2**23) * 2**8).astype(np.int32))
