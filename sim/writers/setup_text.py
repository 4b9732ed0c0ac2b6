"""The set-up sheet as plain lines for a terminal or a print."""

from __future__ import annotations

import math
from collections.abc import Iterator

from ..arrays import FloatArray
from ..blueprint.reader import SceneFile
from ..placement.sheet import LoudspeakerSheet, Pair, SetupSheet
from ..placement.sheet_seat import seat_sheet
from ..placement.stage import Stage
from ..responses.verdict import judged_from_hz
from .lengths import format_length
from .seat_text import seat_lines

WAYS = {
    "front": "toward the front", "rear": "toward the rear", "left": "to the left", "right": "to the right",
    "up": "above", "down": "below",
}  # fmt: skip


def setup_lines(scene: SceneFile, stage: Stage, sheet: SetupSheet) -> list[str]:
    """Write the set-up sheet, one line a fact, lengths in the scene's own unit and angles in degrees."""
    unit = scene.blueprint.units
    lines = [f"{scene.blueprint.title}  ({scene.path}, scene {scene.digest})", ""]
    lines += [f"Ear: {_point(sheet.ear, unit)}"]
    lines += [f"  {words}: {_surface(sheet.ear_distance_to_m[way], unit)}" for way, words in WAYS.items()]
    for one in sheet.loudspeakers:
        lines += ["", *_loudspeaker(one, unit)]
    for pair in sheet.pairs:
        lines += ["", *_pair(pair, unit)]
    lines += ["", "Sight lines"]
    for line in sheet.sight_lines:
        where = f"{line.loudspeaker} {line.driver} to the {line.listener}"
        if line.hidden_by:
            deep = format_length(line.clearance_m, unit)
            lines.append(f"  {where}: hidden by the {line.hidden_by}, {deep} deep in its shade")
        else:
            clear = f"clear by {format_length(line.clearance_m, unit)}, nearest edge: {line.nearest}"
            lines.append(f"  {where}: {clear if line.nearest else 'clear, no edge is near'}")
    seat = seat_sheet(scene.blueprint, stage)
    lines += ["", *seat_lines(seat, unit)]
    lines += ["", "Room"]
    lines.append(f"  volume {stage.volume_m3:.1f} m3, {len(stage.room.facets)} flat surfaces")
    judged = judged_from_hz(scene.blueprint, stage)
    lines.append(f"  rays are judged from about {judged:.0f} Hz up; below it single room resonances rule")
    lines += list(_list("Look at this", (*scene.warnings, *sheet.warnings, *seat.warnings)))
    lines += list(_list("Assumed", (*stage.notes, *scene.blueprint.notes)))
    lines += list(_list("Left out of the scene, so a default was taken", scene.defaulted))
    return lines


def _list(heading: str, items: tuple[str, ...]) -> Iterator[str]:
    if items:
        yield ""
        yield heading
        yield from (f"  - {item}" for item in items)


def _point(point: FloatArray, unit: str) -> str:
    depth, across, up = (format_length(float(value), unit) for value in point)
    return f"from_front {depth}, from_left {across}, up {up}"


def _surface(found: tuple[float, str], unit: str) -> str:
    distance, name = found
    return f"{format_length(distance, unit)} ({name})" if math.isfinite(distance) else name


def _loudspeaker(one: LoudspeakerSheet, unit: str) -> list[str]:
    higher = one.axis_height_over_ear_m
    side = "level with the ear"
    if abs(higher) >= 0.0005:
        side = f"{format_length(abs(higher), unit)} {'above' if higher > 0 else 'below'} the ear"
    axis = f"acoustic axis ({one.axis_at})" if one.axis_at else "acoustic axis"
    around = ", ".join(f"{words} {_surface(one.distance_to_m[way], unit)}" for way, words in WAYS.items())
    lowest = f"; lowest corner of the box at {format_length(one.lowest_m, unit)}" if math.isfinite(one.lowest_m) else ""
    return [
        f"{one.name} ({one.model}, {one.side} of the seat)",
        f"  {axis} at {format_length(one.axis_height_m, unit)}: {side}{lowest}",
        f"  distance to the ear {format_length(one.distance_m, unit)}, {one.flight_time_ms:.2f} ms",
        f"  toe-in {_turned(one.toe_in_deg, 'inward', 'outward')}"
        f" ({_missing(one.toe_in_error_deg, 'inward', 'outward')});"
        f" tilt {_turned(one.tilt_deg, 'down', 'up')} ({_missing(one.tilt_error_deg, 'down', 'up')});"
        f" roll {one.roll_deg:.0f} degrees",
        f"  the ear is {one.axis_error_deg:.1f} degrees off its axis",
        f"  from the axis point: {around}",
    ]


def _turned(angle_deg: float, positive: str, negative: str) -> str:
    if abs(angle_deg) < 0.05:
        return "0.0 degrees"
    return f"{abs(angle_deg):.1f} degrees {positive if angle_deg > 0 else negative}"


def _missing(error_deg: float, positive: str, negative: str) -> str:
    if abs(error_deg) < 0.05:
        return "points at the ear"
    return f"{abs(error_deg):.1f} more {positive if error_deg > 0 else negative} would point at the ear"


def _pair(pair: Pair, unit: str) -> list[str]:
    lines = [
        f"Listening triangle {pair.left} - {pair.right}: base {format_length(pair.base_m, unit)},"
        f" angle at the seat {pair.angle_at_seat_deg:.1f} degrees",
        f"  distances differ by {pair.difference_mm:+.0f} mm ({pair.difference_ms:+.3f} ms, {pair.left} minus"
        f" {pair.right})",
    ]
    if pair.symmetric:
        lines.append("  symmetric left to right")
    else:
        lines.append("  not symmetric: " + "; ".join(pair.asymmetries))
    return lines
