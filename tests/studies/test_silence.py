"""A wall from side to side between loudspeaker and ear: silence, said in one sentence everywhere."""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path

import pytest

from sim.blueprint.reader import parse_scene
from sim.errors import BounceplanError
from sim.pipeline import trace_scene
from sim.responses.records import Results
from sim.showing.words import verdict_sentence
from sim.studies.decay.study import study_decay
from sim.studies.explain.explanation import explain
from tests.room_texts import room_text

TEXT = room_text(
    (3.0, 4.5, 2.4),
    (3.4, 1.5, 1.2),
    {"left": (1.0, 1.0, 1.2)},
    more="""
[[furniture]]
kind = "block"
name = "partition"
from_front = [2.0, 2.1]
from_left = [0.0, 3.0]
up = [0.0, 2.4]
""",
)


@lru_cache(maxsize=1)
def silent() -> Results:
    return trace_scene(parse_scene(TEXT, Path()), order=2)


def test_silence_is_no_target_met() -> None:
    results = silent()
    (verdict,) = results.responses.verdicts
    assert verdict_sentence(results, verdict) == (
        "left at the ear: silence. Something blocks the direct sound, and no path of up to 2 reflections "
        "or round an edge leads past it; there is nothing to judge."
    )


def test_what_is_not_there_cannot_be_explained() -> None:
    with pytest.raises(BounceplanError, match=r"left has 0 arrivals at the ear; give 0 for the direct sound\."):
        explain(silent(), "left", "ear", 1)
    assert explain(silent(), "left", "ear", 0).hidden_by == ("partition",)


def test_nothing_decays_where_nothing_arrives() -> None:
    results = silent()
    with pytest.raises(BounceplanError, match="no sound reaches a listener from one of the monitors"):
        study_decay(results.scene, results.built, seed=1, most_rays=1024)
