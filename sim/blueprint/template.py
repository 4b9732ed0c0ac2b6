"""A first scene of a room told by tape: commented, complete, and ready to be corrected with a tape."""

from __future__ import annotations

from sim.blueprint.error_messages import shown
from sim.blueprint.first_layout import FirstLayout, laid_out
from sim.blueprint.first_room import EAR_UP_M, SEAT_FRACTION, FirstRoom
from sim.blueprint.template_parts import (
    Lengths,
    blocks_text,
    desk_text,
    loudspeakers_text,
    openings_text,
    quoted,
    screen_text,
    shape_text,
    slopes_text,
    tape_text,
)
from sim.blueprint.texts import LONGEST_NAME
from sim.blueprint.units import UNIT_M
from sim.errors import SceneError, one_line


def new_scene(width_m: float, depth_m: float, height_m: float, *, title: str, units: str = "m") -> str:
    """Return the text of a scene of a box with desk, two loudspeakers on stands and a seat, as `first_scene` does."""
    return first_scene(FirstRoom(width_m, depth_m, height_m), title=title, units=units)


def first_scene(
    room: FirstRoom, *, title: str, units: str = "m", layout: FirstLayout | None = None, things: str | None = None
) -> str:
    """Return the text of a scene with desk, two loudspeakers and a seat in a room, lengths in the given unit.

    The two loudspeakers and the ear form an equilateral triangle as far as the room allows.  Optional sections
    stand behind "#" and work when it is taken away.  Whoever knows better gives the `layout`, and the text of
    furniture and openings in place of those of the room.

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
    middle = layout.middle
    ear = room.seat or (layout.ear, middle, EAR_UP_M)
    seat = room.second_seat or (min(ear[0] + 0.5, depth_m - 0.3), middle, EAR_UP_M)
    start = "" if room.seat else f" {SEAT_FRACTION:.0%} of the depth is a start, not an answer."
    things = openings_text(room, length) if things is None else things
    return f"""# A scene for bounceplan. Correct every number with a tape, then run: bounceplan check
# Distances are from the front wall (the one you face), from the left wall (as seen from the seat), and up from
# the floor. A plain number is in the unit below; a text carries its own: "600 mm", "24 in", "7 ft 10 1/2 in".
# Lines behind "#" without a blank are optional: take the "#" away to use them.

title = {quoted(one_line(title)[:LONGEST_NAME])}
units = "{units}"                      # m, cm, mm, in or ft

{tape_text(room)}[room]
{shape_text(room, length)}
materials = {{ walls = "plasterboard on studs", ceiling = "plasterboard on studs", floor = "wood floor" }}
#reverberation_time_s = 0.4      # if measured
{slopes_text(room, length)}
# The ear point: middle of the head at ear height.{start}
[listener]
ear = {point(*ear)}
#head_box = {{ depth = {length(0.30)}, across = {length(0.30)}, up = {length(0.10)} }}   # how far the head moves
{"#" * (room.second_seat is None)}second_seat = {{ name = "client", ear = {point(*seat)} }}

# The acoustic axis point is usually the tweeter; the manual of the loudspeaker tells.
{loudspeakers_text(room, layout, length)}
# A loudspeaker of your own; write model = "my loudspeaker" above. What is left out takes the usual size.
#[models."my loudspeaker"]
#kind = "two-way"
#width = {length(0.18)}
#height = {length(0.29)}
#depth = {length(0.23)}
#mass_kg = 5.5
#crossovers_hz = [2200]

{desk_text(room, layout, length)}
{screen_text(room, layout, length)}
{blocks_text(room, length)}# Boxes: shelf, bridge, rack, cupboard, beam, block. There is also kind = "sofa".
#[[furniture]]
#kind = "cupboard"
#name = "cupboard"
#from_front = {span(depth_m - 0.40, depth_m)}
#from_left = {span(0.0, 0.80)}
#up = {span(0.0, 1.60)}

{things}# What panels must not take: lamp, heater, exit, alarm, sprinkler, vent, cable, other.
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
#from_front = {span(0.5 * ear[0], 0.5 * ear[0] + 0.6)}
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
