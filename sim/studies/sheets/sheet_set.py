"""A set of drawings for the builder, asked for: of which scene or plan, on which paper."""

from __future__ import annotations

import datetime
from dataclasses import dataclass
from typing import ClassVar

from sim.answers import Saveable, printable
from sim.blueprint.reader import AnyScene
from sim.errors import SceneError
from sim.progress import Report, say_nothing
from sim.responses.plan import Plan
from sim.responses.records import Results
from sim.showing.archive.kept_traces import trace_kept
from sim.showing.terminal import PAPERS


@printable
@dataclass(frozen=True, slots=True)
class Sheets(Saveable):
    """Drawings to scale, CAD file, 3D model and tables of panels and parts; `sim.save` writes them.

    Attributes
    ----------
    results
        The traced scene that is drawn.
    plan
        The treatment plan whose panels are drawn, or None for the scene as it stands.
    paper
        "a4", "a3" or "letter", lying.
    date
        What day to print on them.
    """

    question: ClassVar[str] = "sheets"

    results: Results
    plan: Plan | None
    paper: str
    date: datetime.date


def refuse_paper(paper: str) -> None:
    """Raise SceneError for a paper that there is not."""
    if paper not in PAPERS:
        raise SceneError("--paper", f'it is "{paper}"', f"choose one of {', '.join(PAPERS)}")


def sheets(
    scene: AnyScene | Results | Plan,
    report: Report = say_nothing,
    *,
    paper: str = "a4",
    date: datetime.date | None = None,
) -> Sheets:
    """Prepare drawings of a scene as it stands, or of a plan with its panels.

    Parameters
    ----------
    scene
        The scene, what `trace` returned of it, or what `treat` returned.
    report
        Called with a few words at the start of each stage.
    paper
        "a4", "a3" or "letter", lying.
    date
        What day to print; left out, today.

    Raises
    ------
    SceneError
        If the scene cannot be, or there is no such paper.
    """
    refuse_paper(paper)
    day = date or datetime.date.today()
    if isinstance(scene, Plan):
        return Sheets(scene.working, scene, paper, day)
    return Sheets(scene if isinstance(scene, Results) else trace_kept(scene, report), None, paper, day)
