"""From a scene and the numbers in it that vary to the plan of a sweep."""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Mapping
from contextlib import suppress
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Final

import numpy as np

from sim.acoustics.bands import octave_bands
from sim.answers import printable
from sim.blueprint.checks import refuse_what_cannot_be
from sim.blueprint.reader import SceneFile
from sim.blueprint.schema import Blueprint
from sim.blueprint.toml_text import Locations
from sim.errors import SceneError
from sim.geometry.enclosures import room_patches
from sim.geometry.meshes import furniture_patches
from sim.layouts.fields import Field
from sim.layouts.records import SweepPlan
from sim.layouts.values import MOST_POINTS, Values, read_axis, with_value
from sim.placement.built_scene import BuiltScene, build_scene
from sim.placement.poses import build_model, place

MOST_PROBES: Final = 64
"""Layouts looked at to learn which surfaces there are: the scene itself and corners of the grid."""


@printable
@dataclass(frozen=True, slots=True)
class SweepTask:
    """What a worker needs to work out any point of a sweep, on this machine or another.

    Attributes
    ----------
    plan
        What was asked.
    blueprint, folder
        The scene as it stands, and where its meshes are.
    fields
        The plan's axes as fields of the scene.
    """

    plan: SweepPlan
    blueprint: Blueprint
    folder: Path
    fields: tuple[Field, ...]

    def blueprint_at(self, values: Iterable[float]) -> Blueprint:
        """Return the scene with its fields at other values, one for every axis; SceneError where it cannot be."""
        changed = self.blueprint
        for field, value in zip(self.fields, values, strict=True):
            changed = with_value(changed, field, value)
        return changed

    def stage_at(self, values: Iterable[float]) -> BuiltScene:
        """Build the layout at values of the axes.

        Raises
        ------
        SceneError
            If it cannot be.
        """
        return self.stage_of(self.blueprint_at(values))

    def stage_of(self, changed: Blueprint) -> BuiltScene:
        """Build a layout that `blueprint_at` gave; raises SceneError if it cannot be."""
        refuse_what_cannot_be(changed, self.folder, Locations(self.plan.scene_path.name, {}))
        return build_scene(changed, self.folder)


def plan_sweep(scene: SceneFile, vary: Mapping[str, Values], *, tied: bool = True, together: bool = False) -> SweepTask:
    """Plan a sweep over all combinations of values, or with `together` over lists that run side by side.

    Raises
    ------
    SceneError
        If a field or value is not there, two fields are the same, lists that run side by side differ in length, or
        there are too many layouts.
    """
    if not vary:
        raise SceneError("vary", "nothing varies", "name a field and its values, such as left.tilt=-10:15:1")
    read = [read_axis(scene.blueprint, name, values, tied=tied) for name, values in vary.items()]
    axes, fields = tuple(axis for axis, _ in read), tuple(field for _, field in read)
    _refuse_same(fields)
    lengths = [len(axis.values) for axis in axes]
    if together and len(set(lengths)) > 1:
        reported = ", ".join(f"{axis.field} has {n} values" for axis, n in zip(axes, lengths, strict=True))
        raise SceneError("vary", reported, "give lists that run side by side the same number of values")
    blueprint = scene.blueprint
    models = [build_model(blueprint, record, scene.folder) for record in blueprint.loudspeakers]
    plan = SweepPlan(
        scene_path=scene.path,
        scene_digest=scene.digest,
        title=blueprint.title,
        units=blueprint.units,
        axes=axes,
        together=together,
        tied=tied,
        loudspeakers=tuple(one.name for one in blueprint.loudspeakers),
        drivers=tuple(tuple(driver.name for driver in model.drivers) for model in models),
        surfaces=(),
        bands=octave_bands(),
        target=blueprint.target,
    )
    if plan.points > MOST_POINTS:
        raise SceneError(
            "vary", f"that makes {plan.points:,} layouts", f"take larger steps; {MOST_POINTS:,} layouts are the most"
        )
    task = SweepTask(plan, blueprint, scene.folder, fields)
    return replace(task, plan=replace(plan, surfaces=_all_surfaces(task)))


def _refuse_same(fields: tuple[Field, ...]) -> None:
    for one, other in itertools.combinations(fields, 2):
        if set(one.places) & set(other.places):
            raise SceneError(
                "vary",
                f"{one.name} and {other.name} move the same thing",
                "vary one of them, or say that left and right are not tied (--untied)",
            )


def _all_surfaces(task: SweepTask) -> tuple[str, ...]:
    """Names of all that can mirror: in the scene as it stands, and at the corners of the grid.

    Whether these layouts are possible does not matter.  A surface that is nowhere in them, such as a slope that cuts
    the ceiling only in between, has no row of its own; what it sends still counts in the early level.
    """
    plan = task.plan
    ends = itertools.product(*(sorted({0, length - 1}) for length in plan.shape))
    corners = itertools.islice(ends, MOST_PROBES)
    names = _patch_names(task.blueprint, task.folder)
    for corner in corners:
        point = int(np.ravel_multi_index(corner, plan.shape))
        with suppress(SceneError):
            names |= _patch_names(task.blueprint_at(plan.values(point)), task.folder)
    return tuple(names)


def _patch_names(blueprint: Blueprint, folder: Path) -> dict[str, None]:
    """Names of all surfaces of a layout in their order, none if it cannot be built."""
    names: dict[str, None] = {}
    with suppress(SceneError, ValueError):
        names |= dict.fromkeys(patch.name for patch in room_patches(blueprint, folder).patches)
        for item in blueprint.furniture:
            names |= dict.fromkeys(patch.name for patch in furniture_patches(item, folder))
        for record in blueprint.loudspeakers:
            names |= dict.fromkeys(patch.name for patch in place(blueprint, record, 0.0, folder).patches())
    return names
