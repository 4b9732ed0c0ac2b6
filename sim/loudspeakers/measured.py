"""Measured directivity from a file or folder, whichever kind it is."""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path

from sim.blueprint.named_files import MEASURED_KINDS
from sim.errors import SceneError
from sim.loudspeakers.directivity_data import DirectivityData
from sim.loudspeakers.impulse_folder import read_impulse_folder
from sim.loudspeakers.polar_files import read_polar_file
from sim.loudspeakers.sofa_file import read_sofa_file


def read_measured(path: Path, where: str) -> DirectivityData:
    """Read directivity; `where` names the key or argument that named the file.  What stays as it is is read once.

    Raises
    ------
    SceneError
        If there is no such file, it is of no known kind, or says something that cannot be used.
    """
    if path.is_dir():
        return _read(path, where, tuple(_state(each) for each in sorted(path.iterdir()) if each.is_file()))
    if not path.is_file():
        raise SceneError(where, f'there is no file "{path.name}"', f"give {MEASURED_KINDS}")
    return _read(path, where, (_state(path),))


def _state(path: Path) -> tuple[str, int, int]:
    known = path.stat()
    return path.name, known.st_mtime_ns, known.st_size


@lru_cache(maxsize=8)
def _read(path: Path, where: str, states: tuple[tuple[str, int, int], ...]) -> DirectivityData:
    """Read a file or folder; sweeps and poses build the same loudspeaker hundreds of times."""
    if path.is_dir():
        return read_impulse_folder(path, where)
    suffix = path.suffix.lower()
    if suffix == ".sofa":
        return read_sofa_file(path, where)
    if suffix == ".csv":
        return read_polar_file(path, where)
    raise SceneError(where, f'"{path.name}" is of no kind that can be read', f"give {MEASURED_KINDS}")
