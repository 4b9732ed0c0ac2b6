"""Small traced scenes for tests of explanations: one with a point and hard surfaces, one with two-ways and panels."""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path

from sim.blueprint.reader import parse_scene
from sim.pipeline import trace_scene
from sim.responses.records import Results
from tests.room_texts import desk_text, room_text

POINT = room_text(
    (3.4, 4.2, 2.4),
    (1.9, 1.6, 1.2),
    {"left": (0.5, 1.0, 1.1)},
    head='title = "one point"\nunits = "m"',
    room="""
materials = { all = "half", floor = "hard" }
[materials.half]
absorption = [0.5, 0.5, 0.5, 0.5, 0.5, 0.5, 0.5, 0.5]
source = "made up for a test"
[materials.hard]
absorption = [0, 0, 0, 0, 0, 0, 0, 0]
source = "made up for a test"
""",
    listener="head_box = { depth = 0.2, across = 0.2, up = 0.1 }",
    more=desk_text((0.8, 1.4), (0.5, 2.5), 0.7, 'material = "hard"') + "[method]\norder = 2\n",
)
PANEL = """
[[panels]]
name = "side panel"
surface = "left wall"
from_front = [0.6, 1.6]
up = [0.6, 1.8]
material = "100 mm wool"
"""
TWO_WAY = room_text(
    (340, 420, 240),
    (160, 170, 120),
    {"left": (62, 112, 122), "right": (62, 228, 122)},
    model="",
    head='title = "a pair"\nunits = "cm"',
    listener='second_seat = { name = "sofa", ear = { from_front = 330, from_left = 150, up = 100 } }',
    more=desk_text((55, 130), (90, 250), 74, name="")
    + """
[[furniture]]
kind = "screen"
at = { from_front = 75, from_left = 170, up = 86 }
width = 61
height = 36
[[openings]]
name = "window"
kind = "window"
surface = "left wall"
from_front = [70, 170]
up = [95, 205]
[[keep_clear]]
name = "ceiling lamp"
kind = "lamp"
from_front = [100, 120]
from_left = [130, 150]
up = [225, 240]
[method]
order = 2
""".lstrip(),
)


@lru_cache(maxsize=8)
def traced(text: str) -> Results:
    return trace_scene(parse_scene(text, Path()))


def number_of(results: Results, way: str, loudspeaker: str = "left", listener: str = "ear") -> int:
    """Rank of the arrival that came a way."""
    (found,) = (
        a.number
        for a in results.responses.arrivals
        if (a.loudspeaker, a.listener, a.via) == (loudspeaker, listener, way)
    )
    return found
