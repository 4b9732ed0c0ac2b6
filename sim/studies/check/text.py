"""What a scene says before anything is traced: found possible or not, and the set-up sheet."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any, ClassVar

from sim.answers import Answer, Labelled
from sim.arrays import FloatArray
from sim.blueprint.reader import AnyScene, SceneFile, read_scene
from sim.blueprint.units import difference_words, volume_words
from sim.placement.built_scene import BuiltScene, build_scene
from sim.placement.sheet import LoudspeakerSheet, Pair, SetupSheet, setup_sheet
from sim.placement.sheet_seat import EYE_ABOVE_M, EYE_AHEAD_M, Aim, Gaze, Posture, SeatSheet, seat_sheet
from sim.responses.transition import judged_from_hz
from sim.showing.numbers import format_length, format_small


@dataclass(frozen=True, slots=True, repr=False)
class Checked(Answer):
    """A scene that can be, and how it is set up.

    Attributes
    ----------
    scene
        What was read.
    built
        What was built of it.
    sheet
        Triangle, heights, aiming, sight lines.
    seat
        Where the seat is in the room.
    """

    question: ClassVar[str] = "check"

    scene: SceneFile
    built: BuiltScene
    sheet: SetupSheet
    seat: SeatSheet

    @property
    def warnings(self) -> tuple[str, ...]:
        """Sentences on what is possible but deserves a look."""
        return (*self.scene.warnings, *self.sheet.warnings, *self.seat.warnings)

    def headline(self) -> str:
        """Whether there is anything to look at."""
        odd = len(self.warnings)
        first = self.warnings[0].split(". ")[0].split("; ")[0] if odd else ""
        look = f"{odd} thing{'s' * (odd != 1)} to look at: {first}" if odd else "nothing odd"
        return f"{self.scene.blueprint.title}: {look}"

    def rows(self) -> list[dict[str, Any]]:
        """One row for each loudspeaker: distances in metres, angles in degrees, time in milliseconds."""
        names = (
            "name",
            "side",
            "model",
            "distance_m",
            "flight_time_ms",
            "axis_height_m",
            "axis_height_over_ear_m",
            "toe_in_deg",
            "tilt_deg",
            "roll_deg",
            "toe_in_error_deg",
            "tilt_error_deg",
            "axis_error_deg",
        )
        return [{name: getattr(one, name) for name in names} for one in self.sheet.loudspeakers]

    def _axes(self) -> Mapping[str, tuple[Any, str]]:
        return {
            "loudspeaker": ([one.name for one in self.built.loudspeakers], ""),
            "listener": (list(self.built.listener_names), ""),
            "direction": (["from_front", "from_left", "up"], ""),
        }

    def _arrays(self) -> Mapping[str, Labelled]:
        return {
            "axis_point": (("loudspeaker", "direction"), [one.axis_point for one in self.built.loudspeakers], "m"),
            "ear": (("listener", "direction"), self.built.ears, "m"),
        }


def check(scene: AnyScene) -> Checked:
    """Read a scene, build it, which finds whatever cannot be, and measure its set-up sheet; nothing is traced.

    Raises
    ------
    SceneError
        With the key that is at fault and what would work.
    """
    read = read_scene(scene)
    built = build_scene(read.blueprint, read.folder)
    return Checked(
        read,
        built,
        setup_sheet(built, read.blueprint.units, read.blueprint, read.folder),
        seat_sheet(read.blueprint, built),
    )


# The set-up sheet as plain lines for a terminal or a print, with the person at the seat.

SAME_DEG = 0.05
SAME_MM = 0.5


def seat_lines(seat: SeatSheet, unit: str) -> list[str]:
    """Lines on eyes, screens and postures; loudspeakers stay as they are turned."""
    lines = [
        f"Eyes (taken {format_small(EYE_AHEAD_M, unit)} ahead of the ear and {format_small(EYE_ABOVE_M, unit)} above "
        f"it): up {format_length(float(seat.eye[2]), unit)}"
    ]
    lines += [f"  {_gaze(one, unit)}" for one in seat.gazes]
    lines += [f"  gaze at {one.loudspeaker}: {_upward(one.gaze_deg)}" for one in seat.postures[0].aims]
    lines += ["", "If the person or the desk changes height, the monitors staying turned as they are"]
    for posture in seat.postures[1:]:
        lines.append(f"  {posture.words} (ear at {format_length(posture.ear_height_m, unit)}):")
        lines += [f"    {words}" for words in _posture(posture, seat.postures[0], unit)]
    return lines


def _posture(posture: Posture, now: Posture, unit: str) -> list[str]:
    """One line a loudspeaker, or one for all of which the same can be said."""
    reported: dict[str, list[str]] = {}
    before = {one.loudspeaker: one for one in now.aims}
    for one in posture.aims:
        reported.setdefault(_aim(one, before[one.loudspeaker], unit), []).append(one.loudspeaker)
    return [f"{', '.join(names)}: {words}" for words, names in reported.items()]


def _aim(one: Aim, before: Aim, unit: str) -> str:
    words = "level with the ear"
    if abs(one.over_ear_m) >= 0.0005:
        words = f"{format_length(abs(one.over_ear_m), unit)} {'above' if one.over_ear_m > 0 else 'below'} the ear"
    words += f", the ear {one.off_axis_deg:.1f} degrees off its axis (now {before.off_axis_deg:.1f})"
    if abs(one.tilt_needed_deg) < SAME_DEG:
        words += "; level it would point at the ear"
    else:
        way = "down" if one.tilt_needed_deg > 0 else "up"
        words += f"; tilted {abs(one.tilt_needed_deg):.1f} degrees {way} it would point at the ear"
    if one.hidden and not before.hidden:
        words += f"; the {one.hidden} then hides it"
    elif before.hidden and not one.hidden:
        words += f"; the {before.hidden} no longer hides it"
    return words


def _gaze(one: Gaze, unit: str) -> str:
    return (
        f"{one.screen}: {format_length(one.distance_m, unit)} away, upper edge at {format_length(one.top_m, unit)}"
        f" ({_upward(one.top_deg)}), middle {_upward(one.middle_deg)}, lower edge {_upward(one.bottom_deg)}"
    )


def _upward(angle_deg: float) -> str:
    if abs(angle_deg) < SAME_DEG:
        return "level"
    return f"{abs(angle_deg):.1f} degrees {'up' if angle_deg > 0 else 'down'}"


# The set-up sheet as plain lines for a terminal or a print.

WAYS = {
    "front": "toward the front",
    "rear": "toward the rear",
    "left": "to the left",
    "right": "to the right",
    "up": "above",
    "down": "below",
}


def setup_lines(scene: SceneFile, built: BuiltScene, sheet: SetupSheet) -> list[str]:
    """Write the set-up sheet, one line a fact, lengths in the scene's own unit and angles in degrees."""
    unit = scene.blueprint.units
    seat = seat_sheet(scene.blueprint, built)
    lines = [f"{scene.blueprint.title}  ({scene.path}, scene {scene.digest})"]
    lines += list(_list("Look at this", (*scene.warnings, *sheet.warnings, *seat.warnings))) or ["", "Nothing odd."]
    lines += ["", f"Ear: {_point(sheet.ear, unit)}"]
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
            lines.append(f"  {where}: blocked by the {line.hidden_by}, by {deep}")
        else:
            clear = f"clear by {format_length(line.clearance_m, unit)}, nearest edge: {line.nearest}"
            lines.append(f"  {where}: {clear if line.nearest else 'clear, no edge is near'}")
    lines += ["", *seat_lines(seat, unit)]
    lines += ["", "Room"]
    lines.append(f"  volume {volume_words(built.volume_m3, unit, 1)}, {len(built.room.facets)} flat surfaces")
    judged = judged_from_hz(scene.blueprint, built)
    lines.append(f"  rays are judged from about {judged:.0f} Hz up; below it single room resonances rule")
    lines += list(_list("Assumed", (*built.notes, *scene.blueprint.notes)))
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
    lowest = (
        f"; lowest corner of the cabinet at {format_length(one.lowest_m, unit)}" if math.isfinite(one.lowest_m) else ""
    )
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


def _difference(pair: Pair, unit: str) -> str:
    if abs(pair.difference_mm) < SAME_MM:
        return "distances to the ear are equal"
    by = difference_words(pair.difference_mm / 1000.0, unit)
    return f"distances differ by {by} ({pair.difference_ms:+.3f} ms, {pair.left} minus {pair.right})"


def _pair(pair: Pair, unit: str) -> list[str]:
    lines = [
        f"Listening triangle {pair.left} - {pair.right}: base {format_length(pair.base_m, unit)},"
        f" angle at the seat {pair.angle_at_seat_deg:.1f} degrees",
        f"  {_difference(pair, unit)}",
    ]
    if pair.symmetric:
        lines.append("  symmetric left to right")
    else:
        lines.append("  not symmetric: " + "; ".join(pair.asymmetries))
    return lines
