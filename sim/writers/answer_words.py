"""What a command says of an answer, as lines of text: one place that knows which words belong to which answer."""

from __future__ import annotations

import io
from collections.abc import Callable
from typing import Any, Final

from ..acoustics.absorbed import AbsorberTable
from ..acoustics.air import Air
from ..answers import Answer
from ..errors import OutputError
from ..loudspeakers.loudspeaker import Loudspeaker
from ..placement.checked import Checked
from ..placement.stack_answer import Stacks
from ..responses.bounce_records import BounceStudy
from ..responses.decay_records import DecayStudy
from ..responses.explained import Explanation
from ..responses.results import Results
from ..studies.compare import Comparison
from ..studies.many import compare_many
from ..studies.orientation import OrientationStudy
from ..studies.search import Search
from ..studies.sweep_records import Sweep
from ..studies.tolerance import Tolerance
from ..treatment.records import Plan
from .absorber_text import absorber_lines
from .bounce_text import bounce_lines
from .comparison_text import comparison_lines
from .decay_text import decay_lines
from .explanation_text import explanation_lines
from .loudspeaker_text import loudspeaker_lines
from .many_text import many_lines
from .orientation_text import orientation_lines
from .plan_text import plan_lines
from .screen import PIPED, show_results
from .search_text import search_lines
from .setup_text import setup_lines
from .stand_text import stand_lines
from .tolerance_text import tolerance_lines

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
