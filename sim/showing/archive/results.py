"""Results in one HDF5 file: written whole or not at all, read back equal, and readable by any HDF5 viewer.

The layout is declared in `results_layout` and documented in docs/reference/results-file.md.
"""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Final

import h5py
from pydantic import ValidationError

from sim import __version__
from sim.errors import OutputError
from sim.machine.whole_files import write_whole
from sim.responses.records import Results
from sim.showing.archive.old_layouts import OLDER, read_older
from sim.showing.archive.results_layout import LAYOUT, RESULTS
from sim.showing.archive.sealed_hdf5 import SIGNATURE, Seal, first_bytes, seal_of, sealed_hdf5, unsealed
from sim.showing.archive.words import make_scales
from sim.showing.words import NOT_JUDGED, assumptions, cautions

PROGRAM: Final = "bounceplan"
KIND: Final = "results"
NAME: Final = "results.h5"
FIRST_SEALED: Final = 3
"""First layout that has a seal."""
UNREADABLE: Final = (OSError, KeyError, ValueError, TypeError, RuntimeError, AttributeError, ValidationError)
"""What reading raises where a file holds something else than its layout says."""


def write_results(results: Results, path: Path) -> None:
    """Write results to one file, under a temporary name in the same folder until it is whole.

    Raises
    ------
    OutputError
        If the folder or the disk does not take the file; a file of this name stays as it was.
    """

    def fill(file: h5py.File) -> None:
        _describe(file, results)
        RESULTS.write_in(file, results)
        make_scales(file, results)
        RESULTS.describe(file, "", ())

    write_whole(path, sealed_hdf5(KIND, LAYOUT, fill), "the results")


def read_results(path: str | Path) -> Results:
    """Read results: a file results.h5 of any layout so far, or a results folder that holds one.

    Raises
    ------
    OutputError
        If there is no such file, or it is damaged, from another program, or of a newer layout.
    """
    path = _file(Path(path))
    try:
        first = first_bytes(path)
    except OSError as fault:
        raise OutputError(f"{path}: the file cannot be read ({fault.strerror or fault}); mend that first.") from None
    seal = seal_of(first)
    try:
        if seal is not None:
            _refuse_other(seal, path)
            with h5py.File(unsealed(path, seal), "r") as file:
                _refuse_other_number(file, seal, path)
                return RESULTS.read(file)  # type: ignore[no-any-return]
        if not first.startswith(SIGNATURE):
            raise OutputError(
                f"{path}: this is not a file of results of {PROGRAM}, or its first bytes are damaged; "
                f"name a {NAME} or a results folder, or trace the scene again."
            )
        with h5py.File(str(path), "r") as file:
            return read_older(file, _older(file, path))
    except UNREADABLE as fault:
        raise OutputError(
            f"{path}: this is not a whole file of results ({_first_line(fault)}); trace the scene again."
        ) from None


def is_results(path: Path) -> bool:
    """Whether a file is one of results, of any layout."""
    try:
        first = first_bytes(path)
        seal = seal_of(first)
        if seal is not None or not first.startswith(SIGNATURE):
            return seal is not None and seal.kind == KIND
        with h5py.File(str(path), "r") as file:
            return bool(file.attrs.get("program") == PROGRAM)
    except OSError:
        return False


def _file(path: Path) -> Path:
    """The file that is meant, where it may be named by its folder."""
    if path.is_dir():
        if not (path / NAME).is_file():
            raise OutputError(f"{path}: this folder holds no {NAME}; name a results folder, or trace the scene first.")
        return path / NAME
    if not path.is_file():
        raise OutputError(f"{path}: there is no such file; trace the scene first.")
    return path


def _refuse_other(seal: Seal, path: Path) -> None:
    if seal.kind != KIND:
        raise OutputError(f"{path}: this file of {PROGRAM} holds a {seal.kind}, not results; name a {NAME}.")
    if seal.layout > LAYOUT:
        raise OutputError(_newer(path, seal.layout))
    if seal.layout < FIRST_SEALED:
        raise OutputError(f"{path}: its first bytes are damaged (no file of layout {seal.layout} has a seal).")


def _refuse_other_number(file: h5py.File, seal: Seal, path: Path) -> None:
    """One bit of the number of a layout makes it that of another; what was sealed holds it too."""
    if int(file.attrs["layout"]) != seal.layout:
        raise OutputError(f"{path}: the file was damaged or changed after it was written; copy it again.")


def _older(file: h5py.File, path: Path) -> int:
    if file.attrs.get("program") != PROGRAM:
        raise OutputError(f"{path}: this HDF5 file was not written by {PROGRAM}; name a {NAME} of a results folder.")
    layout = int(file.attrs.get("layout", 0))
    if layout > LAYOUT:
        raise OutputError(_newer(path, layout))
    if layout not in OLDER:
        raise OutputError(f"{path}: the file is of layout {layout} but lacks its seal; trace the scene again.")
    return layout


def _newer(path: Path, layout: int) -> str:
    return (
        f"{path}: it is of layout {layout}, written by a newer {PROGRAM}, and this version ({__version__}) reads "
        f"layouts up to {LAYOUT}; bring {PROGRAM} up to date, or trace the scene again."
    )


def _describe(file: h5py.File, results: Results) -> None:
    scene = results.scene
    attributes: dict[str, Any] = {
        "title": scene.blueprint.title,
        "program": PROGRAM,
        "version": __version__,
        "layout": LAYOUT,
        "created_utc": datetime.now(UTC).isoformat(timespec="seconds"),
        "scene_hash": scene.digest,
        "seed": scene.blueprint.method.seed,
        "axes": (
            "Points are (from_front, from_left, up) in metres: depth from the front wall (the one the listener faces), "
            "distance from the left wall as seen from the seat, height above the floor. Right-handed."
        ),
        "levels": "dB re the direct sound of the same loudspeaker in the same band, as if nothing hid it",
        "assumptions": _lines(assumptions(results)),
        "defaulted": _lines(scene.defaulted),
        "cautions": _lines(cautions(results)),
        "not_judged": _lines(NOT_JUDGED),
    }
    file.attrs.update(attributes)


def _lines(sentences: tuple[str, ...]) -> str:
    """One text, a sentence a line: a single attribute that every viewer shows."""
    return "\n".join(sentences)


def _first_line(fault: Exception) -> str:
    text = str(fault.args[0]) if isinstance(fault, KeyError) and fault.args else str(fault)
    return text.splitlines()[0] if text else type(fault).__name__
