"""Impulse responses in an AES69 file as one array, and those of rooms as recordings.

AES69-2022: `Data.IR` has the axes measurement, receiver and sample (data type FIR), and one more for emitters (FIR-E);
`Data.Delay` is in samples, one for all measurements or one for each.
"""

from __future__ import annotations

from pathlib import Path
from typing import Final, NamedTuple

import numpy as np

from sim.arrays import FloatArray, frozen
from sim.errors import SceneError
from sim.loudspeakers.sofa_contents import SofaContents, read_contents
from sim.measuring.wave_files import LONGEST_S, Recording

ENDS: Final = (".sofa", ".aes69")
ROOMS: Final = (
    "SingleRoomSRIR",
    "SingleRoomMIMOSRIR",
    "SingleRoomDRIR",
    "MultiSpeakerBRIR",
    "GeneralFIR",
    "GeneralFIR-E",
    "GeneralFIRE",
)
MOST_RESPONSES: Final = 16


class ResponseArrays(NamedTuple):
    """Responses of a file.

    Attributes
    ----------
    rate_hz
        Sampling rate in Hz.
    responses
        (measurement, receiver, emitter, n).
    delays
        (measurement, receiver, emitter) in samples.
    """

    rate_hz: float
    responses: FloatArray
    delays: FloatArray


def response_arrays(file: SofaContents, conventions: tuple[str, ...]) -> ResponseArrays:
    """What a file of one of these conventions holds.

    Raises ValueError, "what was found; what would work", or KeyError with the name of what is missing.
    """
    convention = file.texts.get("SOFAConventions", "")
    if convention not in conventions:
        said = f'its convention is "{convention}"' if convention else "it names no convention (SOFAConventions)"
        raise ValueError(f"{said}; give one of {', '.join(conventions)}")
    responses = file.numbers("Data.IR")
    if responses.ndim not in (3, 4) or 0 in responses.shape:
        raise ValueError(f"its Data.IR has the shape {responses.shape}; write it as (measurement, receiver, n)")
    # FIR: (m, r, n); FIR-E: (m, r, n, e)
    whole = responses[..., None] if responses.ndim == 3 else responses
    whole = np.ascontiguousarray(np.moveaxis(whole, 3, 2))
    if whole.shape[3] < 2:
        raise ValueError("its responses hold one sample; export it again")
    rates = file.numbers("Data.SamplingRate").ravel()
    rate = float(rates[0]) if rates.size else 0.0
    units = file.text("Data.SamplingRate", "Units", "hertz").lower()
    if (rates != rate).any():
        raise ValueError(f"it was sampled at {rates.min():g} to {rates.max():g} Hz; give one rate for all")
    if units not in ("hertz", "hz") or not 1000.0 <= rate <= 768_000.0:
        raise ValueError(f"its sampling rate is {rate:g} {units}; write it in hertz")
    return ResponseArrays(rate, whole, _delays(file, whole.shape[:3]))


def _delays(file: SofaContents, shape: tuple[int, ...]) -> FloatArray:
    if "Data.Delay" not in file.variables:
        return np.zeros(shape)
    given = file.numbers("Data.Delay")
    given = given[..., None] if given.ndim == 2 else given
    if given.ndim != 3 or any(mine not in (1, whole) for mine, whole in zip(given.shape, shape, strict=True)):
        raise ValueError(f"its Data.Delay has the shape {given.shape}; write one for each response")
    return np.array(np.broadcast_to(given, shape))


def room_responses(path: Path) -> list[Recording]:
    """Impulse responses of a room in an AES69 file: of its one microphone, by measurement, then by emitter.

    Raises
    ------
    SceneError
        If it is none, holds several microphones, or more responses than a room has monitors.
    """
    try:
        arrays = response_arrays(read_contents(path), ROOMS)
        measurements, receivers, emitters, count = arrays.responses.shape
        if receivers != 1:
            raise ValueError(f"it has {receivers} microphones; export that at the ear alone")
        if measurements * emitters > MOST_RESPONSES:
            raise ValueError(f"it holds {measurements * emitters} responses; export those of the monitors alone")
        if count > LONGEST_S * arrays.rate_hz:
            raise ValueError(f"its responses are longer than {LONGEST_S:g} s; cut them")
    except OSError:
        raise SceneError(path.name, "there is no such file, or it cannot be read", "correct its name") from None
    except KeyError as fault:
        raise SceneError(path.name, f"it has no {fault.args[0]}", "write it as AES69-2022 asks") from None
    except ValueError as fault:
        found, _, remedy = str(fault).partition("; ")
        raise SceneError(path.name, found, remedy or "export it again, or give a WAV") from None
    rows = arrays.responses[:, 0].reshape(-1, count)
    several = len(rows) > 1
    return [
        Recording(
            f"{path.name}, response {number}" if several else path.name,
            round(arrays.rate_hz),
            frozen(row[np.newaxis].copy()),
            float("inf"),
        )
        for number, row in enumerate(rows, 1)
    ]
