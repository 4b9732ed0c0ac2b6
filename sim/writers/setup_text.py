"""The set-up sheet as plain lines for a terminal or a print."""

from __future__ import annotations

from collections.abc import Iterator

from ..blueprint.reader import SceneFile
from ..placement.sheet import LoudspeakerSheet, Pair, SetupSheet
from ..placement.stage import Stage
from ..responses.verdict import judged_from_hz
from .lengths import format_length

WAYS = ("front", "rear", "left", "right", "up", "down")


def setup_lines(scene: SceneFile, stage: Stage, sheet: SetupSheet) -> list[str]:
    """Write the set-up sheet, one line a fact, lengths in the scene's own unit."""
    unit = scene.blueprint.units
    lines = [f"{scene.blueprint.title}  ({scene.path}, scene {scene.digest})", ""]
    lines += [f"Ear: {_point(sheet.ear, unit)}"]
    lines += [f"  to the {way}: {_surface(sheet.ear_distance_to_m[way], unit)}" for way in WAYS]
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
            nearest = f", nearest edge: {line.nearest}" if line.nearest else ""
            lines.append(f"  {where}: clear by {format_length(line.clearance_m, unit)}{nearest}")
    lines += ["", "Room"]
    lines.append(f"  volume {stage.volume_m3:.1f} m3, {len(stage.room.facets)} flat surfaces")
    judged = judged_from_hz(scene.blueprint, stage)
    lines.append(f"  rays are judged from about {judged:.0f} Hz up; below it single room resonances rule")
    lines += list(_list("Look at this", (*scene.warnings, *sheet.warnings)))
    lines += list(_list("Assumed", (*stage.notes, *scene.blueprint.notes)))
    lines += list(_list("Left out of the scene, so a default was taken", scene.defaulted))
    return lines


def _list(heading: str, items: tuple[str, ...]) -> Iterator[str]:
    if items:
        yield ""
        yield heading
        yield from (f"  - {item}" for item in items)


def _point(point: object, unit: str) -> str:
    depth, across, up = point  # type: ignore[misc]
    told = (format_length(float(value), unit) for value in (depth, across, up))
    return "from_front {}, from_left {}, up {}".format(*told)


def _surface(found: tuple[float, str], unit: str) -> str:
    distance, name = found
    return f"{format_length(distance, unit)} ({name})"


def _loudspeaker(one: LoudspeakerSheet, unit: str) -> list[str]:
    higher = one.axis_height_over_ear_m
    side = "level with the ear"
    if abs(higher) >= 0.0005:
        side = f"{format_length(abs(higher), unit)} {'above' if higher > 0 else 'below'} the ear"
    around = ", ".join(f"{way} {_surface(one.distance_to_m[way], unit)}" for way in WAYS)
    return [
        f"{one.name} ({one.model}, {one.side} of the seat)",
        f"  acoustic axis at {format_length(one.axis_height_m, unit)}: {side};"
        f" lowest corner of the box at {format_length(one.lowest_m, unit)}",
        f"  distance to the ear {format_length(one.distance_m, unit)}, {one.flight_time_ms:.2f} ms",
        f"  toe-in {one.toe_in_deg:.1f} degrees ({_more(one.toe_in_error_deg)} to point at the ear),"
        f" tilt {one.tilt_deg:.1f} degrees down ({_more(one.tilt_error_deg)}), roll {one.roll_deg:.0f};"
        f" the ear is {one.axis_error_deg:.1f} degrees off its axis",
        f"  from the axis point: {around}",
    ]


def _more(error_deg: float) -> str:
    if abs(error_deg) < 0.05:
        return "nothing missing"
    return f"{abs(error_deg):.1f} {'more' if error_deg > 0 else 'less'} needed"


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
