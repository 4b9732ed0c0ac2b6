"""Chains of dimensions from one end of a surface to the other, and the tables that stand beside the drawings."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from sim.arrays import FloatArray
from sim.blueprint.units import mass_words, small_words
from sim.propagation.paths import FRAGILE_M
from sim.showing.numbers import drawn_area_size, drawn_length, hertz
from sim.studies.sheets.contents import loudest
from sim.studies.sheets.readings import PanelReading, Reading, ReflectionPoint, read_along
from sim.studies.sheets.records import Dimension, Drawing, Label, Outline, Side, Table
from sim.studies.sheets.surfaces import Surface

HELD = {"surface": "fixed to the surface", "stand": "on a stand", "posts": "on posts"}


def panel_tables(readings: Sequence[PanelReading], unit: str) -> tuple[Table, ...]:
    """One table for each pair of lines that tapes start from."""
    groups: dict[tuple[str, str], list[PanelReading]] = {}
    for reading in readings:
        groups.setdefault((reading.second.words, reading.first.words), []).append(reading)
    return tuple(_panel_table(words, group, unit) for words, group in groups.items())


def _panel_table(words: tuple[str, str], group: Sequence[PanelReading], unit: str) -> Table:
    rows = []
    for one in group:
        rows.append(
            (
                one.number,
                one.panel.name,
                drawn_area_size(one.width_m, one.height_m, unit),
                edges_words(one.second, unit),
                edges_words(one.first, unit),
                f"{drawn_length(one.second.centre_m, unit)} / {drawn_length(one.first.centre_m, unit)}",
                diagonals_words(one, unit),
                drawn_length(one.panel.depth_m, unit),
                drawn_length(one.panel.air_behind_m, unit),
                panel_mass(one, unit),
            )
        )
    return Table(
        "Panels: edges and centre",
        ("No", "Name", "Size", words[0], words[1], "Centre", "Both diagonals", "Face to wall", "Air behind", "Mass"),
        tuple(rows),
        tuple(note for one in group for note in (*panel_notes(one), *slope_note(one, unit))),
    )


def edges_words(reading: Reading, unit: str) -> str:
    """From edge to edge: "690 to 1290"."""
    return f"{drawn_length(reading.near_m, unit)} to {drawn_length(reading.far_m, unit)}"


def diagonals_words(reading: PanelReading, unit: str) -> str:
    """Both diagonals of the mounting rectangle; they are equal when it is square-cornered."""
    return f"{drawn_length(reading.rising_diagonal_m, unit)} / {drawn_length(reading.falling_diagonal_m, unit)}"


def panel_mass(reading: PanelReading, unit: str) -> str:
    """Mass with one decimal; an estimate says so."""
    mass = reading.panel.mass_kg
    if not np.isfinite(mass):
        return "not known"
    return f"{mass_words(mass, unit, 1)}{' (est.)' if reading.panel.mass_is_estimate else ''}"


def panel_notes(reading: PanelReading) -> tuple[str, ...]:
    """How a panel is held, and what the scene says about it."""
    panel = reading.panel
    reported = [HELD[panel.held_by]]
    reported += [f"fixings: {panel.fixings}"] if panel.fixings else []
    reported += ["movable"] if panel.movable else []
    reported += [panel.note.rstrip(".")] if panel.note else []
    return (f"{reading.number}: {panel.material}; {'; '.join(reported)}.",)


def slope_note(reading: PanelReading, unit: str) -> tuple[str, ...]:
    """Where a panel's edges lie up a slope, and how high above the floor that is, as a check with the tape."""
    rising = reading.first
    if not rising.sloping:
        return ()
    heights = reading.panel.corners_m[:, 2]
    lower, upper = (
        f"{name} edge {drawn_length(along, unit)} up the slope from {rising.start} ({drawn_length(high, unit)} above "
        "the floor)"
        for name, along, high in (
            ("lower", rising.near_m, float(heights.min())),
            ("upper", rising.far_m, float(heights.max())),
        )
    )
    return (f"{reading.number}: {lower}, {upper}.",)


def point_tables(points: Sequence[ReflectionPoint], surface: Surface, unit: str) -> tuple[Table, ...]:
    """Where each loudspeaker's points are, measured as panels are; dots on the drawing are its other drivers."""
    lettered = loudest(points)
    groups: dict[tuple[str, str], list[tuple[str, ...]]] = {}
    names = ", ".join(dict.fromkeys(f"{point.letter} {point.loudspeaker}" for point in sorted(points, key=_by_name)))
    for point in sorted(points, key=lambda point: (point.loudspeaker, point not in lettered)):
        flat = surface.view.flatten(point.place)
        piece = surface.piece_at(point.plane, flat)
        if piece is None:
            continue
        level, rising = read_along(surface, piece, np.stack([flat, flat]))
        hz = point.band_hz
        row = (
            point.letter if point in lettered else f"({point.letter})",
            point.driver,
            drawn_length(level.near_m, unit),
            drawn_length(rising.near_m, unit),
            f"{point.delay_ms:.2f}",
            f"{point.level_db:.1f}" if point.main else "",
            hertz(hz) if point.main else "",
            "fragile" if point.fragile else "",
        )
        groups.setdefault((level.words, rising.words), []).append(row)
    return tuple(_point_table(words, rows, names, unit) for words, rows in groups.items())


def _point_table(words: tuple[str, str], rows: list[tuple[str, ...]], names: str, unit: str) -> Table:
    headings = ("Mark", "Driver", *words, "After, ms", "Level, dB", "Octave", "")
    notes = ["After and re the direct sound, worst octave of the target. Letters in brackets: dots on the drawing."]
    fragile = any(row[-1] for row in rows)
    if fragile:
        notes.append(f"Fragile: within {small_words(FRAGILE_M, unit)} of vanishing.")
    cut = len(headings) if fragile else len(headings) - 1
    title = f"Reflection points for the ear ({names})"
    return Table(title, headings[:cut], tuple(row[:cut] for row in rows), tuple(notes))


def _by_name(point: ReflectionPoint) -> str:
    return point.loudspeaker


# Chains of dimensions from one end of a surface to the other, and setting-out rectangles of panels.

SHORTEST_M = 5e-4
"""Stops nearer to each other than this are one (tapes read to a millimetre)."""
Interval = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Edges:
    """Things to be dimensioned along one direction: each from where to where, and the ends that tapes start from."""

    ends: Interval
    things: tuple[Interval, ...]


def rows_of(groups: Sequence[Edges]) -> list[list[float]]:
    """Stops of as few rows as needed: things that overlap without being equal stand in different rows."""
    rows: list[tuple[Interval, list[Interval]]] = []
    for group in groups:
        for thing in sorted({_rounded(thing) for thing in group.things}):
            for ends, placed in rows:
                if ends == group.ends and all(_apart(thing, other) for other in placed):
                    placed.append(thing)
                    break
            else:
                rows.append((group.ends, [thing]))
    return [_stops(ends, placed) for ends, placed in rows]


def chain(stops: Sequence[float], side: Side, row: int, bounds: FloatArray, unit: str) -> list[Dimension]:
    """Dimensions from stop to stop on one side of a drawing whose body reaches over bounds (2, 2), low then high."""
    across = side in ("below", "above")
    level = float({"below": bounds[0, 1], "above": bounds[1, 1], "left": bounds[0, 0], "right": bounds[1, 0]}[side])
    made = []
    for start, end in pairwise(stops):
        ends = [np.array([stop, level] if across else [level, stop]) for stop in (start, end)]
        made.append(Dimension(ends[0], ends[1], side, row, end - start, drawn_length(end - start, unit)))
    return made


def chains(
    groups: Sequence[Edges], side: Side, first_row: int, bounds: FloatArray, unit: str
) -> tuple[list[Dimension], int]:
    """All rows for some groups of things; also the next free row."""
    made: list[Dimension] = []
    for stops in rows_of(groups):
        made += chain(stops, side, first_row, bounds, unit)
        first_row += 1
    return made, first_row


def through(points: Sequence[float], ends: Interval) -> list[float]:
    """Stops from end to end over single points."""
    return _stops(ends, [(point, point) for point in points])


def _stops(ends: Interval, things: Sequence[Interval]) -> list[float]:
    wanted = sorted([*ends, *(stop for thing in things for stop in thing)])
    stops = [wanted[0]]
    for stop in wanted[1:]:
        if stop - stops[-1] > SHORTEST_M:
            stops.append(stop)
    return stops


def _rounded(thing: Interval) -> Interval:
    return (round(thing[0], 5), round(thing[1], 5))


def _apart(one: Interval, other: Interval) -> bool:
    return one[1] <= other[0] + SHORTEST_M or other[1] <= one[0] + SHORTEST_M


# Mounting rectangles: each kind of panel once, with its sides, both diagonals and how deep it stands off.

APART_M = 0.45


def kinds_of(readings: Sequence[PanelReading]) -> list[list[PanelReading]]:
    """Panels of equal size (to the millimetre), build-up and fixing; those overhead apart, for they need more."""
    kinds: dict[tuple[object, ...], list[PanelReading]] = {}
    for one in readings:
        sizes = (one.width_m, one.height_m, one.panel.depth_m, one.panel.air_behind_m, one.rising_diagonal_m)
        key = (*(round(1000.0 * size) for size in sizes), one.panel.material, one.panel.held_by, one.is_overhead)
        kinds.setdefault(key, []).append(one)
    return list(kinds.values())


def mounting_drawings(readings: Sequence[PanelReading], unit: str) -> tuple[Drawing, ...]:
    """One drawing for each kind: the rectangle as it is marked on the surface, and a cut through it beside."""
    return tuple(_mounting(kind, unit) for kind in kinds_of(readings))


def _mounting(kind: Sequence[PanelReading], unit: str) -> Drawing:
    one = kind[0]
    ring = one.corners - one.low
    width, height = (float(size) for size in one.high - one.low)
    depth, air = one.panel.depth_m, one.panel.air_behind_m
    left = width + APART_M
    bounds = np.array([[0.0, 0.0], [left + max(depth, 0.02), height]])
    numbers = ", ".join(reading.number for reading in kind)
    back = np.array([[left, 0.0], [left, height]])
    side = _box(left + air, 0.0, left + depth, height)
    dimensions = [
        *chain([0.0, width], "below", 1, bounds, unit),
        *chain([0.0, height], "left", 1, bounds, unit),
        *chain([left, left + air, left + depth] if air > 5e-4 else [left, left + depth], "below", 1, bounds, unit),
        _diagonal(ring[0], ring[2], one.rising_diagonal_m, unit),
        _diagonal(ring[3], ring[1], one.falling_diagonal_m, unit),
    ]
    table = Table(
        "Setting-out",
        ("Panels", "Number", "Both diagonals", "Held", "Build-up"),
        ((numbers, str(len(kind)), diagonals_words(one, unit), HELD[one.panel.held_by], one.panel.material),),
        ("Mark the rectangle and compare both diagonals before drilling: equal diagonals mean square corners.",)
        if abs(one.rising_diagonal_m - one.falling_diagonal_m) < 5e-4
        else ("This surface is not square to the room: the two diagonals differ on purpose.",),
    )
    return Drawing(
        title=f"Setting-out: {numbers}",
        words="Facing the surface from inside the room; beside it a cut, surface at the left.",
        low=bounds[0],
        high=bounds[1],
        outlines=(
            Outline(ring, "PANELS", weight="heavy"),
            Outline(back, "WALLS", closed=False, weight="heavy"),
            Outline(side, "PANELS", weight="medium", fill="hatch"),
        ),
        labels=(Label("surface", np.array([left - 0.09, 0.5 * height]), "TEXT"),),
        dimensions=tuple(dimensions),
        tables=(table,),
        minor=True,
    )


def _diagonal(start: FloatArray, end: FloatArray, value_m: float, unit: str) -> Dimension:
    return Dimension(start, end, "along", 0, value_m, drawn_length(value_m, unit))


def _box(left: float, low: float, right: float, high: float) -> FloatArray:
    return np.array([[left, low], [right, low], [right, high], [left, high]])
