from __future__ import annotations

from pathlib import Path

import pytest

from sim.blueprint.reader import parse_scene
from sim.pipeline import trace_scene
from sim.responses.records import Results

ATTIC = """
title = "demo attic"
units = "in"
notes = ["The hatch is closed."]

[room]
height = "2.60 m"
outline = [
  { from_front = "0 m", from_left = "0 m" }, { from_front = "5.40 m", from_left = "0 m" },
  { from_front = "5.40 m", from_left = "4.60 m" }, { from_front = "0 m", from_left = "4.60 m" },
]
wall_names = ["left knee wall", "rear gable", "right knee wall", "front gable"]
[[room.slopes]]
name = "left slope"
wall = "left knee wall"
starts_at_height = "1.05 m"
angle_deg = 45
[[room.slopes]]
name = "right slope"
wall = "right knee wall"
starts_at_height = "1.05 m"
angle_deg = 45

[listener]
ear = { from_front = "2.05 m", from_left = "2.30 m", up = "1.22 m" }
second_seat = { name = "client", ear = { from_front = "3.60 m", from_left = "2.00 m", up = "1.10 m" } }

[[loudspeakers]]
name = "left"
acoustic_axis = { from_front = "0.70 m", from_left = "1.50 m", up = "1.22 m" }
[[loudspeakers]]
name = "right"
model = "point"
acoustic_axis = { from_front = "0.70 m", from_left = "3.10 m", up = "1.22 m" }

[[furniture]]
kind = "desk"
from_front = ["0.95 m", "1.75 m"]
from_left = ["1.40 m", "3.20 m"]
top = "0.72 m"

[[openings]]
name = "gable window"
kind = "window"
surface = "rear gable"
from_left = ["2.0 m", "2.6 m"]
up = ["1.0 m", "1.8 m"]

[method]
order = 2
grid = "0.15 m"
"""
"""Left and right differ on purpose: two drivers against one, so that a swap cannot hide."""


@pytest.fixture(scope="session")
def traced_attic() -> Results:
    return trace_scene(parse_scene(ATTIC, Path("demo")))
