"""The set-up sheet: what a person checks with tape and string, and whether every driver is seen."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from sim.answers import printable
from sim.arrays import FloatArray
from sim.blueprint.schema import Blueprint
from sim.blueprint.units import is_imperial, length_words, small_words, thickness_words
from sim.geometry.room import first_between, first_hit
from sim.loudspeakers.loudspeaker import Loudspeaker
from sim.placement.built_scene import BuiltScene
from sim.placement.poses import PlacedLoudspeaker, aim_angles
from sim.placement.supports import tilt_at_the_ear_deg
from sim.placement.symmetry import unlike_sides


@printable
@dataclass(frozen=True, slots=True)
class SightLine:
    """The straight line from one driver to one listener.

    Attributes
    ----------
    loudspeaker, driver, listener
        Names.
    hidden_by
        The body in the way, or empty.
    clearance_m
        Distance to the nearest edge that sticks out (how far something may still move), or how deep the line lies in
        the shade of what hides it.
    nearest
        Body of that edge, or empty.
    """

    loudspeaker: str
    driver: str
    listener: str
    hidden_by: str
    clearance_m: float
    nearest: str


def sight_lines(built: BuiltScene) -> tuple[SightLine, ...]:
    """Look from every driver to every listener; a loudspeaker's own box never hides its drivers."""
    room = built.room
    out = room.edges.sticking_out
    lines = []
    for loudspeaker in built.loudspeakers:
        own = room.owner_number(loudspeaker.body)
        for driver, source in zip(loudspeaker.model.drivers, loudspeaker.driver_points, strict=True):
            for ear, listener in zip(built.ears, built.listener_names, strict=True):
                facet = first_between(room, source, ear, own)
                hidden = room.facets[facet].owner if facet >= 0 else ""
                bodies = room.arrays.owner[room.edges.facets[out][:, 0]] if out.size else np.zeros(0, int)
                wanted = bodies == room.owner_number(hidden) if hidden else bodies != own
                clearance, nearest = _nearest_edge(room.edges.ends[out[wanted]], source, ear)
                name = room.owners[bodies[wanted][nearest]] if nearest >= 0 else ""
                lines.append(SightLine(loudspeaker.name, driver.name, listener, hidden, clearance, name))
    return tuple(lines)


def _nearest_edge(ends: FloatArray, source: FloatArray, ear: FloatArray) -> tuple[float, int]:
    from sim.placement.solid_kernels import nearest_segment

    nearest, number = nearest_segment(np.array(source), np.array(ear), np.array(ends))
    return float(nearest), int(number)


# The sheet itself: angles in degrees, lengths in metres, times in milliseconds.

MATCHED_M = 0.010
"""Left and right distances within 10 mm are called equal (common practice, no source; 5 mm is wished for)."""
ASIDE_M = 0.02
"""The same for distances to walls."""
ON_AXIS_M = 0.001
LEVEL_PAIR_DEG = 0.5
"""Toe-in and tilt of left and right within this are called equal (common practice, no source)."""
OFF_AXIS_DEG = 10.0
"""An ear further off the axis is worth a look (common practice, no source)."""


@printable
@dataclass(frozen=True, slots=True)
class LoudspeakerSheet:
    """One loudspeaker as it stands.

    Attributes
    ----------
    name, side, model
        What it is called, "left" or "right" of the seat or "centre", and its model.
    distance_m, flight_time_ms
        From its acoustic axis point to the ear, and how long sound takes.
    axis_height_m, axis_height_over_ear_m
        Height of the axis point; over the ear, positive when higher.
    toe_in_deg, tilt_deg, roll_deg
        How it is turned: inward, down, about its axis.
    toe_in_error_deg, tilt_error_deg
        What is missing to point at the ear.
    axis_error_deg
        Angle between the loudspeaker's axis and the line to the ear.
    distance_to_m
        For each of "front", "rear", "left", "right", "up", "down": distance of the axis point from the first surface
        in metres, and its name.
    lowest_m
        Height of the cabinet's lowest corner; nan when there is no cabinet.
    axis_at
        The driver on the axis or those it runs between; empty when that is not known.
    """

    name: str
    side: str
    model: str
    distance_m: float
    flight_time_ms: float
    axis_height_m: float
    axis_height_over_ear_m: float
    toe_in_deg: float
    tilt_deg: float
    roll_deg: float
    toe_in_error_deg: float
    tilt_error_deg: float
    axis_error_deg: float
    distance_to_m: dict[str, tuple[float, str]]
    lowest_m: float
    axis_at: str


@printable
@dataclass(frozen=True, slots=True)
class Pair:
    """A left and a right loudspeaker with the listening triangle between them and the ear.

    Attributes
    ----------
    left, right
        Their names.
    base_m, angle_at_seat_deg
        Distance between their axis points, and the angle they span at the ear.
    difference_mm, difference_ms
        Distance to the ear of the left one less that of the right one, and the same as time.
    symmetric, asymmetries
        Whether both sides are alike, and what is not, in sentences.
    """

    left: str
    right: str
    base_m: float
    angle_at_seat_deg: float
    difference_mm: float
    difference_ms: float
    symmetric: bool
    asymmetries: tuple[str, ...]


@printable
@dataclass(frozen=True, slots=True)
class SetupSheet:
    """Loudspeakers, pairs, sight lines and what is odd.

    Attributes
    ----------
    loudspeakers
        One sheet each.
    pairs
        A left and a right one with the listening triangle.
    sight_lines
        From every driver to every listener.
    ear
        (3,) in metres.
    ear_distance_to_m
        For each of "front", "rear", "left", "right", "up", "down": distance to the first surface in metres, and its
        name.
    warnings
        What is odd, in sentences.
    """

    loudspeakers: tuple[LoudspeakerSheet, ...]
    pairs: tuple[Pair, ...]
    sight_lines: tuple[SightLine, ...]
    ear: FloatArray
    ear_distance_to_m: dict[str, tuple[float, str]]
    warnings: tuple[str, ...]


LOOKS = {
    "front": (-1.0, 0.0, 0.0),
    "rear": (1.0, 0.0, 0.0),
    "left": (0.0, -1.0, 0.0),
    "right": (0.0, 1.0, 0.0),
    "up": (0.0, 0.0, 1.0),
    "down": (0.0, 0.0, -1.0),
}


def setup_sheet(
    built: BuiltScene, unit: str = "m", blueprint: Blueprint | None = None, folder: Path | None = None
) -> SetupSheet:
    """Measure the built scene the way a person would; sentences are in the unit of the scene.

    With the blueprint (and the folder of its files) boxes that would rise when they are tilted at the ear are known.
    """
    ear = built.ears[0]
    sheets = tuple(_sheet(built, one, ear) for one in built.loudspeakers)
    if blueprint is not None:
        needed = [tilt_at_the_ear_deg(blueprint, index, folder) for index in range(len(sheets))]
        sheets = tuple(
            replace(one, tilt_error_deg=tilt - one.tilt_deg) for one, tilt in zip(sheets, needed, strict=True)
        )
    lefts = [one for one in sheets if one.side == "left"]
    rights = [one for one in sheets if one.side == "right"]
    around = surroundings(built, ear, -1)
    pairs = tuple(_pair(built, a, b, around, unit) for a, b in zip(lefts, rights, strict=False))
    lines = sight_lines(built)
    warnings = (*built.warnings, *_warnings(sheets, pairs, lines, around, unit))
    return SetupSheet(sheets, pairs, lines, ear, around, warnings)


def surroundings(built: BuiltScene, point: FloatArray, own: int) -> dict[str, tuple[float, str]]:
    """Distance from a point (3,) to the first surface each way, and its name."""
    found = {}
    for name, look in LOOKS.items():
        distance, facet = first_hit(built.room, point, np.array(look), own)
        found[name] = (distance, built.room.facets[facet].name if facet >= 0 else "nothing")
    return found


def _sheet(built: BuiltScene, one: PlacedLoudspeaker, ear: FloatArray) -> LoudspeakerSheet:
    turn, tilt = aim_angles(one.axis_point, ear)
    inward = {"left": 1.0, "right": -1.0}.get(one.side, 1.0)
    distance = float(np.linalg.norm(ear - one.axis_point))
    corners = one.corners
    return LoudspeakerSheet(
        name=one.name,
        side=one.side,
        model=one.model.kind if one.model.name == one.name else one.model.name,
        distance_m=distance,
        flight_time_ms=1000.0 * distance / built.air.speed_of_sound_m_s,
        axis_height_m=float(one.axis_point[2]),
        axis_height_over_ear_m=float(one.axis_point[2] - ear[2]),
        toe_in_deg=one.toe_in_deg,
        tilt_deg=one.tilt_deg,
        roll_deg=one.roll_deg,
        toe_in_error_deg=turn * inward - one.toe_in_deg,
        tilt_error_deg=tilt - one.tilt_deg,
        axis_error_deg=float(one.off_axis_deg((ear - one.axis_point) / distance)),
        distance_to_m=surroundings(built, one.axis_point, built.room.owner_number(one.body)),
        lowest_m=float("nan") if corners is None else float(corners[:, 2].min()),
        axis_at=_axis_at(one.model),
    )


def _axis_at(model: Loudspeaker) -> str:
    """Name the driver on the acoustic axis, the highest if there are several, or the nearest two it runs between."""
    if len(model.drivers) < 2:
        return ""
    away = {driver.name: round(float(np.hypot(*driver.offset_m[1:])), 6) for driver in model.drivers}
    on_it = [driver for driver in model.drivers if away[driver.name] < ON_AXIS_M]
    if on_it:
        return max(on_it, key=lambda driver: driver.way).name
    one, other = sorted(model.drivers, key=lambda driver: away[driver.name])[:2]
    apart = float(np.hypot(*np.subtract(one.offset_m, other.offset_m)[1:]))
    return f"{one.name} and {other.name}" if away[one.name] + away[other.name] < apart + ON_AXIS_M else ""


def _pair(
    built: BuiltScene, a: LoudspeakerSheet, b: LoudspeakerSheet, around: dict[str, tuple[float, str]], unit: str
) -> Pair:
    points = {one.name: one.axis_point for one in built.loudspeakers}
    ear = built.ears[0]
    to_left, to_right = points[a.name] - ear, points[b.name] - ear
    cosine = to_left @ to_right / (np.linalg.norm(to_left) * np.linalg.norm(to_right))
    difference = a.distance_m - b.distance_m
    odd = []
    if abs(difference) > MATCHED_M:
        nearer = b.name if difference > 0 else a.name
        odd.append(f"{nearer} is {thickness_words(abs(difference), unit)} nearer to the ear")
    for words, x, y, limit, kind in (
        ("axis height", a.axis_height_m, b.axis_height_m, MATCHED_M, "m"),
        ("toe-in", a.toe_in_deg, b.toe_in_deg, LEVEL_PAIR_DEG, "degrees"),
        ("tilt", a.tilt_deg, b.tilt_deg, LEVEL_PAIR_DEG, "degrees"),
        ("distance to the front", a.distance_to_m["front"][0], b.distance_to_m["front"][0], ASIDE_M, "m"),
        ("distance to the side", a.distance_to_m["left"][0], b.distance_to_m["right"][0], ASIDE_M, "m"),
        ("distance of the ear to the side", around["left"][0], around["right"][0], ASIDE_M, "m"),
    ):
        if abs(x - y) > limit:
            both = f"{x:.2f} and {y:.2f} {kind}"
            if kind == "m" and is_imperial(unit):
                both = f"{length_words(x, unit)} and {length_words(y, unit)}"
            odd.append(f"{words} differs: {both}")
    for who, left, right in (
        ("them", a.distance_to_m["left"][1], b.distance_to_m["right"][1]),
        ("the ear", around["left"][1], around["right"][1]),
    ):
        if left.replace("left", "") != right.replace("right", ""):
            odd.append(f"beside {who} are different surfaces: {left} on the left, {right} on the right")
    if sides := unlike_sides(built.room):
        odd.append(sides)
    return Pair(
        a.name,
        b.name,
        float(np.linalg.norm(points[a.name] - points[b.name])),
        float(np.degrees(np.arccos(np.clip(cosine, -1.0, 1.0)))),
        1000.0 * difference,
        1000.0 * difference / built.air.speed_of_sound_m_s,
        not odd,
        tuple(odd),
    )


def _warnings(
    sheets: tuple[LoudspeakerSheet, ...],
    pairs: tuple[Pair, ...],
    lines: tuple[SightLine, ...],
    around: dict[str, tuple[float, str]],
    unit: str,
) -> tuple[str, ...]:
    said = []
    off: dict[str, list[str]] = {}
    for one in sheets:
        if one.axis_error_deg > OFF_AXIS_DEG:
            off.setdefault(f"{one.axis_error_deg:.0f} degrees off", []).append(one.name)
    for words, names in off.items():
        axes = "its axis" if len(names) == 1 else "their axes"
        said.append(f"{' and '.join(names)}: the ear is {words} {axes}; turn or tilt as said below")
    for pair in pairs:
        if not 50.0 <= pair.angle_at_seat_deg <= 70.0:
            said.append(
                f"{pair.left} and {pair.right} span {pair.angle_at_seat_deg:.0f} degrees at the seat;"
                " 60 is usual (ITU-R BS.775), 55 to 65 common practice"
            )
        said.extend(f"left and right are unequal: {warning}" for warning in pair.asymmetries)
    for line in lines:
        if line.hidden_by:
            said.append(
                f"the {line.driver} of {line.loudspeaker} cannot be seen from the {line.listener}:"
                f" the {line.hidden_by} is in the way, by {small_words(line.clearance_m, unit)}"
            )
    for way, (distance, name) in around.items():
        if way != "down" and distance < 0.3:
            said.append(f"the ear is {small_words(distance, unit)} from the {name}: reflections there are hardly early")
    return tuple(dict.fromkeys(said))
