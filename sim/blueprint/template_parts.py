"""Parts of a first scene as text: shape, loudspeakers, furniture and openings, measured or where they fit."""

from __future__ import annotations

from sim.blueprint.first_layout import BUILT_IN_M, FirstLayout
from sim.blueprint.first_places import along_wall, beam_block, radiator_block
from sim.blueprint.first_room import (
    DESK_TOP_M,
    EAR_UP_M,
    MONITORS,
    FirstDesk,
    FirstRoom,
    FirstScreen,
    slope_angle_deg,
)
from sim.blueprint.units import UNIT_M

_DECIMALS = {"m": 3, "cm": 1, "mm": 0, "in": 2, "ft": 3}
FREE_AT_RADIATOR_M = 0.10
"""Free space around a radiator (common practice, no source)."""


class Lengths:
    """How lengths are written in the unit of the file; metres keep two decimals at least."""

    def __init__(self, units: str) -> None:
        self.units = units

    def __call__(self, metres: float) -> str:
        """A length without its unit."""
        text = f"{metres / UNIT_M[self.units]:.{_DECIMALS[self.units]}f}"
        return text[:-1] if self.units == "m" and text.endswith("0") else text

    def span(self, low: float, high: float) -> str:
        """From here to there, as a list."""
        return f"[{self(low)}, {self(high)}]"

    def point(self, from_front: float, from_left: float, up: float | None) -> str:
        """A point, or a place in the plan where nobody needs its height."""
        plan = f"from_front = {self(from_front)}, from_left = {self(from_left)}"
        return f"{{ {plan} }}" if up is None else f"{{ {plan}, up = {self(up)} }}"


def shape_text(room: FirstRoom, length: Lengths) -> str:
    """The shape of the room: a box, or an outline with the names of its walls."""
    if room.corner is None and not room.walls:
        width, depth, height = length(room.width_m), length(room.depth_m), length(room.height_m)
        return f"""box = {{ width = {width}, depth = {depth}, height = {height} }}
# Surfaces: "front wall", "rear wall", "left wall", "right wall", "floor", "ceiling"; or "walls", or "all"."""
    walls = room.outline()
    corners = ",\n".join(
        f"    {{ from_front = {length(ahead)}, from_left = {length(across)} }}" for _, ahead, across in walls
    )
    names = ", ".join(quoted(name) for name, _, _ in walls)
    return f"""# Once round the floor; each wall runs from its corner to the next.
outline = [
{corners},
]
height = {length(room.height_m)}
wall_names = [{names}]
# Surfaces: these walls, "floor", "ceiling"; or "walls", or "all"."""


def slopes_text(room: FirstRoom, length: Lengths) -> str:
    """Sloped ceilings."""
    return "".join(
        f"""
# Over the {room.wall(slope.side)[0]}, level again {length(slope.run_m)} {length.units} from it.
[[room.slopes]]
name = "{slope.side} slope"
wall = "{room.wall(slope.side)[0]}"
starts_at_height = {length(slope.knee_m)}
angle_deg = {slope_angle_deg(room, slope):.2f}
"""
        for slope in room.slopes
    )


def loudspeakers_text(room: FirstRoom, layout: FirstLayout, length: Lengths) -> str:
    """Both monitors, and their model where it is not one of the usual."""
    monitor = MONITORS[room.monitor]
    left = round(layout.middle - layout.half_base, 3)  # rounded here, so that right is its mirror image to the digit
    right = 2.0 * layout.middle - left
    on_desk, built_in = room.monitors_on == "desk", room.monitors_on == "built in"
    front_wall, start, end = room.wall("front") if built_in else ("", (0.0, 0.0), (0.0, 1.0))

    def place(across: float) -> tuple[float, float, float | None]:
        """Where the acoustic axis of a monitor is that nobody measured."""
        if not (built_in and room.walls):
            return layout.front, across, None if on_desk else EAR_UP_M
        share = (across - start[1]) / (end[1] - start[1])
        return BUILT_IN_M + start[0] + share * (end[0] - start[0]), across, EAR_UP_M

    def stand(up: float | None) -> str:
        if built_in:
            return f'built_into = ["{front_wall}"]         # the room is measured to the face of this wall'
        taken = up is not None and not on_desk
        height = up - monitor.axis_up_m if taken and up is not None else 0.95
        return f"{'#' * (not taken)}stand_height = {length(height)}"

    standing, toe_in = ("built in", "0") if built_in else ("desk" if on_desk else "stand", '"ear"')
    axes = room.monitors or (place(left), place(right))
    text = "\n".join(
        f"""[[loudspeakers]]
name = "{name}"
model = "{monitor.model}"                # "two-way", "three-way", "coaxial", "point", or a name from [models]
acoustic_axis = {length.point(*axis)}
toe_in_deg = {toe_in}               # or degrees; positive turns toward the centre line
tilt_deg = 0                     # or "ear"; positive is down
standing = "{standing}"               # "stand", "desk", "position" or "built in"
{stand(axis[2])}
#roll = "upright"                # or "inverted", "on its right side", "on its left side"
"""
        for name, axis in zip(("left", "right"), axes, strict=True)
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


def openings_text(room: FirstRoom, length: Lengths) -> str:
    """Windows and doors; where there is none, one behind "#"."""
    text, taken = "", dict.fromkeys(("window", "door"), 0)
    for opening in room.openings:
        taken[opening.kind] += 1
        along, (low, high) = along_wall(room, opening.side, opening.along_m)
        wide = opening.along_m[1] - opening.along_m[0]
        more = f"swing = {length(wide)}\nescape = true\n" * (opening.kind == "door")
        text += f"""[[openings]]
name = "{_numbered(opening.kind, taken[opening.kind])}"
kind = "{opening.kind}"
surface = "{opening.side if opening.side in room.slope_sides else room.wall(opening.side)[0]}"
{along} = {length.span(low, high)}
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


def tape_text(room: FirstRoom) -> str:
    """What was measured and how well it fits together, as comments."""
    return "".join(f"# {line}\n" for line in room.tape) + "\n" * bool(room.tape)


def desk_text(room: FirstRoom, layout: FirstLayout, length: Lengths) -> str:
    """The desk as it was measured, or where it fits."""
    ends = (layout.middle - layout.desk_half, layout.middle + layout.desk_half)
    desk = room.desk or FirstDesk(layout.desk, ends, DESK_TOP_M)
    return f"""[[furniture]]
kind = "desk"
name = "desk"
from_front = {length.span(*desk.from_front_m)}
from_left = {length.span(*desk.from_left_m)}
top = {length(desk.top_m)}
#tilt_deg = 0                    # about the listener-side edge, which stays; positive: the far edge rises
#front = "open"                  # or "closed" by a panel, or "solid" to the floor
"""


def screen_text(room: FirstRoom, layout: FirstLayout, length: Lengths) -> str:
    """The screen as it was measured, or one behind "#"."""
    screen = room.screen or FirstScreen((layout.desk[0] + 0.05, layout.middle, 0.86), 0.61, 0.36)
    off = "#" * (room.screen is None)
    return f"""# The middle of the lower edge of the screen's face.
{off}[[furniture]]
{off}kind = "screen"
{off}name = "screen"
{off}at = {length.point(*screen.at_m)}
{off}width = {length(screen.width_m)}
{off}height = {length(screen.height_m)}
"""


def blocks_text(room: FirstRoom, length: Lengths) -> str:
    """Beams, and radiators with the place to keep clear round them."""
    text = ""
    blocks = [("beam", "beam", beam_block(room, beam), "mdf or veneered board") for beam in room.beams]
    blocks += [("radiator", "block", radiator_block(room, one), "rigid") for one in room.radiators]
    taken = {"beam": 0, "radiator": 0}
    for word, kind, block, material in blocks:
        taken[word] += 1
        name = _numbered(word, taken[word])
        spans = f"""from_front = {length.span(*block.from_front_m)}
from_left = {length.span(*block.from_left_m)}
up = {length.span(*block.up_m)}
"""
        turn = f"turn_deg = {block.turn_deg:g}\n" * (block.turn_deg != 0.0)
        text += f'[[furniture]]\nkind = "{kind}"\nname = "{name}"\n{spans}{turn}material = "{material}"\n\n'
        if word == "radiator":
            ahead, across = block.around_m
            text += f'[[keep_clear]]\nname = "heat of {name}"\nkind = "heater"\nfrom_front = {length.span(*ahead)}\n'
            text += f"from_left = {length.span(*across)}\nup = {length.span(*block.up_m)}\n"
            text += f"clearance = {length(FREE_AT_RADIATOR_M)}\n\n"
    return text


def _numbered(word: str, count: int) -> str:
    return word if count == 1 else f"{word} {count}"


def quoted(text: str) -> str:
    """Write a text as a TOML string."""
    escaped = text.replace("\\", "\\\\").replace('"', '\\"')
    return '"' + "".join(c if c.isprintable() else f"\\u{ord(c):04X}" for c in escaped) + '"'
