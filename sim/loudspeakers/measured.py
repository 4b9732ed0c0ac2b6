"""Measured directivity from a file or folder, whichever kind it is."""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path
from typing import Final

from sim.errors import SceneError
from sim.loudspeakers.directivity_data import DirectivityData
from sim.loudspeakers.impulse_folder import read_impulse_folder
from sim.loudspeakers.polar_files import read_polar_file
from sim.loudspeakers.sofa_file import read_sofa_file

KINDS_OF_FILES: Final = "an AES69 file (.sofa), a table of two orbits (.csv) or a folder of impulse responses"


def read_measured(path: Path, where: str) -> DirectivityData:
    """Read directivity; `where` names the key or argument that named the file.  A file is read once while it stays.

    Raises
    ------
    SceneError
        If there is no such file, it is of no known kind, or says something that cannot be used.
    """
    if path.is_dir():
        return read_impulse_folder(path, where)
    if not path.is_file():
        raise SceneError(where, f'there is no file "{path.name}"', f"give {KINDS_OF_FILES}")
    known = path.stat()
    return _read(path, where, known.st_mtime_ns, known.st_size)


@lru_cache(maxsize=8)
def _read(path: Path, where: str, changed_ns: int, size: int) -> DirectivityData:
    """Read one file; sweeps build the same loudspeaker hundreds of times."""
    suffix = path.suffix.lower()
    if suffix == ".sofa":
        return read_sofa_file(path, where)
    if suffix == ".csv":
        return read_polar_file(path, where)
    raise SceneError(where, f'"{path.name}" is of no kind that can be read', f"give {KINDS_OF_FILES}")
