"""Orientations to compare, and drivers against each other in each of them.

One is given for the loudspeakers left of the seat; those on the right are its mirror images, so that "left" and
"right" mean top outward and top inward for a pair.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise, product
from pathlib import Path
from typing import Final, Literal, TypeAlias

import numpy as np

from sim.answers import printable
from sim.arrays import FloatArray, frozen
from sim.blueprint.records import AxisPoint
from sim.blueprint.schema import Blueprint
from sim.blueprint.schema import Loudspeaker as LoudspeakerRecord
from sim.errors import SceneError
from sim.placement.poses import PlacedLoudspeaker, place, rotation_of
from sim.placement.supports import support_top_m
from sim.studies.orient.field import direct_pressure

Keep: TypeAlias = Literal["axis", "support"]
NAMED: Final[dict[str, tuple[str, float]]] = {
    "upright": ("upright", 0.0),
    "inverted": ("inverted", 180.0),
    "left": ("on its left side", -90.0),
    "right": ("on its right side", 90.0),
    "out": ("top outward", -90.0),
    "in": ("top inward", 90.0),
}
USUAL: Final = "upright,inverted,left,right"
SETTLED_M: Final = 1e-10


@printable
@dataclass(frozen=True, slots=True)
class Orientation:
    """An orientation.

    Attributes
    ----------
    name
        What people call it.
    roll_deg
        Roll of the loudspeakers left of the seat; those on the right are their mirror images.
    """

    name: str
    roll_deg: float


def read_orientations(text: str = USUAL) -> tuple[Orientation, ...]:
    """Read "upright,inverted,left,right,out,in" or rolls in degrees ("30"), each once, the first being the reference.

    Raises
    ------
    SceneError
        If one is not understood, or there is none.
    """
    orientations: dict[float, Orientation] = {}
    for word in (part.strip() for part in text.split(",")):
        if not word:
            continue
        if word in NAMED:
            orientation = Orientation(*NAMED[word])
        else:
            try:
                roll = (float(word) + 180.0) % 360.0 - 180.0
            except ValueError:
                roll = float("nan")
            if not np.isfinite(roll):
                raise SceneError(
                    "--orientations",
                    f'"{word}" is no orientation',
                    f"choose from {', '.join(NAMED)}, or give a roll in degrees",
                )
            orientation = Orientation(f"rolled by {roll:g} degrees", roll)
        orientations.setdefault(orientation.roll_deg % 360.0, orientation)
    if not orientations:
        raise SceneError("--orientations", "there is none", f"write it like {USUAL}")
    return tuple(orientations.values())


def oriented(blueprint: Blueprint, orientation: Orientation, keep: Keep, folder: Path | None = None) -> Blueprint:
    """The scene with every loudspeaker in an orientation.

    With keep "axis" the acoustic axis point stays where it is.  With "support" the box stays on what it stands on: its
    lowest corner keeps its height and the middle of the box its place in plan; the axis point follows.  Aiming at the
    ear stays aiming.  A loudspeaker without a box of its own keeps its axis.  `folder` is the scene's.

    Raises
    ------
    SceneError
        If a loudspeaker stands on nothing.
    """
    turned = []
    for index, record in enumerate(blueprint.loudspeakers):
        now = place(blueprint, record, support_top_m(blueprint, index, record), folder)
        roll = -orientation.roll_deg if now.side == "right" else orientation.roll_deg
        there = _turned(record, roll, now.axis_point)
        if keep == "support":
            there = _on_its_support(blueprint, there, now, folder)
        turned.append(there)
    return blueprint.model_copy(update={"loudspeakers": tuple(turned)})


def _on_its_support(
    blueprint: Blueprint, record: LoudspeakerRecord, now: PlacedLoudspeaker, folder: Path | None
) -> LoudspeakerRecord:
    stood = now.corners
    if stood is None:
        return record
    wanted = np.array([*stood.mean(axis=0)[:2], stood[:, 2].min()])
    point = np.array(now.axis_point)
    for _ in range(50):  # the aim at the ear changes a little as the axis point moves
        corners = place(blueprint, record, 0.0, folder).corners
        if corners is None:
            return record
        off = wanted - np.array([*corners.mean(axis=0)[:2], corners[:, 2].min()])
        if float(np.abs(off).max()) < SETTLED_M:
            break
        point = point + off
        record = _turned(record, record.roll_deg, point)
    return record


def _turned(record: LoudspeakerRecord, roll_deg: float, point: np.ndarray) -> LoudspeakerRecord:
    depth, across, up = (float(value) for value in point)
    return record.model_copy(
        update={"roll": roll_deg, "acoustic_axis": AxisPoint(from_front=depth, from_left=across, up=up)}
    )


# Drivers against each other: when their sound arrives along the seat, where the lobe at a crossover points, polars.

SEAT_REACH_M: Final = 1.5
"""How far to either side a null is looked for: an armchair beside the seat is within it."""
LOBE_REACH_DEG: Final = 60.0
LOBE_STEP_DEG: Final = 0.5
POLAR_STEP_DEG: Final = 2.0


@printable
@dataclass(frozen=True, slots=True)
class DriverTimes:
    """A driver and the next higher one along a line from left to right through the ear.

    Attributes
    ----------
    lower, upper, crossover_hz
        The drivers, and where they hand over.
    across_m, lag_ms
        (n,) places re the ear, positive to the right; arrival of the lower driver less that of the upper one.
    change_ms
        Largest less smallest lag over the head box.
    null_m
        Nearest place re the ear at which the lag differs from that at the ear by half a period of the crossover, where
        drivers that were in step cancel; nan when there is none within 1.5 m.
    """

    lower: str
    upper: str
    crossover_hz: float
    across_m: FloatArray
    lag_ms: FloatArray
    change_ms: float
    null_m: float


@printable
@dataclass(frozen=True, slots=True)
class Lobe:
    """Where a loudspeaker is loudest at a crossover, seen from its axis at the distance of the ear.

    Attributes
    ----------
    crossover_hz
        The crossover.
    up_deg, across_deg
        Above the axis, and to the seat's right.
    ear_under_db
        How far the ear lies under the loudest of both planes.
    """

    crossover_hz: float
    up_deg: float
    across_deg: float
    ear_under_db: float


@printable
@dataclass(frozen=True, slots=True)
class Polar:
    """Levels re the axis at the distance of the ear, energy mean over an octave round a crossover.

    Attributes
    ----------
    crossover_hz
        The crossover.
    angle_deg
        (angle,) to the seat's right, or upward.
    horizontal_db, vertical_db
        (angle,) in the horizontal and in the vertical plane.
    """

    crossover_hz: float
    angle_deg: FloatArray
    horizontal_db: FloatArray
    vertical_db: FloatArray


def driver_times(
    placed: PlacedLoudspeaker, ear: FloatArray, half_across_m: float, speed_of_sound_m_s: float
) -> tuple[DriverTimes, ...]:
    """Arrival times of neighbouring drivers along the seat, one entry a crossover.

    Of drivers that share a way, such as two woofers, the pair is told whose lag changes most.
    """
    across = np.linspace(-SEAT_REACH_M, SEAT_REACH_M, 601)
    points = ear + across[:, None] * np.array([0.0, 1.0, 0.0])
    lag = np.linalg.norm(points[:, None] - placed.driver_points, axis=2) / speed_of_sound_m_s
    head = np.linspace(-half_across_m, half_across_m, 61)
    ways = sorted({driver.way for driver in placed.model.drivers})
    reported = []
    for crossover, (below, above) in zip(placed.model.crossovers_hz, pairwise(ways), strict=False):
        pairs = product(_on_way(placed, below), _on_way(placed, above))
        times = [
            _times(placed, lower, upper, crossover, across, lag[:, lower] - lag[:, upper], head)
            for lower, upper in pairs
        ]
        reported.append(max(times, key=lambda one: round(one.change_ms, 6)))
    return tuple(reported)


def _times(
    placed: PlacedLoudspeaker,
    lower: int,
    upper: int,
    crossover_hz: float,
    across: FloatArray,
    lag: FloatArray,
    head: FloatArray,
) -> DriverTimes:
    at_ear = float(np.interp(0.0, across, lag))
    shifted = np.abs(lag - at_ear) - 0.5 / crossover_hz
    crossed = np.flatnonzero(shifted[:-1] * shifted[1:] <= 0.0)
    places = across[crossed] + np.diff(across)[crossed] * shifted[crossed] / (shifted[crossed] - shifted[crossed + 1])
    null = float(places[np.argmin(np.abs(places))]) if len(places) else float("nan")
    change_ms = float(1000.0 * np.ptp(np.interp(head, across, lag)))
    drivers = placed.model.drivers
    return DriverTimes(
        drivers[lower].name, drivers[upper].name, crossover_hz, frozen(across), frozen(1000.0 * lag), change_ms, null
    )


def lobes(placed: PlacedLoudspeaker, ear: FloatArray, speed_of_sound_m_s: float) -> tuple[Lobe, ...]:
    """Direction of the maximum at each crossover, in the upright and in the level plane through the axis."""
    distance = float(np.linalg.norm(ear - placed.axis_point))
    angles = np.arange(-LOBE_REACH_DEG, LOBE_REACH_DEG + 0.5 * LOBE_STEP_DEG, LOBE_STEP_DEG)
    found = []
    for crossover in placed.model.crossovers_hz:
        at = np.array([crossover])
        loudest, peaks = [], []
        for upright in (True, False):
            points = circle(placed, angles, distance, upright=upright)
            level = 20.0 * np.log10(np.abs(direct_pressure(placed, points, at, speed_of_sound_m_s)[:, 0]) + 1e-12)
            loudest.append(_peak_deg(angles, level))
            peaks.append(float(level.max()))
        here = 20.0 * np.log10(np.abs(direct_pressure(placed, ear[None], at, speed_of_sound_m_s)[0, 0]) + 1e-12)
        found.append(Lobe(crossover, loudest[0], loudest[1], max(0.0, max(peaks) - float(here))))
    return tuple(found)


def polars(placed: PlacedLoudspeaker, ear: FloatArray, speed_of_sound_m_s: float) -> tuple[Polar, ...]:
    """Polar levels in both planes round each crossover; round 2 kHz for a loudspeaker without any."""
    distance = float(np.linalg.norm(ear - placed.axis_point))
    angles = np.arange(-180.0, 180.0 + 0.5 * POLAR_STEP_DEG, POLAR_STEP_DEG)
    reported = []
    for crossover in placed.model.crossovers_hz or (2000.0,):
        frequencies = crossover * 2.0 ** (np.arange(-5.5, 6.0) / 12.0)
        both = []
        for upright in (False, True):
            points = circle(placed, angles, distance, upright=upright)
            energy = (np.abs(direct_pressure(placed, points, frequencies, speed_of_sound_m_s)) ** 2).mean(axis=1)
            on_axis = energy[len(angles) // 2]
            both.append(frozen(10.0 * np.log10(np.maximum(energy / on_axis, 1e-12))))
        reported.append(Polar(crossover, frozen(angles), both[0], both[1]))
    return tuple(reported)


def circle(placed: PlacedLoudspeaker, angles_deg: FloatArray, distance_m: float, *, upright: bool) -> FloatArray:
    """Points (n, 3) round the axis point, in the plane of axis and vertical, or of axis and horizontal across.

    The planes belong to the room: they do not roll with the box.
    """
    unrolled = placed.rotation @ rotation_of(0.0, 0.0, placed.roll_deg).T
    sideways = unrolled[:, 2] if upright else unrolled[:, 1]
    turn = np.radians(angles_deg)[:, None]
    return np.asarray(placed.axis_point + distance_m * (np.cos(turn) * unrolled[:, 0] + np.sin(turn) * sideways))


def _peak_deg(angles: FloatArray, level: FloatArray) -> float:
    """Angle of the maximum, by the parabola through it and its neighbours; of equal ones that nearest to the axis."""
    equal = np.flatnonzero(level >= level.max() - 1e-6)
    top = int(equal[np.argmin(np.abs(angles[equal]))])
    if not 0 < top < len(angles) - 1:
        return float(angles[top])
    low, middle, high = level[top - 1 : top + 2]
    bend = low - 2.0 * middle + high
    shift = 0.0 if bend >= -1e-9 else 0.5 * (low - high) / bend
    return float(angles[top] + np.clip(shift, -1.0, 1.0) * LOBE_STEP_DEG)


def _on_way(placed: PlacedLoudspeaker, way: int) -> list[int]:
    return [number for number, driver in enumerate(placed.model.drivers) if driver.way == way]
