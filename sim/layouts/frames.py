"""Frames: what a person sees while something moves, worked out anew for every place it passes.

A frame holds first reflections only, without edge diffraction and further mirrors; `sim.trace` of the scene at rest
gives the whole.  Its numbers are those of `trace`: the same builder, the same paths, the same maps.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from sim.acoustics.bands import octave_bands
from sim.answers import printable
from sim.blueprint.checks import refuse_what_cannot_be
from sim.blueprint.reader import SceneFile
from sim.blueprint.schema import Blueprint
from sim.blueprint.toml_text import Locations
from sim.errors import SceneError
from sim.machine.processes import one_blas_thread
from sim.placement.built_scene import BuiltScene, build_scene
from sim.propagation.mirrors.image_sources import survey_first_order, trace_paths
from sim.propagation.paths import Candidate, PathTable
from sim.propagation.surfaces.finite_facets import BESIDE_M, worth_keeping
from sim.responses.first_arrivals import FirstArrivals, first_arrivals
from sim.responses.records import SurfaceMap
from sim.responses.surface_map import surface_maps

LOOKS_UP = float(np.cos(np.radians(60.0)))
"""A face of a desk that is less steep than 60 degrees is one of its tops (our choice)."""


@printable
@dataclass(frozen=True, slots=True)
class FrameVerdict:
    """First reflections of one loudspeaker at one listener against the target.

    Attributes
    ----------
    loudspeaker, listener
        Numbers of both.
    met
        Whether every first reflection inside the window is under the target.
    over_target_db
        The highest of them less the target's level, negative where it is under; minus infinity where there is none.
    worst
        Row of that one among the arrivals, -1 where there is none.
    """

    loudspeaker: int
    listener: int
    met: bool
    over_target_db: float
    worst: int


@printable
@dataclass(frozen=True, slots=True)
class Frame:
    """One layout as it is shown while something moves.

    Attributes
    ----------
    blueprint
        The layout.
    impossible
        The sentence that says why it cannot be; empty where it can.  Then there is nothing else.
    where
        Which key or thing is at fault then.
    built
        What was built.
    paths, candidates
        Direct and first-order paths, and every surface that could reflect once and why it does or does not.
    arrivals
        Direct sound and first reflections as arrays.
    verdicts
        Against the target, one for each loudspeaker and listener.
    maps
        Early-reflection maps of the surfaces asked for, as far as anything comes via them.
    """

    blueprint: Blueprint
    impossible: str = ""
    where: str = ""
    built: BuiltScene | None = None
    paths: PathTable | None = None
    candidates: tuple[Candidate, ...] = ()
    arrivals: FirstArrivals | None = None
    verdicts: tuple[FrameVerdict, ...] = ()
    maps: tuple[SurfaceMap, ...] = ()


class Frames:
    """Frames of one scene, one after the other; what stays as it is from one to the next is kept.

    `surfaces` are names of the surfaces to be mapped, else the tops of all desks; `grid_m` and `error_m`, the grid of
    the maps and how far loudspeakers may be off, are otherwise those of the scene.  Use one of these from one thread.
    """

    def __init__(
        self,
        scene: SceneFile,
        *,
        surfaces: Sequence[str] | None = None,
        grid_m: float | None = None,
        error_m: float | None = None,
    ) -> None:
        method = scene.blueprint.method
        self.scene = scene
        self.surfaces = None if surfaces is None else tuple(surfaces)
        self.grid_m = method.grid if grid_m is None else grid_m
        self.error_m = method.placement_error if error_m is None else error_m
        self.bands = octave_bands()
        self._locations = Locations(scene.path.name, {})

    @one_blas_thread()
    def frame(self, blueprint: Blueprint, *, maps: bool = True, candidates: bool = True) -> Frame:
        """Work out the frame of a changed scene (see `sim.layouts.changes` and `fields`); never raises SceneError."""
        try:
            built = self.build(blueprint)
        except SceneError as fault:
            return Frame(blueprint, str(fault), fault.where)
        paths = trace_paths(built, 1, beside_m=BESIDE_M)
        paths = paths.chosen(worth_keeping(built, paths))
        arrivals = first_arrivals(built, paths, self.bands, blueprint.target)
        only = desk_tops(blueprint, built) if self.surfaces is None else self.surfaces
        return Frame(
            blueprint,
            built=built,
            paths=paths,
            candidates=survey_first_order(built) if candidates else (),
            arrivals=arrivals,
            verdicts=verdicts_on(arrivals, blueprint.target.level_db),
            maps=surface_maps(built, self.bands, self.grid_m, self.error_m, only) if maps and only else (),
        )

    def build(self, blueprint: Blueprint) -> BuiltScene:
        """Build a changed scene.

        Raises
        ------
        SceneError
            If it cannot be.
        """
        return build_layout(blueprint, self.scene.folder, self._locations)


def build_layout(blueprint: Blueprint, folder: Path, locations: Locations) -> BuiltScene:
    """Check and build one of many layouts of a scene; raises SceneError if it cannot be."""
    refuse_what_cannot_be(blueprint, folder, locations)
    return build_scene(blueprint, folder)


def desk_tops(blueprint: Blueprint, built: BuiltScene) -> tuple[str, ...]:
    """Names of the faces of desks that look up."""
    desks = {item.name for item in blueprint.furniture if item.worked_at}
    found = (one.name for one in built.room.facets if one.owner in desks and one.normal[2] > LOOKS_UP)
    return tuple(dict.fromkeys(found))


def verdicts_on(arrivals: FirstArrivals, target_db: float) -> tuple[FrameVerdict, ...]:
    """Hold first reflections inside the window against a level in dB, for each loudspeaker at each listener."""
    verdicts = []
    for loudspeaker, listener in dict.fromkeys(
        zip(arrivals.loudspeaker.tolist(), arrivals.listener.tolist(), strict=True)
    ):
        rows = np.flatnonzero(
            (arrivals.loudspeaker == loudspeaker) & (arrivals.listener == listener) & (arrivals.number > 0)
        )
        rows = rows[arrivals.in_window[rows]]
        worst = int(rows[np.argmax(arrivals.worst_db[rows])]) if rows.size else -1
        over = float(arrivals.worst_db[worst]) - target_db if rows.size else -np.inf
        verdicts.append(FrameVerdict(loudspeaker, listener, over <= 0.0, over, worst))
    return tuple(verdicts)
