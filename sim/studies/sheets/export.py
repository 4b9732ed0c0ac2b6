"""A scene written out for others, nothing being traced: a 3D model, a plan, the empty room to check with a tape."""

from __future__ import annotations

import datetime
from dataclasses import dataclass
from typing import ClassVar

from sim.answers import Saveable, printable
from sim.blueprint.reader import AnyScene, SceneFile
from sim.pipeline import build
from sim.placement.built_scene import BuiltScene
from sim.studies.sheets.sheet_set import refuse_paper


@printable
@dataclass(frozen=True, slots=True)
class Export(Saveable):
    """A scene to be written as a 3D model, a plan and drawings of the empty room; `sim.save` writes them.

    Attributes
    ----------
    scene, built
        The scene and what was built of it.
    paper
        "a4", "a3" or "letter", lying.
    date
        What day to print on the drawings.
    """

    question: ClassVar[str] = "sheets"

    scene: SceneFile
    built: BuiltScene
    paper: str
    date: datetime.date


def export(scene: AnyScene, *, paper: str = "a4", date: datetime.date | None = None) -> Export:
    """Prepare a scene for writing out: nothing is traced.

    Parameters
    ----------
    scene
        The scene.
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
    read, built = build(scene)
    return Export(read, built, paper, date or datetime.date.today())
