"""One arrival in words: each loss, and what would remove it."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from sim.studies.explain.records import Explanation


def lines(explanation: Explanation) -> list[str]:
    """What the command says."""
    from sim.studies.explain.text import explanation_lines

    return explanation_lines(explanation.results, explanation)
