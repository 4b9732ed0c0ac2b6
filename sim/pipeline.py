"""The whole story: from a scene file to everything that is known about it."""

from __future__ import annotations

from sim.acoustics.bands import octave_bands
from sim.blueprint.reader import AnyScene, SceneFile, read_scene
from sim.errors import SceneError
from sim.machine.processes import one_blas_thread
from sim.placement.stage import Stage, set_stage
from sim.progress import Report, say_nothing
from sim.propagation.edges.tracing import trace_edges
from sim.propagation.mirrors.image_sources import survey_first_order, trace_paths
from sim.responses.arrivals import judge, judged_from_hz, list_arrivals
from sim.responses.energy_time import energy_time_curve
from sim.responses.frequency import ear_response
from sim.responses.notches import list_notches
from sim.responses.path_kinds import DiffractedPaths
from sim.responses.records import Responses, Results
from sim.responses.surface_map import surface_maps

MOST_MIRRORS = 6


@one_blas_thread()
def build(scene: AnyScene) -> tuple[SceneFile, Stage]:
    """Read a scene and set its stage, which finds whatever cannot be; nothing is traced.

    Raises
    ------
    SceneError
        With the key that is at fault and what would work.
    """
    read = read_scene(scene)
    return read, set_stage(read.blueprint, read.folder)


def trace(scene: AnyScene, report: Report = say_nothing, *, order: int | None = None) -> Results:
    """Trace a scene: read, build, find paths of up to `order` mirrors (else the scene's own), add them up.

    Raises
    ------
    SceneError
        If the scene cannot be, or for an order that is not 1 to 6.
    """
    if order is not None and not 1 <= order <= MOST_MIRRORS:
        raise SceneError("order", f"it is {order}", f"give 1 to {MOST_MIRRORS}")
    report("reading the scene")
    return trace_scene(read_scene(scene), report, order=order)


@one_blas_thread()
def trace_scene(scene: SceneFile, report: Report = say_nothing, *, order: int | None = None) -> Results:
    """Trace a scene that has been read already."""
    blueprint = scene.blueprint
    report("setting the stage")
    stage = set_stage(blueprint, scene.folder)
    for loudspeaker in stage.loudspeakers:
        loudspeaker.model.solve_cabinet(report)
    report("finding paths")
    paths = trace_paths(stage, order or blueprint.method.order)
    candidates = survey_first_order(stage)
    report("tracing edge diffraction")
    edge_paths = trace_edges(stage, order or blueprint.method.order)
    report("adding up what arrives")
    bands = octave_bands()
    arrivals = list_arrivals(stage, paths, bands, blueprint.target, DiffractedPaths(stage, edge_paths))
    response = ear_response(stage, paths, edge_paths)
    curve = energy_time_curve(stage, response, bands, arrivals)
    report("mapping hotspots")
    maps = surface_maps(stage, bands, blueprint.method.grid, blueprint.method.placement_error)
    lowest_hz = judged_from_hz(blueprint, stage)
    verdicts = judge(arrivals, blueprint.target)
    responses = Responses(
        bands, arrivals, response, curve, maps, verdicts, lowest_hz, list_notches(stage, response, lowest_hz)
    )
    return Results(scene, stage, paths, candidates, responses, edge_paths)
