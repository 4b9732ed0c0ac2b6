"""The scene file of a scanned room: what `new` writes, with this outline, these slopes, and what stands about."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final

import numpy as np

from sim.blueprint.first_layout import FirstLayout, laid_out
from sim.blueprint.first_room import MONITORS, FirstRoom, FirstSlope
from sim.blueprint.template import first_scene
from sim.blueprint.template_parts import Lengths
from sim.errors import SceneError
from sim.surveying.scan.laying import LaidRoom
from sim.surveying.scan.records import NotSeen, ScannedBlock, TapeReading

RIDGE_M: Final = 0.01
"""A room without level ceiling gets one so far over its ridge, where it cuts nothing."""
_SEAT_M: Final = 0.4


def scene_text(
    room: LaidRoom,
    blocks: Sequence[ScannedBlock],
    holes: Sequence[NotSeen],
    tape: Sequence[TapeReading],
    *,
    title: str,
    units: str,
    file: str,
    away_95_m: float,
    all_behind: bool = False,
) -> str:
    """Write the scene; blocks that stand where monitors, desk or seat were put stand behind "#".

    Raises
    ------
    SceneError
        If the room is too small for monitors, desk and seat.
    """
    height = room.ceiling.height_m + (0.0 if room.ceiling.flat else RIDGE_M)
    depth, width = (float(size) for size in np.ptp(room.corners, axis=0))
    slopes = tuple(
        FirstSlope(
            room.names[slope.wall].replace(" wall", "", 1),
            slope.knee_m,
            (height - slope.knee_m) / math.tan(slope.angle),
        )
        for slope in room.ceiling.slopes
    )
    walls = tuple((name, *map(float, corner)) for name, corner in zip(room.names, room.corners, strict=True))
    given = FirstRoom(width, depth, height, slopes=slopes, walls=walls)  # type: ignore[arg-type]
    layout = _layout(given)
    length = Lengths(units)
    state = "confirmed by tape" if tape else "not confirmed by tape"
    text = first_scene(
        given,
        title=title if tape else f"{title[:50]} (scan, not confirmed by tape)",
        units=units,
        layout=layout,
        things=_holes(room, holes, length) + _blocks(blocks, layout, length, all_behind),
    )
    return _head(file, away_95_m, state, tape) + text


def _head(file: str, away_95_m: float, state: str, tape: Sequence[TapeReading]) -> str:
    lines = [f"From the scan {file}: 95 % of it lies within {100.0 * away_95_m:.1f} cm of what stands below; {state}."]
    if not tape:
        lines.append("Measure one distance with a tape before you trust it, and scan again with --tape.")
    lines += [f"By tape: {one.between} {one.tape_m:.3f} m; the scan had {one.scan_m:.3f} m." for one in tape]
    return "".join(f"# {line}\n" for line in lines) + "\n"


def _layout(given: FirstRoom) -> FirstLayout:
    """Where monitors, desk and seat go, as in any outline."""
    try:
        return laid_out(given)
    except SceneError as fault:
        raise SceneError(
            "the scanned room",
            f"monitors, a desk and a seat do not fit into its {given.width_m:.2f} m x {given.depth_m:.2f} m "
            f"({fault.found})",
            "face another wall with --front, or check --unit",
        ) from None


def _holes(room: LaidRoom, holes: Sequence[NotSeen], length: Lengths) -> str:
    """Holes that nothing hides, as openings behind "#" for the person to name."""
    text, number = "", 0
    for hole in holes:
        if hole.behind:
            continue
        number += 1
        wall = room.names.index(hole.wall)
        start, end = room.corners[wall], room.corners[(wall + 1) % len(room.corners)]
        along = (end - start) / np.linalg.norm(end - start)
        ends = np.stack([start + place * along for place in hole.along_m])
        axis = int(np.argmax(np.abs(along)))
        low, high = np.sort(ends[:, axis])
        more = ", though the scan goes on behind it" if hole.beyond else ""
        text += f"""# No depth was seen here{more}: window, door or mirror? Measure it, name it, take the "#" away.
#[[openings]]
#name = "not seen {number}"
#kind = "window"                 # or "door", "sliding door", "opening"
#surface = "{hole.wall}"
#{("from_front", "from_left")[axis]} = {length.span(float(low), float(high))}
#up = {length.span(*hole.up_m)}

"""
    return text


def _blocks(blocks: Sequence[ScannedBlock], layout: FirstLayout, length: Lengths, all_behind: bool) -> str:
    text = ""
    if blocks:
        text += "# What stood in the room when it was scanned, as boxes: rename them, correct them, or delete them.\n"
    for block in blocks:
        behind = all_behind or _in_the_way(block, layout)
        mark = "#" if behind else ""
        if behind:
            text += '# It stands where monitors, desk or seat were put; move these first, then take the "#" away.\n'
        under = "  # a top with air below" if block.table else ""
        (a, c, e), (b, d, f) = block.low_m, block.high_m
        text += f"""{mark}[[furniture]]
{mark}kind = "{block.kind}"
{mark}name = "{block.name}"
{mark}from_front = {length.span(a, b)}
{mark}from_left = {length.span(c, d)}
{mark}up = {length.span(e, f)}{under}

"""
    return text


def _in_the_way(block: ScannedBlock, layout: FirstLayout) -> bool:
    """Whether a block overlaps what the scene has standing about: desk, monitors on stands, the seat."""
    monitor = MONITORS["5-inch"]
    taken = [
        (
            (layout.desk[0], layout.middle - layout.desk_half, 0.0),
            (layout.desk[1], layout.middle + layout.desk_half, 0.8),
        ),
        (
            (layout.ear - _SEAT_M, layout.middle - _SEAT_M, 0.0),
            (layout.ear + _SEAT_M, layout.middle + _SEAT_M, 1.5),
        ),
    ]
    for sign in (-1.0, 1.0):
        across = layout.middle + sign * layout.half_base
        taken.append(
            ((layout.front - monitor.depth_m - 0.15, across - 0.3, 0.0), (layout.front + 0.15, across + 0.3, 1.45))
        )
    low, high = np.array(block.low_m), np.array(block.high_m)
    return any(bool(((low < np.array(b)) & (high > np.array(a))).all()) for a, b in taken)
