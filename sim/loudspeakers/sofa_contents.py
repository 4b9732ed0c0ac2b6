"""What an AES69 file holds, as plain numbers and texts, read by a process of its own within limits of time and memory.

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
        told = json.loads(head)
        if "refused" in told:
            raise _RefusedError(str(told["refused"]))
        variables: dict[str, Variable] = {}
        start = 0
        for each in told["variables"]:
            values = None
            if each["shape"] is not None:
                kind = np.dtype(each["dtype"])
                count = int(np.prod(each["shape"], dtype=np.int64))
                values = np.frombuffer(rest, kind, count, start).reshape(each["shape"])
                start += values.nbytes
            variables[each["name"]] = Variable(values, each["texts"])
        return SofaContents(told["texts"], variables)
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
