from __future__ import annotations

from types import SimpleNamespace
from typing import Any

from sim.studies.treat.steps import side_advice


def judged(left_right_db: float) -> Any:
    return SimpleNamespace(components={"left_right": left_right_db})


def test_left_and_right_are_told_by_the_component_of_the_measure() -> None:
    said = side_advice(judged(3.04), judged(0.11), None)
    assert said == ("Left against right: 3.0 dB as it is; 0.1 dB with all panels.",)
    assert side_advice(judged(3.0), judged(0.1), judged(1.0))[0].endswith("; 1.0 dB with movable panels away.")
