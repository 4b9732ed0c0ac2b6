"""A little room to move things in, quick to trace: two monitors on a desk, a panel, a screen, told partly in words."""

from __future__ import annotations

from pathlib import Path

ROOM = """\
# A little room, made up for tests.
title = "Little room"   # its name
units = "m"

[room]
box = { width = 3.0, depth = 4.0, height = 2.5 }
materials = { walls = "plasterboard on studs", floor = "carpet on felt" }

[listener]
ear = { from_front = 1.6, from_left = 1.5, up = 1.2 }   # measured twice

[method]
order = 1
waves_to_hz = 0

[models.small]
kind = "two-way"
width = 0.18
height = 0.29
depth = 0.23
crossovers_hz = [2200]

[[loudspeakers]]
name = "left"
model = "small"
acoustic_axis = { from_front = 0.62, from_left = "95 cm", up = 1.02 }   # to the tweeter
standing = "desk"
stands_on = "desk"
pad = "6 cm"
strap = "yes"

[[loudspeakers]]
name = "right"
model = "small"
acoustic_axis = { from_front = 0.62, from_left = 2.05, up = 1.02 }
standing = "desk"
stands_on = "desk"
pad = 0.06
strap = "yes"

[[furniture]]
kind = "desk"   # oak
name = "desk"
from_front = [0.45, 1.20]
from_left = [0.70, 2.30]
top = 0.74

[[furniture]]
kind = "screen"
name = "screen"
at = { from_front = 0.75, from_left = 1.5, up = 0.86 }
width = 0.5
height = 0.3

[[panels]]
name = "side"
surface = "left wall"
from_front = [0.7, 1.3]
up = [0.6, 1.8]
material = "100 mm wool"
"""


def room_file(folder: Path, text: str = ROOM) -> Path:
    """Write the room to a folder."""
    path = folder / "scene.toml"
    path.write_bytes(text.encode())
    return path
