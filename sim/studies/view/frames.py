"""One message with everything that changed: a short text of what there is, and the numbers behind it as bytes.

bytes 0 to 3    length of the text, little-endian
the text        JSON; "arrays" says for each name its kind of number, its shape, and where it begins
the numbers     little-endian, each array at a multiple of four bytes
"""

from __future__ import annotations

import json
import struct
from collections.abc import Mapping
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

KINDS: Final = {"f4": "<f4", "u1": "|u1"}
_ALIGNED: Final = 4


def encoded(header: Mapping[str, Any], arrays: Mapping[str, NDArray[Any]]) -> bytes:
    """Return a message; arrays of bytes stay bytes, all others become numbers of four bytes."""
    described: dict[str, list[Any]] = {}
    parts: list[bytes] = []
    at = 0
    for name, values in arrays.items():
        kind = "u1" if values.dtype == np.uint8 else "f4"
        octets = np.ascontiguousarray(values, dtype=KINDS[kind]).tobytes()
        described[name] = [kind, list(values.shape), at]
        padded = octets + b"\0" * (-len(octets) % _ALIGNED)
        parts.append(padded)
        at += len(padded)
    text = json.dumps({**header, "arrays": described}, separators=(",", ":"), allow_nan=False).encode()
    text += b" " * (-len(text) % _ALIGNED)
    return b"".join([struct.pack("<I", len(text)), text, *parts])


def decoded(message: bytes) -> tuple[dict[str, Any], dict[str, NDArray[Any]]]:
    """Return text and arrays of a message, as the page takes them apart."""
    (length,) = struct.unpack_from("<I", message)
    header: dict[str, Any] = json.loads(message[4 : 4 + length])
    start, arrays = 4 + length, {}
    for name, (kind, shape, at) in header.pop("arrays").items():
        count = int(np.prod(shape))
        arrays[name] = np.frombuffer(message, KINDS[kind], count, start + at).reshape(shape)
    return header, arrays


def as_text(message: Mapping[str, Any]) -> str:
    """A text message."""
    return json.dumps(message, separators=(",", ":"), allow_nan=False)
