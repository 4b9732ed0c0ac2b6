"""Tables of an orientation study: evenness per band, drivers, their times along the seat, surfaces, reflection points.

UTF-8, comma separated; an empty cell means that there is nothing to say.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from pathlib import Path
from typing import Final

import numpy as np

from sim.showing.cells import number_cell, write_table
from sim.studies.orient.study import OrientationStudy, Posed

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


def _each(study: OrientationStudy) -> Iterator[tuple[Row, Posed]]:
    for name in study.names:
        for one in study.of(name):
            yield [name, one.pose.name, f"{one.roll_deg:g}"], one


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
