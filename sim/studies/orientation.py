"""Upright, inverted, on a side: the same loudspeakers in several poses, in the same numbers.

What the loudspeaker itself does (evenness over the head box, arrival of its drivers, lobes, polars) needs no room; what
desk and ceiling send back does, and is missing for a pose that does not fit into the room.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from ..acoustics.air import Air
from ..acoustics.bands import Bands, octave_bands, third_octave_bands
from ..arrays import FloatArray, frozen
from ..blueprint.reader import SceneFile
from ..errors import SceneError
from ..placement.poses import PlacedLoudspeaker, place
from ..placement.stage import Stage, set_stage
from .orientation_drivers import DriverTimes, Lobe, Polar, driver_times, lobes, polars
from .orientation_field import Evenness, evenness, head_points, pattern_levels_db
from .orientation_poses import Keep, Pose, posed
from .orientation_surfaces import Reflection, reflections

MAP_GRID: Final = (25, 25, 1)
NO_CROSSOVER_HZ: Final = 2000.0


@dataclass(frozen=True, slots=True)
class Posed:
    """One loudspeaker in one pose.

    Attributes
    ----------
    pose, name, roll_deg
        Which pose, which loudspeaker, and its own roll (mirrored on the right of the seat).
    placed
        Where it is and how it is turned.
    octaves, thirds
        Evenness over the head box per octave and third-octave.
    pattern_db
        (point, third-octave) levels over the head box, the spreading from the axis point taken out.
    map_db
        (depth, across) levels at ear height re the middle, in the octave round the highest crossover.
    times, lobes, polars
        Of its drivers, one a crossover (polars round 2 kHz without any).
    reflections
        First-order sound of the surfaces; empty when the pose does not fit.
    trouble
        Why it does not fit into the room, or empty.
    """

    pose: Pose
    name: str
    roll_deg: float
    placed: PlacedLoudspeaker
    octaves: Evenness
    thirds: Evenness
    pattern_db: FloatArray
    map_db: FloatArray
    times: tuple[DriverTimes, ...]
    lobes: tuple[Lobe, ...]
    polars: tuple[Polar, ...]
    reflections: tuple[Reflection, ...]
    trouble: str


@dataclass(frozen=True, slots=True)
class OrientationStudy:
    """All loudspeakers in all poses: `posed[pose][loudspeaker]`, the first pose being the reference."""

    scene: SceneFile
    poses: tuple[Pose, ...]
    keep: Keep
    head_box: FloatArray
    octaves: Bands
    posed: tuple[tuple[Posed, ...], ...]

    @property
    def names(self) -> tuple[str, ...]:
        """Names of the loudspeakers."""
        return tuple(one.name for one in self.posed[0])

    def of(self, name: str) -> tuple[Posed, ...]:
        """One loudspeaker in all poses."""
        number = self.names.index(name)
        return tuple(row[number] for row in self.posed)


def study_orientation(
    scene: SceneFile, poses: Sequence[Pose], keep: Keep = "axis", report: Callable[[str], None] = lambda _: None
) -> OrientationStudy:
    """Work out every pose of a scene's loudspeakers.

    Raises
    ------
    SceneError
        If the scene itself cannot be, or no pose fits into the room.
    """
    set_stage(scene.blueprint, scene.folder)
    octaves = octave_bands(125, 16000)
    rows, troubles = [], []
    for pose in poses:
        report(pose.name)
        row = _posed(scene, pose, keep, octaves)
        rows.append(row)
        troubles.append(row[0].trouble)
    if all(troubles):
        raise SceneError("--poses", f"none of them fits into the room ({troubles[0]})", "try --keep support")
    box = scene.blueprint.listener.head_box
    return OrientationStudy(
        scene, tuple(poses), keep, frozen(np.array([box.depth, box.across, box.up])), octaves, tuple(rows)
    )


def _posed(scene: SceneFile, pose: Pose, keep: Keep, octaves: Bands) -> tuple[Posed, ...]:
    blueprint = posed(scene.blueprint, pose, keep, scene.folder)
    stage: Stage | None = None
    trouble = ""
    try:
        stage = set_stage(blueprint, scene.folder)
    except SceneError as fault:
        trouble = f"{fault.where}: {fault.found}"
    placed = [place(blueprint, record, 0.0, scene.folder) for record in blueprint.loudspeakers]
    found: tuple[tuple[Reflection, ...], ...] = tuple(() for _ in placed)
    if stage is not None:
        placed = list(stage.loudspeakers)
        found = reflections(stage, blueprint.target, octaves)
    air = Air(blueprint.air.temperature_c, blueprint.air.relative_humidity_percent, blueprint.air.pressure_kpa)
    speed = air.speed_of_sound_m_s
    listener = blueprint.listener
    ear = np.array(listener.ear.coordinates)
    box = np.array([listener.head_box.depth, listener.head_box.across, listener.head_box.up])
    thirds = third_octave_bands(100, 16000)
    row = []
    for one, mine in zip(placed, found, strict=True):
        row.append(
            Posed(
                pose,
                one.name,
                one.roll_deg,
                one,
                evenness(one, ear, box, octaves, speed),
                evenness(one, ear, box, thirds, speed),
                frozen(pattern_levels_db(one, head_points(ear, box).reshape(-1, 3), thirds, speed)),
                frozen(_map(one, ear, box, speed)),
                driver_times(one, ear, 0.5 * float(box[1]), speed),
                lobes(one, ear, speed),
                polars(one, ear, speed),
                mine,
                trouble,
            )
        )
    return tuple(row)


def highest_crossover_hz(placed: PlacedLoudspeaker) -> float:
    """The highest crossover of a loudspeaker, or 2 kHz without any."""
    return placed.model.crossovers_hz[-1] if placed.model.crossovers_hz else NO_CROSSOVER_HZ


def _map(placed: PlacedLoudspeaker, ear: FloatArray, box: FloatArray, speed: float) -> FloatArray:
    """Levels (depth, across) at ear height re the ear, in the octave round the highest crossover."""
    middle = highest_crossover_hz(placed)
    band = Bands(*(np.array([middle * factor]) for factor in (1.0, 1.0, 2.0**-0.5, 2.0**0.5)))
    points = head_points(ear, box * np.array([1.0, 1.0, 0.0]), MAP_GRID)
    levels = pattern_levels_db(placed, points, band, speed)[:, :, 0, 0]
    return np.asarray(levels - levels[MAP_GRID[0] // 2, MAP_GRID[1] // 2])
