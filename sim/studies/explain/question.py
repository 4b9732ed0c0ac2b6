"""One peak of a scene explained: the scene is traced first, unless it was before."""

from __future__ import annotations

from sim.blueprint.reader import AnyScene
from sim.placement.built_scene import BuiltScene
from sim.progress import Report, say_nothing
from sim.responses.records import Results
from sim.showing.archive.kept_traces import results_of
from sim.studies.explain import explanation
from sim.studies.explain.records import Explanation


def explain(
    scene: AnyScene | Results,
    peak: int,
    report: Report = say_nothing,
    *,
    loudspeaker: str | None = None,
    listener: str | None = None,
    order: int | None = None,
) -> Explanation:
    """Take one reflection apart: every surface, angle and loss on its path, and what would remove it.

    Parameters
    ----------
    scene
        The scene, or what `trace` returned of it.
    peak
        Number as in arrivals.csv, 1 the strongest; 0 is the direct sound.
    report
        Called with a few words at the start of each stage.
    loudspeaker, listener
        Names; left out, the first of each.
    order
        Most surfaces a path may touch, where the scene is still to be traced.

    Raises
    ------
    SceneError
        If the scene cannot be, or there is no such loudspeaker, listener or peak.
    """

    def refuse(built: BuiltScene) -> None:
        explanation.refuse_unknown_names(built, loudspeaker, listener, peak)

    results = results_of(scene, report, order=order, refuse=refuse)
    report("working out what would remove it")
    return explanation.explain(results, loudspeaker, listener, peak)
