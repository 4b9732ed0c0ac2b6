"""An impulse response out of a recording of the measuring signal, with everything that can be wrong with it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, ClassVar, Final

import numpy as np
from scipy.fft import irfft, next_fast_len, rfft

from sim.acoustics.bands import band_weights, octave_bands
from sim.answers import Answer
from sim.arrays import FloatArray, frozen
from sim.errors import SceneError
from sim.measuring.deconvolution import clock_drift_ppm, deconvolve, direct_sound, envelope, mend_drift
from sim.measuring.sweeps import SignalParts, find_parts
from sim.measuring.wave_files import Recording, refuse_silence, silent_channels

BEFORE_MS: Final = 10.0
KEPT_S: Final = 1.0
"""What is kept before and after the direct sound."""
LEAST_DRIFT_PPM: Final = 1.0
"""A smaller drift moves nothing by a sample and is left alone."""
LARGEST_DRIFT_PPM: Final = 900.0
COMPARED_S: Final = 0.15
"""How much of the room's answer to the markers is compared."""
CLIPPED: Final = 0.9995
NEAR_S, AROUND_S = (0.005, 0.03), 0.5
COMPACT: Final = 0.12
"""Least part of the energy within half a second of the direct sound that comes from 5 ms before to 30 ms after it; of
another sweep's, which is spread evenly, it would be 0.035 (our choice)."""
OCTAVES_HZ: Final = (500.0, 8000.0)
TOGETHER_S: Final = 0.02
"""In these octaves the direct sound comes at one time, within this; another sweep's come one after the other."""
FIRST: Final = 10.0 ** (-10.0 / 20.0)
"""An octave's direct sound is within 10 dB of whatever is loudest in it (our choice)."""
CABLE_S, CABLE = 0.0005, 0.97
"""Part of the energy that lies so near the peak when a channel heard a cable and not a room (our choice)."""
NOISE_FROM_S, NOISE_TO_S = 0.6, 1.5
CHUNK_S: Final = 0.1


@dataclass(frozen=True, slots=True, repr=False)
class MeasuredResponse(Answer):
    """An impulse response out of a recording.

    Attributes
    ----------
    recording, signal
        Names of the files.
    rate_hz
        Sampling rate in Hz.
    samples
        (n,) the response: recorded over sent.
    direct_ms
        Time of the direct sound in it.
    flight_time_ms
        The same from when the signal was sent, which a timing reference tells; else nan.
    channel, reference
        Channels of the recording, from 1: the microphone's, and that of the timing reference (0: none).
    drift_ppm
        By how much the recorder's clock runs faster than the player's; nan where it is not known.
    mended
        Whether that drift was taken out.
    clipped
        Samples of the recording at full scale.
    inverted
        Whether the direct sound begins with a push where the signal pulls.
    octave_hz
        (octave,) middles of octaves in Hz.
    signal_to_noise_db
        (octave,) peak of the response over what is left of it after 0.6 s; nan where the recording is too short.
    remarks
        What else is to be known, a sentence each.
    """

    question: ClassVar[str] = "impulse"

    recording: str
    signal: str
    rate_hz: int
    samples: FloatArray
    direct_ms: float
    flight_time_ms: float
    channel: int
    reference: int
    drift_ppm: float
    mended: bool
    clipped: int
    inverted: bool
    octave_hz: FloatArray
    signal_to_noise_db: FloatArray
    remarks: tuple[str, ...]

    def headline(self) -> str:
        """Length, direct sound, and the worst octave."""
        worst = float(np.nanmin(self.signal_to_noise_db)) if np.isfinite(self.signal_to_noise_db).any() else np.nan
        noise = f", {worst:.0f} dB above the noise in its worst octave" if np.isfinite(worst) else ""
        return f"response of {len(self.samples) / self.rate_hz:.2f} s, direct sound at {self.direct_ms:.2f} ms{noise}"

    def rows(self) -> list[dict[str, Any]]:
        """One row for each octave: signal to noise in dB."""
        return [
            {"octave_hz": float(hz), "signal_to_noise_db": float(level)}
            for hz, level in zip(self.octave_hz, self.signal_to_noise_db, strict=True)
        ]


def response_of(
    recording: Recording, signal: Recording, channel: int | None = None, reference: int | None = None
) -> MeasuredResponse:
    """Impulse response of a recording of a signal.

    Parameters
    ----------
    recording, signal
        What was recorded, one or two channels; what was played, its first channel.
    channel, reference
        Which channel, from 1, the microphone is on, and which holds the signal as it was sent; left out, found out.

    Raises
    ------
    SceneError
        If both differ in rate, the recording is silent, does not hold the signal, or there is no such channel.
    """
    _refuse(recording, signal, channel, reference)
    parts, rate = find_parts(signal.samples[0], signal.rate_hz), signal.rate_hz
    sweep = signal.samples[0, parts.sweep[0] : parts.sweep[1]]
    silent = silent_channels(recording)
    remarks = [f"channel {k + 1} is silent" for k in silent]
    raw = [np.zeros(1) if k in silent else deconvolve(one, sweep, rate) for k, one in enumerate(recording.samples)]
    mine, other = _channels(recording, raw, silent, rate, channel, reference)
    heard = recording.samples[mine]
    place = _found(recording, raw[mine][: len(heard)], signal, rate)
    drift, remark = _drift(heard, place, parts, rate)
    remarks += [remark] if remark else []
    mended = bool(abs(drift) >= LEAST_DRIFT_PPM)
    sent = None if other is None else recording.samples[other]
    if mended:
        heard, place = mend_drift(heard, drift), round(place / (1.0 + drift * 1e-6))
        sent = None if sent is None else mend_drift(sent, drift)
    begin = max(0, place - round(CHUNK_S * rate))
    end = min(len(heard), place + len(sweep) + _room_after(parts, rate))
    response = deconvolve(heard[begin:end], sweep if sent is None else sent[begin:end], rate)
    if sent is not None:  # later than sent by the flight alone: nothing else lies ahead of it
        ahead = round(CHUNK_S * rate)
        response = np.concatenate([response[-ahead:], response[:-ahead]])
        begin_of_time = ahead
    else:
        begin_of_time = place - begin
    tail_s = (end - place - len(sweep)) / rate
    loud = envelope(response[: begin_of_time + round(0.5 * rate)])
    direct = direct_sound(loud, rate)
    first = begin_of_time if sent is not None else direct - round(BEFORE_MS * rate / 1000.0)
    first = max(0, min(first, direct))
    kept = response[first : direct + round(KEPT_S * rate)]
    near = response[max(0, direct - round(0.0003 * rate)) : direct + round(0.0003 * rate) + 1]
    hz, ratio = _signal_to_noise(response[direct : direct + round(min(tail_s, NOISE_TO_S) * rate)], rate)
    if not np.isfinite(ratio).any():
        remarks.append("it ends too soon after the sweep to tell the noise; let it run for two seconds more")
    return MeasuredResponse(
        recording.name,
        signal.name,
        rate,
        frozen(kept.copy()),
        1000.0 * (direct - first) / rate,
        1000.0 * (direct - begin_of_time) / rate if sent is not None else float("nan"),
        mine + 1,
        0 if other is None else other + 1,
        drift,
        mended,
        _clipped(recording.samples),
        bool(near[np.argmax(np.abs(near))] < 0.0),
        frozen(hz),
        frozen(ratio),
        tuple(remarks),
    )


def _refuse(recording: Recording, signal: Recording, channel: int | None, reference: int | None) -> None:
    for one in (signal, recording):
        refuse_silence(one)
    if recording.rate_hz != signal.rate_hz:
        raise SceneError(
            recording.name,
            f"it was sampled at {recording.rate_hz} Hz and {signal.name} at {signal.rate_hz} Hz",
            "record at the rate of the signal, or make the signal again with --rate-hz",
        )
    count = len(recording.samples)
    for words, number in (("channel", channel), ("reference", reference)):
        if number is not None and not 1 <= number <= count:
            has = "one channel" if count == 1 else "two channels"
            raise SceneError(words, f"it is {number}, and {recording.name} has {has}", "give 1 or 2, or leave it out")
    if channel is not None and channel == reference:
        raise SceneError("reference", "it is the channel of the microphone", "give the other one, or leave it out")


def _channels(
    recording: Recording,
    raw: list[FloatArray],
    silent: list[int],
    rate: int,
    channel: int | None,
    reference: int | None,
) -> tuple[int, int | None]:
    """Numbers from 0 of the microphone's channel and of the timing reference, if there is one."""
    sounding = [k for k in range(len(raw)) if k not in silent]
    for number in (channel, reference):
        if number is not None and number - 1 in silent:
            raise SceneError(recording.name, f"channel {number} is silent", "give the other one, or record it again")
    if reference is not None:
        other = [k for k in sounding if k != reference - 1]
        if not other:
            raise SceneError(recording.name, "only the timing reference was recorded", "check the microphone's input")
        return (channel - 1 if channel is not None else other[0]), reference - 1
    if channel is not None or len(sounding) == 1:
        return (channel - 1 if channel is not None else sounding[0]), None
    cables = [k for k in sounding if _energy_part(raw[k], CABLE_S, CABLE_S, rate) > CABLE]
    if len(cables) == 1:
        return next(k for k in sounding if k != cables[0]), cables[0]
    both = "a cable" if cables else "a room"
    raise SceneError(
        recording.name, f"both channels sound like {both}", "say with --channel 1 or 2 which is the microphone's"
    )


def _energy_part(response: FloatArray, before_s: float, after_s: float, rate: int) -> float:
    """Part of the energy within half a second of the largest sample that lies so near it."""
    peak, around = int(np.argmax(np.abs(response))), round(AROUND_S * rate)
    turned = np.take(response, np.arange(peak - around, peak + around), mode="wrap") ** 2
    near = turned[around - round(before_s * rate) : around + round(after_s * rate) + 1]
    return float(near.sum() / max(float(turned.sum()), 1e-300))


def _found(recording: Recording, response: FloatArray, signal: Recording, rate: int) -> int:
    """Sample at which the sweep begins in a recording; SceneError where it does not hold it."""
    if _energy_part(response, *NEAR_S, rate) < COMPACT or _spread_s(response, rate) > TOGETHER_S:
        raise SceneError(
            recording.name,
            f"the signal of {signal.name} is not in it, or drowns in noise",
            "give the signal that was played, or record it louder",
        )
    return direct_sound(envelope(response), rate)


def _spread_s(response: FloatArray, rate: int) -> float:
    """How far apart octaves arrive around the largest sample, by their peaks or by what comes first, in seconds."""
    peak, around = int(np.argmax(np.abs(response))), round(AROUND_S * rate)
    near = np.take(response, np.arange(peak - around, peak + around), mode="wrap")
    bands = octave_bands(OCTAVES_HZ[0], OCTAVES_HZ[1] if rate > 20_000 else 2000.0)
    shapes = np.sqrt(band_weights(np.arange(around + 1) * rate / (2 * around), bands))
    heard = np.abs(irfft(rfft(near) * shapes, 2 * around, axis=-1))
    first = np.argmax(
        heard >= FIRST * heard.max(axis=1, keepdims=True), axis=1
    )  # a later one may be louder in one octave
    return float(min(np.ptp(np.argmax(heard, axis=1)), np.ptp(first)) / rate)


def _room_after(parts: SignalParts, rate: int) -> int:
    """Samples after the sweep that hold nothing else."""
    if not parts.markers:
        return round(NOISE_TO_S * rate)
    return parts.markers[1][0] - parts.sweep[1] - round(0.05 * rate)


def _drift(heard: FloatArray, place: int, parts: SignalParts, rate: int) -> tuple[float, str]:
    """Drift in ppm, nan with a remark where it is not known."""
    if not parts.markers:
        return float("nan"), "the signal has no markers, so that clock drift is not known"
    expected = (place - parts.sweep[0] + parts.markers[0][0], place - parts.sweep[0] + parts.markers[1][0])
    length = parts.markers[0][1] - parts.markers[0][0] + round(COMPARED_S * rate)
    if expected[0] < 0 or expected[1] + length > len(heard):
        return float("nan"), "it does not hold both markers, so that clock drift is not known"
    drift = clock_drift_ppm(heard, expected, length, rate)
    if abs(drift) > LARGEST_DRIFT_PPM:
        return float("nan"), "its markers do not fit each other, so that clock drift is not known"
    return drift, ""


def _clipped(samples: FloatArray) -> int:
    """Samples at full scale that stay there for more than one."""
    top = np.abs(samples) >= CLIPPED
    stays = top[:, 1:] & (samples[:, 1:] == samples[:, :-1])
    return int(stays.sum())


def _signal_to_noise(after: FloatArray, rate: int) -> tuple[FloatArray, FloatArray]:
    """Octaves below half the rate, and for each the peak of a response (n,) over what is left at its end, in dB."""
    highest = max(hz for hz in (1000.0, 2000.0, 4000.0, 8000.0, 16000.0) if hz <= 0.35 * rate or hz == 1000.0)
    bands = octave_bands(63, highest)
    first, last = round(NOISE_FROM_S * rate), len(after)
    if last - first < CHUNK_S * rate:
        return bands.nominal_hz.copy(), np.full(len(bands), np.nan)
    count = next_fast_len(len(after) + round(0.1 * rate), real=True)
    shapes = np.sqrt(band_weights(np.arange(count // 2 + 1) * rate / count, bands))
    heard = irfft(rfft(after, count) * shapes, count, axis=-1)[:, :last]
    loudest = np.abs(heard[:, : round(0.1 * rate)]).max(axis=1)
    late = np.sqrt(2.0 * np.mean(heard[:, first : last - round(0.02 * rate)] ** 2, axis=1))
    return bands.nominal_hz.copy(), 20.0 * np.log10(np.maximum(loudest, 1e-12) / np.maximum(late, 1e-12))
