"""The energy-time curve: level of the impulse response's envelope, broadband and per octave, its peaks named.

The mother pulse is flat from 0 Hz to 12 kHz and fades to nothing at 22 kHz (squared cosine): no side lobes, but
the envelope of its low end falls as 1/t, 27 dB down at 0.2 ms and 40 dB from 1 ms on.  Resolution is about 0.06 ms,
2 cm of path.  No smoothing in time.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from sim.acoustics.bands import Bands, band_weights
from sim.arrays import ComplexArray, FloatArray, IntArray, frozen
from sim.placement.built_scene import BuiltScene
from sim.responses.ear_records import EarResponse, EnergyTimeCurve, Peak
from sim.responses.frequency import GRID_TO_HZ, SAMPLE_RATE_HZ, SAMPLES
from sim.responses.records import Arrival

FADE_FROM_HZ = 12_000.0
SHOWN_MS = (-2.0, 45.0)
PEAK_FLOOR_DB = -30.0
PEAK_RISE_DB = 2.0
PEAK_APART_MS = 0.2
"""A lower maximum this near to a higher one is its flank."""
SHARED_DB = 12.0
"""An arrival this far under the strongest near a peak does not shape it."""
SAME_TIME_MS = 0.12
"""An arrival names a peak when it is this near: twice the resolution of the mother pulse."""


def energy_time_curve(
    built: BuiltScene, response: EarResponse, bands: Bands, arrivals: Sequence[Arrival]
) -> EnergyTimeCurve:
    """Transform the ear responses to curves in dB re the direct peak of the same loudspeaker and band.

    The envelope is the magnitude of the analytic signal (Hilbert transform), made by leaving out negative
    frequencies.
    """
    shapes = pulse_shapes(response.frequencies_hz, bands)
    first, last, time_ms = shown_times()
    speakers, listeners = response.total.shape[:2]
    curves = np.zeros((speakers, listeners, len(shapes), len(time_ms)))
    impulse = np.zeros((speakers, listeners, len(time_ms)))
    for s in range(speakers):
        for place in range(listeners):
            heard = analytic(response.total[s, place] * shapes, first, last)
            straight = analytic(response.direct[s, place] * shapes, first, last)
            peak = np.abs(straight).max(axis=-1, keepdims=True)
            curves[s, place] = 20.0 * np.log10(np.maximum(np.abs(heard) / peak, 1e-6))
            impulse[s, place] = heard[0].real / peak[0]
    flight = [
        [1000.0 * float(np.linalg.norm(ear - one.axis_point)) / built.air.speed_of_sound_m_s for ear in built.ears]
        for one in built.loudspeakers
    ]
    peaks = tuple(
        tuple(
            name_peaks(
                time_ms,
                curves[s, place, 0],
                [a for a in arrivals if (a.loudspeaker, a.listener) == (one.name, listener)],
            )
            for place, listener in enumerate(built.listener_names)
        )
        for s, one in enumerate(built.loudspeakers)
    )
    return EnergyTimeCurve(
        frozen(time_ms),
        frozen(np.array(flight)),
        frozen(curves[:, :, 0].copy()),
        frozen(curves[:, :, 1:].copy()),
        frozen(impulse),
        bands,
        peaks,
    )


def pulse_shapes(frequencies_hz: FloatArray, bands: Bands) -> FloatArray:
    """Spectra (1 + band, f) of the mother pulse: broadband, then each octave's part of it."""
    fade = np.cos(0.5 * np.pi * np.clip((frequencies_hz - FADE_FROM_HZ) / (GRID_TO_HZ - FADE_FROM_HZ), 0.0, 1.0)) ** 2
    return np.vstack([fade, fade * np.sqrt(band_weights(frequencies_hz, bands))])


def shown_times() -> tuple[int, int, FloatArray]:
    """First sample of a curve and one past its last, 0 being the direct sound, and the times (t,) in ms."""
    first = round(SHOWN_MS[0] * SAMPLE_RATE_HZ / 1000.0)
    last = round(SHOWN_MS[1] * SAMPLE_RATE_HZ / 1000.0)
    return first, last, np.arange(first, last, dtype=np.float64) * (1000.0 / SAMPLE_RATE_HZ)


def analytic(spectra: ComplexArray, first: int, last: int) -> ComplexArray:
    """Analytic signals (b, t) of one-sided spectra (b, f), from sample `first` to `last` (first may be negative)."""
    whole = np.zeros((len(spectra), SAMPLES), dtype=np.complex128)
    whole[:, : spectra.shape[1]] = 2.0 * spectra
    whole[:, 0] = spectra[:, 0]
    signals = np.fft.ifft(whole, axis=1) * (SAMPLE_RATE_HZ / SAMPLES)
    return np.asarray(np.take(signals, np.arange(first, last), axis=1, mode="wrap"))


def local_peaks(level: FloatArray, rise_db: float) -> list[int]:
    """Places of maxima that stand at least `rise_db` above the dips on both sides (their prominence).

    A maximum that stays level for a while has its place where it begins.
    """
    if len(level) < 3:
        return []
    begins, heights, dips = _turns(level)
    lower = np.maximum(_lowest_before(heights, dips[:-1]), _lowest_before(heights[::-1], dips[:0:-1])[::-1])
    return [int(place) for place in begins[heights - lower >= rise_db]]


def _turns(level: FloatArray) -> tuple[IntArray, FloatArray, FloatArray]:
    """Maxima inside a curve (p,): where each begins, how high it is, and the dips between, before and after ."""
    changes = np.flatnonzero(np.diff(level)) + 1
    begins = np.concatenate([[0], changes])  # of stretches that stay level
    steps = np.diff(level[begins])
    maxima = begins[np.flatnonzero((steps[:-1] > 0.0) & (steps[1:] < 0.0)) + 1]
    dips = np.minimum.reduceat(level, np.concatenate([[0], maxima]))
    return maxima, level[maxima], dips


def _lowest_before(heights: FloatArray, dips: FloatArray) -> FloatArray:
    """Lowest dip (p,) between each maximum and the last one before it that is higher; dips (p,) before each."""
    lowest = dips.copy()
    open_ones: list[int] = []
    for here, height in enumerate(heights.tolist()):
        while open_ones and heights[open_ones[-1]] <= height:
            lowest[here] = min(lowest[here], lowest[open_ones.pop()])
        open_ones.append(here)
    return lowest


def broadband_db(arrival: Arrival) -> float:
    """Level of an arrival in the broadband curve: each octave counts by its width in hertz, as a pulse has it."""
    widths = 2.0 ** np.arange(len(arrival.level_db))
    return float(10.0 * np.log10(np.average(10.0 ** (arrival.level_db / 10.0), weights=widths) + 1e-20))


def name_peaks(time_ms: FloatArray, level: FloatArray, arrivals: Sequence[Arrival]) -> tuple[Peak, ...]:
    """Name every maximum above -30 dB after the arrivals that can have made it, most likely first."""
    peaks: list[Peak] = []
    places = [place for place in local_peaks(level, PEAK_RISE_DB) if level[place] >= PEAK_FLOOR_DB]
    for place in places:
        time = float(time_ms[place])
        if any(level[p] > level[place] and abs(time_ms[p] - time) < PEAK_APART_MS for p in places):
            continue
        near = [a for a in arrivals if min(abs(part.delay_ms - time) for part in a.parts) <= SAME_TIME_MS]
        near.sort(key=lambda a: -broadband_db(a))
        near = [a for a in near if broadband_db(a) > broadband_db(near[0]) - SHARED_DB]
        if near:
            label = near[0].via if near[0].order else "direct sound"
        elif time < 1.0:
            label = "direct sound, its tail"
        else:
            near = sorted(arrivals, key=lambda a: min(abs(part.delay_ms - time) for part in a.parts))[:2]
            label = "between " + " and ".join(a.via for a in near)
        peaks.append(Peak(time, float(level[place]), tuple(a.number for a in near[:3]), label))
    return tuple(peaks)
