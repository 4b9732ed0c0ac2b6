"""Forms and files to sketch from: a blank box, and a commented file with everything in it that the form knows."""

from __future__ import annotations

from pathlib import Path

from sim.studies.view.sketch.draft import Base, Draft, Made, base_of, made
from sim.studies.view.sketch.form import Form, blank_form

FILE = """\
# A den, made up for tests.
title = "Den"      # its name
units = "m"

[room]
# measured twice
outline = [
  { from_front = 0, from_left = 0 },
  { from_front = 4.0, from_left = 0 },      # behind the door
  { from_front = 4.0, from_left = "3.2 m" },
  { from_front = 0, from_left = 3.2 },
]
height = 2.5
wall_names = ["left wall", "rear wall", "right wall", "front wall"]
materials = { walls = "plasterboard on studs", floor = "carpet on felt" }

[[room.slopes]]
name = "eaves"            # the roof comes down here
wall = "rear wall"
starts_at_height = 1.6
angle_deg = 45.0

[listener]
ear = { from_front = 1.6, from_left = 1.6, up = 1.2 }

[[loudspeakers]]
name = "left"
model = "two-way"
acoustic_axis = { from_front = 0.62, from_left = 1.05 }   # its height follows from the desk
standing = "desk"

[[loudspeakers]]
name = "right"
model = "two-way"
acoustic_axis = { from_front = 0.62, from_left = 2.15 }
standing = "desk"

[[furniture]]
kind = "desk"             # oak
name = "desk"
from_front = [0.40, 1.20]
from_left = [0.8, "240 cm"]
top = 0.74

[[furniture]]
kind = "screen"           # borrowed
name = "screen"
at = { from_front = 0.75, from_left = 1.6, up = 0.86 }
width = 0.5
height = 0.3

# --- what must stay usable ---
[[openings]]
name = "window"           # north
kind = "window"
surface = "left wall"
from_front = [0.6, 1.5]
up = [0.9, 1.7]

# The hatch is no part of the form.
[[openings]]
name = "hatch"
kind = "hatch"
surface = "floor"
from_front = [2.0, 2.6]
from_left = [0.3, 0.9]

[method]
order = 2                 # quick
"""


def box(units: str = "m", sizes: tuple[str, str, str] = ("3.4", "4.2", "2.4")) -> Form:
    """A blank box."""
    return blank_form(units, sizes, "Den")


def file_in(folder: Path, text: str = FILE) -> Path:
    """The file in a folder."""
    path = folder / "scene.toml"
    path.write_bytes(text.encode())
    return path


def base_in(folder: Path, text: str = FILE) -> Base:
    """The file in a folder, read."""
    return base_of(file_in(folder, text))


def make(form: Form, folder: Path, base: Base | None = None) -> Made:
    """What a form makes."""
    return made(Draft(form, base), folder / "scene.toml", {})
