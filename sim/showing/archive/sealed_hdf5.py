"""HDF5 files that are made in memory, and sealed: a digest of all their bytes, looked at before HDF5 sees them.

The HDF5 library ends the process when the disk is full, and can hang or crash on a damaged file.  So it never
writes to the disk here, and reads nothing whose bytes are not those that were written.  The seal stands in the user
block, the first 512 bytes, which the HDF5 format leaves to whoever writes the file and every HDF5 program skips.
"""

from __future__ import annotations

import hashlib
import io
import re
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import h5py

from sim.errors import OutputError

BLOCK: Final = 512
SIGNATURE: Final = b"\x89HDF\r\n\x1a\n"
"""First bytes of HDF5 proper (HDF5 File Format Specification, section II.A)."""
_SEAL: Final = re.compile(rb"bounceplan ([a-z]+), layout (\d{1,6})\nbytes (\d{1,15})\nsha256 ([0-9a-f]{64})\n\0+")


@dataclass(frozen=True, slots=True)
class Seal:
    """What the first bytes of a file say: what it holds, its layout, and length and digest of all that follows."""

    kind: str
    layout: int
    length: int
    digest: str

    def block(self) -> bytes:
        """The seal as the user block of a file."""
        text = f"bounceplan {self.kind}, layout {self.layout}\nbytes {self.length}\nsha256 {self.digest}\n"
        return text.encode("ascii").ljust(BLOCK, b"\0")


def sealed_hdf5(kind: str, layout: int, fill: Callable[[h5py.File], None]) -> bytes:
    """All bytes of a sealed file: what `fill` writes into an HDF5 file in memory, after its seal."""
    memory: Any = io.BytesIO()  # h5py takes what can be read and written for a file; its type hints do not know
    with h5py.File(memory, "w", userblock_size=BLOCK) as file:
        fill(file)
    content: memoryview = memory.getbuffer()[BLOCK:]
    seal = Seal(kind, layout, len(content), hashlib.sha256(content).hexdigest())
    return seal.block() + content


def seal_of(first: bytes) -> Seal | None:
    """Read the seal from the first bytes of a file; None if there is none, or not one that was written so."""
    found = _SEAL.fullmatch(first[:BLOCK]) if len(first) >= BLOCK else None
    return Seal(found[1].decode(), int(found[2]), int(found[3]), found[4].decode()) if found else None


def first_bytes(path: Path) -> bytes:
    """As much of a file as a seal takes.

    Raises
    ------
    OSError
        If it cannot be read.
    """
    with path.open("rb") as file:
        return file.read(BLOCK)


def unsealed(path: Path, seal: Seal) -> Any:
    """All bytes of a sealed file, as `h5py.File` takes them for a file.

    Raises
    ------
    OutputError
        If they are not those that were sealed.
    OSError
        If they cannot be read.
    """
    length = path.stat().st_size - BLOCK
    if length < seal.length:
        raise OutputError(
            f"{path}: the file was cut short ({length} of {seal.length} bytes of {seal.kind}); "
            "copy it again, or make it again."
        )
    data = path.read_bytes() if length == seal.length else b""  # never more than was sealed
    if data[:BLOCK] != seal.block() or hashlib.sha256(memoryview(data)[BLOCK:]).hexdigest() != seal.digest:
        raise OutputError(
            f"{path}: the file was damaged or changed after it was written (its bytes do not have the digest that it "
            "names); copy it again, or make it again."
        )
    return io.BytesIO(data)
