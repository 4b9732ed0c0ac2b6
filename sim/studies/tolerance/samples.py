"""One sample of a scene as it may really be: every doubt drawn, the scene built anew, first reflections worked out."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields, replace
from functools import lru_cache
from pathlib import Path as FilePath
from typing import Any, Final

import numpy as np
from numpy.typing import ArrayLike

from sim.acoustics.bands import Bands
from sim.acoustics.buildups import porous_materials
from sim.arrays import ComplexArray, FloatArray, frozen
from sim.blueprint.schema import Blueprint
from sim.blueprint.treatment import Target
from sim.errors import SceneError
from sim.geometry.patches import Patch
from sim.geometry.room import Room, build_room
from sim.layouts.figures import LayoutFigures, layout_figures
from sim.loudspeakers.loudspeaker import Loudspeaker
from sim.placement.built_scene import BuiltScene, build_scene
from sim.placement.finishes import LayeredFinish, LayerRow
from sim.studies.tolerance.uncertainties import Path, Uncertainty

OFF_BY: Final = (0.05, 0.20)
"""An absorption coefficient is off by so much, or by this share of it, whichever is more."""
OFF_AXIS_DB_AT_90: Final = 2.0
GIVEN_FACTOR: Final = 2.0
"""A flow resistivity that is told as a number is off by up to this factor."""


@dataclass(frozen=True, slots=True)
class ToleranceTask:
    """What a worker needs: the scene, its doubts, and what the figures are judged by."""

    blueprint: Blueprint
    folder: FilePath
    uncertainties: tuple[Uncertainty, ...]
    target: Target
    bands: Bands
    surfaces: tuple[str, ...]


@dataclass(frozen=True)
class LoudspeakerWithErrors(Loudspeaker):
    """A loudspeaker whose drivers radiate more or less off their axis than is thought.

    `off_axis_db` (driver,) is the error at 90 degrees; it grows in proportion to the angle and is zero on the axis.
    """

    off_axis_db: tuple[float, ...] = ()

    def driver_radiation(
        self, driver_index: int, directions: ArrayLike, frequencies_hz: ArrayLike, speed_of_sound_m_s: float
    ) -> ComplexArray:
        """What one driver radiates, its doubt included, complex, shape (m, f)."""
        radiated = super().driver_radiation(driver_index, directions, frequencies_hz, speed_of_sound_m_s)
        cosines = np.asarray(directions, dtype=np.float64).reshape(-1, 3)[:, 0]
        turned = np.degrees(np.arccos(np.clip(cosines, -1.0, 1.0))) / 90.0
        gain: ComplexArray = radiated * 10.0 ** (self.off_axis_db[driver_index] * turned / 20.0)[:, None]
        return gain


def work_sample(task: ToleranceTask, offsets: FloatArray) -> LayoutFigures | str:
    """Figures of a scene with every doubt off by so much (doubt,), or why it cannot be."""
    try:
        built = sampled_stage(task, offsets)
    except SceneError as fault:
        return str(fault)
    return layout_figures(built, task.target, task.bands, task.surfaces)


def sampled_stage(task: ToleranceTask, offsets: FloatArray) -> BuiltScene:
    """Build the scene with every doubt off by so much; raises SceneError if it cannot be."""
    stretch, head = np.zeros(3), np.zeros(3)
    rest: dict[tuple[Any, ...], float] = {}
    moves: list[tuple[Path, float]] = []
    for uncertainty, offset in zip(task.uncertainties, offsets.tolist(), strict=True):
        moves += [(place, offset) for place in uncertainty.places]
        if uncertainty.kind == "head":
            head[uncertainty.subject[0]] = offset
        elif uncertainty.kind == "tape" and uncertainty.subject:
            stretch[uncertainty.subject[0]] = offset
        elif uncertainty.subject:
            rest[uncertainty.subject] = offset
    built = build_scene(shifted_all(task.blueprint, moves), task.folder)
    if stretch.any():
        built = replace(built, room=stretched(built.room, stretch))
    ears = built.ears.copy()
    ears[0] += head  # loudspeakers stay aimed at where the head should be
    return with_errors(replace(built, ears=frozen(ears)), rest)


def shifted(record: Any, place: Path, by: float) -> Any:
    """The record with one length moved; nothing is checked anew, building it finds what cannot be."""
    return shifted_all(record, [(place, by)])


def shifted_all(record: Any, moves: Sequence[tuple[Path, float]]) -> Any:
    """The same with many lengths moved, one after the other; each record on the way is made anew once."""
    below: dict[str | int, list[tuple[Path, float]]] = {}
    for place, by in moves:
        if not place:
            record = record + by
            continue
        below.setdefault(place[0], []).append((place[1:], by))
    if not below:
        return record
    if isinstance(record, tuple):
        return tuple(shifted_all(each, below[n]) if n in below else each for n, each in enumerate(record))
    return record.model_copy(
        update={str(key): shifted_all(getattr(record, str(key)), rest) for key, rest in below.items()}
    )


def stretched(room: Room, by_m: FloatArray) -> Room:
    """The room with its shell longer, wider and higher by so much (3,), what stands in it left alone.

    Raises
    ------
    SceneError
        If its surfaces are not the same ones any more.
    """
    shell = room.triangles[room.owner_of_triangle == 0].reshape(-1, 3)
    low, high = shell.min(axis=0), shell.max(axis=0)
    factor = 1.0 + by_m / (high - low)
    patches = []
    for number, facet in enumerate(room.facets):
        triangles = room.triangles[room.facet_of_triangle == number]
        if facet.owner == room.owners[0]:
            triangles = low + (triangles - low) * factor
        patches.append(Patch(facet.name, facet.owner, facet.material, triangles))
    made = build_room(patches)
    if [(f.name, f.plane) for f in made.facets] != [(f.name, f.plane) for f in room.facets]:
        raise SceneError("room", "its surfaces fall apart when it is stretched by a few millimetres", "check the mesh")
    return made


def with_errors(built: BuiltScene, off: Mapping[tuple[Any, ...], float]) -> BuiltScene:
    """The built scene with absorption, flow resistivity and directivity off, each from -1 to 1 of what is allowed."""
    absorption = built.absorption.copy()
    for number, facet in enumerate(built.room.facets):
        by = off.get(("absorption", facet.material), 0.0)
        if by and not (absorption[number] == 1.0).all():
            spread = np.maximum(OFF_BY[0], OFF_BY[1] * absorption[number])
            absorption[number] = np.clip(absorption[number] + by * spread, 0.0, 0.99)
    finishes = tuple(_finish(finish, off.get(("flow", finish.name), 0.0)) for finish in built.finishes)
    loudspeakers = []
    for placed in built.loudspeakers:
        model = placed.model
        errors = tuple(OFF_AXIS_DB_AT_90 * off.get((model.name, driver.name), 0.0) for driver in model.drivers)
        if any(errors):
            reported = {each.name: getattr(model, each.name) for each in fields(Loudspeaker)}
            placed = replace(placed, model=LoudspeakerWithErrors(**reported, off_axis_db=errors))
        loudspeakers.append(placed)
    return replace(built, absorption=frozen(absorption), finishes=finishes, loudspeakers=tuple(loudspeakers))


def _finish(finish: LayeredFinish, by: float) -> LayeredFinish:
    if not by:
        return finish
    return replace(finish, layers=tuple(_layer(row, by) if row.kind == "porous" else row for row in finish.layers))


def _layer(row: LayerRow, by: float) -> LayerRow:
    low, high = flow_range(row.flow_resistivity_pa_s_m2)
    reported = row.flow_resistivity_pa_s_m2
    value = reported * (high / reported) ** by if by > 0.0 else reported * (low / reported) ** -by
    return replace(row, flow_resistivity_pa_s_m2=value)


@lru_cache(maxsize=64)
def flow_range(given_pa_s_m2: float) -> tuple[float, float]:
    """Range of a flow resistivity: that of the library's material of just this value, else a factor of two."""
    for material in porous_materials().values():
        if material.flow_resistivity_pa_s_m2 == given_pa_s_m2:
            return material.range_pa_s_m2
    return given_pa_s_m2 / GIVEN_FACTOR, given_pa_s_m2 * GIVEN_FACTOR
