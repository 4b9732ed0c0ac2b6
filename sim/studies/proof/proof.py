"""The question: two measurements of one room, before and after its panels, against what the panels promised."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Final

import numpy as np

from sim.arrays import FloatArray, frozen
from sim.blueprint.reader import AnyScene, read_scene
from sim.errors import SceneError
from sim.layouts.changes import remove
from sim.progress import Report, say_nothing
from sim.responses.records import Results
from sim.showing.archive.kept_traces import trace_kept
from sim.studies.match.match import match, read_responses
from sim.studies.match.records import Match
from sim.studies.proof.panel_readings import panel_proofs
from sim.studies.proof.records import Proof
from sim.studies.proof.target_readings import READING_DB, target_proofs

LOWEST_HZ: Final = 1000.0
"""Below, the pulse of the direct sound holds reflections too, and its level is not its own."""


def proof(
    scene: AnyScene | Results,
    before: Sequence[Path | str],
    after: Sequence[Path | str],
    report: Report = say_nothing,
    *,
    loudspeakers: Sequence[str] | None = None,
    listener: str | None = None,
    order: int | None = None,
) -> Proof:
    """Hold two measurements of one room against its scene: what each panel did, and whether the target is met.

    Parameters
    ----------
    scene
        The scene with its panels, or what `trace` returned of it.
    before, after
        Impulse responses without and with the panels, one file for each loudspeaker, in the same order.
    report
        Called with a few words at the start of each stage.
    loudspeakers
        Whose response each file is; left out, from left to right as seen from the seat.
    listener
        Where the microphone was; left out, the ear.
    order
        Most surfaces a path may touch, where the scene is still to be traced.

    Raises
    ------
    SceneError
        If the scene has no panels, there are not as many files before as after, or as `match`.
    """
    read = scene.scene if isinstance(scene, Results) else read_scene(scene)
    refuse_what_proves_nothing(read.blueprint.panels, before, after)
    for files in (before, after):
        read_responses(files)
    hung = scene if isinstance(scene, Results) else trace_kept(read, report, order=order)
    report("the room without its panels")
    reach = order if order is not None else int(hung.paths.facets.shape[1])
    bare = trace_kept(remove(read, *(panel.name for panel in read.blueprint.panels)), report, order=reach)
    report("holding both measurements against them")
    chosen = {"loudspeakers": loudspeakers, "listener": listener}
    first, second = match(bare, before, **chosen), match(hung, after, **chosen)  # type: ignore[arg-type]
    return Proof(
        panel_proofs(first, second), target_proofs(first, second), first, second, _turned(first, second), READING_DB
    )


def refuse_what_proves_nothing(panels: Sequence[object], before: Sequence[object], after: Sequence[object]) -> None:
    """Raise SceneError where there are no panels, or not as many files before as after."""
    if not panels:
        raise SceneError("panels", "the scene has none, so nothing was promised", "give the scene with its panels")
    if len(before) != len(after):
        raise SceneError(
            "--after",
            f"{len(after)} file{'s' * (len(after) != 1)}, and {len(before)} before",
            "give one of each monitor, in the same order",
        )


def _turned(before: Match, after: Match) -> FloatArray:
    """By how much the direct sound changed (loudspeaker, band), the mean over its octaves taken off; 0 below 1 kHz."""
    bands = after.results.responses.bands
    high = np.asarray(bands.nominal_hz) >= LOWEST_HZ
    found = np.zeros((len(after.responses), len(bands)))
    for row, (first, second) in enumerate(zip(before.responses, after.responses, strict=True)):
        change = second.curves.direct_db[1:] - first.curves.direct_db[1:]
        found[row, high] = change[high] - change[high].mean()
    return frozen(found)
