"""What was tried, in sentences that hold for what cannot be done as well."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from sim.studies.explain.edge_trial import EdgeTrial
from sim.studies.explain.explanation import explain
from sim.studies.explain.mirror_trial import Remedy
from sim.studies.explain.records import Explanation
from sim.studies.explain.removal_text import removal_lines
from tests.explained import POINT, number_of, traced


def explained(way: str) -> Explanation:
    return explain(traced(POINT), number=number_of(traced(POINT), way))


def lines(explanation: Explanation) -> str:
    return "\n".join(removal_lines(traced(POINT), explanation))


def test_changes_that_do_not_help_are_told_with_their_limits() -> None:
    desk = explained("desk top")
    none = (
        Remedy("cut", "far edge", 0.45, 0.6, 0.3),
        Remedy("move", "up", np.inf, np.inf, 0.5),
        Remedy("tilt", "far edge up", np.inf, np.inf, 20.0),
    )
    edges = np.full((3, len(desk.bands)), np.nan)
    stuck = replace(desk.furnishings[0], ways=none, edges_db=edges, refused=("", "", ""))
    text = lines(replace(desk, furnishings=(stuck,)))
    assert "its far edge would have to lose 45 cm, more than half of what there is: not practical" in text
    assert "no move in any direction" in text and "no tilt up to 20 degrees either way" in text
    assert "so nothing sensible here takes the reflection point off it" in text
    carried = lines(replace(desk, furnishings=(replace(stuck, carried=("left", "right")),)))
    assert "moving or tilting it was not tried: left and right stand on it" in carried
    works = replace(stuck, ways=(Remedy("cut", "far edge", 0.1, np.inf, 0.3),), refused=("the desk would float",))
    assert "but that cannot be: the desk would float" in lines(replace(desk, furnishings=(works,)))


def test_edges_that_were_hidden_or_cannot_be_moved() -> None:
    desk = explained("desk top")
    shown = int(desk.judged.sum())

    def edge(trial: EdgeTrial) -> str:
        return lines(replace(desk, furnishings=(), edge=trial))

    assert "nothing was tried: it belongs to the room" in edge(
        EdgeTrial("", "", 0.0, np.zeros(shown), False, "it belongs to the room")
    )
    assert "no move or cut of the piece that was tried" in edge(EdgeTrial("", "", 0.0, np.zeros(shown), False))
    assert "this edge is then hidden" in edge(EdgeTrial("move", "up", 0.1, np.full(shown, -110.0), True))
    text = edge(EdgeTrial("cut", "far edge", 0.2, np.full(shown, -18.0), True))
    assert "cut 20 cm off its far edge: this edge alone then sends -18 dB" in text and "meets the target" in text


def test_what_is_below_the_target_says_so() -> None:
    results = traced(POINT)
    quiet = next(
        a for a in results.responses.arrivals if a.order and a.worst_db < results.scene.blueprint.target.level_db
    )
    assert "already below the target" in lines(explain(results, number=quiet.number))
