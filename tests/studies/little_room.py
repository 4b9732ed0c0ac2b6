"""A bare room with two loudspeakers that are points, for searches and tolerance studies that take seconds."""

from __future__ import annotations

from pathlib import Path

from sim.blueprint.reader import SceneFile, parse_scene

TEXT = """
title = "little room"
[room]
box = { width = 3.4, depth = 4.2, height = 2.4 }
materials = { all = "hard" }
[materials.hard]
absorption = [0.1, 0.1, 0.1, 0.1, 0.1, 0.1, 0.1, 0.1]
source = "made up for a test"
[listener]
ear = { from_front = 1.6, from_left = 1.7, up = 1.2 }
head_box = { depth = 0.3, across = 0.3, up = 0.1 }
[[loudspeakers]]
name = "left"
model = "point"
acoustic_axis = { from_front = 0.6, from_left = 1.1, up = 1.2 }
[[loudspeakers]]
name = "right"
model = "point"
acoustic_axis = { from_front = 0.6, from_left = 2.3, up = 1.2 }
"""
DESK = """
[[furniture]]
kind = "desk"
name = "desk"
from_front = [0.5, 1.2]
from_left = [0.9, 2.5]
top = 0.74
material = "hard"
"""
STILL = "head_box = { depth = 0.0, across = 0.0, up = 0.0 }"
HEAD = "head_box = { depth = 0.3, across = 0.3, up = 0.1 }"
PLACED = """
[method]
placement_error = 0.0
"""


def little_room(more: str = "", **changes: str) -> SceneFile:
    """The room with more tables, and texts in it replaced: old="..." and new="..."."""
    text = TEXT + more
    if changes:
        assert changes["old"] in text
        text = text.replace(changes["old"], changes["new"])
    return parse_scene(text, Path("nowhere"))


def still_room(more: str = "") -> SceneFile:
    """The room in which only tape and materials are in doubt: nobody moves, and everything stands where it should."""
    return little_room(more + PLACED, old=HEAD, new=STILL)
