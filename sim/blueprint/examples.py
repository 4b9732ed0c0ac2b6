"""What to add when something is missing: sections and keys with values that would work."""

from __future__ import annotations

SECTIONS: dict[str, tuple[str, str]] = {
    "room": ("[room]", "[room] with the line box = { width = 3.40, depth = 4.20, height = 2.40 }"),
    "listener": (
        "[listener]",
        "[listener] with the line ear = { from_front = 1.60, from_left = 1.70, up = 1.20 }",
    ),
    "loudspeakers": (
        "[[loudspeakers]]",
        '[[loudspeakers]] with the lines name = "left" and'
        " acoustic_axis = { from_front = 0.42, from_left = 1.08, up = 1.22 }",
    ),
}
"""Section as it is written, and the lines that would make it whole."""

LISTS: dict[str, str] = {
    "absorption": "[0.10, 0.10, 0.10, 0.10, 0.10, 0.10, 0.10, 0.10]",
    "band_hz": "[1000, 8000]",
    "between": '["floor", "ceiling"]',
    "crossovers_hz": "[2200]",
    "from_front": "[0.55, 1.30]",
    "from_left": "[0.90, 2.50]",
    "up": "[0.95, 2.05]",
    "window_ms": "[0, 20]",
}
"""Keys that hold a list."""

EXAMPLES: dict[str, str] = {
    "absorption": "absorption = [0.10, 0.10, 0.10, 0.10, 0.10, 0.10, 0.10, 0.10], octaves 63 Hz to 8 kHz",
    "acoustic_axis": "acoustic_axis = { from_front = 0.42, from_left = 1.08, up = 1.22 }",
    "angle_deg": "angle_deg = 45",
    "at": "at = { from_front = 0.75, from_left = 1.70, up = 0.86 }",
    "depth": "depth = 4.20",
    "distance": "distance = 5.40",
    "ear": "ear = { from_front = 1.60, from_left = 1.70, up = 1.20 }",
    "file": 'file = "chair.obj"',
    "frame": 'frame = { unit = "m" }',
    "from_front": "from_front, the distance from the front wall",
    "from_left": "from_left, the distance from the left wall",
    "height": "height = 2.40",
    "kind": 'kind, for example kind = "two-way" or kind = "window"',
    "name": 'name = "left"',
    "side": 'side = "left"',
    "source": 'source = "where the numbers come from"',
    "starts_at_height": "starts_at_height = 1.05",
    "surface": 'surface = "left wall"',
    "top": "top = 0.74, the height of its top",
    "unit": 'unit = "m" (or cm, mm, in, ft)',
    "up": "up, the height above the floor",
    "wall": 'wall = "left wall"',
    "width": "width = 3.40",
}
