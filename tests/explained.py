"""Small traced scenes for tests of explanations: one with a point and hard surfaces, one with two-ways and panels."""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path

from sim.blueprint.reader import parse_scene
from sim.pipeline import trace_scene
from sim.responses.records import Results

POINT = """
title = "one point"
units = "m"
[room]
box = { width = 3.4, depth = 4.2, height = 2.4 }
materials = { all = "half", floor = "hard" }
[materials.half]
absorption = [0.5, 0.5, 0.5, 0.5, 0.5, 0.5, 0.5, 0.5]
source = "made up for a test"
[materials.hard]
absorption = [0, 0, 0, 0, 0, 0, 0, 0]
source = "made up for a test"
[listener]
ear = { from_front = 1.9, from_left = 1.6, up = 1.2 }
head_box = { depth = 0.2, across = 0.2, up = 0.1 }
[[loudspeakers]]
name = "left"
model = "point"
acoustic_axis = { from_front = 0.5, from_left = 1.0, up = 1.1 }
[[furniture]]
kind = "desk"
name = "desk"
from_front = [0.8, 1.4]
from_left = [0.5, 2.5]
top = 0.7
material = "hard"
[method]
order = 2
"""
PANEL = """
[[panels]]
name = "side panel"
surface = "left wall"
from_front = [0.6, 1.6]
up = [0.6, 1.8]
material = "100 mm wool"
"""
TWO_WAY = """
title = "a pair"
units = "cm"
[room]
box = { width = 340, depth = 420, height = 240 }
[listener]
ear = { from_front = 160, from_left = 170, up = 120 }
second_seat = { name = "sofa", ear = { from_front = 330, from_left = 150, up = 100 } }
[[loudspeakers]]
name = "left"
acoustic_axis = { from_front = 62, from_left = 112, up = 122 }
[[loudspeakers]]
name = "right"
acoustic_axis = { from_front = 62, from_left = 228, up = 122 }
[[furniture]]
kind = "desk"
from_front = [55, 130]
from_left = [90, 250]
top = 74
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
"""


@lru_cache(maxsize=8)
def traced(text: str) -> Results:
    return trace_scene(parse_scene(text, Path()))


def number_of(results: Results, way: str, loudspeaker: str = "left", listener: str = "ear") -> int:
    """Rank of the arrival that came a way."""
    (found,) = (
        a.number
        for a in results.responses.arrivals
        if (a.loudspeaker, a.listener, a.way) == (loudspeaker, listener, way)
    )
    return found
