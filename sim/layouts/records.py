"""Many layouts of one scene: the numbers that vary, what became of each layout, and the best as regions."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields
from pathlib import Path
from typing import Any, ClassVar, Final

import numpy as np

from sim.acoustics.bands import Bands
from sim.answers import Answer, Labelled, printable
from sim.arrays import FloatArray, IntArray
from sim.blueprint.treatment import Target
from sim.blueprint.units import UNIT_M
from sim.layouts.figures import LayoutFigures

OPEN: Final = 0
DONE: Final = 1
IMPOSSIBLE: Final = 2
"""What a point of a sweep may be."""


@printable
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

    def written(self, value: float) -> str:
        """One value as people write it: "4 degrees", "0.85 m"."""
        number = float(self.in_unit(value))
        return f"{round(number, 4) + 0.0:g} {self.unit}".strip()


@printable
@dataclass(frozen=True, slots=True)
class SweepPlan:
    """What a sweep works out, and in which order its arrays are.

    Attributes
    ----------
    scene_path, scene_digest, title, units
        The scene, and the unit of its lengths.
    axes, together
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
            "level_db": (s, f, len(self.bands)),
            "worst_db": (s, f),
            "delay_ms": (s, f),
            "point_m": (s, d, f, 3),
            "clear_m": (s, d, f),
            "hidden": (s, d, f),
            "early_db": (s,),
            "over_target_db": (s,),
        }


@dataclass(frozen=True, slots=True, repr=False)
class Sweep(Answer):
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
    findings
        What was found, as text; empty while points are open.
    """

    question: ClassVar[str] = "sweep"

    plan: SweepPlan
    state: IntArray
    reasons: Mapping[int, str]
    figures: LayoutFigures
    findings: str = ""

    def on_grid(self, values: FloatArray) -> FloatArray:
        """Reshape (point, ...) to the axes of the grid (axis 1, axis 2, ..., ...)."""
        return values.reshape(*self.plan.shape, *values.shape[1:])

    def layout(self, point: int) -> LayoutFigures:
        """Figures of one point."""
        return LayoutFigures(*(np.array(getattr(self.figures, each.name)[point]) for each in fields(LayoutFigures)))

    def headline(self) -> str:
        """How many layouts are known, and where the louder side sends least early sound."""
        done = np.flatnonzero(self.state == DONE)
        words = f"{self.plan.title}: {len(done)} of {self.plan.points} layouts of "
        words += ", ".join(axis.field for axis in self.plan.axes)
        if not len(done):
            return words
        louder = np.asarray(self.figures.early_db)[done].max(axis=1)
        best = int(done[int(louder.argmin())])
        where = ", ".join(
            f"{axis.field} {axis.written(value)}"
            for axis, value in zip(self.plan.axes, self.plan.values(best), strict=True)
        )
        return f"{words}; least early sound at {where}: {louder.min():.1f} dB"

    def rows(self) -> list[dict[str, Any]]:
        """One row for each layout: its numbers, its state, and what each loudspeaker sends early, in dB."""
        words = {OPEN: "open", DONE: "done", IMPOSSIBLE: "impossible"}
        names = [f"{axis.field} [{axis.unit}]" if axis.unit else axis.field for axis in self.plan.axes]
        reported = []
        for point in range(self.plan.points):
            values = [
                float(axis.in_unit(value)) for axis, value in zip(self.plan.axes, self.plan.values(point), strict=True)
            ]
            row: dict[str, Any] = dict(zip(names, values, strict=True))
            row["state"] = words[int(self.state[point])]
            for s, name in enumerate(self.plan.loudspeakers):
                row[f"early_{name}_db"] = float(self.figures.early_db[point, s])
                row[f"over_target_{name}_db"] = float(self.figures.over_target_db[point, s])
            reported.append(row)
        return reported

    def _axes(self) -> Mapping[str, tuple[Any, str]]:
        plan = self.plan
        along = {} if plan.together else {axis.field: (axis.in_unit(axis.values), axis.unit) for axis in plan.axes}
        return along | {
            "loudspeaker": (list(plan.loudspeakers), ""),
            "surface": (list(plan.surfaces), ""),
            "octave": (plan.bands.nominal_hz, "Hz"),
        }

    def _arrays(self) -> Mapping[str, Labelled]:
        grid = ("layout",) if self.plan.together else tuple(axis.field for axis in self.plan.axes)
        found, each = self.figures, ("loudspeaker", "surface")
        return {
            "level_db": ((*grid, *each, "octave"), self.on_grid(found.level_db), "dB"),
            "worst_db": ((*grid, *each), self.on_grid(found.worst_db), "dB"),
            "delay_ms": ((*grid, *each), self.on_grid(found.delay_ms), "ms"),
            "early_db": ((*grid, "loudspeaker"), self.on_grid(found.early_db), "dB"),
            "over_target_db": ((*grid, "loudspeaker"), self.on_grid(found.over_target_db), "dB"),
        }


# The best settings of a sweep, as regions: what differs by less than anyone hears is called equal.

EQUAL_DB: Final = 0.5
"""Settings whose early levels differ by less are called equal (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class Region:
    """Neighbouring settings that are as good as the best.

    Attributes
    ----------
    points
        How many settings it holds.
    ranges
        For every axis the least and the largest value in it, in metres, degrees or as they are.
    full
        Whether every combination inside these ranges belongs to it.
    ends
        For every axis whether the region reaches the least value, and the largest, and so may go on beyond.
    """

    points: int
    ranges: tuple[tuple[float, float], ...]
    full: bool
    ends: tuple[tuple[bool, bool], ...]


def merit_db(sweep: Sweep) -> FloatArray:
    """Early level (point,) of the louder loudspeaker, by which settings are judged; nan where a point is not done."""
    done = sweep.state == DONE
    merit = np.full(len(sweep.state), np.nan)
    merit[done] = sweep.figures.early_db[done].max(axis=1)
    return merit


def best_point(sweep: Sweep) -> int:
    """Number of the first point with the least early level, -1 if none is done."""
    merit = merit_db(sweep)
    return int(np.nanargmin(merit)) if np.isfinite(merit).any() else -1


def best_regions(sweep: Sweep) -> tuple[Region, ...]:
    """Regions of settings within 0.5 dB of the best, the one with the best setting first, then by size."""
    from scipy.ndimage import label

    merit = merit_db(sweep)
    if not np.isfinite(merit).any():
        return ()
    best = best_point(sweep)
    as_good = np.nan_to_num(merit, nan=np.inf) <= merit[best] + EQUAL_DB
    numbers, count = label(sweep.on_grid(as_good))
    first = int(numbers.reshape(-1)[best])
    regions = {number: _region(sweep, np.flatnonzero(numbers.reshape(-1) == number)) for number in range(1, count + 1)}
    others = sorted((number for number in regions if number != first), key=lambda number: -regions[number].points)
    return tuple(regions[number] for number in (first, *others))


def _region(sweep: Sweep, points: IntArray) -> Region:
    plan = sweep.plan
    places = np.array([plan.places(int(point)) for point in points])
    ranges, ends, box = [], [], 1
    for number, axis in enumerate(plan.axes):
        low, high = int(places[:, number].min()), int(places[:, number].max())
        inside = axis.values[places[:, number]]
        ranges.append((float(inside.min()), float(inside.max())))
        ends.append((ranges[-1][0] == axis.values.min(), ranges[-1][1] == axis.values.max()))
        box *= high - low + 1
    full = plan.together or box == len(points)
    return Region(len(points), tuple(ranges), full, tuple(ends))
