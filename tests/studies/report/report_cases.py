"""Rooms for the tests of reports and models: lopsided, so that a swap of left and right cannot hide."""

from __future__ import annotations

import functools
from dataclasses import replace
from pathlib import Path

import numpy as np

from sim.blueprint.reader import parse_scene
from sim.pipeline import trace_scene
from sim.responses.measure import measure_of
from sim.responses.plan import Decay, Plan, PlannedPanel
from sim.responses.records import Results

RUDE_TITLE = 'Den <script>alert("x")</script> & </title> "co"'
RUDE_NAME = "left <b>&'"

DEN = """
title = 'TITLE'
units = "m"
notes = ["Demo data: invented."]
[room]
box = { width = 3.40, depth = 4.20, height = 2.40 }
[listener]
ear = { from_front = 1.60, from_left = 1.50, up = 1.20 }
second_seat = { name = "guest", ear = { from_front = 3.10, from_left = 2.60, up = 1.05 } }
[[loudspeakers]]
name = "LEFT"
acoustic_axis = { from_front = 0.42, from_left = 0.88, up = 1.22 }
[[loudspeakers]]
name = "right"
model = "point"
acoustic_axis = { from_front = 0.42, from_left = 2.12, up = 1.30 }
[[furniture]]
kind = "desk"
from_front = [0.55, 1.30]
from_left = [0.70, 2.30]
top = 0.74
[[furniture]]
kind = "cupboard"
name = "tall cupboard"
from_front = [3.70, 4.10]
from_left = [0.10, 0.60]
up = [0.0, 2.0]
[[openings]]
name = "window"
kind = "window"
surface = "left wall"
from_front = [0.70, 1.70]
up = [0.95, 2.05]
PANELS
[method]
order = 2
grid = 0.10
"""
PANELS = """
[[panels]]
name = "right panel"
surface = "right wall"
from_front = [0.70, 1.30]
up = [0.61, 1.81]
material = "100 mm wool"
note = "screws"
[[panels]]
name = "left panel"
surface = "left wall"
from_front = [0.70, 1.30]
up = [0.61, 1.81]
material = "100 mm wool"
gap = 0.05
movable = true
held_by = "stand"
"""


@functools.cache
def den(*, panels: bool = False, title: str = "Den with a window", name: str = "left") -> Results:
    text = DEN.replace("TITLE", title).replace('"LEFT"', f'"""{name}"""').replace("PANELS", PANELS if panels else "")
    return trace_scene(parse_scene(text, Path("den")))


@functools.cache
def plan() -> Plan:
    """A plan with invented worth: reports are tested, not numbers."""
    before, working = den(), den(panels=True)
    panels = working.scene.blueprint.panels
    planned = (
        PlannedPanel(panels[0], "framed 100", 1, 4.2, ("right at 4.9 ms: -7 to -18 dB",), 500.0),
        PlannedPanel(panels[1], "framed 100", 1, 4.2, ("left at 5.0 ms: -7 to -17 dB",), float("nan")),
    )
    measures = (measure_of(before), measure_of(working))
    hertz = np.array([250.0, 500.0, 1000.0])
    decay = Decay(hertz, np.array([0.5, 0.4, 0.4]), np.array([0.4, 0.3, 0.3]), 0.25, ("The 1 kHz octave is short.",))
    return Plan(
        before,
        working,
        replace(before),
        planned,
        measures,
        decay,
        "No panel can cure the desk top (-4 dB at 0.9 ms).",
        (),
        ("right via the right wall",),
        ("desk top: panels cannot stand there",),
        ("A porous panel works here.",),
        "A further panel takes off 0.3 dB.",
        ("Ask before drilling.",),
    )
