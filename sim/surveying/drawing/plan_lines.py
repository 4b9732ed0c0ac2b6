"""What a plan drawing is read into: straight lines by layer, with how far curves may be off, and how long a unit is."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final

import numpy as np

from sim.arrays import FloatArray, frozen
from sim.blueprint.units import UNIT_M
from sim.errors import SceneError, printable

LARGEST_FILE_BYTES: Final = 50_000_000
MOST_LINES: Final = 200_000
FLAT_M: Final = 0.002
"""Curves become straight lines that are nowhere further from them than this (our choice: what a tape can tell)."""
FLAT_FRACTION: Final = 0.01
"""The same in parts of a radius, as long as nobody knows how long a unit of the drawing is."""
FARTHEST: Final = 1e12
"""No coordinate of a plan is as large, in whatever unit."""
LONGEST_NAME: Final = 80
UNITS_M: Final = {**UNIT_M, "dm": 0.1, "yd": 0.9144, "km": 1000.0}
"""Units that a drawing may be in; a person gives one of m, cm, mm, in and ft."""


@dataclass(frozen=True, slots=True)
class PlanLayer:
    """Lines of one layer.

    Attributes
    ----------
    name
        What the drawing calls it.
    lines
        (n, 2, 2) both ends of straight lines in units of the drawing: to the right, up.
    curves
        How many curves were made into straight lines.
    left_out
        How many things of other kinds (words, hatches, dimensions) there are.
    """

    name: str
    lines: FloatArray
    curves: int = 0
    left_out: int = 0

    @property
    def length(self) -> float:
        """Length of all lines in units of the drawing."""
        return float(np.linalg.norm(self.lines[:, 1] - self.lines[:, 0], axis=1).sum())


@dataclass(frozen=True, slots=True)
class PlanLines:
    """A drawing: its layers by falling length, and the unit it says it is in; empty when it says none."""

    layers: tuple[PlanLayer, ...]
    unit: str = ""


@dataclass(slots=True)
class LayerLines:
    """Lines of a layer while they are being read."""

    lines: list[FloatArray] = field(default_factory=list)
    curves: int = 0
    left_out: int = 0

    def add(self, points: Sequence[Sequence[float]] | FloatArray, *, closed: bool = False) -> None:
        """Add a line through points (n, 2 or more)."""
        places = np.array([[point[0], point[1]] for point in points], dtype=np.float64).reshape(-1, 2)
        if closed and len(places) > 2:
            places = np.vstack([places, places[:1]])
        if len(places) > 1:
            self.lines.append(np.stack([places[:-1], places[1:]], axis=1))


def gathered(layers: dict[str, LayerLines], unit: str, where: str) -> PlanLines:
    """The drawing of what was read.

    Raises
    ------
    SceneError
        If there are no lines, too many, or coordinates that are no numbers.
    """
    made = []
    for name, read in layers.items():
        lines = np.concatenate(read.lines) if read.lines else np.zeros((0, 2, 2))
        if not (np.abs(lines) < FARTHEST).all():  # also what is no number
            raise SceneError(where, f'a line on layer "{plain(name)}" has no finite coordinates', "export it again")
        long_enough = np.abs(lines[:, 1] - lines[:, 0]).max(axis=1) > 0.0
        made.append(PlanLayer(plain(name), frozen(lines[long_enough]), read.curves, read.left_out))
    made.sort(key=lambda layer: -layer.length)
    if not any(len(layer.lines) for layer in made):
        found = "there are no lines in it" if made else "there is nothing in it"
        raise SceneError(where, found, "export the plan with its walls as lines or polylines")
    return PlanLines(tuple(made), unit)


def refuse_crowds(layers: Iterable[LayerLines], where: str) -> None:
    """Refuse more lines than any plan has."""
    if sum(len(part) for layer in layers for part in layer.lines) > MOST_LINES:
        raise SceneError(where, f"it has more than {MOST_LINES:,} lines", "export the room alone, or fewer layers")


def file_bytes(path: Path, where: str) -> bytes:
    """Contents of a drawing; SceneError when it cannot be read, is empty or larger than any plan."""
    try:
        if path.is_dir():
            raise SceneError(where, "it is a folder", "name a DXF or SVG file")
        if path.stat().st_size > LARGEST_FILE_BYTES:
            raise SceneError(where, f"it is larger than {LARGEST_FILE_BYTES // 1_000_000} MB", "export the room alone")
        found = path.read_bytes()
    except OSError as fault:
        reason = "there is no such file" if isinstance(fault, FileNotFoundError) else f"{fault.strerror}"
        raise SceneError(where, reason, "name a DXF or SVG file") from None
    if not found.strip():
        raise SceneError(where, "the file is empty", "export the plan again")
    return found


def plain(name: str) -> str:
    """A layer's name as it may stand on a screen."""
    return printable(name.replace("\n", " ").replace("\t", " ").strip())[:LONGEST_NAME]
