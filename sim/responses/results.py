"""Everything known about one scene: what was asked, what was built, which ways sound takes, what it adds up to."""

from __future__ import annotations

from dataclasses import dataclass

from ..blueprint.reader import SceneFile
from ..placement.stage import Stage
from ..propagation.bend_table import BendTable
from ..propagation.paths import Candidate, PathTable
from .records import Responses


@dataclass(frozen=True, slots=True)
class Results:
    """One traced scene: scene file, stage, paths, the survey of first-order mirrors, responses, ways round edges."""

    scene: SceneFile
    stage: Stage
    paths: PathTable
    candidates: tuple[Candidate, ...]
    responses: Responses
    bends: BendTable
