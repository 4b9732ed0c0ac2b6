"""Sweeps of a small table for pictures: one field, two, two side by side, and one with a stretch that cannot be."""

from __future__ import annotations

from functools import cache

from sim.blueprint.reader import parse_scene
from sim.layouts.plan import SweepTask
from sim.layouts.records import Sweep
from sim.layouts.values import Values
from sim.studies.sweep.findings import Findings, find_out
from tests.studies.sweep.sweep_scenes import TABLE, planned, swept

Found = tuple[Sweep, SweepTask, Findings]
STANDS = TABLE.replace('model = "point"', 'model = "box"') + (
    '[models.box]\nkind = "two-way"\nwidth = 0.18\nheight = 0.3\ndepth = 0.22\n'
)
"""The same with boxes, which the desk can run into."""


def found(text: str, vary: dict[str, Values], **more: bool) -> Found:
    from pathlib import Path

    task = planned(parse_scene(text, Path("nowhere")), vary, **more)
    sweep = swept(task)
    return sweep, task, find_out(sweep, task)


@cache
def one_field() -> Found:
    """The desk's depth: its point leaves where the desk becomes too shallow."""
    return found(TABLE, {"desk.depth": "0.2:0.9:0.05"})


@cache
def with_impossible() -> Found:
    """A desk so high that it meets the boxes above some height."""
    return found(STANDS, {"desk.height": "0.6:1.2:0.05"})


@cache
def two_fields() -> Found:
    return found(STANDS, {"left.height": [1.1, 1.3, 1.2], "left.tilt": "-16:16:8"})


@cache
def side_by_side() -> Found:
    return found(TABLE, {"desk.height": [0.7, 0.72, 0.74], "ear.up": [1.2, 1.25, 1.3]}, together=True)


@cache
def three_fields() -> Found:
    return found(TABLE, {"ear.up": [1.1, 1.2], "left.height": [1.0, 1.1, 1.2], "desk.depth": [0.5, 0.7, 0.9]})
