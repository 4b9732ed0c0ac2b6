"""The part of reading an AES69 file that runs in a process of its own: only here is such a file opened as HDF5.

A damaged or hostile file may make the HDF5 library run for ever, take all memory, end the process, or read other files:
by links to them, by data that are said to lie in them, by filters that are loaded from a folder.  So the library works
here, within limits, on the variables that are wanted and nothing else, and hands over plain numbers and texts: one line
of JSON, and after it the bytes of each variable in turn.
"""

from __future__ import annotations

import contextlib
import json
import math
import sys
from types import ModuleType
from typing import Any, BinaryIO, Final

import numpy as np

from sim.errors import one_line

LOUDSPEAKER_CONVENTIONS: Final = (
    "FreeFieldDirectivityTF",
    "FreeFieldDirectivityFIR",
    "GeneralTF",
    "GeneralFIR",
    "GeneralTF-E",
    "GeneralFIR-E",
)
RESPONSE_CONVENTIONS: Final = (
    "SimpleFreeFieldHRIR",
    "SingleRoomSRIR",
    "SingleRoomMIMOSRIR",
    "SingleRoomDRIR",
    "MultiSpeakerBRIR",
    "GeneralFIRE",
)
"""Heads and rooms, of which impulse responses are read."""
GLOBAL_TEXTS: Final = ("SOFAConventions", "DataType", "RoomType")
VARIABLES: Final = (
    "Data.Real",
    "Data.Imag",
    "Data.IR",
    "Data.SamplingRate",
    "Data.Delay",
    "N",
    "ReceiverPosition",
    "EmitterPosition",
    "ListenerPosition",
    "ListenerView",
    "ListenerUp",
    "SourcePosition",
    "SourceView",
    "SourceUp",
)
VARIABLE_TEXTS: Final = ("Units", "Type")
MOST_NUMBERS: Final = 100_000_000
"""In one file: a degree of grid, a thousand frequencies, real and imaginary, and still a computer at home holds it."""
LARGEST_CHUNK_BYTES: Final = 1 << 29
LARGEST_TEXT_BYTES: Final = 1 << 16
LONGEST_TEXT: Final = 200
LARGEST_MEMORY_BYTES: Final = 4 << 30


class NotReadError(Exception):
    """What was found; what would work."""


def write_contents(path: str, out: BinaryIO) -> None:
    """Write what an AES69 file holds, or one line that says why it is not read."""
    h5py = _library()

    try:
        file = h5py.File(path, "r")
    except (OSError, RuntimeError, ValueError):
        _write(
            out,
            {"refused": "it is not an AES69 (netCDF-4) file, or cut off; copy or export it again, or give CSV data"},
        )
        return
    try:
        texts = _texts(file, GLOBAL_TEXTS)
        known = (*LOUDSPEAKER_CONVENTIONS, *RESPONSE_CONVENTIONS)
        names = VARIABLES if texts.get("SOFAConventions") in known else ()
        found = _datasets(file, names)
        given = {name: _texts(variable, VARIABLE_TEXTS) for name, variable in found.items()}
        rows = {name: _numbers(variable) for name, variable in found.items()}
    except NotReadError as fault:
        _write(out, {"refused": str(fault)})
        return
    except Exception:  # the library stumbles over damage in ways of its own
        _write(out, {"refused": "some of its data cannot be read; copy or export it again"})
        return
    listed = [
        {
            "name": name,
            "texts": given[name],
            "shape": list(values.shape) if values is not None else None,
            "dtype": values.dtype.str if values is not None else "",
        }
        for name, values in rows.items()
    ]
    _write(out, {"texts": texts, "variables": listed})
    for values in rows.values():
        if values is not None:
            out.write(values.data if values.ndim else values.tobytes())
    out.flush()


def _write(out: BinaryIO, given: dict[str, Any]) -> None:
    out.write(json.dumps(given).encode("ascii") + b"\n")
    out.flush()


def _library() -> ModuleType:
    """HDF5, loaded where a file is opened and not when this module is looked at for its names."""
    import h5py

    return h5py


def _datasets(file: Any, names: tuple[str, ...]) -> dict[str, Any]:
    """Variables of the file itself; whatever leads elsewhere is refused."""
    h5py = _library()

    found: dict[str, Any] = {}
    total = 0
    for name in names:
        link = file.get(name, getlink=True)
        if link is None:
            continue
        if not isinstance(link, h5py.HardLink):
            raise NotReadError(f"its {name} is a link to another place; export the file again with the data in it")
        variable = file[name]
        if not isinstance(variable, h5py.Dataset):
            found[name] = None
            continue
        if variable.external or variable.is_virtual:
            raise NotReadError(f"its {name} lies in other files; export the file again with the data in it")
        found[name] = variable
        if variable.shape is None:
            continue
        total += math.prod(variable.shape)
        if total > MOST_NUMBERS:
            raise NotReadError(
                f"it claims {total:.3g} numbers, the most that are read are {MOST_NUMBERS:.0e}; thin out its "
                "frequencies or directions"
            )
        if variable.chunks and math.prod(variable.chunks) * variable.dtype.itemsize > LARGEST_CHUNK_BYTES:
            raise NotReadError(f"its {name} is stored in pieces of absurd size; export it again")
    return found


def _numbers(variable: Any) -> np.ndarray[Any, Any] | None:
    """The numbers of a variable, None when it holds something else, or nothing."""
    if variable is None or variable.shape is None or variable.dtype.kind not in "fiu":
        return None
    rows = np.asarray(variable[()])
    plain = np.float32 if rows.dtype.kind == "f" and rows.dtype.itemsize == 4 else np.float64
    return np.require(rows, dtype=plain, requirements="C")


def _texts(thing: Any, names: tuple[str, ...]) -> dict[str, str]:
    """Attributes that are texts, those that are there."""
    h5py = _library()

    given: dict[str, str] = {}
    for name in names:
        if thing is None or name not in thing.attrs:
            continue
        known = h5py.h5a.open(thing.id, name.encode())
        if known.get_storage_size() > LARGEST_TEXT_BYTES:
            raise NotReadError(f"its {name} is no text of any sense; write it as the convention asks, AES69-2022")
        value = thing.attrs[name]
        value = value.ravel()[0] if isinstance(value, np.ndarray) and value.size else value
        text = value.decode("utf-8", "replace") if isinstance(value, bytes) else str(value)
        given[name] = one_line(text[:LONGEST_TEXT])
    return given


def limit_this_process(seconds: int) -> None:
    """Bound memory and processor time where the system can, and leave no image of a process that falls over."""
    try:
        import resource
    except ImportError:  # Windows: the parent's time limit and the sizes above remain
        return
    for kind, most in (
        (resource.RLIMIT_CORE, 0),
        (resource.RLIMIT_CPU, seconds),
        (resource.RLIMIT_AS, LARGEST_MEMORY_BYTES),
    ):
        with contextlib.suppress(ValueError, OSError):
            resource.setrlimit(kind, (most, most))


def main(arguments: list[str]) -> int:
    """Read the file of that name within so many seconds of processor time, and write what it holds."""
    path, seconds = arguments
    limit_this_process(int(seconds))
    write_contents(path, sys.stdout.buffer)
    return 0
