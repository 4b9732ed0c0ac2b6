"""A report asked for: of which layouts or plan, and for which day."""

from __future__ import annotations

import datetime
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any, Final

from ..answers import printable
from ..blueprint.reader import AnyScene
from ..errors import OutputError
from ..pipeline import trace
from ..responses.results import Results
from ..treatment.records import Plan
from .report import report_page

MOST: Final = 6
"""Layouts on one page: beyond, nobody can tell their lines apart (common practice, no source)."""


@printable
@dataclass(frozen=True, slots=True)
class ReportPage:
    """One page that opens offline; `sim.save(page, "report.html")` writes it.

    Attributes
    ----------
    layouts
        The traced layouts, the first being the reference; none with a plan, which brings its own.
    plan
        The treatment plan it tells of, or None.
    date
        What day is printed on it.
    """

    layouts: tuple[Results, ...]
    plan: Plan | None
    date: datetime.date

    @property
    def html(self) -> str:
        """The whole page."""
        return report_page(self.layouts, plan=self.plan, date=self.date)


def report(
    scenes: AnyScene | Results | Plan | Sequence[AnyScene | Results],
    report: Callable[[str], None] = lambda _: None,
    *,
    date: datetime.date | None = None,
) -> ReportPage:
    """Prepare a page on one scene, on up to six layouts in a list, or on a treatment plan.

    Parameters
    ----------
    scenes
        Scenes, what `trace` returned of them, or what `treat` returned; of several the first is the reference.
    report
        Called with a few words at the start of each stage.
    date
        What day to print; left out, today.

    Raises
    ------
    BounceplanError
        If a scene cannot be, or there are too many.
    """
    day = date or datetime.date.today()
    if isinstance(scenes, Plan):
        return ReportPage((), scenes, day)
    listed: list[Any] = list(scenes) if isinstance(scenes, list | tuple) else [scenes]
    refuse_many(len(listed))
    traced = []
    for scene in listed:
        if len(listed) > 1:
            report(str(scene))
        traced.append(scene if isinstance(scene, Results) else trace(scene, report))
    return ReportPage(tuple(traced), None, day)


def refuse_many(number: int) -> None:
    """Raise OutputError for more layouts than one page holds, or none."""
    if number > MOST:
        raise OutputError(f"report takes at most {MOST} scenes and was given {number}; leave some out.")
    if number < 1:
        raise OutputError("report takes a scene and was given none; name one.")
