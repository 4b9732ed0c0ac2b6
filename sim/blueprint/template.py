"""A first scene from the inside sizes of a box room: commented, complete, and ready to be corrected with a tape."""

from __future__ import annotations

from sim.blueprint.error_messages import shown
from sim.blueprint.room import LARGEST_ROOM_M
from sim.blueprint.texts import LONGEST_NAME
from sim.blueprint.units import UNIT_M
from sim.errors import SceneError, one_line

SEAT_FRACTION = 0.38
"""Ear at this share of the depth: a start only (common practice, no source)."""
SMALLEST_M = {"width": 1.6, "depth": 2.0, "height": 1.8}
"""Below this, desk, loudspeakers and seat do not fit."""

_EAR_UP_M = 1.20
_AXIS_ABOVE_STAND_M = 0.22
_DECIMALS = {"m": 3, "cm": 1, "mm": 0, "in": 2, "ft": 3}


def new_scene(width_m: float, depth_m: float, height_m: float, *, title: str, units: str = "m") -> str:
    """Return the text of a scene with desk, two loudspeakers on stands and a seat, in the given unit.

    The two loudspeakers and the ear form an equilateral triangle as far as the room allows.  Optional sections
    stand behind "#" and work when it is taken away.

    Raises
    ------
    SceneError
        If the room is too small for them or too large to be true, or the unit is unknown.
    """
    if units not in UNIT_M:
        raise SceneError("units", f"it is {shown(units)}", f"choose one of {', '.join(UNIT_M)}")
    for key, size in (("width", width_m), ("depth", depth_m), ("height", height_m)):
        if not SMALLEST_M[key] <= size <= LARGEST_ROOM_M:
            raise SceneError(
                f"--box, {key}",
                f"it is {size:g} m",
                f"give between {SMALLEST_M[key]:g} m and {LARGEST_ROOM_M:g} m, and check the unit",
            )

    def length(metres: float) -> str:
        """Write a length in the unit of the file; metres keep two decimals at least."""
        text = f"{metres / UNIT_M[units]:.{_DECIMALS[units]}f}"
        return text[:-1] if units == "m" and text.endswith("0") else text

    def span(low: float, high: float) -> str:
        return f"[{length(low)}, {length(high)}]"

    def point(from_front: float, from_left: float, up: float) -> str:
        return f"{{ from_front = {length(from_front)}, from_left = {length(from_left)}, up = {length(up)} }}"

    middle = 0.5 * width_m
    ear = min(max(SEAT_FRACTION * depth_m, 1.10), depth_m - 0.5)
    half_base = 0.5 * min(1.5, 0.45 * width_m, (ear - 0.35) / 0.866)
    front = ear - 2.0 * half_base * 0.866
    left = round(middle - half_base, 3)  # rounded here, so that right is its mirror image to the last digit
    desk_half = min(0.8, middle - 0.1)
    near_edge = ear - 0.30
    far_edge = max(front + 0.10, near_edge - 0.70)
    loudspeakers = "\n".join(
        f"""[[loudspeakers]]
name = "{name}"
model = "two-way"                # or "three-way", "coaxial", "point", or a name from [models]
acoustic_axis = {point(front, across, _EAR_UP_M)}
toe_in_deg = "ear"               # or degrees; positive turns toward the centre line
tilt_deg = 0                     # or "ear"; positive is down
standing = "stand"               # or "desk", "position", "built in"
stand_height = {length(_EAR_UP_M - _AXIS_ABOVE_STAND_M)}
#roll = "upright"                # or "inverted", "on its right side", "on its left side"
"""
        for name, across in (("left", left), ("right", width_m - left))
    )
    return f"""# A scene for bounceplan. Correct every number with a tape, then run: bounceplan check
# Distances are from the front wall (the one you face), from the left wall (as seen from the seat), and up from
# the floor. A plain number is in the unit below; a text carries its own: "600 mm", "24 in", "7 ft 10 1/2 in".
# Lines behind "#" without a blank are optional: take the "#" away to use them.

title = {_quoted(one_line(title)[:LONGEST_NAME])}
units = "{units}"                      # m, cm, mm, in or ft

[room]
box = {{ width = {length(width_m)}, depth = {length(depth_m)}, height = {length(height_m)} }}
# Surfaces: "front wall", "rear wall", "left wall", "right wall", "floor", "ceiling"; or "walls", or "all".
materials = {{ walls = "plasterboard on studs", ceiling = "plasterboard on studs", floor = "wood floor" }}
#reverberation_time_s = 0.4      # if measured

# The ear point: middle of the head at ear height. {SEAT_FRACTION:.0%} of the depth is a start, not an answer.
[listener]
ear = {point(ear, middle, _EAR_UP_M)}
#head_box = {{ depth = {length(0.30)}, across = {length(0.30)}, up = {length(0.10)} }}   # how far the head moves
#second_seat = {{ name = "client", ear = {point(min(ear + 0.5, depth_m - 0.3), middle, _EAR_UP_M)} }}

# The acoustic axis point is usually the tweeter; the manual of the loudspeaker tells.
{loudspeakers}
# A loudspeaker of your own; write model = "my loudspeaker" above. What is left out takes the usual size.
#[models."my loudspeaker"]
#kind = "two-way"
#width = {length(0.18)}
#height = {length(0.29)}
#depth = {length(0.23)}
#mass_kg = 5.5
#crossovers_hz = [2200]

[[furniture]]
kind = "desk"
name = "desk"
from_front = {span(far_edge, near_edge)}
from_left = {span(middle - desk_half, middle + desk_half)}
top = {length(0.74)}
#tilt_deg = 0                    # about the listener-side edge, which stays; positive: the far edge rises
#front = "open"                  # or "closed" by a panel, or "solid" to the floor

# The middle of the lower edge of the screen's face.
#[[furniture]]
#kind = "screen"
#name = "screen"
#at = {point(far_edge + 0.05, middle, 0.86)}
#width = {length(0.61)}
#height = {length(0.36)}

# Boxes: shelf, bridge, rack, cupboard, beam, block. There is also kind = "sofa".
#[[furniture]]
#kind = "cupboard"
#name = "cupboard"
#from_front = {span(depth_m - 0.40, depth_m)}
#from_left = {span(0.0, 0.80)}
#up = {span(0.0, 1.60)}

#[[openings]]
#name = "window"
#kind = "window"
#surface = "left wall"
#from_front = {span(0.60, 1.50)}
#up = {span(0.90, 1.70)}

#[[openings]]
#name = "door"
#kind = "door"
#surface = "rear wall"
#from_left = {span(width_m - 0.95, width_m - 0.15)}
#up = {span(0.0, min(2.0, height_m))}
#swing = {length(0.80)}
#escape = true

# Places that panels must not take: lamp, heater, exit, alarm, sprinkler, vent, cable, other.
#[[keep_clear]]
#name = "ceiling lamp"
#kind = "lamp"
#from_front = {span(0.5 * depth_m - 0.1, 0.5 * depth_m + 0.1)}
#from_left = {span(middle - 0.1, middle + 0.1)}
#up = {span(height_m - 0.15, height_m)}
#clearance = {length(0.10)}

# A material of your own, octaves 63 Hz to 8 kHz; use its name under [room] or with furniture.
#[materials."my curtain"]
#absorption = [0.05, 0.07, 0.31, 0.49, 0.75, 0.70, 0.60, 0.60]
#scattering = 0.2                 # share of what it returns that is no mirror image; for decay and bounces
#source = "guess, to be replaced"

# Or an absorber from the room to the wall, which knows the angle of sound; also for panels.
#[materials."my absorber"]
#build_up = "100 mm wool, 50 mm gap"

# A panel on a wall or the ceiling, placed like an opening.
#[[panels]]
#name = "side panel"
#surface = "right wall"
#from_front = {span(0.5 * ear, 0.5 * ear + 0.6)}
#up = {span(0.60, 1.70)}
#material = "my absorber"         # or a build-up of the library, such as "100 mm wool"
#gap = {length(0.05)}                      # air behind it; how far a cloud hangs below the ceiling
#fixings = "rail and screws"      # has to be given when any of it is above heads

# What a treatment plan may use.
#[treatment]
#panels = 4                       # most panels in all; or budget = 400, with a price for every panel in stock
#symmetric = true
#no_drilling = ["ceiling"]        # panels there stand on posts
#stock = [{{ name = "panel 600 x 1200 x 100", size = [{length(0.60)}, {length(1.20)}], material = "100 mm wool" }}]

#[air]
#temperature_c = 20
#relative_humidity_percent = 50

# What early reflections should stay below, re direct sound in the same band.
#[target]
#preset = "-15 dB to 20 ms"      # or give level, window and band:
#level_db = -15
#window_ms = [0, 20]
#band_hz = [1000, 8000]

#[method]
#order = 3                       # most surfaces one path may touch
#grid = {length(0.05)}
#placement_error = {length(0.03)}
"""


def _quoted(text: str) -> str:
    """Write a text as a TOML string."""
    escaped = text.replace("\\", "\\\\").replace('"', '\\"')
    return '"' + "".join(c if c.isprintable() else f"\\u{ord(c):04X}" for c in escaped) + '"'
