"""Bytes on the disk as one file: whole under its name, or not there at all."""

from __future__ import annotations

import os
import tempfile
from pathlib import Path

from ..errors import OutputError


def write_whole(path: Path, content: bytes, what: str) -> None:
    """Write a file under a temporary name in the same folder, and rename it when all is on the disk.

    Raises
    ------
    OutputError
        If the folder or the disk does not take the file; a file of this name stays as it was, and nothing else is
        left.  `what` begins the sentence: "the results".
    """
    part = None
    try:
        handle, name = tempfile.mkstemp(prefix=f".{path.name}.", suffix=".part", dir=path.parent)
        part = Path(name)
        with os.fdopen(handle, "wb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())  # some disks say only now that they are full
        part.chmod(0o666 & ~_umask())
        part.replace(path)
        part = None
    except OSError as fault:
        raise OutputError(
            f"{path}: {what} cannot be written ({fault.strerror or fault}); choose a folder that exists, "
            "may be written to and has room."
        ) from None
    finally:
        if part is not None:
            part.unlink(missing_ok=True)


def _umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask
