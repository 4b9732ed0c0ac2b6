"""A first scene of a room told by tape: commented, complete, and ready to be corrected with a tape."""

from __future__ import annotations

from sim.blueprint.error_messages import shown
from sim.blueprint.first_room import (
    DESK_TOP_M,
    EAR_UP_M,
    MONITORS,
    SEAT_FRACTION,
    FirstLayout,
    FirstRoom,
    FirstSlope,
    laid_out,
    slope_angle_deg,
)
from sim.blueprint.texts import LONGEST_NAME
from sim.blueprint.units import UNIT_M
from sim.errors import SceneError, one_line

_DECIMALS = {"m": 3, "cm": 1, "mm": 0, "in": 2, "ft": 3}


def new_scene(width_m: float, depth_m: float, height_m: float, *, title: str, units: str = "m") -> str:
    """Return the text of a scene of a box with desk, two loudspeakers on stands and a seat, as `first_scene` does."""
    return first_scene(FirstRoom(width_m, depth_m, height_m), title=title, units=units)


class Lengths:
    """How lengths are written in the unit of the file; metres keep two decimals at least.

    Attributes
    ----------
    units
        m, cm, mm, in or ft.
    """

    def __init__(self, units: str) -> None:
        self.units = units

    def __call__(self, metres: float) -> str:
        """One length without its unit."""
        text = f"{metres / UNIT_M[self.units]:.{_DECIMALS[self.units]}f}"
        return text[:-1] if self.units == "m" and text.endswith("0") else text

    def span(self, low: float, high: float) -> str:
        """From-to, as a list of two."""
        return f"[{self(low)}, {self(high)}]"

    def point(self, from_front: float, from_left: float, up: float | None) -> str:
        """A point by its distances from front wall, left wall and floor; without the last where it is None."""
        plan = f"from_front = {self(from_front)}, from_left = {self(from_left)}"
        return f"{{ {plan} }}" if up is None else f"{{ {plan}, up = {self(up)} }}"


def first_scene(
    room: FirstRoom, *, title: str, units: str = "m", layout: FirstLayout | None = None, things: str | None = None
) -> str:
    """Return the text of a scene with desk, two loudspeakers and a seat in a room, lengths in the given unit.

    The two loudspeakers and the ear form an equilateral triangle as far as the room allows.  Optional sections
    stand behind "#" and work when it is taken away.  Whoever knows better gives the `layout`, and the text of
    furniture and openings in place of those that stand behind "#".

    Raises
    ------
    SceneError
        If the room is too small for them or too large to be true, or the unit is unknown.
    """
    if units not in UNIT_M:
        raise SceneError("units", f"it is {shown(units)}", f"choose one of {', '.join(UNIT_M)}")
    layout = layout or laid_out(room)
    length = Lengths(units)
    span, point = length.span, length.point
    depth_m, height_m = room.depth_m, room.height_m
    middle, ear, (far_edge, near_edge), desk_half = layout.middle, layout.ear, layout.desk, layout.desk_half
    things = _openings(room, length) if things is None else things
    seat = room.second_seat or (min(ear + 0.5, depth_m - 0.3), middle, EAR_UP_M)
    return f"""# A scene for bounceplan. Correct every number with a tape, then run: bounceplan check
# Distances are from the front wall (the one you face), from the left wall (as seen from the seat), and up from
# the floor. A plain number is in the unit below; a text carries its own: "600 mm", "24 in", "7 ft 10 1/2 in".
# Lines behind "#" without a blank are optional: take the "#" away to use them.

title = {_quoted(one_line(title)[:LONGEST_NAME])}
units = "{units}"                      # m, cm, mm, in or ft

[room]
{_shape(room, length)}
materials = {{ walls = "plasterboard on studs", ceiling = "plasterboard on studs", floor = "wood floor" }}
#reverberation_time_s = 0.4      # if measured
{_slopes(room, length)}
# The ear point: middle of the head at ear height. {SEAT_FRACTION:.0%} of the depth is a start, not an answer.
[listener]
ear = {point(ear, middle, EAR_UP_M)}
#head_box = {{ depth = {length(0.30)}, across = {length(0.30)}, up = {length(0.10)} }}   # how far the head moves
{"#" * (room.second_seat is None)}second_seat = {{ name = "client", ear = {point(*seat)} }}

# The acoustic axis point is usually the tweeter; the manual of the loudspeaker tells.
{_loudspeakers(room, layout, length)}
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
top = {length(DESK_TOP_M)}
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

{things}# Places that panels must not take: lamp, heater, exit, alarm, sprinkler, vent, cable, other.
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


def _shape(room: FirstRoom, length: Lengths) -> str:
    if room.corner is None and not room.walls:
        width, depth, height = length(room.width_m), length(room.depth_m), length(room.height_m)
        return f"""box = {{ width = {width}, depth = {depth}, height = {height} }}
# Surfaces: "front wall", "rear wall", "left wall", "right wall", "floor", "ceiling"; or "walls", or "all"."""
    walls = room.outline()
    corners = ",\n".join(
        f"    {{ from_front = {length(ahead)}, from_left = {length(across)} }}" for _, ahead, across in walls
    )
    names = ", ".join(_quoted(name) for name, _, _ in walls)
    return f"""# Once round the floor; each wall runs from its corner to the next.
outline = [
{corners},
]
height = {length(room.height_m)}
wall_names = [{names}]
# Surfaces: these walls, "floor", "ceiling"; or "walls", or "all"."""


def _slopes(room: FirstRoom, length: Lengths) -> str:
    return "".join(
        f"""
{_over(slope, length)}
[[room.slopes]]
name = {_quoted((slope.wall or slope.side).replace(" wall", "") + " slope")}
wall = {_quoted(slope.wall or f"{slope.side} wall")}
starts_at_height = {length(slope.knee_m)}
angle_deg = {slope_angle_deg(room, slope):.2f}
"""
        for slope in room.slopes
    )


def _over(slope: FirstSlope, length: Lengths) -> str:
    if slope.wall:
        return f"# Over the {slope.wall}."
    return f"# Over the {slope.side} wall, level again {length(slope.run_m)} {length.units} from it."


def _loudspeakers(room: FirstRoom, layout: FirstLayout, length: Lengths) -> str:
    monitor = MONITORS[room.monitor]
    left = round(layout.middle - layout.half_base, 3)  # rounded here, so that right is its mirror image to the digit
    right = 2.0 * layout.middle - left
    on_desk = room.monitors_on == "desk"
    up = None if on_desk else EAR_UP_M
    stand = f"#stand_height = {length(0.95)}" if on_desk else f"stand_height = {length(EAR_UP_M - monitor.axis_up_m)}"
    text = "\n".join(
        f"""[[loudspeakers]]
name = "{name}"
model = "{monitor.model}"                # "two-way", "three-way", "coaxial", "point", or a name from [models]
acoustic_axis = {length.point(layout.front, across, up)}
toe_in_deg = "ear"               # or degrees; positive turns toward the centre line
tilt_deg = 0                     # or "ear"; positive is down
standing = "{"desk" if on_desk else "stand"}"               # "stand", "desk", "position" or "built in"
{stand}
#roll = "upright"                # or "inverted", "on its right side", "on its left side"
"""
        for name, across in (("left", left), ("right", right))
    )
    if monitor.own is not None:
        width_m, mass_kg, crossover_hz = monitor.own
        text += f"""
[models."{monitor.model}"]
kind = "two-way"
width = {length(width_m)}
height = {length(monitor.height_m)}
depth = {length(monitor.depth_m)}
mass_kg = {mass_kg:g}
crossovers_hz = [{crossover_hz}]
"""
    return text


def _openings(room: FirstRoom, length: Lengths) -> str:
    text, taken = "", dict.fromkeys(("window", "door"), 0)
    for opening in room.openings:
        taken[opening.kind] += 1
        name = opening.kind if taken[opening.kind] == 1 else f"{opening.kind} {taken[opening.kind]}"
        along = "from_front" if opening.side in ("left", "right") else "from_left"
        more = f"swing = {length(opening.along_m[1] - opening.along_m[0])}\nescape = true\n" * (opening.kind == "door")
        text += f"""[[openings]]
name = "{name}"
kind = "{opening.kind}"
surface = "{opening.side} wall"
{along} = {length.span(*opening.along_m)}
up = {length.span(*opening.up_m)}
{more}
"""
    text += "" if taken["window"] else _a_window(length)
    return text + ("" if taken["door"] else _a_door(room, length))


def _a_window(length: Lengths) -> str:
    return f"""#[[openings]]
#name = "window"
#kind = "window"
#surface = "left wall"
#from_front = {length.span(0.60, 1.50)}
#up = {length.span(0.90, 1.70)}

"""


def _a_door(room: FirstRoom, length: Lengths) -> str:
    width_m, height_m = room.width_m, room.height_m
    return f"""#[[openings]]
#name = "door"
#kind = "door"
#surface = "rear wall"
#from_left = {length.span(width_m - 0.95, width_m - 0.15)}
#up = {length.span(0.0, min(2.0, height_m))}
#swing = {length(0.80)}
#escape = true

"""


def _quoted(text: str) -> str:
    """Write a text as a TOML string."""
    escaped = text.replace("\\", "\\\\").replace('"', '\\"')
    return '"' + "".join(c if c.isprintable() else f"\\u{ord(c):04X}" for c in escaped) + '"'
