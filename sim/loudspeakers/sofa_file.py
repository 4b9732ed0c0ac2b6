"""Directivity from AES69 files (SOFA, a netCDF-4 container and so HDF5).

Read are FreeFieldDirectivityTF (AES69-2022), and the older general conventions with a loudspeaker in the middle and
receivers around it, or one receiver and a loudspeaker that is turned: GeneralTF, GeneralFIR, GeneralTF-E, GeneralFIR-E
with one emitter, FreeFieldDirectivityFIR.  Every pair of measurement and receiver gives one direction from the source
(`sim.loudspeakers.sofa_contents`).
"""

from __future__ import annotations

from pathlib import Path
from typing import Final

import numpy as np

from sim.arrays import FloatArray
from sim.blueprint.error_messages import shown
from sim.errors import SceneError
from sim.loudspeakers.directivity_data import DirectivityData
from sim.loudspeakers.impulse_responses import directivity_of_impulses
from sim.loudspeakers.normalising import measured_data
from sim.loudspeakers.sofa_child import LOUDSPEAKER_CONVENTIONS
from sim.loudspeakers.sofa_contents import SofaContents, read_contents, ways_of

ALL_ONE_WAY_DEG: Final = 1.0
_AS_ASKED: Final = "write it as the convention asks, AES69-2022"


def read_sofa_file(path: Path, where: str) -> DirectivityData:
    """Read the directivity of a loudspeaker from an AES69 file.

    Raises
    ------
    SceneError
        If the file is none, holds something else than a loudspeaker in a free field, or lacks what is needed.
    """
    here = f"{where}, {path.name}"
    try:
        return _directivity(read_contents(path), path.name)
    except OSError as fault:
        raise SceneError(here, f"it cannot be read ({fault.strerror})", "check who may read the file") from None
    except KeyError as fault:
        raise SceneError(here, f"it has no {fault.args[0]}", _AS_ASKED) from None
    except ValueError as fault:
        found, _, remedy = str(fault).partition("; ")
        raise SceneError(here, found, remedy or "export it again as FreeFieldDirectivityTF") from None


def _directivity(file: SofaContents, source: str) -> DirectivityData:
    convention = file.texts.get("SOFAConventions", "")
    if convention not in LOUDSPEAKER_CONVENTIONS:
        raise ValueError(_not_a_loudspeaker(convention))
    kind = file.texts.get("DataType", "TF" if "TF" in convention else "FIR")
    if kind not in ("TF", "TF-E", "FIR", "FIR-E"):
        raise ValueError(f"its data are of the type {shown(kind)}; write TF or FIR")
    transfer = kind.startswith("TF")
    first = file.stored("Data.Real" if transfer else "Data.IR")
    if first.ndim < 3 or 0 in first.shape:
        raise ValueError(f"its data have the shape {first.shape}; write them as (measurement, receiver, n)")
    shape = (int(first.shape[0]), int(first.shape[1]))
    ways, distance, notes = ways_of(file, shape)
    notes += [*_room(file), *_emitters(file, first.ndim)]
    kept, said = _distinct(ways)
    directions = ways.reshape(-1, 3)[kept]
    # sound falls with distance: what was nearer is brought to the distance of the first
    nearer = (distance / distance[0, 0]).ravel()[kept, None]
    notes += said
    if transfer:
        frequencies = _frequencies(file, first.shape[2])
        parts = [_per_direction(file, name, first.shape)[kept] for name in ("Data.Real", "Data.Imag")]
        notes += _decibels(parts[0], parts[1])
        heard = frequencies > 0.0
        values = ((parts[0] + 1j * parts[1]) * nearer)[:, heard]
        return measured_data(
            directions, frequencies[heard], values, has_phase=bool(parts[1].any()), source=source, notes=tuple(notes)
        )
    responses = _per_direction(file, "Data.IR", first.shape)[kept]
    rates = file.numbers("Data.SamplingRate").ravel()
    rate = float(rates[0]) if rates.size else 0.0
    if (rates != rate).any():
        raise ValueError(f"it was sampled at {rates.min():g} to {rates.max():g} Hz; give one rate for all")
    units = file.text("Data.SamplingRate", "Units", "hertz").lower()
    if units not in ("hertz", "hz") or rate < 1000.0:
        raise ValueError(f"its sampling rate is {rate:g} {units}; write it in hertz")
    return directivity_of_impulses(
        responses * nearer, rate, _delays(file, shape)[kept], directions, source=source, notes=tuple(notes)
    )


def _not_a_loudspeaker(convention: str) -> str:
    wanted = "give a FreeFieldDirectivityTF file"
    if not convention:
        return f"it names no convention (SOFAConventions); {wanted}"
    if "HRIR" in convention or "HRTF" in convention:
        return f"it holds the ears of a listener ({convention}), not a loudspeaker; {wanted}"
    if "Room" in convention:
        return f"it was measured in a room ({convention}), not in a free field; {wanted}"
    return f'its convention is "{convention}"; {wanted}, or one of {", ".join(LOUDSPEAKER_CONVENTIONS[1:4])}'


def _room(file: SofaContents) -> list[str]:
    """The general conventions may have been measured anywhere."""
    room = file.texts.get("RoomType", "free field")
    if room.lower().replace(" ", "") in ("freefield", ""):
        return []
    return [f"its RoomType is {shown(room)}: what the room sends back is taken for the loudspeaker"]


def _emitters(file: SofaContents, axes: int) -> list[str]:
    """Emitters without data of their own were measured together."""
    if "EmitterPosition" not in file.variables or axes != 3:
        return []
    count = len(np.atleast_1d(file.stored("EmitterPosition")))
    return [f"it lists {count} emitters that were measured together: they are one source"] if count > 1 else []


def _frequencies(file: SofaContents, count: int) -> FloatArray:
    frequencies = file.numbers("N").ravel()
    units = file.text("N", "Units", "hertz").lower()
    if len(frequencies) != count:
        raise ValueError(f"its N has {len(frequencies)} frequencies, its data {count}; export it again")
    if units not in ("hertz", "hz") or frequencies.max() <= 100.0:
        raise ValueError(f"its frequencies end at {frequencies.max():g} {units}; write N in hertz")
    return frequencies


def _decibels(real: FloatArray, imaginary: FloatArray) -> list[str]:
    """Levels put where ratios belong are magnitudes without phase, below zero or all alike."""
    low, high = float(real.min()), float(real.max())
    if imaginary.any():
        return []
    if low < -2.0 * max(high, 0.5):
        raise ValueError(
            f"its Data.Real runs from {low:.3g} to {high:.3g} without Data.Imag, which looks like dB; write ratios"
        )
    if low > 20.0 and high < min(200.0, 3.0 * low):
        return [f"its Data.Real runs from {low:.3g} to {high:.3g} without Data.Imag: taken to be ratios, not dB"]
    return []


def _per_direction(file: SofaContents, name: str, shape: tuple[int, ...]) -> FloatArray:
    """Data (measurement and receiver, n), from (m, r, n) or from (m, r, n, emitter) of one emitter."""
    data = file.numbers(name)
    if data.ndim == 4 and data.shape[3] != 1:
        raise ValueError(
            f"it holds {data.shape[3]} emitters measured apart; write a file for each and name it with its driver"
        )
    if data.ndim not in (3, 4) or data.shape != shape:
        raise ValueError(f"its {name} has the shape {data.shape}, other data {shape}; export it again")
    return data.reshape(shape[0] * shape[1], shape[2])


def _delays(file: SofaContents, shape: tuple[int, int]) -> FloatArray:
    """Delays (measurement and receiver,) in samples, from (1, r), (m, r), or either with one emitter."""
    if "Data.Delay" not in file.variables:
        return np.zeros(shape[0] * shape[1])
    given = file.numbers("Data.Delay")
    if given.ndim < 2 or given.size != given.shape[0] * given.shape[1]:
        raise ValueError(f"its Data.Delay has the shape {given.shape}; write it as (measurement, receiver)")
    given = given.reshape(given.shape[0], given.shape[1])
    if any(length not in (1, whole) for length, whole in zip(given.shape, shape, strict=True)):
        raise ValueError(f"its Data.Delay has the shape {given.shape}, its data {shape}; write one for each response")
    return np.broadcast_to(given, shape).ravel()


def _distinct(ways: FloatArray) -> tuple[slice, list[str]]:
    """Which of (measurement, receiver, 3) to keep: of several measurements of one grid, the first."""
    measurements, receivers = ways.shape[:2]
    alike = np.degrees(np.arccos(np.clip(ways.reshape(-1, 3) @ ways[0, 0], -1.0, 1.0))).max()
    if measurements * receivers > 1 and alike < ALL_ONE_WAY_DEG:
        raise ValueError("all its receivers lie in one direction from the source; give a grid around the loudspeaker")
    if measurements > 1 and receivers > 1 and np.abs(ways - ways[:1]).max() < 1e-4:
        return slice(0, receivers), [f"it holds {measurements} measurements in the same directions: the first is used"]
    return slice(None), []
