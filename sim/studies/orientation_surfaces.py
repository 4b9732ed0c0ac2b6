"""What desk, ceiling and the other surfaces send back in one pose: levels over the head box, and mirror points."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final, Literal, TypeAlias

import numpy as np

from ..acoustics.bands import Bands
from ..answers import printable
from ..arrays import FloatArray, frozen
from ..blueprint.targets import Target
from ..placement.stage import Stage
from .figures import layout_figures, surface_names

Facing: TypeAlias = Literal["up", "down", "side"]
LEVEL_PLANE: Final = 0.7
"""A surface faces up or down when its normal is within 45 degrees of that."""


@printable
@dataclass(frozen=True, slots=True)
class Reflection:
    """First-order sound from one surface, at the ear and over the head box (its middle and the middles of its sides).

    Attributes
    ----------
    surface, facing
        Which, and whether it looks up (desk, floor), down (ceiling) or aside.
    level_db
        (band,) at the ear re the direct sound; minus infinity where nothing arrives.
    worst_db, low_db, high_db
        Highest octave of the target at the ear; lowest and highest such level over the head box.
    delay_ms
        After the direct sound.
    drivers, point_m, clear_m
        Names, (driver, 3) mirror points and (driver,) how far inside the surface they lie, negative outside.
    """

    surface: str
    facing: Facing
    level_db: FloatArray
    worst_db: float
    low_db: float
    high_db: float
    delay_ms: float
    drivers: tuple[str, ...]
    point_m: FloatArray
    clear_m: FloatArray


def reflections(stage: Stage, target: Target, bands: Bands) -> tuple[tuple[Reflection, ...], ...]:
    """First-order reflections of every loudspeaker of a stage; other loudspeakers' boxes are left out.

    Surfaces on which no driver's mirror point comes nearer than 0.3 m to lying on it are left out too.
    """
    boxes = {one.body for one in stage.loudspeakers}
    facing = _facings(stage)
    owners = {facet.name: facet.owner for facet in stage.room.facets}
    names = [name for name in surface_names(stage) if owners[name] not in boxes]
    here = layout_figures(stage, target, bands, names)
    around = [here.worst_db, *(layout_figures(one, target, bands, names).worst_db for one in _heads(stage))]
    table = np.stack(around)
    told = []
    for s, loudspeaker in enumerate(stage.loudspeakers):
        count = len(loudspeaker.model.drivers)
        mine = []
        for f, name in enumerate(names):
            clear = here.clear_m[s, :count, f]
            if not (np.isfinite(table[:, s, f]).any() or np.nanmax([*clear, -1.0]) > -0.3):
                continue
            mine.append(
                Reflection(
                    name,
                    facing[name],
                    frozen(here.level_db[s, f]),
                    float(here.worst_db[s, f]),
                    float(table[:, s, f].min()),
                    float(table[:, s, f].max()),
                    float(here.delay_ms[s, f]),
                    tuple(driver.name for driver in loudspeaker.model.drivers),
                    frozen(here.point_m[s, :count, f]),
                    frozen(clear),
                )
            )
        told.append(tuple(mine))
    return tuple(told)


def loudest(found: Sequence[Reflection], facing: Facing) -> Reflection | None:
    """The loudest surface that faces that way, or None when none of them sends anything."""
    those = [one for one in found if one.facing == facing and np.isfinite(one.high_db)]
    return max(those, key=lambda one: one.high_db, default=None)


def _heads(stage: Stage) -> list[Stage]:
    ear, half = stage.ears[0], 0.5 * stage.head_box
    steps = [sign * half * axis for axis in np.eye(3) for sign in (-1.0, 1.0) if (half * axis).any()]
    return [replace(stage, ears=frozen((ear + step)[None]), listener_names=stage.listener_names[:1]) for step in steps]


def _facings(stage: Stage) -> dict[str, Facing]:
    found: dict[str, Facing] = {}
    for facet in stage.room.facets:
        up = float(facet.normal[2])
        found.setdefault(facet.name, "up" if up > LEVEL_PLANE else "down" if up < -LEVEL_PLANE else "side")
    return found
