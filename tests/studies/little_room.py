"""A bare room with two loudspeakers that are points, for searches and tolerance studies that take seconds."""

from __future__ import annotations

from pathlib import Path

from sim.blueprint.reader import SceneFile, parse_scene
from tests.room_texts import desk_text, room_text

TEXT = room_text(
    (3.4, 4.2, 2.4),
    (1.6, 1.7, 1.2),
    {"left": (0.6, 1.1, 1.2), "right": (0.6, 2.3, 1.2)},
    head='title = "little room"',
    room="""
materials = { all = "hard" }
[materials.hard]
absorption = [0.1, 0.1, 0.1, 0.1, 0.1, 0.1, 0.1, 0.1]
source = "made up for a test"
""",
    listener="head_box = { depth = 0.3, across = 0.3, up = 0.1 }",
)
DESK = desk_text((0.5, 1.2), (0.9, 2.5), 0.74, 'material = "hard"')
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
