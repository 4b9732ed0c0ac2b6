"""Small rooms and demo rooms as a treatment plan sees them, traced without ways round edges to be quick."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np

from sim.acoustics.bands import octave_bands
from sim.blueprint.reader import SceneFile, read_scene
from sim.blueprint.schema import Blueprint
from sim.placement.built_scene import BuiltScene, build_scene
from sim.propagation.edges.tracing import no_edge_paths
from sim.propagation.mirrors.image_sources import trace_paths
from sim.responses.arrivals import in_target_band, judge, list_arrivals, rank_by_harm
from sim.responses.energy_time import energy_time_curve
from sim.responses.frequency import ear_response
from sim.responses.records import Responses, Results
from sim.responses.surface_map import surface_maps
from sim.responses.transition import judged_from_hz
from sim.studies.treat.candidates import candidate_groups, coverage, energy_tables
from sim.studies.treat.domain import Group, PlacementDomain, placement_domain
from sim.studies.treat.scoring import EarlyReflections
from sim.studies.treat.search import Searcher
from sim.studies.treat.stock import limits_of
from tests.built_scenes import blueprint_of, box, loudspeaker

SCENES = Path(__file__).parents[3] / "scenes"
NOWHERE = Path("no-folder")


def small_room(**more: Any) -> Blueprint:
    """A hard box room with two point loudspeakers and one ear, 3.0 x 4.0 x 2.5 m (across, deep, high)."""
    sources = [
        loudspeaker((0.9, 0.9, 1.2), name="left"),
        loudspeaker((0.9, 2.1, 1.2), name="right"),
    ]
    head = {"head_box": {"depth": 0.2, "across": 0.2, "up": 0.0}}
    return blueprint_of(box(4.0, 3.0, 2.5), sources, (2.0, 1.5, 1.2), listener=head, **more)


def domain_of(blueprint: Blueprint) -> PlacementDomain:
    return placement_domain(build_scene(blueprint, NOWHERE), blueprint)


def surface_number(domain: PlacementDomain, name: str) -> int:
    return next(i for i, surface in enumerate(domain.surfaces) if surface.name == name)


def searcher_of(built: BuiltScene, blueprint: Blueprint, panels: int | None = None) -> tuple[Searcher, list[Group]]:
    """A search over the candidates of the surface maps, and these."""
    bands = octave_bands()
    domain = placement_domain(built, blueprint)
    method = blueprint.method
    maps = surface_maps(built, bands, method.grid, method.placement_error)
    tables = energy_tables(domain, maps, in_target_band(bands, blueprint.target))
    reflections = EarlyReflections(built, blueprint.target, [s.plane for s in domain.surfaces])
    limits = limits_of(blueprint, panels, None)
    searcher = Searcher(domain, reflections, limits, lambda group: coverage(tables, group))
    return searcher, candidate_groups(domain, tables)


@cache
def demo(name: str, panels: int | None = None) -> tuple[SceneFile, Searcher, list[Group]]:
    scene = read_scene(SCENES / name)
    built = build_scene(scene.blueprint, scene.folder)
    return (scene, *searcher_of(built, scene.blueprint, panels))


def quick_trace(scene: SceneFile, *_: Any) -> Results:
    """As the pipeline traces, without ways round edges and with two mirrors at most."""
    blueprint = scene.blueprint
    built = build_scene(blueprint, scene.folder)
    paths, bands = trace_paths(built, 2), octave_bands()
    arrivals = rank_by_harm(list_arrivals(built, paths, bands, blueprint.target), blueprint.target)
    response = ear_response(built, paths, no_edge_paths())
    curve = energy_time_curve(built, response, bands, arrivals)
    maps = surface_maps(built, bands, blueprint.method.grid, blueprint.method.placement_error)
    responses = Responses(
        bands, arrivals, response, curve, maps, judge(arrivals, blueprint.target), judged_from_hz(blueprint, built), ()
    )
    return Results(scene, built, paths, (), responses, no_edge_paths())


def with_treatment(blueprint: Blueprint, **more: Any) -> Blueprint:
    return blueprint.model_copy(update={"treatment": blueprint.treatment.model_copy(update=more)})


def changed(scene: SceneFile, **more: Any) -> SceneFile:
    """A scene with another treatment."""
    return replace(scene, blueprint=with_treatment(scene.blueprint, **more))


def corners_span(corners: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    return corners.min(axis=0), corners.max(axis=0)
