"""Tables that stand beside the drawings: panels with edges and diagonals, reflection points with their place."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from sim.blueprint.spoken import mass_words, small_words
from sim.propagation.paths import FRAGILE_M
from sim.showing.lengths import drawn_area_size, drawn_length
from sim.showing.numbers import hertz
from sim.studies.sheets.contents import loudest
from sim.studies.sheets.readings import PanelReading, Reading, ReflectionPoint, read_along
from sim.studies.sheets.records import Table
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
        tuple(note for one in group for note in panel_notes(one)),
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
