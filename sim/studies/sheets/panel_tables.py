"""Tables for whoever hangs the panels: where each goes, and what has to be bought.

Both are for spreadsheets, as the other tables: UTF-8, comma separated, one line of headings; an empty cell means that
there is nothing to say, or nothing known.  Prices that are not known are left empty for a person to fill in.
"""

from __future__ import annotations

import math
from pathlib import Path
from typing import TypeAlias

import numpy as np

from sim.responses.plan import Plan
from sim.responses.records import Results
from sim.showing.numbers import format_length, number_cell, write_records, yes_cell
from sim.showing.tape import tape_coordinates
from sim.studies.sheets.parts import Part, design_load_n, fixing_points, parts_list
from sim.studies.sheets.readings import PanelReading, read_panels

Row: TypeAlias = dict[str, str]
SPAN_KEYS = ("from_front", "from_left", "up")
TAPE_UNIT = {"m": "mm", "cm": "mm", "mm": "mm", "in": "in", "ft": "ft"}
"""What texts are written in: whole millimetres, or inches and feet with fractions to a sixteenth."""
PANEL_COLUMNS = ("number", "name", "surface", "material")
PART_COLUMNS = (
    "kind",
    "name",
    "material",
    "panels",
    "count",
    "width_m",
    "height_m",
    "depth_m",
    "size_text",
    "mass_each_kg",
    "mass_all_kg",
    "mass_is_estimate",
    "load_each_n",
    "rated_at_least_n",
    "price_each",
    "price_all",
    "currency",
    "note",
)


def write_panels(results: Results, path: Path, plan: Plan | None = None) -> None:
    """Write panels.csv: one row a panel, with edges and centre from named lines, both diagonals, mass and fixings.

    Raises
    ------
    OutputError
        If the file cannot be written.
    """
    rows = [_panel_row(results, reading, plan) for reading in read_panels(results.built)]
    write_records(path, rows, PANEL_COLUMNS)


def write_parts(results: Results, path: Path, plan: Plan | None = None) -> None:
    """Write parts.csv: panels by kind with mass and price, and what holds them, with loads.

    Raises
    ------
    OutputError
        If the file cannot be written.
    """
    blueprint = results.scene.blueprint
    unit, currency = TAPE_UNIT[blueprint.units], blueprint.treatment.currency
    parts = parts_list(read_panels(results.built), plan)
    write_records(path, [_part_row(part, unit, currency) for part in parts], PART_COLUMNS)


def _panel_row(results: Results, reading: PanelReading, plan: Plan | None) -> Row:
    unit = TAPE_UNIT[results.scene.blueprint.units]
    panel = reading.panel
    corners = panel.corners_m
    tape = tape_coordinates(results.built.room, reading.piece.facet, corners.mean(axis=0))
    row = {"number": reading.number, "name": panel.name, "surface": panel.surface, "material": panel.material}
    for name, reported in (("tape_1", reading.first), ("tape_2", reading.second)):
        row[f"{name}_from"] = reported.words
        for edge, metres in (("start", reported.near_m), ("end", reported.far_m), ("centre", reported.centre_m)):
            row |= _length(f"{name}_{edge}", metres, unit)
    for number, (corner, metres) in enumerate([*tape.corners, ("", math.nan), ("", math.nan)][:2], 1):
        row[f"corner_{number}"] = corner
        row |= _length(f"corner_{number}_to_centre", metres, unit)
    for axis, key in enumerate(SPAN_KEYS):
        row |= _length(f"{key}_low", float(corners[:, axis].min()), unit)
        row |= _length(f"{key}_high", float(corners[:, axis].max()), unit)
    row |= _length("width", reading.width_m, unit)
    row |= _length("height", reading.height_m, unit)
    row |= _length("diagonal_rising", reading.rising_diagonal_m, unit)
    row |= _length("diagonal_falling", reading.falling_diagonal_m, unit)
    row |= _length("thickness", panel.depth_m - panel.air_behind_m, unit)
    row |= _length("air_behind", panel.air_behind_m, unit)
    row |= _length("face_off_surface", panel.depth_m, unit)
    fixed = panel.held_by == "surface"
    return row | {
        "mass_kg": number_cell(panel.mass_kg, 2),
        "mass_is_estimate": yes_cell(panel.mass_is_estimate),
        "held_by": panel.held_by,
        "fixings": panel.fixings,
        "overhead": yes_cell(reading.is_overhead),
        "fixing_points": str(fixing_points(reading)) if fixed else "",
        "rated_at_least_n_each": number_cell(design_load_n(reading), 0) if fixed else "",
        "movable": yes_cell(panel.movable),
        "price": number_cell(panel.price, 2),
        "note": panel.note,
        **_planned(panel.name, plan),
    }


def _planned(name: str, plan: Plan | None) -> Row:
    """What a plan says of a panel; nothing without a plan."""
    if plan is None:
        return {}
    entry = next((entry for entry in plan.panels if entry.panel.name == name), None)
    if entry is None:
        return {"stock": "", "step": "", "step_gain_db": "", "covers": "", "works_from_hz": ""}
    return {
        "stock": entry.stock,
        "step": str(entry.step),
        "step_gain_db": number_cell(entry.gain_db, 2),
        "covers": "; ".join(entry.covers),
        "works_from_hz": number_cell(entry.works_from_hz, 0),
    }


def _part_row(part: Part, unit: str, currency: str) -> Row:
    sizes = [size for size in (part.width_m, part.height_m, part.depth_m) if np.isfinite(size)]
    return {
        "kind": part.kind,
        "name": part.name,
        "material": part.material,
        "panels": " ".join(part.panels),
        "count": str(part.count),
        "width_m": number_cell(part.width_m, 4),
        "height_m": number_cell(part.height_m, 4),
        "depth_m": number_cell(part.depth_m, 4),
        "size_text": " x ".join(format_length(size, unit) for size in sizes),
        "mass_each_kg": number_cell(part.mass_each_kg, 2),
        "mass_all_kg": number_cell(part.count * part.mass_each_kg, 2),
        "mass_is_estimate": yes_cell(part.mass_is_estimate) if part.kind == "panel" else "",
        "load_each_n": number_cell(part.load_n, 0),
        "rated_at_least_n": number_cell(part.design_load_n, 0),
        "price_each": number_cell(part.price_each, 2),
        "price_all": number_cell(part.count * part.price_each, 2),
        "currency": currency,
        "note": part.note,
    }


def _length(name: str, metres: float, unit: str) -> Row:
    return {f"{name}_m": number_cell(metres, 4), f"{name}_text": format_length(metres, unit)}
