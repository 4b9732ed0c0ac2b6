"""From what was sent and what was recorded to the impulse response, and how the clocks of both differ.

The spectrum of the recording over that of the sweep, both padded with zeros so that nothing wraps around (linear
deconvolution; ISO 18233:2006), held down outside the band that was sent (Kirkeby and Nelson, J. Audio Eng. Soc.
47 (1999) 583-595).  What harmonic distortion adds lies before the linear response, by L ln k for the harmonic k, and
is cut off.
"""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from scipy.fft import irfft, next_fast_len, rfft

from sim.arrays import FloatArray

IN_BAND: Final = 1e-9
"""Regularisation inside the band, as a fraction of the largest power: an exponential sweep's falls by 30 dB."""
EDGE_OCTAVES: Final = 1.0 / 3.0
SENT: Final = 1e-5
"""A signal is taken to hold what its power, averaged over bands, has within 50 dB of its largest."""
HALF_TAPS: Final = 32
FRACTIONS: Final = 1024
"""Of a sample, for which the taps are worked out; between them they are interpolated, to 1e-6."""
STEP: Final = 32_768


def band_of(sent: FloatArray, rate_hz: float) -> tuple[float, float]:
    """Lowest and highest frequency in Hz of what a signal (n,) holds."""
    power = np.abs(rfft(sent)) ** 2
    frequencies = np.arange(len(power)) * rate_hz / len(sent)
    edges = np.geomspace(max(10.0, 2.0 * frequencies[1]), 0.5 * rate_hz, 200)
    begins = np.unique(np.searchsorted(frequencies, edges[:-1]))
    means = np.add.reduceat(power, begins) / np.diff(np.append(begins, len(power)))
    held = np.flatnonzero(means >= SENT * means.max())
    stop = begins[held[-1] + 1] if held[-1] + 1 < len(begins) else len(power) - 1
    return float(frequencies[begins[held[0]]]), float(frequencies[stop])


def deconvolve(recorded: FloatArray, sent: FloatArray, rate_hz: float) -> FloatArray:
    """Impulse response (m,) of recorded (n,) over sent (k,); negative times stand at its end.

    One sample at the sending rate of the same height comes out as a band-limited unit pulse.
    """
    count = next_fast_len(len(recorded) + len(sent), real=True)
    low, high = band_of(sent, rate_hz)
    out, back = rfft(sent, count), rfft(recorded, count)
    power = np.abs(out) ** 2
    frequencies = np.maximum(np.arange(len(out)) * (rate_hz / count), 1e-3)
    beyond = np.maximum(np.maximum(np.log2(low / frequencies), np.log2(frequencies / high)), 0.0) / EDGE_OCTAVES
    held = power.max() * (IN_BAND + np.minimum(beyond, 1.0) ** 4)
    return np.asarray(irfft(back * np.conj(out) / (power + held), count))


def envelope(response: FloatArray) -> FloatArray:
    """Magnitude (n,) of the analytic signal of a response (n,), padded so that its ends do not meet."""
    count = next_fast_len(2 * len(response))
    whole = np.fft.fft(response, count)
    half = count // 2
    whole[1 : (count + 1) // 2] *= 2.0
    whole[half + 1 :] = 0.0
    return np.asarray(np.abs(np.fft.ifft(whole))[: len(response)])


def direct_sound(level: FloatArray, rate_hz: float, before_ms: float = 10.0, down_db: float = 12.0) -> int:
    """Sample of the direct sound in an envelope (n,).

    It is the first maximum within `down_db` of the largest one, no more than `before_ms` ahead of it: a reflection can
    be louder than the direct sound of a monitor that looks elsewhere, distortion and noise cannot (common practice, no
    source).
    """
    largest = int(np.argmax(level))
    first = max(0, largest - round(before_ms * rate_hz / 1000.0))
    above = first + int(np.flatnonzero(level[first : largest + 1] >= level[largest] * 10.0 ** (-down_db / 20.0))[0])
    reach = max(2, round(0.0003 * rate_hz))
    return above + int(np.argmax(level[above : above + reach + 1]))


# Clocks.


def clock_drift_ppm(
    recorded: FloatArray, expected: tuple[int, int], length: int, rate_hz: float, largest_ppm: float = 1000.0
) -> float:
    """By how many parts per million the recorder counts more samples than were played, from the two markers.

    Both markers went through the same room, so that what was recorded of the second is what was recorded of the first,
    later: no room, loudspeaker or microphone moves the maximum of their correlation.

    Parameters
    ----------
    recorded
        (n,) the recording.
    expected
        First sample of both markers in it, were there no drift.
    length
        Samples to compare: the marker and the early part of the room's answer.
    largest_ppm
        Largest drift that is looked for.
    """
    apart = expected[1] - expected[0]
    slack = int(np.ceil(apart * largest_ppm * 1e-6)) + round(0.005 * rate_hz)
    first = _stretch(recorded, expected[0] - slack, length + 2 * slack)
    second = _stretch(recorded, expected[1] - slack, length + 2 * slack)
    count = next_fast_len(4 * len(first), real=True)
    finer = 8
    crossed = irfft(rfft(second, count) * np.conj(rfft(first, count)), finer * count)
    crossed = np.concatenate([crossed[-finer * slack :], crossed[: finer * slack + 1]])
    place = int(np.argmax(crossed))
    fraction = 0.0
    if 0 < place < len(crossed) - 1:
        a, b, c = crossed[place - 1 : place + 2]
        fraction = 0.5 * (a - c) / (a - 2.0 * b + c) if a - 2.0 * b + c < 0.0 else 0.0
    shift = (place + fraction) / finer - slack
    return float(shift / apart * 1e6)


def _stretch(samples: FloatArray, first: int, count: int) -> FloatArray:
    """Samples from `first` on, zero where there are none."""
    found = np.zeros(count)
    begin, end = max(0, first), min(len(samples), first + count)
    if end > begin:
        found[begin - first : end - first] = samples[begin:end]
    return found


def mend_drift(recorded: FloatArray, ppm: float) -> FloatArray:
    """The recording (n,) as a recorder with the player's clock would have it: read at n (1 + ppm 1e-6).

    Band-limited interpolation with 64 taps under a Kaiser window (Smith and Gossett, ICASSP 1984).
    """
    places = np.arange(int(len(recorded) / (1.0 + ppm * 1e-6)), dtype=np.float64) * (1.0 + ppm * 1e-6)
    padded = np.concatenate([np.zeros(HALF_TAPS), recorded, np.zeros(HALF_TAPS + 2)])
    taps = np.arange(-HALF_TAPS + 1, HALF_TAPS + 1)
    mended = np.empty(len(places))
    off = taps[np.newaxis, :] - np.linspace(0.0, 1.0, FRACTIONS + 1)[:, np.newaxis]
    weights = np.sinc(off) * np.i0(9.0 * np.sqrt(np.maximum(1.0 - (off / HALF_TAPS) ** 2, 0.0))) / np.i0(9.0)
    for begin in range(0, len(places), STEP):
        some = places[begin : begin + STEP]
        whole = np.floor(some).astype(np.int64)
        row = (some - whole) * FRACTIONS
        lower = np.minimum(row.astype(np.int64), FRACTIONS - 1)
        near = sliding_window_view(padded, 2 * HALF_TAPS)[whole + 1]
        upper_part = (row - lower)[:, np.newaxis]
        between = (1.0 - upper_part) * weights[lower] + upper_part * weights[lower + 1]
        mended[begin : begin + STEP] = np.einsum("ij,ij->i", near, between)
    return mended
