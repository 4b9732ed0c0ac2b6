"""Sections of a report: layouts side by side, the set-up sheet."""

from __future__ import annotations

import math
from collections.abc import Sequence

from sim.blueprint.units import difference_words
from sim.placement.sheet import LoudspeakerSheet, SetupSheet, setup_sheet
from sim.responses.records import Results
from sim.showing.numbers import format_length, hertz
from sim.showing.page import Look, bullets, escaped, number, row, table, typeset
from sim.studies.compare.comparison import Comparison, silent

# Layouts side by side in a report: early energy per octave, and what got better or worse.

LOWEST_HZ = 125.0


def layouts_part(comparison: Comparison, looks: Sequence[Look]) -> str:
    """Compare each layout with the first, in numbers and in sentences."""
    octaves = [i for i, hz in enumerate(comparison.bands.nominal_hz) if hz >= LOWEST_HZ]
    headings = ["Monitor", "Layout", *(hertz(float(comparison.bands.nominal_hz[i])) for i in octaves)]
    rows = []
    for speaker, name in enumerate(comparison.loudspeakers):
        for layout, look in enumerate(looks):
            levels = [float(comparison.early_db[layout, speaker, i]) for i in octaves]
            first = [float(comparison.early_db[0, speaker, i]) for i in octaves]
            cells = [_cell(level, before, layout) for level, before in zip(levels, first, strict=True)]
            rows.append(row([escaped(name), f"{look.letter}: {escaped(look.name)}", *cells], words=2))
    parts = [f'<p class="caution">{typeset(caution)}.</p>' for caution in comparison.cautions]
    parts.append(
        table(
            "Early reflected energy inside the target window, dB re direct, per octave; "
            "in small print the change against A",
            headings,
            rows,
            words=2,
        )
    )
    for layout, look in enumerate(looks[1:]):
        parts.append(f"<h3>{look.letter} against A: {escaped(look.name)}</h3>")
        for heading, reported in (
            ("Better", comparison.improved[layout]),
            ("Worse", comparison.worse[layout]),
            ("No change (under 1 dB)", comparison.unchanged[layout]),
        ):
            parts.append(f"<h4>{heading}</h4>{bullets(reported, 'Nothing.')}")
    return "".join(parts)


def _cell(level: float, before: float, layout: int) -> str:
    if silent(level):
        return "\N{EN DASH}"
    change = "" if layout == 0 or silent(before) else f"<small>{_signed(level - before)}</small>"
    return number(level, 1) + change


def _signed(change_db: float) -> str:
    return ("+" if round(change_db, 1) > 0 else "") + number(change_db, 1)


# The set-up sheet of a report: what a person checks with tape and string before believing the rest.

WAYS = ("front", "left", "right", "up", "down", "rear")
WAY_WORDS = {
    "front": "to the front",
    "rear": "to the rear",
    "left": "to the left",
    "right": "to the right",
    "up": "above",
    "down": "below",
}


def setup_part(results: Results) -> str:
    """Loudspeakers one column each, the ear, the triangle, sight lines and what is odd."""
    scene = results.scene
    sheet = setup_sheet(results.built, scene.blueprint.units, scene.blueprint, scene.folder)
    unit = results.scene.blueprint.units
    parts = [_loudspeakers(sheet, unit), _triangles(sheet, unit), _sights(sheet, unit)]
    if sheet.warnings:
        parts.append(f"<h3>Look at this</h3>{bullets(sheet.warnings)}")
    return "".join(parts)


def _loudspeakers(sheet: SetupSheet, unit: str) -> str:
    ear = sheet.ear
    columns = [*(escaped(one.name) for one in sheet.loudspeakers), "ear"]

    def facts(words: str, reported: list[str], of_ear: str) -> str:
        return row([words, *reported, of_ear], words=0)

    ones = sheet.loudspeakers
    rows = [
        facts("Model", [escaped(one.model) for one in ones], ""),
        facts(
            "Height of the acoustic axis, of the ear",
            [_length(one.axis_height_m, unit) for one in ones],
            _length(float(ear[2]), unit),
        ),
        facts("Above (+) or below the ear", [_signed_length(one.axis_height_over_ear_m, unit) for one in ones], ""),
        facts("Distance to the ear", [_length(one.distance_m, unit) for one in ones], ""),
        facts("Time to the ear", [f"{number(one.flight_time_ms, 2)} ms" for one in ones], ""),
        facts("Toe-in", [_angle(one.toe_in_deg, one.toe_in_error_deg, "inward", "outward") for one in ones], ""),
        facts("Tilt", [_angle(one.tilt_deg, one.tilt_error_deg, "down", "up") for one in ones], ""),
        facts("Roll", [f"{one.roll_deg:.0f}°" for one in ones], ""),
        facts("Ear off its axis by", [f"{number(one.axis_error_deg, 1)}°" for one in ones], ""),
    ]
    for way in WAYS:
        rows.append(
            facts(
                f"Nearest thing {WAY_WORDS[way]}",
                [_surface(one.distance_to_m[way], unit) for one in ones],
                _surface(sheet.ear_distance_to_m[way], unit),
            )
        )
    rows.append(facts("Lowest corner of the cabinet", [_lowest(one, unit) for one in ones], ""))
    return table("Measured from the acoustic axis point, and from the ear", ["", *columns], rows, words=1, css="sheet")


def _triangles(sheet: SetupSheet, unit: str) -> str:
    reported = []
    for pair in sheet.pairs:
        words = (
            f"{pair.left} and {pair.right}: base {format_length(pair.base_m, unit)}, angle at the seat "
            f"{pair.angle_at_seat_deg:.1f} degrees, distances differ by "
            f"{difference_words(pair.difference_mm / 1000.0, unit)} "
            f"({pair.difference_ms:+.3f} ms)"
        )
        reported.append(
            words + ("; symmetric" if pair.symmetric else "; not symmetric: " + "; ".join(pair.asymmetries))
        )
    return f"<h3>Listening triangle</h3>{bullets(reported)}" if reported else ""


def _sights(sheet: SetupSheet, unit: str) -> str:
    reported = []
    for line in sheet.sight_lines:
        where = f"{line.loudspeaker} {line.driver} to the {line.listener}"
        by = format_length(line.clearance_m, unit)
        if line.hidden_by:
            reported.append(f"{where}: blocked by the {line.hidden_by}, by {by}")
        else:
            reported.append(f"{where}: clear" + (f" by {by}, nearest edge: {line.nearest}" if line.nearest else ""))
    return f"<h3>Sight lines</h3>{bullets(reported)}"


def _length(metres: float, unit: str) -> str:
    return escaped(format_length(metres, unit))


def _signed_length(metres: float, unit: str) -> str:
    if abs(metres) < 0.0005:
        return "level"
    return ("+" if metres > 0 else "\N{MINUS SIGN}") + _length(abs(metres), unit)


def _angle(angle_deg: float, missing_deg: float, positive: str, negative: str) -> str:
    reported = f"{abs(angle_deg):.1f}°"
    if abs(angle_deg) >= 0.05:
        reported += f" {positive if angle_deg > 0 else negative}"
    if abs(missing_deg) < 0.05:
        return f"{reported}<small>points at the ear</small>"
    way = positive if missing_deg > 0 else negative
    return f"{reported}<small>{abs(missing_deg):.1f}° more {way} would point at the ear</small>"


def _surface(found: tuple[float, str], unit: str) -> str:
    distance, name = found
    if not math.isfinite(distance):
        return escaped(name)
    return f"{_length(distance, unit)}<small>{escaped(name)}</small>"


def _lowest(one: LoudspeakerSheet, unit: str) -> str:
    return _length(one.lowest_m, unit) if math.isfinite(one.lowest_m) else "no cabinet"
