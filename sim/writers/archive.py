"""Results in one HDF5 file: written whole or not at all, read back equal, and readable by any HDF5 viewer.

The layout is documented in docs/reference/results-file.md.
"""

from __future__ import annotations

import os
import tempfile
from datetime import UTC, datetime
from pathlib import Path
from typing import get_type_hints

import h5py
from pydantic import ValidationError

from .. import __version__
from ..errors import OutputError
from ..responses.results import Results
from .archive_labels import add_labels
from .record_groups import read_value, write_value
from .remarks import NOT_JUDGED, assumptions, cautions

PROGRAM = "bounceplan"
LAYOUT = 2
"""Raised whenever a group, a dataset or its meaning changes."""


def write_results(results: Results, path: Path) -> None:
    """Write results to one file, under a temporary name in the same folder until it is whole.

    Raises
    ------
    OutputError
        If the folder or the disk does not take the file; a file of this name stays as it was.
    """
    part = None
    try:
        handle, name = tempfile.mkstemp(prefix=f".{path.name}.", suffix=".part", dir=path.parent)
        os.close(handle)
        part = Path(name)
        with h5py.File(str(part), "w") as file:
            _describe(file, results)
            for field, hint in get_type_hints(Results).items():
                write_value(file, field, hint, getattr(results, field))
            add_labels(file, results)
        part.chmod(0o666 & ~_umask())
        part.replace(path)
        part = None
    except OSError as fault:
        reason = fault.strerror or str(fault)
        raise OutputError(
            f"{path}: the results cannot be written ({reason}); choose a folder that exists, "
            "may be written to and has room."
        ) from None
    finally:
        if part is not None:
            part.unlink(missing_ok=True)


def read_results(path: Path) -> Results:
    """Read a file of results.

    Raises
    ------
    OutputError
        If there is no such file, or it is damaged, from another program, or of another layout.
    """
    if not path.is_file():
        raise OutputError(f"{path}: there is no such file; trace the scene first.")
    try:
        with h5py.File(str(path), "r") as file:
            _refuse_foreign(file, path)
            values = {name: read_value(file, name, hint) for name, hint in get_type_hints(Results).items()}
    except (OSError, KeyError, ValueError, TypeError, RuntimeError, ValidationError) as fault:
        raise OutputError(
            f"{path}: this is not a whole file of results ({_first_line(fault)}); trace the scene again."
        ) from None
    return Results(**values)


def is_results(path: Path) -> bool:
    """Whether a file is one of results, of any layout."""
    try:
        with h5py.File(str(path), "r") as file:
            return bool(file.attrs.get("program") == PROGRAM)
    except OSError:
        return False


def _describe(file: h5py.File, results: Results) -> None:
    scene = results.scene
    file.attrs["title"] = scene.blueprint.title
    file.attrs["program"] = PROGRAM
    file.attrs["version"] = __version__
    file.attrs["layout"] = LAYOUT
    file.attrs["created_utc"] = datetime.now(UTC).isoformat(timespec="seconds")
    file.attrs["scene_hash"] = scene.digest
    file.attrs["seed"] = scene.blueprint.method.seed
    file.attrs["axes"] = (
        "Points are (from_front, from_left, up) in metres: depth from the front wall (the one the listener faces), "
        "distance from the left wall as seen from the seat, height above the floor. Right-handed."
    )
    file.attrs["levels"] = "dB re the direct sound of the same loudspeaker in the same band, as if nothing hid it"
    file.attrs["assumptions"] = _lines(assumptions(results))
    file.attrs["defaulted"] = _lines(scene.defaulted)
    file.attrs["cautions"] = _lines(cautions(results))
    file.attrs["not_judged"] = _lines(NOT_JUDGED)


def _lines(sentences: tuple[str, ...]) -> str:
    """One text, a sentence a line: a single attribute that every viewer shows."""
    return "\n".join(sentences)


def _refuse_foreign(file: h5py.File, path: Path) -> None:
    if file.attrs.get("program") != PROGRAM:
        raise OutputError(
            f"{path}: this HDF5 file was not written by {PROGRAM}; name a results.h5 of a results folder."
        )
    layout = int(file.attrs.get("layout", 0))
    if layout != LAYOUT:
        raise OutputError(
            f"{path}: it was written by {PROGRAM} {file.attrs.get('version', '?')} in layout {layout}, and this "
            f"version ({__version__}) reads layout {LAYOUT}; trace the scene again."
        )


def _first_line(fault: Exception) -> str:
    text = str(fault.args[0]) if isinstance(fault, KeyError) and fault.args else str(fault)
    return text.splitlines()[0] if text else type(fault).__name__


def _umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask
