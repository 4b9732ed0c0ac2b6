"""Tables for a spreadsheet: every arrival, every reflection point with its tape distances, the ear's levels."""

from __future__ import annotations

import math
from collections.abc import Iterator
from pathlib import Path
from typing import Final, TypeAlias

import numpy as np

from sim.acoustics.levels import SILENCE_DB
from sim.arrays import FloatArray
from sim.propagation.paths import FRAGILE_M, Candidate
from sim.responses.records import Arrival, Part, Results
from sim.showing.archive.results import write_results
from sim.showing.numbers import format_length, number_cell, write_records, write_table, yes_cell
from sim.showing.readme import write_readme
from sim.showing.tape import tape_coordinates

COLUMNS = (
    "loudspeaker",
    "listener",
    "driver",
    "without",
    "without_kind",
    "third_octave_hz",
    "level_db",
    "adds_db",
    "judged",
    "window_ms",
    "with_room_db",
)
ALL_DRIVERS = "all"
KINDS: Final = {"direct": "direct", "mirrored": "specular", "edge": "diffracted"}
"""Kinds of arrivals as results.h5 has them, too."""


def write_ear_response(results: Results, path: Path) -> None:
    """Write ear_response.csv: one row a loudspeaker, listener, driver, thing left out, and third-octave.

    Levels are re the direct sound of the whole loudspeaker in the same band.  Rows with an empty "without" hold the
    response with everything in place; "adds_db" is that level less the one of the row: what the thing adds.  All of it
    is of the sound inside the window; "with_room_db" has the energy after it added as energy.

    Raises
    ------
    OutputError
        If the file cannot be written.
    """
    write_table(path, COLUMNS, _rows(results))


def _rows(results: Results) -> Iterator[list[str]]:
    built, levels, window = results.built, results.responses.response.levels, results.responses.response.window
    judged = levels.bands.lower_hz >= results.responses.transition_hz
    for s, loudspeaker in enumerate(built.loudspeakers):
        for place, listener in enumerate(built.listener_names):
            tables = [(ALL_DRIVERS, levels.whole_db[s, place])]
            tables += [
                (driver.name, levels.driver_db[s, d, place]) for d, driver in enumerate(loudspeaker.model.drivers)
            ]
            for driver_name, table in tables:
                for case, (kind, name) in enumerate(zip(levels.kinds, levels.without, strict=True)):
                    for band, nominal_hz in enumerate(levels.bands.nominal_hz):
                        level, whole = float(table[case, band]), float(table[0, band])
                        silent = min(level, whole) <= SILENCE_DB
                        yield [
                            loudspeaker.name,
                            listener,
                            driver_name,
                            name,
                            kind if case else "",
                            f"{nominal_hz:g}",
                            number_cell(level, 2),
                            "" if silent or not case else number_cell(whole - level, 2),
                            yes_cell(judged[band]),
                            f"{window.window_ms:g}",
                            number_cell(float(window.with_room_db[s, place, band]), 2)
                            if driver_name == ALL_DRIVERS and not case and window.with_room_db.size
                            else "",
                        ]


# Tables for a spreadsheet: every arrival, and every reflection point with its tape distances.
#
# UTF-8, comma separated, one line of headings that name the unit.  An empty cell means that there is nothing to say:
# no level, no notch, no limit.

__all__ = ["write_arrivals", "write_ear_response", "write_notches", "write_readme", "write_reflection_points"]

Row: TypeAlias = dict[str, str]
POINT_COLUMNS = ("loudspeaker", "listener", "driver", "surface", "status")
NOTCH_COLUMNS = (
    "loudspeaker",
    "listener",
    "frequency_hz",
    "depth_db",
    "driver",
    "surface",
    "rise_without_it_db",
    "panel",
    "rise_without_panel_db",
    "present",
)
DECIMALS = {"_m": 4, "_ms": 4, "_db": 2, "_deg": 2, "_hz": 1}
"""Finer than a tape and than the calculation deserves, so that rounding never shows."""


def write_arrivals(results: Results, path: Path) -> None:
    """Write one row for each loudspeaker, listener and arrival, and one for each driver's share of it.

    Rows with driver "all" hold the level of all drivers together; their times, lengths and angles are those of the
    driver that matters most in the target band.

    Raises
    ------
    OutputError
        If the file cannot be written.
    """
    rows = []
    for arrival in results.responses.arrivals:
        rows.append(_arrival_row(results, arrival, ALL_DRIVERS, arrival.main, arrival.level_db))
        rows += [_arrival_row(results, arrival, part.driver, part, part.level_db) for part in arrival.parts]
    write_records(path, rows, POINT_COLUMNS)


def write_reflection_points(results: Results, path: Path) -> None:
    """Write one row for each loudspeaker, driver, listener and surface that mirrors once, with tape distances.

    Surfaces that only just miss, and those only just hidden, are listed too, with their status and without levels.  One
    whose point lies beside it and that is heard all the same is listed once, as reaching, with the nearest of its rim.

    Raises
    ------
    OutputError
        If the file cannot be written.
    """
    rows = []
    listed: set[tuple[str, str, str, int]] = set()
    for arrival in results.responses.arrivals:
        if arrival.order == 1 and not arrival.diffracted:
            rows += [_reaching_row(results, arrival, part) for part in arrival.parts]
            listed |= {
                (arrival.loudspeaker, arrival.listener, part.driver, int(results.paths.facets[part.path, 0]))
                for part in arrival.parts
            }
    for one in results.candidates:
        key = (one.loudspeaker, results.built.listener_names[one.listener], one.driver, one.facet)
        if one.status in ("misses", "blocked") and one.fragile and key not in listed:
            rows.append(_failing_row(results, one))
    order = {name: number for number, name in enumerate(results.built.listener_names)}
    rows.sort(key=lambda row: (row["loudspeaker"], order[row["listener"]], row["surface"], row["driver"]))
    write_records(path, rows, POINT_COLUMNS)


def write_notches(results: Results, path: Path) -> None:
    """Write notches.csv: one row a notch, the deepest first for each loudspeaker and listener.

    Those that are not present come last: a panel keeps them away.
    """
    rows = [
        {
            "loudspeaker": notch.loudspeaker,
            "listener": notch.listener,
            "frequency_hz": f"{notch.frequency_hz:.0f}",
            "depth_db": f"{notch.depth_db:.1f}",
            "driver": notch.driver,
            "surface": notch.surface,
            "rise_without_it_db": f"{notch.rise_db:.1f}" if notch.surface else "",
            "panel": notch.panel,
            "rise_without_panel_db": f"{notch.panel_rise_db:.1f}" if notch.panel else "",
            "present": yes_cell(notch.present),
        }
        for notch in results.responses.notches
    ]
    write_records(path, rows, NOTCH_COLUMNS)


def _arrival_row(results: Results, arrival: Arrival, driver: str, part: Part, levels: FloatArray) -> Row:
    whole = driver == ALL_DRIVERS
    return {
        "loudspeaker": arrival.loudspeaker,
        "listener": arrival.listener,
        "number": str(arrival.number),
        "driver": driver,
        "kind": KINDS[arrival.kind],
        "via": arrival.via,
        "materials": " > ".join(arrival.materials),
        "panels": " > ".join(arrival.panels) if any(arrival.panels) else "",
        **_numbers(
            delay_ms=part.delay_ms,
            flight_time_ms=part.flight_time_ms,
            extra_path_m=part.extra_path_m,
            length_m=part.length_m,
        ),
        **_levels(results, levels),
        **_numbers(
            worst_db=arrival.worst_db if whole else math.nan,
            worst_band_hz=arrival.worst_band_hz if whole else math.nan,
            departure_deg=part.departure_deg,
            arrival_azimuth_deg=part.arrival_azimuth_deg,
            arrival_elevation_deg=part.arrival_elevation_deg,
            margin_m=part.margin_m,
        ),
        "margin_cause": part.margin_cause,
        "fragile": yes_cell(part.margin_m < FRAGILE_M),
        "blocked": yes_cell(arrival.blocked),
        **_numbers(**{f"notch_{n}_hz": notch if whole else math.nan for n, notch in enumerate(arrival.notches_hz, 1)}),
    }


def _reaching_row(results: Results, arrival: Arrival, part: Part) -> Row:
    facet = int(results.paths.facets[part.path, 0])
    return {
        "loudspeaker": arrival.loudspeaker,
        "listener": arrival.listener,
        "driver": part.driver,
        **_surface(results, facet),
        "panel": arrival.panels[0] if arrival.panels else "",
        "status": "reaches",
        "fragile": yes_cell(part.margin_m < FRAGILE_M),
        "why": part.margin_cause,
        **_numbers(margin_m=part.margin_m, delay_ms=part.delay_ms, extra_path_m=part.extra_path_m),
        **_place(results, facet, part.points[0]),
        **_levels(results, part.level_db),
    }


def _failing_row(results: Results, candidate: Candidate) -> Row:
    missing = candidate.status == "misses"
    why = "the point lies outside the surface" if missing else f"blocked by the {candidate.blocked_by}"
    extra_m = candidate.delay_ms / 1000.0 * results.built.air.speed_of_sound_m_s
    margin_m = abs(candidate.rim_m) if missing else candidate.shade_m
    return {
        "loudspeaker": candidate.loudspeaker,
        "listener": results.built.listener_names[candidate.listener],
        "driver": candidate.driver,
        **_surface(results, candidate.facet),
        "panel": "",
        "status": candidate.status,
        "fragile": yes_cell(candidate.fragile),
        "why": why,
        **_numbers(margin_m=margin_m, delay_ms=candidate.delay_ms, extra_path_m=extra_m),
        **_place(results, candidate.facet, candidate.point),
        **_levels(results, np.full(len(results.responses.bands), np.nan)),
    }


def _surface(results: Results, number: int) -> Row:
    facet = results.built.room.facets[number]
    return {"surface": facet.name, "belongs_to": facet.owner, "material": facet.material}


def _place(results: Results, facet: int, point: FloatArray) -> Row:
    """Coordinates and tape distances, in metres and once more in the unit of the scene file."""
    unit = results.scene.blueprint.units
    tape = tape_coordinates(results.built.room, facet, point)
    corners = [*tape.corners, ("", math.nan), ("", math.nan)][:2]
    (corner_1, corner_1_m), (corner_2, corner_2_m) = corners
    lengths = {"from_front": float(point[0]), "from_left": float(point[1]), "up": float(point[2])}
    tapes = {"tape_1": tape.first_m, "tape_2": tape.second_m, "corner_1": corner_1_m, "corner_2": corner_2_m}
    return {
        **_numbers(**{f"{name}_m": metres for name, metres in lengths.items()}),
        **{f"{name}_text": format_length(metres, unit) for name, metres in lengths.items()},
        "tape_1_from": tape.first_from,
        "tape_2_from": tape.second_from,
        "corner_1": corner_1,
        "corner_2": corner_2,
        **_numbers(**{f"{name}_m": metres for name, metres in tapes.items()}),
        **{f"{name}_text": format_length(metres, unit) for name, metres in tapes.items()},
    }


def _levels(results: Results, levels_db: FloatArray) -> Row:
    """Levels per octave, re the direct sound of the whole loudspeaker."""
    nominal = results.responses.bands.nominal_hz
    return _numbers(**{f"level_{hz:g}_hz_db": float(db) for hz, db in zip(nominal, levels_db, strict=True)})


def _numbers(**values: float) -> Row:
    return {name: number_cell(value, DECIMALS[name[name.rindex("_") :]]) for name, value in values.items()}


def write_traced(results: Results, folder: Path) -> None:
    """Write all files of a traced scene into a folder that exists: results.h5, the tables, and a README.

    Raises
    ------
    OutputError
        If something cannot be written.
    """
    write_results(results, folder / "results.h5")
    write_arrivals(results, folder / "arrivals.csv")
    write_reflection_points(results, folder / "reflection_points.csv")
    write_notches(results, folder / "notches.csv")
    write_ear_response(results, folder / "ear_response.csv")
    write_readme(results, folder / "README.txt")
