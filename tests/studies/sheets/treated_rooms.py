"""Rooms with panels for tests of drawings, tables and files: nothing in them is symmetric, so a swap shows."""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path

from sim.blueprint.reader import parse_scene
from sim.pipeline import trace_scene
from sim.responses.records import Results

LOPSIDED = """
title = "Lopsided demo room, 10 $ a day"
units = "m"
notes = ["Demo data: invented."]

[room]
box = { width = 4.00, depth = 5.20, height = 2.50 }

[listener]
ear = { from_front = 2.10, from_left = 1.70, up = 1.20 }

[models.two]
kind = "two-way"
width = 0.20
height = 0.32
depth = 0.26
crossovers_hz = [2200]
axis = "tweeter"

[[loudspeakers]]
name = "left"
model = "two"
acoustic_axis = { from_front = 0.60, from_left = 1.00, up = 1.25 }
standing = "stand"
stand_height = 1.0

[[loudspeakers]]
name = "right"
model = "two"
acoustic_axis = { from_front = 0.70, from_left = 2.50, up = 1.25 }
standing = "stand"
stand_height = 1.0

[[furniture]]
kind = "desk"
name = "desk"
from_front = [0.90, 1.60]
from_left = [0.80, 2.60]
top = 0.74

[[furniture]]
kind = "cupboard"
name = "cupboard"
from_front = [4.20, 4.80]
from_left = [0.00, 0.40]
up = [0.00, 2.00]

[[openings]]
name = "window"
kind = "window"
surface = "left wall"
from_front = [3.00, 3.90]
up = [0.90, 2.10]

[[openings]]
name = "door"
kind = "door"
surface = "rear wall"
from_left = [2.80, 3.60]
up = [0.00, 2.00]
swing = 0.80
escape = true

[[keep_clear]]
name = "lamp"
kind = "lamp"
from_front = [2.60, 2.80]
from_left = [1.60, 1.80]
up = [2.30, 2.50]
clearance = 0.10

[[panels]]
name = "left panel"
surface = "left wall"
from_front = [0.70, 1.30]
up = [0.61, 1.81]
material = "100 mm wool"
gap = 0.05
fixings = "two screws into studs"

[[panels]]
name = "right panel"
surface = "right wall"
from_front = [1.00, 2.20]
up = [0.80, 1.40]
material = "100 mm wool"
held_by = "stand"
movable = true
price = 85.5
note = "Roll it away."

[[panels]]
name = "cloud"
surface = "ceiling"
from_front = [0.90, 2.10]
from_left = [0.50, 1.10]
material = "100 mm wool"
gap = 0.10
fixings = "four eye bolts into joists, tethers"
mass_kg = 12.5

[[panels]]
name = "front panel"
surface = "front wall"
from_left = [0.30, 0.90]
up = [0.40, 1.00]
material = "50 mm wool"
held_by = "stand"

[method]
order = 1
grid = 0.2
"""

SLOPING = """
title = "Sloping demo room"
units = "ft"

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

[listener]
ear = { from_front = "2.05 m", from_left = "2.30 m", up = "1.22 m" }

[[loudspeakers]]
name = "left"
model = "point"
acoustic_axis = { from_front = "0.70 m", from_left = "1.50 m", up = "1.22 m" }

[[loudspeakers]]
name = "right"
model = "point"
acoustic_axis = { from_front = "0.70 m", from_left = "3.10 m", up = "1.22 m" }

[[panels]]
name = "slope panel"
surface = "left slope"
from_front = ["0.92 m", "1.52 m"]
from_left = ["0.60 m", "1.40 m"]
material = "100 mm wool"
gap = "0.10 m"
fixings = "screws into rafters, tether"

[method]
order = 1
grid = "0.2 m"
"""


@lru_cache(maxsize=1)
def lopsided() -> Results:
    """A box room, traced with one mirror: panels on three walls and the ceiling."""
    return trace_scene(parse_scene(LOPSIDED, Path("no-folder")))


@lru_cache(maxsize=1)
def sloping() -> Results:
    """A room under one slope, told in feet, with a panel on the slope."""
    return trace_scene(parse_scene(SLOPING, Path("no-folder")))
