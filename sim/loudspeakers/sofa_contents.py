"""What an AES69 file holds: plain numbers and texts, and from them where source and receivers are.

Why, is told in `sim.loudspeakers.sofa_child`.  What was read once is kept for as long as the process lasts, by what the
file says and not by its name, since the same loudspeaker is built hundreds of times.
"""

from __future__ import annotations

import hashlib
import json
import os
import subprocess
from collections import OrderedDict
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import numpy as np

from sim.arrays import FloatArray
from sim.blueprint.error_messages import shown
from sim.loudspeakers.normalising import LARGEST
from sim.machine.processes import own_python

LEAST_SECONDS: Final = 20
BYTES_PER_SECOND: Final = 5_000_000
"""A slow disk over a network; a file gets the time to be read at that speed, and twenty seconds more."""
LARGEST_FILE_BYTES: Final = 2_000_000_000
_KEPT: Final = 4
_KEPT_BYTES: Final = 100_000_000
_kept: OrderedDict[str, SofaContents] = OrderedDict()


@dataclass(frozen=True, slots=True)
class Variable:
    """One variable: its numbers as they are stored, None when it holds none, and its attributes as text."""

    values: np.ndarray[Any, Any] | None
    texts: Mapping[str, str]


@dataclass(frozen=True, slots=True)
class SofaContents:
    """Global attributes as text, and the variables that a loudspeaker needs."""

    texts: Mapping[str, str]
    variables: Mapping[str, Variable]

    def stored(self, name: str) -> np.ndarray[Any, Any]:
        """A variable as it is stored.  Raises KeyError with its name, or ValueError when it holds no numbers."""
        found = self.variables[name].values
        if found is None:
            raise ValueError(f"its {name} holds no numbers; write it as the convention asks, AES69-2022")
        return found

    def numbers(self, name: str) -> FloatArray:
        """All numbers of a variable, refused when some are not finite."""
        rows = np.asarray(self.stored(name), dtype=np.float64)
        if not np.isfinite(rows).all() or np.abs(rows).max(initial=0.0) > LARGEST:
            raise ValueError(f"its {name} holds numbers that are not finite or absurdly large; export it again")
        return rows

    def text(self, name: str, attribute: str, default: str = "") -> str:
        """An attribute of a variable."""
        return self.variables[name].texts.get(attribute, default)


def read_contents(path: Path) -> SofaContents:
    """Read an AES69 file in a process of its own.

    Raises ValueError, "what was found; what would work", when it is none, is damaged, leads to other files, claims
    more than any measurement has, or is not read in time.
    """
    size = path.stat().st_size
    if size > LARGEST_FILE_BYTES:
        raise ValueError(f"it has {size:,} bytes; thin out its frequencies or directions")
    with path.open("rb") as file:
        digest = hashlib.file_digest(file, "sha256").hexdigest()
    if digest in _kept:
        return _kept[digest]
    contents = contents_from(_answer(path, LEAST_SECONDS + size // BYTES_PER_SECOND))
    if sum(each.values.nbytes for each in contents.variables.values() if each.values is not None) <= _KEPT_BYTES:
        _kept[digest] = contents
        while len(_kept) > _KEPT:
            _kept.popitem(last=False)
    return contents


def contents_from(answer: bytes) -> SofaContents:
    """What the other process said.  Raises ValueError, "what was found; what would work", when it refused the file."""
    head, _, rest = answer.partition(b"\n")
    try:
        given = json.loads(head)
        if "refused" in given:
            raise _RefusedError(str(given["refused"]))
        variables: dict[str, Variable] = {}
        start = 0
        for each in given["variables"]:
            values = None
            if each["shape"] is not None:
                kind = np.dtype(each["dtype"])
                count = int(np.prod(each["shape"], dtype=np.int64))
                values = np.frombuffer(rest, kind, count, start).reshape(each["shape"])
                start += values.nbytes
            variables[each["name"]] = Variable(values, each["texts"])
        return SofaContents(given["texts"], variables)
    except _RefusedError:
        raise
    except (ValueError, TypeError, KeyError):
        raise ValueError("reading it broke off, so it is damaged; copy or export it again") from None


class _RefusedError(ValueError):
    """The other process said why."""


def _ask_a_process(path: Path, seconds: int) -> bytes:
    quiet = {**os.environ, "HDF5_PLUGIN_PRELOAD": "::", "OPENBLAS_NUM_THREADS": "1"}  # no filters from any folder
    command = own_python("sim.loudspeakers.sofa_child", str(path.resolve()), str(seconds))
    try:
        done = subprocess.run(command, stdin=subprocess.DEVNULL, capture_output=True, timeout=seconds, env=quiet)
    except subprocess.TimeoutExpired:
        raise ValueError(f"it was not read within {seconds} s, so it is damaged; copy or export it again") from None
    return done.stdout


_answer: Callable[[Path, int], bytes] = _ask_a_process


# Where source and receivers of an AES69 file are, and which way from the source each receiver lies.
#
# The frame of the source is that of its view and up vectors: x to the front, y to its left, z up; that is forward,
# right and up for someone who faces it.

CLOSEST_M: Final = 1e-6
UNIT_M: Final = {
    "metre": 1.0,
    "metres": 1.0,
    "meter": 1.0,
    "meters": 1.0,
    "m": 1.0,
    "centimetre": 0.01,
    "centimeter": 0.01,
    "cm": 0.01,
    "millimetre": 0.001,
    "millimeter": 0.001,
    "mm": 0.001,
}
ONE_DISTANCE: Final = 1.02
"""Receivers whose distances differ by less stand on one sphere."""
MOST_DISTANCES: Final = 3.0
"""Whoever measures directivity keeps one distance; farther apart, type or units are wrong."""
FARTHEST_M: Final = 100.0


def ways_of(file: SofaContents, shape: tuple[int, int]) -> tuple[FloatArray, FloatArray, list[str]]:
    """Unit vectors (measurement, receiver, 3) from the source, distances (measurement, receiver) and what was assumed.

    Raises ValueError, "what was found; what would work", for places or vectors that make no sense.
    """
    measurements, receivers = shape
    notes: list[str] = []
    receiver = _places(file, "ReceiverPosition", receivers, measurements, notes)
    listener = _vectors(file, "ListenerPosition", measurements)
    receiver = np.einsum("mrc,mcx->mrx", receiver, _frame(file, "Listener", measurements)) + listener[:, None]
    away = receiver - _vectors(file, "SourcePosition", measurements)[:, None]
    distance = np.linalg.norm(away, axis=2)
    nearest, farthest = float(distance.min()), float(distance.max())
    if nearest < CLOSEST_M:
        raise ValueError("a receiver stands where the source is; give each receiver a distance")
    if farthest > MOST_DISTANCES * nearest:
        raise ValueError(
            f"its receivers stand {nearest:.3g} to {farthest:.3g} m from the source; check Type and Units of "
            "ReceiverPosition, directivity is measured at one distance"
        )
    if farthest > ONE_DISTANCE * nearest:
        notes.append(
            f"its receivers stand {nearest:.3g} to {farthest:.3g} m from the source: levels are brought to one distance"
        )
    if farthest > FARTHEST_M:
        notes.append(
            f"its receivers stand {farthest:.0f} m away, which looks like another unit: only directions are used"
        )
    if "SourceView" not in file.variables:
        notes.append("it has no SourceView: the source is taken to face along x, with z up")
    return np.einsum("mrx,mcx->mrc", away / distance[..., None], _frame(file, "Source", measurements)), distance, notes


def ways_to_sources(file: SofaContents, measurements: int) -> FloatArray:
    """Unit vectors (measurement, 3) from the listener to the source, as front, left and up of the listener.

    Raises ValueError, "what was found; what would work", for places or vectors that make no sense.
    """
    away = _vectors(file, "SourcePosition", measurements) - _vectors(file, "ListenerPosition", measurements)
    seen = np.einsum("mac,mc->ma", _frame(file, "Listener", measurements), away)
    return _unit_rows(seen, "SourcePosition")


def ear_numbers(file: SofaContents, measurements: int) -> list[int]:
    """Numbers of the two receivers that are the left ear and the right.

    Raises ValueError, "what was found; what would work", where their places do not say so.
    """
    across = _places(file, "ReceiverPosition", 2, measurements, [])[:, :, 1].mean(axis=0)
    left = int(np.argmax(across))
    if not across[left] > across[1 - left]:
        raise ValueError("its ReceiverPosition does not tell left from right; write the left ear with y above 0")
    return [left, 1 - left]


def _frame(file: SofaContents, who: str, measurements: int) -> FloatArray:
    """Front, left and up axes of source or listener, (measurement, 3 axes, 3)."""
    front = _unit_rows(_vectors(file, f"{who}View", measurements, default=(1.0, 0.0, 0.0)), f"{who}View")
    up = _vectors(file, f"{who}Up", measurements, default=(0.0, 0.0, 1.0))
    across = up - (up * front).sum(axis=1, keepdims=True) * front
    if (np.linalg.norm(across, axis=1) < 1e-6 * np.linalg.norm(up, axis=1).clip(1e-12)).any():
        raise ValueError(f"its {who}Up points where {who}View does; write an up vector across the view")
    up = _unit_rows(across, f"{who}Up")
    return np.stack([front, np.cross(up, front), up], axis=1)


def _unit_rows(vectors: FloatArray, name: str) -> FloatArray:
    length = np.linalg.norm(vectors, axis=1, keepdims=True)
    if (length < CLOSEST_M).any():
        raise ValueError(f"its {name} is zero; write where it points")
    return np.asarray(vectors / length)


def _vectors(
    file: SofaContents, name: str, measurements: int, default: tuple[float, float, float] = (0.0, 0.0, 0.0)
) -> FloatArray:
    """A vector for each measurement, (measurement, 3), in metres; without a type of its own it is cartesian."""
    if name not in file.variables:
        return np.tile(np.array(default), (measurements, 1))
    raw = file.numbers(name)
    if raw.ndim != 2 or raw.shape[1] != 3 or len(raw) not in (1, measurements):
        raise ValueError(f"its {name} has the shape {raw.shape} for {measurements} measurements; write it as (1, 3)")
    rows = _cartesian(raw, file, name, file.text(name, "Type", "cartesian"), [])
    return np.broadcast_to(rows, (measurements, 3))


def _places(file: SofaContents, name: str, count: int, measurements: int, notes: list[str]) -> FloatArray:
    """Places (measurement, count, 3) from shapes (1, 3), (count, 3) or (count, 3, measurement)."""
    raw = file.numbers(name)
    raw = raw[..., None] if raw.ndim == 2 else raw
    if raw.ndim != 3 or raw.shape[0] not in (1, count) or raw.shape[1] != 3 or raw.shape[2] not in (1, measurements):
        raise ValueError(f"its {name} has the shape {raw.shape}; write it as (receiver, 3)")
    kind = file.text(name, "Type", "")
    if not kind:
        raise ValueError(f"its {name} has no Type; write spherical or cartesian")
    rows = _cartesian(raw.transpose(2, 0, 1).reshape(-1, 3), file, name, kind, notes)
    return np.broadcast_to(rows.reshape(raw.shape[2], raw.shape[0], 3), (measurements, count, 3))


def _cartesian(rows: FloatArray, file: SofaContents, name: str, kind: str, notes: list[str]) -> FloatArray:
    """Rows (n, 3) in metres, whichever way they are written."""
    units = [each for each in file.text(name, "Units", "").lower().replace(",", " ").split() if each]
    spherical = kind.lower().startswith("spherical")
    if not spherical and kind.lower() != "cartesian":
        raise ValueError(f"the type of its {name} is {shown(kind)}; write spherical or cartesian")
    if not units:
        notes.append(f"its {name} tells no units: they are taken to be {'degrees and ' * spherical}metres")
    metres = UNIT_M.get(units[-1] if units else "metre")
    if metres is None or (spherical and units and not units[0].startswith("degree")):
        remedy = '"degree, degree, metre"' if spherical else '"metre"'
        raise ValueError(f"the unit of its {name} is {shown(' '.join(units))}; write {remedy}")
    if not spherical:
        return rows * metres
    azimuth, elevation, radius = rows.T
    if np.abs(elevation).max() > 90.0 + 1e-6:
        raise ValueError(
            f"elevations of its {name} run from {elevation.min():.4g} to {elevation.max():.4g} degrees; count them "
            "from the level plane, from -90 to 90"
        )
    if radius.min() < 0.0:
        raise ValueError(f"distances of its {name} are below zero; write cartesian as its Type if they are")
    around, up = np.radians(azimuth), np.radians(elevation)
    out = radius * metres * np.cos(up)
    return np.column_stack([out * np.cos(around), out * np.sin(around), radius * metres * np.sin(up)])
