"""A sweep: one scene, the numbers in it that vary, and what became of each of its layouts."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields
from pathlib import Path
from typing import Final

import numpy as np

from ..acoustics.bands import Bands
from ..arrays import FloatArray, IntArray
from ..blueprint.targets import Target
from ..blueprint.units import UNIT_M
from .figures import LayoutFigures

OPEN: Final = 0
DONE: Final = 1
IMPOSSIBLE: Final = 2
"""What a point of a sweep may be."""


@dataclass(frozen=True, slots=True)
class Axis:
    """One number that varies.

    Attributes
    ----------
    field
        Its name as it was asked for, such as "left.tilt".
    words
        The same for people: "left.tilt, right with it".
    unit
        In which people are told its values: a unit of length, "degrees" or "" for a plain number.
    values
        (n,) in metres, degrees or as they are.
    """

    field: str
    words: str
    unit: str
    values: FloatArray

    def in_unit(self, values: FloatArray | float) -> FloatArray | float:
        """Values in the unit that people are told."""
        return values / UNIT_M[self.unit] if self.unit in UNIT_M else values

    def told(self, value: float) -> str:
        """One value as people write it: "4 degrees", "0.85 m"."""
        number = float(self.in_unit(value))
        return f"{round(number, 4) + 0.0:g} {self.unit}".strip()


@dataclass(frozen=True, slots=True)
class SweepPlan:
    """What a sweep works out, and in which order its arrays are.

    Attributes
    ----------
    scene_path, scene_digest, title, units
        The scene, and the unit of its lengths.
    axes
        The numbers that vary.  Points are all combinations, the last axis fastest; with `together` the axes have
        equal lengths and run side by side.
    tied
        Whether the loudspeaker on the other side moves along.
    loudspeakers, drivers
        Names, and for each loudspeaker those of its drivers.
    surfaces
        Names of everything that can mirror in any of the layouts.
    bands, target
        Octaves of the levels, and what the figures are judged by.
    """

    scene_path: Path
    scene_digest: str
    title: str
    units: str
    axes: tuple[Axis, ...]
    together: bool
    tied: bool
    loudspeakers: tuple[str, ...]
    drivers: tuple[tuple[str, ...], ...]
    surfaces: tuple[str, ...]
    bands: Bands
    target: Target

    @property
    def shape(self) -> tuple[int, ...]:
        """Lengths of the grid's axes; one length when the axes run side by side."""
        lengths = tuple(len(axis.values) for axis in self.axes)
        return lengths[:1] if self.together else lengths

    @property
    def points(self) -> int:
        """Number of layouts."""
        return int(np.prod(self.shape))

    def places(self, point: int) -> tuple[int, ...]:
        """For every axis the number of the value it has at a point."""
        if self.together:
            return (point,) * len(self.axes)
        return tuple(int(place) for place in np.unravel_index(point, self.shape))

    def values(self, point: int) -> tuple[float, ...]:
        """Values of all axes at a point, in metres, degrees or as they are."""
        return tuple(float(axis.values[place]) for axis, place in zip(self.axes, self.places(point), strict=True))

    def figure_shapes(self) -> dict[str, tuple[int, ...]]:
        """Shapes of the arrays of one layout's figures."""
        s, f, d = len(self.loudspeakers), len(self.surfaces), max(len(names) for names in self.drivers)
        return {
            "level_db": (s, f, len(self.bands)), "worst_db": (s, f), "delay_ms": (s, f), "point_m": (s, d, f, 3),
            "clear_m": (s, d, f), "hidden": (s, d, f), "early_db": (s,), "over_target_db": (s,),
        }  # fmt: skip


@dataclass(frozen=True, slots=True)
class Sweep:
    """A plan and what is known so far.

    Attributes
    ----------
    plan
        What was asked.
    state
        (point,) 0 open, 1 done, 2 impossible.
    reasons
        For each impossible point the sentence that says why.
    figures
        All layouts' figures, the point first in every array; nan where a point is open or impossible.
    """

    plan: SweepPlan
    state: IntArray
    reasons: Mapping[int, str]
    figures: LayoutFigures

    def on_grid(self, values: FloatArray) -> FloatArray:
        """Reshape (point, ...) to the axes of the grid (axis 1, axis 2, ..., ...)."""
        return values.reshape(*self.plan.shape, *values.shape[1:])

    def layout(self, point: int) -> LayoutFigures:
        """Figures of one point."""
        return LayoutFigures(*(np.array(getattr(self.figures, each.name)[point]) for each in fields(LayoutFigures)))
