"""Draw the plan and section of a scene, in a process of its own."""

from __future__ import annotations

from pathlib import Path
from typing import Final

from sim.progress import Report
from sim.showing.child_drawing import as_child, draw_in_child

MODULE: Final = "sim.studies.check.drawn"


def draw_plan_of(scene: Path, picture: Path, report: Report) -> str:
    """Draw the plan and section of a scene to a file; returns why that failed, or an empty text."""
    return draw_in_child(MODULE, "check", picture, [str(scene)], report)


def draw_here(_: str, place: Path, sources: list[str]) -> None:
    """Draw here and now."""
    from sim.pipeline import build
    from sim.showing.plan_picture import draw_plan

    scene, stage = build(sources[0])
    draw_plan(stage, scene.blueprint, place)


def main(arguments: list[str]) -> int:
    """What the process of its own does."""
    return as_child(draw_here, arguments)
