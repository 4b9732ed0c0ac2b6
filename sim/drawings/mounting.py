"""Mounting rectangles: each kind of panel once, with its sides, both diagonals and how deep it stands off."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ..arrays import FloatArray
from .chains import chain
from .lengths import drawn_length
from .panel_readings import PanelReading
from .records import Dimension, Drawing, Label, Outline, Table
from .tables import HELD, diagonals_words

APART_M = 0.45


def kinds_of(readings: Sequence[PanelReading]) -> list[list[PanelReading]]:
    """Panels of equal size (to the millimetre), build-up and fixing; those overhead apart, for they need more."""
    kinds: dict[tuple[object, ...], list[PanelReading]] = {}
    for one in readings:
        sizes = (one.width_m, one.height_m, one.panel.depth_m, one.panel.air_behind_m, one.rising_diagonal_m)
        key = (*(round(1000.0 * size) for size in sizes), one.panel.material, one.panel.held_by, one.is_overhead)
        kinds.setdefault(key, []).append(one)
    return list(kinds.values())


def mounting_drawings(readings: Sequence[PanelReading], unit: str) -> tuple[Drawing, ...]:
    """One drawing for each kind: the rectangle as it is marked on the surface, and a cut through it beside."""
    return tuple(_mounting(kind, unit) for kind in kinds_of(readings))


def _mounting(kind: Sequence[PanelReading], unit: str) -> Drawing:
    one = kind[0]
    ring = one.corners - one.low
    width, height = (float(size) for size in one.high - one.low)
    depth, air = one.panel.depth_m, one.panel.air_behind_m
    left = width + APART_M
    bounds = np.array([[0.0, 0.0], [left + max(depth, 0.02), height]])
    numbers = ", ".join(reading.number for reading in kind)
    back = np.array([[left, 0.0], [left, height]])
    side = _box(left + air, 0.0, left + depth, height)
    dimensions = [
        *chain([0.0, width], "below", 1, bounds, unit),
        *chain([0.0, height], "left", 1, bounds, unit),
        *chain([left, left + air, left + depth] if air > 5e-4 else [left, left + depth], "below", 1, bounds, unit),
        _diagonal(ring[0], ring[2], one.rising_diagonal_m, unit),
        _diagonal(ring[3], ring[1], one.falling_diagonal_m, unit),
    ]
    table = Table(
        "Mounting rectangle",
        ("Panels", "Number", "Both diagonals", "Held", "Build-up"),
        ((numbers, str(len(kind)), diagonals_words(one, unit), HELD[one.panel.held_by], one.panel.material),),
        ("Mark the rectangle and compare both diagonals before drilling: equal diagonals mean square corners.",)
        if abs(one.rising_diagonal_m - one.falling_diagonal_m) < 5e-4
        else ("This surface is not square to the room: the two diagonals differ on purpose.",),
    )
    return Drawing(
        title=f"Mounting rectangle: {numbers}",
        words="Facing the surface from inside the room; beside it a cut, surface at the left.",
        low=bounds[0],
        high=bounds[1],
        outlines=(
            Outline(ring, "PANELS", weight="heavy"),
            Outline(back, "WALLS", closed=False, weight="heavy"),
            Outline(side, "PANELS", weight="medium", fill="hatch"),
        ),
        labels=(Label("surface", np.array([left - 0.09, 0.5 * height]), "TEXT"),),
        dimensions=tuple(dimensions),
        tables=(table,),
        minor=True,
    )


def _diagonal(start: FloatArray, end: FloatArray, value_m: float, unit: str) -> Dimension:
    return Dimension(start, end, "along", 0, value_m, drawn_length(value_m, unit))


def _box(left: float, low: float, right: float, high: float) -> FloatArray:
    return np.array([[left, low], [right, low], [right, high], [left, high]])
