"""What an orientation study shows, and its tables."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np

from sim.arrays import FloatArray, frozen
from sim.showing.numbers import number_cell, write_table
from sim.studies.orient.field import Facing, Reflection, loudest, near
from sim.studies.orient.study import OrientationStudy, Oriented, highest_crossover_hz

EQUAL_DB: Final = 0.5
UNCHANGED_DB: Final = 0.05
"""Less than this is rounding: the orientation changes nothing."""
LOW_HZ: Final = 400.0


@dataclass(frozen=True, slots=True)
class OrientationFindings:
    """One loudspeaker in all orientations; arrays are (orientation,) unless told otherwise.

    Attributes
    ----------
    name, kind, near_hz
        Which loudspeaker, of which kind, and its highest crossover (2 kHz without any).
    across_db, up_db, whole_db
        Largest spread among third-octaves near that crossover: along the seat, up and down, over the whole head box.
    change_db
        (third-octave,) largest difference between two orientations anywhere in the head box, of levels re its middle.
    ear_change_db
        (third-octave,) largest difference between two orientations of the direct sound at the middle of the head box.
    stacking_db
        Largest difference up to 400 Hz between upright and inverted, of levels re the middle and of the middle itself;
        nan without both orientations.
    equal_up_to_hz
        Highest third-octave up to which all orientations are equal within 0.5 dB; 0 if there is none.
    desk, ceiling
        Loudest surface that faces up, and down; None where nothing arrives or the orientation does not fit.
    """

    name: str
    kind: str
    near_hz: float
    across_db: FloatArray
    up_db: FloatArray
    whole_db: FloatArray
    change_db: FloatArray
    ear_change_db: FloatArray
    stacking_db: float
    equal_up_to_hz: float
    desk: tuple[Reflection | None, ...]
    ceiling: tuple[Reflection | None, ...]

    @property
    def unchanged(self) -> bool:
        """Whether no orientation changes the direct sound anywhere in the head box."""
        return bool(max(self.change_db.max(), self.ear_change_db.max()) < UNCHANGED_DB)

    def most_even(self) -> tuple[int, ...]:
        """Orientations with the least spread over the whole box near the crossover, equal within 0.5 dB."""
        return tuple(int(i) for i in np.flatnonzero(self.whole_db <= self.whole_db.min() + EQUAL_DB))


def find(study: OrientationStudy) -> tuple[OrientationFindings, ...]:
    """Findings for each loudspeaker of a study."""
    return tuple(_find(study.of(name)) for name in study.names)


def softest(found: Sequence[Reflection | None]) -> tuple[int, ...]:
    """Orientations in which a reflection is weakest, equal within 0.5 dB; none where it never arrives."""
    levels = np.array([np.nan if one is None else one.high_db for one in found])
    if not np.isfinite(levels).any():
        return ()
    return tuple(int(i) for i in np.flatnonzero(levels <= np.nanmin(levels) + EQUAL_DB))


def twins(study: OrientationStudy, one: str, other: str) -> bool:
    """Whether two loudspeakers are mirror images throughout: spreads and loudest reflections within 0.5 dB."""
    for a, b in zip(study.of(one), study.of(other), strict=True):
        first, second = a.thirds, b.thirds
        for left, right in ((first.across_db, second.across_db), (first.pattern_db, second.pattern_db)):
            if float(np.abs(left - right).max()) > EQUAL_DB:
                return False
        ways: tuple[Facing, ...] = ("up", "down")
        for facing in ways:
            x, y = loudest(a.reflections, facing), loudest(b.reflections, facing)
            if (x is None) != (y is None) or (
                x is not None and y is not None and abs(x.high_db - y.high_db) > EQUAL_DB
            ):
                return False
    return True


def _stacking_db(orientations: Sequence[Oriented]) -> float:
    ways = {round(abs(one.orientation.roll_deg)): one for one in orientations}
    if not {0, 180} <= set(ways):
        return float("nan")
    low = orientations[0].thirds.bands.nominal_hz <= LOW_HZ
    one, other = ways[0].pattern_db[:, low], ways[180].pattern_db[:, low]
    middle = len(one) // 2
    shape = np.abs((one - one[middle]) - (other - other[middle])).max()
    return float(max(shape, np.abs(one[middle] - other[middle]).max()))


def _find(orientations: tuple[Oriented, ...]) -> OrientationFindings:
    model = orientations[0].placed.model
    crossover = highest_crossover_hz(orientations[0].placed)
    bands = orientations[0].thirds.bands
    mine = near(bands.exact_hz, crossover)
    levels = np.stack([one.pattern_db for one in orientations])
    middle = levels[:, levels.shape[1] // 2]
    change = np.ptp(levels - middle[:, None], axis=0).max(axis=0)
    unequal = np.flatnonzero(change > EQUAL_DB)
    highest = len(change) if not len(unequal) else int(unequal[0])
    return OrientationFindings(
        orientations[0].name,
        model.kind,
        crossover,
        frozen(np.array([one.thirds.across_db[mine].max() for one in orientations])),
        frozen(np.array([one.thirds.up_db[mine].max() for one in orientations])),
        frozen(np.array([one.thirds.pattern_db[mine].max() for one in orientations])),
        frozen(change),
        frozen(np.ptp(middle, axis=0)),
        _stacking_db(orientations),
        float(bands.nominal_hz[highest - 1]) if highest else 0.0,
        tuple(loudest(one.reflections, "up") for one in orientations),
        tuple(loudest(one.reflections, "down") for one in orientations),
    )


# Tables of an orientation study: evenness per band, drivers, their times along the seat, surfaces, reflection points.
#
# UTF-8, comma separated; an empty cell means that there is nothing to say.

Row = list[str]
SEAT_STEP_M: Final = 0.10


def write_orientation(study: OrientationStudy, folder: Path) -> None:
    """Write orientation.csv, drivers.csv, driver_times.csv, surfaces.csv, driver_reflection_points.csv into a folder.

    Raises
    ------
    OutputError
        If one cannot be written.
    """
    first = ["loudspeaker", "orientation", "roll_deg"]
    spreads = [f"{what}_spread_db" for what in ("across", "up", "whole", "heard")]
    write_table(folder / "orientation.csv", [*first, "band", "band_hz", *spreads, "low_db", "high_db"], _bands(study))
    drivers = ["crossover_hz", "lower", "upper", "lag_change_ms", "null_across_m", "lobe_up_deg", "lobe_right_deg"]
    write_table(folder / "drivers.csv", [*first, *drivers, "ear_under_lobe_db"], _drivers(study))
    lags = ["crossover_hz", "lower", "upper", "right_of_ear_m", "lag_ms", "lag_re_ear_ms"]
    write_table(folder / "driver_times.csv", [*first, *lags], _times(study))
    octaves = [f"level_{hz:g}_hz_db" for hz in study.octaves.nominal_hz]
    levels = ["worst_db", "lowest_db", "highest_db", "delay_ms"]
    write_table(folder / "surfaces.csv", [*first, "surface", "facing", *levels, *octaves], _surfaces(study))
    places = ["from_front_m", "from_left_m", "up_m", "inside_by_m"]
    write_table(folder / "driver_reflection_points.csv", [*first, "surface", "driver", *places], _points(study))


def _each(study: OrientationStudy) -> Iterator[tuple[Row, Oriented]]:
    for name in study.names:
        for one in study.of(name):
            yield [name, one.orientation.name, f"{one.roll_deg:g}"], one


def _bands(study: OrientationStudy) -> Iterator[Row]:
    for start, one in _each(study):
        for kind, even in (("octave", one.octaves), ("third-octave", one.thirds)):
            for band, hz in enumerate(even.bands.nominal_hz):
                rows = (even.across_db, even.up_db, even.pattern_db, even.heard_db, even.low_db, even.high_db)
                yield [*start, kind, f"{hz:g}", *(_number(float(values[band])) for values in rows)]


def _drivers(study: OrientationStudy) -> Iterator[Row]:
    for start, one in _each(study):
        for times, lobe in zip(one.times, one.lobes, strict=False):
            yield [
                *start,
                f"{times.crossover_hz:g}",
                times.lower,
                times.upper,
                _number(times.change_ms, 4),
                _number(times.null_m, 3),
                _number(lobe.up_deg),
                _number(lobe.across_deg),
                _number(lobe.ear_under_db),
            ]


def _times(study: OrientationStudy) -> Iterator[Row]:
    """Arrival of the lower driver less that of the upper one, every 10 cm along the seat."""
    for start, one in _each(study):
        for times in one.times:
            reach = round(float(times.across_m[-1]) / SEAT_STEP_M)
            at_ear = float(np.interp(0.0, times.across_m, times.lag_ms))
            for step in range(-reach, reach + 1):
                lag = float(np.interp(step * SEAT_STEP_M, times.across_m, times.lag_ms))
                yield [
                    *start,
                    f"{times.crossover_hz:g}",
                    times.lower,
                    times.upper,
                    _number(step * SEAT_STEP_M),
                    _number(lag, 4),
                    _number(lag - at_ear, 4),
                ]


def _surfaces(study: OrientationStudy) -> Iterator[Row]:
    for start, one in _each(study):
        for each in one.reflections:
            levels = (each.worst_db, each.low_db, each.high_db)
            yield [
                *start,
                each.surface,
                each.facing,
                *(_number(value) for value in levels),
                _number(each.delay_ms, 3),
                *(_number(float(value)) for value in each.level_db),
            ]


def _points(study: OrientationStudy) -> Iterator[Row]:
    for start, one in _each(study):
        for each in one.reflections:
            for driver, point, clear in zip(each.drivers, each.point_m, each.clear_m, strict=True):
                if math.isfinite(float(point[0])):
                    places = (*(float(value) for value in point), float(clear))
                    yield [*start, each.surface, driver, *(_number(value, 3) for value in places)]


def _number(value: float, decimals: int = 2) -> str:
    return number_cell(value, decimals)
