"""A measured impulse response shown as the calculated one is: the same pulse, the same bands, the same window."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy.signal import find_peaks

from sim.acoustics.bands import Bands
from sim.answers import printable
from sim.arrays import ComplexArray, FloatArray, IntArray, frozen
from sim.measuring.deconvolution import direct_sound, envelope
from sim.measuring.wave_files import Recording
from sim.responses.energy_time import analytic, pulse_shapes, shown_times
from sim.responses.frequency import SAMPLE_RATE_HZ, SAMPLES
from sim.responses.window import FADE, window_weight

RISE_MS: Final = 1.0
"""What lies further than twice this ahead of the direct sound is cut off, with half a cosine."""
NEAR_MS: Final = 0.3
NOISE_MS: Final = (-6.0, -2.5)
"""Where nothing can have arrived yet: what stands there is noise."""
LEAST_PROMINENCE_DB: Final = 3.0
"""By how much a peak stands above the dips beside it (common practice, no source)."""
APART_MS: Final = 0.2
FIRST_MS: Final = 0.35
"""What comes sooner is the pulse of the direct sound."""


@printable
@dataclass(frozen=True, slots=True)
class MeasuredCurves:
    """A measured response on the grid of the calculated one.

    Attributes
    ----------
    time_ms
        (t,) after the direct sound.
    broadband_db, octave_db
        (t,) and (band, t): energy-time curves re the direct peak of the same band.
    spectrum
        (f,) complex response, time zero being the direct sound; only what lies in the window.
    noise_db
        Highest level ahead of the direct sound; nan where the file begins with it.
    direct_db
        (1 + band,) level of the direct sound in the file, broadband first, re a sample of 1.
    """

    time_ms: FloatArray
    broadband_db: FloatArray
    octave_db: FloatArray
    spectrum: ComplexArray
    noise_db: float
    direct_db: FloatArray


def measured_curves(
    response: Recording,
    bands: Bands,
    frequencies_hz: FloatArray,
    window_ms: float,
    direct_db: FloatArray | None = None,
) -> MeasuredCurves:
    """Transform a response to curves: its energy over time in each band, and its spectrum inside the window.

    The transform is summed at the frequencies of the calculated response, so that any sampling rate will do and the
    direct sound lies at zero to a fraction of a sample.  In a band whose pulse is longer than a reflection is late, the
    direct sound cannot be told from it: `direct_db` (1 + band,), as `direct_levels` has it of the calculated curves, is
    the level that the measured ones get there; left out, 0 dB.
    """
    samples, rate = response.samples[0], float(response.rate_hz)
    place = _direct_place(samples, rate)
    whole_ms = 1000.0 * SAMPLES / SAMPLE_RATE_HZ
    first = max(0, int(place - 8.0e-3 * rate))
    last = min(len(samples), int(place + (whole_ms - 10.0) * 1e-3 * rate))
    late_ms: FloatArray = (np.arange(first, last, dtype=np.float64) - place) * (1000.0 / rate)
    end = np.clip((whole_ms - 10.0 - late_ms) / 10.0, 0.0, 1.0)
    start = np.clip(late_ms / RISE_MS + 2.0, 0.0, 1.0)
    shown = samples[first:last] * np.sin(0.5 * np.pi * end) ** 2
    spectrum = _transform(shown * np.sin(0.5 * np.pi * start) ** 2, late_ms, frequencies_hz, rate)
    inside = min(window_ms, (whole_ms - 20.0) / (1.0 + FADE))
    seen = _transform(
        shown * np.sin(0.5 * np.pi * start) ** 2 * window_weight(late_ms, inside), late_ms, frequencies_hz, rate
    )
    begin, stop, time_ms = shown_times()
    heard = np.abs(analytic(spectrum * pulse_shapes(frequencies_hz, bands), begin, stop))
    level = 20.0 * np.log10(np.maximum(heard, 1e-300))
    direct = direct_levels(time_ms, level, bands)
    level -= direct[:, np.newaxis]
    level = np.maximum(level + (0.0 if direct_db is None else direct_db[:, np.newaxis]), -120.0)
    ahead = (late_ms > NOISE_MS[0]) & (late_ms < NOISE_MS[1])
    noise = np.nan
    if late_ms[0] <= NOISE_MS[0] + 1.0 and ahead.any():
        around = envelope(samples[first:last])
        noise = 20.0 * np.log10(max(float(around[ahead].max()), 1e-300) / float(around.max()))
    return MeasuredCurves(
        frozen(time_ms), frozen(level[0].copy()), frozen(level[1:].copy()), frozen(seen), float(noise), frozen(direct)
    )


def _transform(samples: FloatArray, late_ms: FloatArray, frequencies_hz: FloatArray, rate: float) -> ComplexArray:
    """Fourier sum (f,) of samples (n,) at times after the direct sound; nothing above half the rate."""
    step = float(frequencies_hz[1] - frequencies_hz[0])
    turn = np.exp(-2j * np.pi * step * late_ms * 1e-3)
    found = np.empty(len(frequencies_hz), dtype=np.complex128)
    phase = samples.astype(np.complex128)
    for k in range(len(frequencies_hz)):
        found[k] = phase.sum()
        phase *= turn
    found[frequencies_hz >= 0.5 * rate] = 0.0
    return np.asarray(found / rate)


def _direct_place(samples: FloatArray, rate: float) -> float:
    """Sample of the direct sound, to a fraction of one: the vertex of a parabola through its envelope."""
    level = envelope(samples[: int(LONGEST_SEARCH_S * rate)])
    place = direct_sound(level, rate)
    if not 0 < place < len(level) - 1:
        return float(place)
    a, b, c = np.log(np.maximum(level[place - 1 : place + 2], 1e-300))
    bend = a - 2.0 * b + c
    return place + (float(np.clip(0.5 * (a - c) / bend, -0.5, 0.5)) if bend < 0.0 else 0.0)


LONGEST_SEARCH_S: Final = 20.0


def direct_levels(time_ms: FloatArray, level_db: FloatArray, bands: Bands) -> FloatArray:
    """Level (1 + band,) of curves (1 + band, t), broadband first, at the direct sound: the highest near it."""
    near_ms = [NEAR_MS, *(max(NEAR_MS, 300.0 / hz) for hz in bands.exact_hz)]
    return np.array([one[np.abs(time_ms) <= near].max() for one, near in zip(level_db, near_ms, strict=True)])


def standing_out(
    time_ms: FloatArray, level_db: FloatArray, floor_db: float, end_ms: float
) -> tuple[IntArray, FloatArray]:
    """Places (k,) of the peaks of a curve (t,) after the direct sound and above a floor, and their prominence in dB."""
    step = float(time_ms[1] - time_ms[0])
    places, known = find_peaks(
        level_db, height=floor_db, prominence=LEAST_PROMINENCE_DB, distance=max(1, round(APART_MS / step))
    )
    inside = (time_ms[places] >= FIRST_MS) & (time_ms[places] <= end_ms)
    return np.asarray(places[inside], dtype=np.int64), np.asarray(known["prominences"][inside], dtype=np.float64)
