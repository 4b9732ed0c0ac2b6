"""Steps in order of what the measure says of them: made-up rooms whose measure is written down for each set."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import pytest

from sim.studies.treat import steps
from sim.studies.treat.steps import TracedSteps, trace_steps


def traced(monkeypatch: pytest.MonkeyPatch, totals: dict[str, float], first: str, least_db: float) -> TracedSteps:
    """Steps named by letters in a first order; totals by the letters that hang, in the order of the alphabet."""
    monkeypatch.setattr(steps, "measure_of", lambda result: result)

    def hung(parts: Any) -> Any:
        return SimpleNamespace(total_db=totals["".join(sorted(letter for part in parts for letter in part))])

    return trace_steps(tuple((letter,) for letter in first), hung, least_db)  # type: ignore[misc,arg-type]


def test_a_step_that_is_worth_more_comes_first(monkeypatch: pytest.MonkeyPatch) -> None:
    found = traced(monkeypatch, {"": 10.0, "a": 8.0, "b": 7.0, "ab": 5.0}, "ab", 1.0)
    assert found.parts == (("b",), ("a",))
    assert found.gains_db == pytest.approx((3.0, 2.0))
    assert [one.total_db for one in found.results] == [10.0, 7.0, 5.0]


def test_what_is_little_without_the_other_is_one_step(monkeypatch: pytest.MonkeyPatch) -> None:
    found = traced(monkeypatch, {"": 10.0, "a": 9.5, "b": 9.5, "ab": 6.0}, "ab", 1.0)
    assert found.parts == (("a", "b"),)
    assert found.gains_db == pytest.approx((4.0,))


def test_what_lowers_the_measure_by_less_than_asked_is_left_out(monkeypatch: pytest.MonkeyPatch) -> None:
    found = traced(monkeypatch, {"": 10.0, "a": 7.0, "ab": 6.5, "b": 9.5}, "ab", 1.0)
    assert found.parts == (("a",),)
    assert traced(monkeypatch, {"": 10.0, "a": 9.5}, "a", 1.0).parts == ()
