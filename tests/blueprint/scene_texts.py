"""Small scene texts that the tests of this folder vary."""

from __future__ import annotations

TEN_LINES = """[room]
box = { width = 3.4, depth = 4.2, height = 2.4 }
[listener]
ear = { from_front = 1.6, from_left = 1.7, up = 1.2 }
[[loudspeakers]]
name = "left"
acoustic_axis = { from_front = 0.42, from_left = 1.08, up = 1.22 }
[[loudspeakers]]
name = "right"
acoustic_axis = { from_front = 0.42, from_left = 2.32, up = 1.22 }
"""
"""The shortest useful scene; the last lines belong to the second loudspeaker."""

DESK = """
[[furniture]]
kind = "desk"
from_front = [0.55, 1.30]
from_left = [0.9, 2.5]
top = 0.74
"""
BOX_LINE = "box = { width = 3.4, depth = 4.2, height = 2.4 }\n"
LISTENER_LINES = "[listener]\near = { from_front = 1.6, from_left = 1.7, up = 1.2 }\n"


def changed(old: str, new: str, text: str = TEN_LINES) -> str:
    """Return the text with one place changed; fail when that place is not there."""
    assert old in text
    return text.replace(old, new, 1)


def with_mesh(name: str, *, frame: str = 'frame = { unit = "m" }', tape: bool = True) -> str:
    """Return the scene with a mesh instead of the box."""
    lines = [f'mesh = "{name}"', frame, 'tape = [{ along = "depth", distance = 4.2 }]' if tape else ""]
    return changed(BOX_LINE, "\n".join(line for line in lines if line) + "\n")
