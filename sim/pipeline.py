"""The whole story: from a scene file to everything that is known about it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from sim.acoustics.bands import octave_bands
from sim.blueprint.reader import AnyScene, SceneFile, read_scene
from sim.errors import SceneError
from sim.machine.processes import one_blas_thread
from sim.placement.built_scene import BuiltScene, build_scene
from sim.placement.collisions import standing_solids
from sim.progress import Report, say_nothing
from sim.propagation.edges.chains import MOST_IN_TURN
from sim.propagation.edges.tracing import Depth, never, no_edge_paths, trace_edges
from sim.propagation.mirrors.image_sources import survey_first_order, trace_paths
from sim.propagation.surfaces.finite_facets import BESIDE_M, worth_keeping
from sim.propagation.waves.reach import note_without_waves
from sim.propagation.waves.tracing import trace_waves
from sim.responses.adding_up import ByMirrors
from sim.responses.arrivals import judge, list_arrivals
from sim.responses.energy_time import energy_time_curve
from sim.responses.frequency import ear_response, response_frequencies
from sim.responses.records import Responses, Results
from sim.responses.transition import judged_from_hz
from sim.responses.window import fill_window, window_of

MOST_MIRRORS = 6
HIGHEST_WAVES_HZ = 8000.0
TRIAL_MIRRORS = 2


@one_blas_thread()
def build(scene: AnyScene) -> tuple[SceneFile, BuiltScene]:
    """Read a scene and build it, which finds whatever cannot be; nothing is traced.

    Raises
    ------
    SceneError
        With the key that is at fault and what would work.
    """
    read = read_scene(scene)
    return read, build_scene(read.blueprint, read.folder)


def trace(
    scene: AnyScene, report: Report = say_nothing, *, order: int | None = None, waves_to_hz: float | None = None
) -> Results:
    """Trace a scene: read, build, find paths of up to `order` mirrors (else the scene's own), add them up.

    Up to `waves_to_hz` (else the scene's own, 0 for none) the response at the ear is that of sound waves round whatever
    stands near.

    Raises
    ------
    SceneError
        If the scene cannot be, for an order that is not 1 to 6, or a frequency that is not 0 to 8000 Hz.
    """
    if order is not None and not 1 <= order <= MOST_MIRRORS:
        raise SceneError("order", f"it is {order}", f"give 1 to {MOST_MIRRORS}")
    if waves_to_hz is not None and not 0.0 <= waves_to_hz <= HIGHEST_WAVES_HZ:
        raise SceneError("waves_to_hz", f"it is {waves_to_hz:g}", f"give 0 (none) to {HIGHEST_WAVES_HZ:g} Hz")
    report("reading the scene")
    return trace_scene(read_scene(scene), report, order=order, waves_to_hz=waves_to_hz)


@one_blas_thread()
def trace_scene(
    scene: SceneFile,
    report: Report = say_nothing,
    *,
    order: int | None = None,
    waves_to_hz: float | None = None,
    maps: bool = True,
    edges: bool = True,
    edges_in_turn: int = MOST_IN_TURN,
    edge_depth: Depth = "full",
    stop: Callable[[], bool] = never,
    on_way: Callable[[Results], None] | None = None,
) -> Results:
    """Trace a scene that has been read already; without hotspot maps, or without edges, where these are not wanted.

    edges_in_turn: most edges of one body that sound goes round in a row, 1 to 3; edge_depth, stop: as `trace_edges`.
    on_way: given what is known with single edges, then with all of them and without waves, where these are traced; both
    without maps, notches, and what comes after the window.
    """
    blueprint = scene.blueprint
    report("building the scene")
    built = build_scene(blueprint, scene.folder)
    for loudspeaker in built.loudspeakers:
        loudspeaker.model.solve_cabinet(report)
    report("finding paths")
    mirrors = order or blueprint.method.order
    paths = trace_paths(built, mirrors, beside_m=BESIDE_M)
    paths = paths.chosen(worth_keeping(built, paths))
    candidates = survey_first_order(built)
    early, window = fill_window(built, paths, window_of(blueprint.target.window_ms[1]))
    so_far = ByMirrors(scene, built, paths, candidates, early, window)
    so_far = so_far if on_way is None else so_far.with_gains()
    furniture = standing_solids(blueprint, scene.folder)
    to_hz = blueprint.method.waves_to_hz if waves_to_hz is None else waves_to_hz
    if on_way is not None:
        on_way(so_far.results(trace_edges(built, mirrors, depth="single", stop=stop)))
    report("tracing edge diffraction")
    edge_paths = (
        trace_edges(built, mirrors, in_turn=edges_in_turn, depth=edge_depth, stop=stop) if edges else no_edge_paths()
    )
    if on_way is not None and to_hz > 0.0:
        on_way(so_far.results(edge_paths))
    waves = trace_waves(built, furniture, mirrors, response_frequencies(), to_hz, report)
    note = note_without_waves(built, furniture, to_hz) if waves is None else waves.note
    if note:
        so_far = replace(so_far, built=replace(built, notes=(*built.notes, note)))
    return so_far.results(edge_paths, waves, report, whole=True, maps=maps)


@one_blas_thread()
def trace_trial(scene: SceneFile) -> Results:
    """Trace a scene as a trial among many: mirrors of the first two orders, the ear's response made of these alone.

    No edges, sound waves, maps, notches or room after the window: what is judged by it is judged against another trial.

    Raises
    ------
    SceneError
        If the scene cannot be.
    """
    blueprint = scene.blueprint
    built, bands = build_scene(blueprint, scene.folder), octave_bands()
    paths = trace_paths(built, min(blueprint.method.order, TRIAL_MIRRORS), beside_m=BESIDE_M)
    paths = paths.chosen(worth_keeping(built, paths))
    edges = no_edge_paths()
    arrivals = list_arrivals(built, paths, bands, blueprint.target, notches=True)
    response = ear_response(built, paths, edges)
    curve = energy_time_curve(built, response, bands, arrivals)
    responses = Responses(
        bands, arrivals, response, curve, (), judge(arrivals, blueprint.target), judged_from_hz(blueprint, built), ()
    )
    return Results(scene, built, paths, (), responses, edges)
