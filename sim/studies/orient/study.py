"""Upright, inverted, on a side: the same loudspeakers in several orientations, in the same numbers.

What the loudspeaker itself does (evenness over the head box, arrival of its drivers, lobes, polars) needs no room; what
desk and ceiling send back does, and is missing for an orientation that does not fit into the room.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, ClassVar, Final, get_args

import numpy as np

from sim.acoustics.air import Air
from sim.acoustics.bands import Bands, octave_bands, third_octave_bands
from sim.answers import Answer, Labelled, printable
from sim.arrays import FloatArray, frozen
from sim.blueprint.reader import AnyScene, SceneFile, made_scene, read_scene
from sim.blueprint.schema import Blueprint
from sim.errors import SceneError
from sim.pipeline import trace_trial
from sim.placement.built_scene import BuiltScene, build_scene
from sim.placement.poses import PlacedLoudspeaker, place
from sim.progress import Report, say_nothing
from sim.responses.measure import SAME_DB, Measure, measure_of
from sim.studies.orient.drivers import (
    USUAL,
    DriverTimes,
    Keep,
    Lobe,
    Orientation,
    Polar,
    driver_times,
    lobes,
    oriented,
    polars,
    read_orientations,
)
from sim.studies.orient.field import Evenness, Reflection, evenness, head_points, near, pattern_levels_db, reflections

MAP_GRID: Final = (25, 25, 1)
NO_CROSSOVER_HZ: Final = 2000.0


@printable
@dataclass(frozen=True, slots=True)
class Oriented:
    """One loudspeaker in one orientation.

    Attributes
    ----------
    orientation, name, roll_deg
        Which orientation, which loudspeaker, and its own roll (mirrored on the right of the seat).
    placed
        Where it is and how it is turned.
    octaves, thirds
        Evenness over the head box per octave and third-octave.
    pattern_db
        (point, third-octave) levels over the head box, the spreading from the axis point taken out.
    map_db
        (depth, across) levels at ear height re the middle, in the third-octave near the highest crossover that differs
        most over the head box.
    times, lobes, polars
        Of its drivers, one a crossover (polars round 2 kHz without any).
    reflections
        First-order sound of the surfaces; empty when the orientation does not fit.
    trouble
        Why it does not fit into the room, or empty.
    """

    orientation: Orientation
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


@dataclass(frozen=True, slots=True, repr=False)
class OrientationStudy(Answer):
    """All loudspeakers in all orientations, the first being the reference.

    Attributes
    ----------
    scene
        What was asked.
    orientations
        The orientations.
    keep
        "axis" if the acoustic axis point stays where it is, "support" if the box stays on what it stands on.
    head_box
        (3,) full sizes in metres of the box the head stays in: depth, across, up.
    octaves
        125 Hz to 16 kHz.
    oriented
        `oriented[orientation][loudspeaker]`.
    measures, aimed
        (orientation) what it is judged by as it is aimed, and aimed at the ear; of trials,
        mirrors of two orders alone.  None where it does not fit.
    turned_deg
        (orientation) by how much the first loudspeaker is then tilted further down than as it is; nan where it does not
        fit.
    """

    question: ClassVar[str] = "orient"

    scene: SceneFile
    orientations: tuple[Orientation, ...]
    keep: Keep
    head_box: FloatArray
    octaves: Bands
    oriented: tuple[tuple[Oriented, ...], ...]
    measures: tuple[Measure | None, ...]
    aimed: tuple[Measure | None, ...]
    turned_deg: tuple[float, ...]

    @property
    def names(self) -> tuple[str, ...]:
        """Names of the loudspeakers."""
        return tuple(one.name for one in self.oriented[0])

    def of(self, name: str) -> tuple[Oriented, ...]:
        """One loudspeaker in all orientations."""
        number = self.names.index(name)
        return tuple(row[number] for row in self.oriented)

    def headline(self) -> str:
        """Whether to turn them, to aim them first, or to leave them."""
        names = [one.name for one in self.orientations]
        totals = [np.inf if one is None else one.total_db for one in self.aimed]
        best, now = int(np.argmin(totals)), self.measures[0]
        if now is None or not np.isfinite(totals[0]):
            return f"{names[0]} does not fit here; {names[best]}, aimed at the ear, measures {totals[best]:.1f} dB"
        gain, tilt = now.total_db - totals[0], self.turned_deg[0]
        way = f"{abs(tilt):.1f} degrees {'down' if tilt > 0.0 else 'up'}"
        aim = (
            f"Tilt first: {names[0]}, turned {way} to aim at the ear, measures {totals[0]:.1f} dB, "
            f"{now.total_db:.1f} dB as it is"
        )
        if totals[0] - totals[best] < SAME_DB:
            rest = f"no other orientation, aimed alike, is better by {SAME_DB:g} dB"
            return (
                f"{aim}; {rest}" if gain >= SAME_DB else f"Leave them {names[0]}: measure {now.total_db:.1f} dB; {rest}"
            )
        turn = f"{names[best]}, aimed at the ear, measures {totals[best]:.1f} dB"
        if gain >= SAME_DB:
            return f"{aim}; then {turn}"
        return f"Turn them: {turn}, {names[0]} aimed alike {totals[0]:.1f} dB"

    def rows(self) -> list[dict[str, Any]]:
        """One row for each orientation, loudspeaker and octave: evenness over the head box in dB."""
        return [
            {
                "orientation": orientation.name,
                "loudspeaker": one.name,
                "roll_deg": one.roll_deg,
                "octave_hz": float(octave),
                "pattern_db": float(one.octaves.pattern_db[band]),
                "across_db": float(one.octaves.across_db[band]),
                "up_db": float(one.octaves.up_db[band]),
                "heard_db": float(one.octaves.heard_db[band]),
                "fits": not one.trouble,
            }
            for orientation, row in zip(self.orientations, self.oriented, strict=True)
            for one in row
            for band, octave in enumerate(self.octaves.nominal_hz)
        ]

    def _axes(self) -> Mapping[str, tuple[Any, str]]:
        return {
            "orientation": ([orientation.name for orientation in self.orientations], ""),
            "loudspeaker": (list(self.names), ""),
            "octave": (self.octaves.nominal_hz, "Hz"),
        }

    def _arrays(self) -> Mapping[str, Labelled]:
        names = ("pattern_db", "across_db", "up_db", "heard_db")
        return {
            name: (
                ("orientation", "loudspeaker", "octave"),
                [[getattr(one.octaves, name) for one in row] for row in self.oriented],
                "dB",
            )
            for name in names
        }


def orient(
    scene: AnyScene,
    orientations: str | Sequence[str | float] = USUAL,
    keep: Keep = "axis",
    report: Report = say_nothing,
) -> OrientationStudy:
    """Work out what upright, inverted or lying loudspeakers do at the head, the desk and the ceiling.

    Parameters
    ----------
    scene
        The room.
    orientations
        "upright", "inverted", "left", "right", "out", "in", or rolls in degrees; the first is the reference.
    keep
        What stays where it is: the acoustic "axis" point, or the box on its "support".
    report
        Called with a few words at the start of each stage.

    Raises
    ------
    SceneError
        If the scene itself cannot be, an orientation is not understood, or none fits into the room.
    """
    if keep not in get_args(Keep):
        raise SceneError("--keep", f'it is "{keep}"', 'write "axis" or "support"')
    asked = read_orientations(
        orientations if isinstance(orientations, str) else ",".join(str(each) for each in orientations)
    )
    return study_orientation(read_scene(scene), asked, keep, report)


def study_orientation(
    scene: SceneFile, orientations: Sequence[Orientation], keep: Keep = "axis", report: Report = say_nothing
) -> OrientationStudy:
    """Work out every orientation of a scene's loudspeakers.

    Raises
    ------
    SceneError
        If the scene itself cannot be, or no orientation fits into the room.
    """
    build_scene(scene.blueprint, scene.folder)
    octaves = octave_bands(125, 16000)
    rows, troubles = [], []
    for orientation in orientations:
        report(orientation.name)
        row = _oriented(scene, orientation, keep, octaves)
        rows.append(row)
        troubles.append(row[0].trouble)
    if all(troubles):
        raise SceneError("--orientations", f"none of them fits into the room ({troubles[0]})", "try --keep support")
    box = scene.blueprint.listener.head_box
    measures, aimed, turned = [], [], []
    for orientation, row in zip(orientations, rows, strict=True):
        report(f"judging {orientation.name} as it is and aimed at the ear")
        now = oriented(scene.blueprint, orientation, keep, scene.folder)
        aim = oriented(_aimed(scene.blueprint), orientation, keep, scene.folder)
        measures.append(_judged(scene, now)[0])
        measure, tilt_deg = (measures[-1], row[0].placed.tilt_deg) if aim == now else _judged(scene, aim)
        aimed.append(measure)
        turned.append(tilt_deg - row[0].placed.tilt_deg)
    return OrientationStudy(
        scene,
        tuple(orientations),
        keep,
        frozen(np.array([box.depth, box.across, box.up])),
        octaves,
        tuple(rows),
        tuple(measures),
        tuple(aimed),
        tuple(turned),
    )


def _aimed(blueprint: Blueprint) -> Blueprint:
    """The scene with every loudspeaker that can be turned aimed at the ear."""
    aim = {"tilt_deg": "ear", "toe_in_deg": "ear"}
    turned = [one if one.standing == "built in" else one.model_copy(update=aim) for one in blueprint.loudspeakers]
    return blueprint.model_copy(update={"loudspeakers": tuple(turned)})


def _judged(scene: SceneFile, blueprint: Blueprint) -> tuple[Measure | None, float]:
    """What a layout is judged by as a trial, and the tilt of its first loudspeaker; None where it cannot be."""
    try:
        results = trace_trial(made_scene(blueprint, scene.folder, scene.path))
    except SceneError:
        return None, float("nan")
    return measure_of(results), float(results.built.loudspeakers[0].tilt_deg)


def _oriented(scene: SceneFile, orientation: Orientation, keep: Keep, octaves: Bands) -> tuple[Oriented, ...]:
    blueprint = oriented(scene.blueprint, orientation, keep, scene.folder)
    built: BuiltScene | None = None
    trouble = ""
    try:
        built = build_scene(blueprint, scene.folder)
    except SceneError as fault:
        trouble = f"{fault.where}: {fault.found}"
    placed = [place(blueprint, record, 0.0, scene.folder) for record in blueprint.loudspeakers]
    found: tuple[tuple[Reflection, ...], ...] = tuple(() for _ in placed)
    if built is not None:
        placed = list(built.loudspeakers)
        found = reflections(built, blueprint.target, octaves)
    air = Air(blueprint.air.temperature_c, blueprint.air.relative_humidity_percent, blueprint.air.pressure_kpa)
    speed = air.speed_of_sound_m_s
    listener = blueprint.listener
    ear = np.array(listener.ear.coordinates)
    box = np.array([listener.head_box.depth, listener.head_box.across, listener.head_box.up])
    thirds = third_octave_bands(100, 16000)
    row = []
    for one, mine in zip(placed, found, strict=True):
        even = evenness(one, ear, box, thirds, speed)
        row.append(
            Oriented(
                orientation,
                one.name,
                one.roll_deg,
                one,
                evenness(one, ear, box, octaves, speed),
                even,
                frozen(pattern_levels_db(one, head_points(ear, box).reshape(-1, 3), thirds, speed)),
                frozen(_map(one, even, ear, box, speed)),
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


def _map(placed: PlacedLoudspeaker, thirds: Evenness, ear: FloatArray, box: FloatArray, speed: float) -> FloatArray:
    """Levels (depth, across) at ear height re the ear, in the third-octave near the crossover that differs most."""
    bands = thirds.bands
    mine = near(bands.exact_hz, highest_crossover_hz(placed))
    worst = mine[[int(np.argmax(thirds.pattern_db[mine]))]]
    band = Bands(*(getattr(bands, key)[worst] for key in ("nominal_hz", "exact_hz", "lower_hz", "upper_hz")))
    points = head_points(ear, box * np.array([1.0, 1.0, 0.0]), MAP_GRID)
    levels = pattern_levels_db(placed, points, band, speed)[:, :, 0, 0]
    return np.asarray(levels - levels[MAP_GRID[0] // 2, MAP_GRID[1] // 2])
