"""What a command says of an answer, as lines of text: one place that knows which words belong to which answer."""

from __future__ import annotations

import io
from collections.abc import Callable
from typing import Any, Final

from sim.studies.absorber.table import AbsorberTable
from sim.acoustics.air import Air
from sim.answers import Answer
from sim.errors import OutputError
from sim.loudspeakers.loudspeaker import Loudspeaker
from sim.studies.check.checked import Checked
from sim.studies.stand.answer import Stacks
from sim.studies.bounces.records import BounceStudy
from sim.studies.decay.records import DecayStudy
from sim.studies.explain.records import Explanation
from sim.responses.records import Results
from sim.studies.compare.comparison import Comparison
from sim.studies.compare.many import compare_many
from sim.studies.orient.study import OrientationStudy
from sim.studies.search.search import Search
from sim.layouts.records import Sweep
from sim.studies.tolerance.tolerance import Tolerance
from sim.responses.plan import Plan
from sim.studies.absorber.text import absorber_lines
from sim.studies.bounces.text import bounce_lines
from sim.studies.compare.text import comparison_lines
from sim.studies.decay.text import decay_lines
from sim.studies.explain.text import explanation_lines
from sim.studies.loudspeaker.text import loudspeaker_lines
from sim.studies.compare.text import many_lines
from sim.studies.orient.text import orientation_lines
from sim.studies.treat.text import plan_lines
from sim.studies.trace.screen import PIPED, show_results
from sim.studies.search.text import search_lines
from sim.studies.check.text import setup_lines
from sim.studies.stand.text import stand_lines
from sim.studies.tolerance.text import tolerance_lines

MANY: Final = 3
"""From so many layouts on there is a table with a row for each."""
MOST_SAID: Final = 8
"""Up to so many layouts each is also told against the first; comparison.txt always does."""


def words(answer: Answer | Loudspeaker) -> str:
    """Return what the command would print of an answer.

    Raises
    ------
    OutputError
        If it is no answer of a question of `sim`.
    """
    return "\n".join(answer_lines(answer))


def answer_lines(answer: Answer | Loudspeaker) -> list[str]:
    """Lines of text on an answer; OutputError as `words`."""
    lines = next((made for kind, made in _LINES.items() if isinstance(answer, kind)), None)
    if lines is None:
        raise OutputError(f"{type(answer).__name__} has no words of its own; write its files with sim.save.")
    return lines(answer)


def _results_lines(results: Results) -> list[str]:
    from rich.console import Console

    text = io.StringIO()
    show_results(results, Console(file=text, width=PIPED, highlight=False))
    return text.getvalue().splitlines()


def _compared_lines(comparison: Comparison) -> list[str]:
    lines = comparison_lines(comparison)
    if len(comparison.layouts) < MANY:
        return lines
    many = many_lines(compare_many(comparison.layouts))
    return [*many, "", *lines] if len(comparison.layouts) <= MOST_SAID else many


_LINES: Final[dict[type, Callable[[Any], list[str]]]] = {
    Results: _results_lines,
    Comparison: _compared_lines,
    Checked: lambda one: setup_lines(one.scene, one.stage, one.sheet),
    Explanation: lambda one: explanation_lines(one.results, one),
    Plan: plan_lines,
    Sweep: lambda one: one.findings.splitlines() or [one.headline()],
    Search: search_lines,
    Tolerance: tolerance_lines,
    OrientationStudy: orientation_lines,
    Stacks: stand_lines,
    DecayStudy: decay_lines,
    BounceStudy: bounce_lines,
    AbsorberTable: lambda one: absorber_lines(one.build_up, Air()),
    Loudspeaker: lambda one: loudspeaker_lines(one, Air()),
}
