"""Directivity from AES69 files (SOFA, a netCDF-4 container and so HDF5).

Read are FreeFieldDirectivityTF (AES69-2022), and the older general conventions with a loudspeaker in the middle and
receivers around it, or one receiver and a loudspeaker that is turned: GeneralTF, GeneralFIR, GeneralTF-E, GeneralFIR-E
with one emitter, FreeFieldDirectivityFIR.  Every pair of measurement and receiver gives one direction from the source,
in the frame of its view and up vectors (x to the front, y to the source's left, z up; that is forward, right and up
for someone who faces it).
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from sim.arrays import FloatArray
from sim.errors import SceneError
from sim.loudspeakers.directivity_data import DirectivityData, measured_data
from sim.loudspeakers.impulse_data import directivity_of_impulses

if TYPE_CHECKING:
    import h5py

LOUDSPEAKER_CONVENTIONS: Final = (
    "FreeFieldDirectivityTF", "FreeFieldDirectivityFIR", "GeneralTF", "GeneralFIR", "GeneralTF-E", "GeneralFIR-E",
)  # fmt: skip
SAME_DIRECTION: Final = 1e-6
ALL_ONE_WAY_DEG: Final = 1.0


def read_sofa_file(path: Path, where: str) -> DirectivityData:
    """Read the directivity of a loudspeaker from an AES69 file.

    Raises
    ------
    SceneError
        If the file is none, holds something else than a loudspeaker in a free field, or lacks what is needed.
    """
    import h5py  # the one place outside the writers: AES69 is HDF5, and loudspeakers are built before any result

    here = f"{where}, {path.name}"
    try:
        file = h5py.File(str(path), "r")
    except OSError:
        raise SceneError(here, "it is not an AES69 (netCDF-4) file", "export it again, or give CSV data") from None
    with file:
        try:
            return _directivity(file, path.name)
        except KeyError as fault:
            name = str(fault.args[0])
            raise SceneError(here, f"it has no {name}", "write it as the convention asks, AES69-2022") from None
        except ValueError as fault:
            found, _, remedy = str(fault).partition("; ")
            raise SceneError(here, found, remedy or "export it again as FreeFieldDirectivityTF") from None


def _directivity(file: h5py.File, source: str) -> DirectivityData:
    convention = _text(file.attrs.get("SOFAConventions", ""))
    if convention not in LOUDSPEAKER_CONVENTIONS:
        raise ValueError(_not_a_loudspeaker(convention))
    kind = _text(file.attrs.get("DataType", "TF" if "TF" in convention else "FIR"))
    directions = _directions(file)
    shape = directions.shape[:2]
    notes: list[str] = []
    if kind.startswith("TF"):
        real = _per_direction(_needed(file, "Data.Real"), shape)
        imaginary = _per_direction(_needed(file, "Data.Imag"), shape)
        frequencies = np.asarray(_needed(file, "N")[()], dtype=np.float64)
        units = _text(_needed(file, "N").attrs.get("Units", "hertz")).lower()
        if units not in ("hertz", "hz") or frequencies.max() <= 100.0:
            raise ValueError(f"its frequencies end at {frequencies.max():g} {units}; write N in hertz")
        kept, notes = _distinct(directions.reshape(-1, 3), shape)
        values = (real + 1j * imaginary).reshape(-1, real.shape[-1])[kept]
        order = np.argsort(frequencies)
        order = order[frequencies[order] > 0.0]
        has_phase = bool(np.any(imaginary != 0.0))
        if not np.isfinite(values[:, order]).all():
            raise ValueError("its data hold numbers that are not finite; export it again")
        return measured_data(
            "sphere", directions.reshape(-1, 3)[kept], np.zeros(len(kept)), frequencies[order], values[:, order],
            has_phase=has_phase, source=source, notes=tuple(notes),
        )  # fmt: skip
    responses = _per_direction(_needed(file, "Data.IR"), shape)
    rate = float(np.ravel(_needed(file, "Data.SamplingRate")[()])[0])
    units = _text(_needed(file, "Data.SamplingRate").attrs.get("Units", "hertz")).lower()
    if units not in ("hertz", "hz") or rate < 1000.0:
        raise ValueError(f"its sampling rate is {rate:g} {units}; write it in hertz")
    kept, notes = _distinct(directions.reshape(-1, 3), shape)
    delays = np.zeros(shape)
    if "Data.Delay" in file:
        told = np.asarray(file["Data.Delay"][()], dtype=np.float64)
        delays = np.broadcast_to(told.reshape(told.shape[:2]), shape)
    return directivity_of_impulses(
        responses.reshape(-1, responses.shape[-1])[kept], rate, delays.ravel()[kept], directions.reshape(-1, 3)[kept],
        layout="sphere", horizontal=np.zeros(len(kept)), source=source, notes=tuple(notes),
    )  # fmt: skip


def _not_a_loudspeaker(convention: str) -> str:
    wanted = "give a FreeFieldDirectivityTF file"
    if "HRIR" in convention or "HRTF" in convention:
        return f"it holds the ears of a listener ({convention}), not a loudspeaker; {wanted}"
    if "Room" in convention:
        return f"it was measured in a room ({convention}), not in a free field; {wanted}"
    return f'its convention is "{convention}"; {wanted}, or one of {", ".join(LOUDSPEAKER_CONVENTIONS[1:4])}'


def _needed(file: h5py.File, name: str) -> Any:
    if name not in file:
        raise KeyError(name)
    return file[name]


def _per_direction(dataset: Any, shape: tuple[int, ...]) -> FloatArray:
    """Data (measurement, receiver, n), from (m, r, n) or from (m, r, n, emitter) of one emitter."""
    data = np.asarray(dataset[()], dtype=np.float64)
    if data.ndim == 4:
        if data.shape[3] != 1:
            raise ValueError(
                f"it holds {data.shape[3]} emitters measured apart; write a file for each and name it with its driver"
            )
        data = data[..., 0]
    if data.ndim != 3 or data.shape[:2] != shape:
        raise ValueError(f"its data have the shape {data.shape}, its positions {shape}; export it again")
    return data


def _directions(file: h5py.File) -> FloatArray:
    """Unit vectors (measurement, receiver, 3) from the source to each receiver, in the frame of the source."""
    data = _needed(file, "Data.Real" if "Data.Real" in file else "Data.IR")
    measurements, receivers = int(data.shape[0]), int(data.shape[1])
    receiver = _places(file, "ReceiverPosition", receivers, measurements)
    listener = _vectors(file, "ListenerPosition", measurements)
    receiver = np.einsum("mrc,mcx->mrx", receiver, _frame(file, "Listener", measurements)) + listener[:, None]
    away = receiver - _vectors(file, "SourcePosition", measurements)[:, None]
    length = np.linalg.norm(away, axis=2, keepdims=True)
    if float(length.min()) < SAME_DIRECTION:
        raise ValueError("a receiver stands where the source is; give each receiver a distance")
    turned = np.einsum("mrx,mcx->mrc", away / length, _frame(file, "Source", measurements))
    alike = np.degrees(np.arccos(np.clip(turned.reshape(-1, 3) @ turned[0, 0], -1.0, 1.0))).max()
    if measurements * receivers > 1 and alike < ALL_ONE_WAY_DEG:
        raise ValueError("all its receivers lie in one direction from the source; give a grid around the loudspeaker")
    return np.asarray(turned)


def _frame(file: h5py.File, who: str, measurements: int) -> FloatArray:
    """Front, left and up axes of source or listener, (measurement, 3 axes, 3)."""
    front = _vectors(file, f"{who}View", measurements, default=(1.0, 0.0, 0.0))
    up = _vectors(file, f"{who}Up", measurements, default=(0.0, 0.0, 1.0))
    front = front / np.linalg.norm(front, axis=1, keepdims=True)
    up = up - (up * front).sum(axis=1, keepdims=True) * front
    size = np.linalg.norm(up, axis=1, keepdims=True)
    if (size < SAME_DIRECTION).any():
        raise ValueError(f"its {who}Up points where {who}View does; write an up vector across the view")
    up = up / size
    return np.stack([front, np.cross(up, front), up], axis=1)


def _vectors(
    file: h5py.File, name: str, measurements: int, default: tuple[float, float, float] = (0.0, 0.0, 0.0)
) -> FloatArray:
    """A vector for each measurement, (measurement, 3), in metres."""
    if name not in file:
        return np.tile(np.array(default), (measurements, 1))
    rows = _cartesian(np.asarray(file[name][()], dtype=np.float64).reshape(-1, 3), file, name)
    if len(rows) not in (1, measurements):
        raise ValueError(f"its {name} has {len(rows)} rows for {measurements} measurements; give one or as many")
    return np.broadcast_to(rows, (measurements, 3))


def _places(file: h5py.File, name: str, count: int, measurements: int) -> FloatArray:
    """Places (measurement, count, 3) from shapes (1, 3), (count, 3) or (count, 3, measurement)."""
    raw = np.asarray(_needed(file, name)[()], dtype=np.float64)
    raw = raw[..., None] if raw.ndim == 2 else raw
    if raw.ndim != 3 or raw.shape[0] not in (1, count) or raw.shape[1] != 3 or raw.shape[2] not in (1, measurements):
        raise ValueError(f"its {name} has the shape {raw.shape}; write it as (receiver, 3)")
    rows = _cartesian(raw.transpose(2, 0, 1).reshape(-1, 3), file, name).reshape(raw.shape[2], raw.shape[0], 3)
    return np.broadcast_to(rows, (measurements, count, 3))


def _cartesian(rows: FloatArray, file: h5py.File, name: str) -> FloatArray:
    """Rows in metres, whichever way they are written; views and ups without a type of their own are cartesian."""
    attributes = file[name].attrs
    kind = _text(attributes.get("Type", "cartesian")).lower()
    units = _text(attributes.get("Units", "")).lower()
    if kind.startswith("spherical"):
        if "radian" in units:
            raise ValueError(f'the unit of its {name} is "{units}"; write "degree, degree, metre"')
        azimuth, elevation, radius = np.radians(rows[:, 0]), np.radians(rows[:, 1]), rows[:, 2]
        out = radius * np.cos(elevation)
        return np.column_stack([out * np.cos(azimuth), out * np.sin(azimuth), radius * np.sin(elevation)])
    if kind != "cartesian":
        raise ValueError(f'the type of its {name} is "{kind}"; write spherical or cartesian')
    return rows


def _distinct(directions: FloatArray, shape: tuple[int, ...]) -> tuple[Any, list[str]]:
    """Numbers of the directions to keep: of several measurements in the same directions, the first."""
    measurements, receivers = shape[:2]
    per = directions.reshape(measurements, receivers, 3)
    if measurements > 1 and receivers > 1 and np.abs(per - per[:1]).max() < 1e-4:
        return np.arange(receivers), [f"it holds {measurements} measurements in the same directions: the first is used"]
    kept: list[int] = []
    seen: set[tuple[float, ...]] = set()
    for number, row in enumerate(np.round(directions, 4) + 0.0):
        key = tuple(row.tolist())
        if key not in seen:
            seen.add(key)
            kept.append(number)
    return np.array(kept), []


def _text(value: Any) -> str:
    value = value[0] if isinstance(value, np.ndarray) and value.size else value
    return value.decode("utf-8") if isinstance(value, bytes) else str(value)
