"""Tables of a match for a spreadsheet: peaks, candidates, where what is not drawn could be, dips, both curves."""

from __future__ import annotations

from pathlib import Path
from typing import Final

from sim.showing.numbers import number_cell, write_records, yes_cell
from sim.studies.match.records import Match, MatchedResponse

MOST_POINTS: Final = 60
"""Points of one surface that are listed, evenly picked."""
STEP: Final = 4
"""Every so many samples of the curves: 0.04 ms."""


def write_match_tables(found: Match, folder: Path) -> None:
    """Write peaks.csv, candidates.csv, unknown_points.csv, missing.csv, measured_dips.csv and measured_curves.csv.

    What was fitted is in fitted_numbers.csv and fitted_levels.csv.

    Raises
    ------
    OutputError
        If a file cannot be written.
    """
    peaks: list[dict[str, str]] = []
    candidates: list[dict[str, str]] = []
    points: list[dict[str, str]] = []
    missing: list[dict[str, str]] = []
    dips: list[dict[str, str]] = []
    curves: list[dict[str, str]] = []
    for one in found.responses:
        peaks += _peaks(one)
        candidates += _candidates(one)
        points += _points(one)
        missing += [
            {
                "loudspeaker": one.loudspeaker,
                "number": str(gone.number),
                "via": gone.via,
                "delay_ms": number_cell(gone.delay_ms, 3),
                "level_db": number_cell(gone.level_db, 1),
                "highest_measured_db": number_cell(gone.highest_db, 1),
            }
            for gone in one.missing
        ]
        dips += [
            {
                "loudspeaker": one.loudspeaker,
                "frequency_hz": number_cell(dip.frequency_hz, 0),
                "depth_db": number_cell(dip.depth_db, 1),
                "predicted_hz": number_cell(dip.predicted_hz, 0),
                "surface": dip.surface,
            }
            for dip in one.dips
        ]
        curves += _curves(found, one)
    write_records(folder / "peaks.csv", peaks, ["loudspeaker", "time_ms", "level_db"])
    write_records(folder / "candidates.csv", candidates, ["loudspeaker", "time_ms", "via"])
    write_records(folder / "unknown_points.csv", points, ["loudspeaker", "time_ms", "surface"])
    write_records(folder / "missing.csv", missing, ["loudspeaker", "number", "via"])
    write_records(folder / "measured_dips.csv", dips, ["loudspeaker", "frequency_hz", "depth_db"])
    write_records(folder / "measured_curves.csv", curves, ["loudspeaker", "time_ms"])
    write_records(folder / "fitted_numbers.csv", _fitted(found), ["name", "given", "fitted"])
    write_records(folder / "fitted_levels.csv", _levels(found), ["surface", "octave_hz", "more_db"])


def _fitted(found: Match) -> list[dict[str, str]]:
    moved = found.correction.moved
    return [
        {
            "name": one.name,
            "unit": "C" if one.kind == "temperature" else "m",
            "given": number_cell(one.given, 4),
            "fitted": number_cell(one.fitted, 4) if one in moved else "",
            "error": number_cell(one.sure_to, 4) if one.told or one in moved else "",
            "told_by_the_delays": yes_cell(one.told),
            "moved": yes_cell(one in moved),
            "likeliest": number_cell(one.given + one.likeliest_off, 4) if one.told else "",
            "tolerance": number_cell(one.tolerance, 4),
        }
        for one in found.correction.quantities
    ]


def _levels(found: Match) -> list[dict[str, str]]:
    return [
        {
            "surface": one.surface,
            "panel": yes_cell(one.panel),
            "octave_hz": number_cell(float(one.frequency_hz[band]), 0),
            "told_by_the_levels": yes_cell(bool(one.told[band])),
            "more_db": number_cell(float(one.more_db[band]), 1),
            "error_db": number_cell(float(one.error_db[band]), 1),
            "absorption_given": number_cell(float(one.absorption_given[band]), 2),
            "absorption_low": number_cell(float(one.absorption_low[band]), 2),
            "absorption_high": number_cell(float(one.absorption_high[band]), 2),
            "readings": number_cell(float(one.readings[band]), 0),
        }
        for one in found.levels
        for band in range(len(one.frequency_hz))
    ]


def _peaks(one: MatchedResponse) -> list[dict[str, str]]:
    rows = []
    for peak in one.peaks:
        best = peak.candidates[0] if peak.named else None
        rows.append(
            {
                "loudspeaker": one.loudspeaker,
                "time_ms": number_cell(peak.time_ms, 3),
                "level_db": number_cell(peak.level_db, 1),
                "prominence_db": number_cell(peak.prominence_db, 1),
                "length_m": number_cell(peak.length_m, 3),
                "named": yes_cell(peak.named),
                "number": str(best.number) if best else "",
                "via": best.via if best else "",
                "misfit_ms": number_cell(best.misfit_ms, 3) if best else "",
                "misfit_cm": number_cell(100.0 * best.misfit_m, 1) if best else "",
                "misfit_db": number_cell(best.misfit_db, 1) if best else "",
                "left_ms": number_cell(best.left_ms, 3) if best else "",
                "calculated_curve_db": number_cell(peak.curve_db, 1),
                "several_together": yes_cell(peak.together),
                "cannot_be_told_apart": str(peak.tied) if best else "",
            }
        )
    return rows


def _candidates(one: MatchedResponse) -> list[dict[str, str]]:
    return [
        {
            "loudspeaker": one.loudspeaker,
            "time_ms": number_cell(peak.time_ms, 3),
            "rank": str(rank),
            "number": str(each.number),
            "via": each.via,
            "explains_it": yes_cell(peak.named and rank <= peak.tied),
            "delay_ms": number_cell(each.delay_ms, 3),
            "level_db": number_cell(each.level_db, 1),
            "misfit_ms": number_cell(each.misfit_ms, 3),
            "misfit_cm": number_cell(100.0 * each.misfit_m, 1),
            "misfit_db": number_cell(each.misfit_db, 1),
            "left_ms": number_cell(each.left_ms, 3),
        }
        for peak in one.peaks
        for rank, each in enumerate(peak.candidates, 1)
    ]


def _points(one: MatchedResponse) -> list[dict[str, str]]:
    return [
        {
            "loudspeaker": one.loudspeaker,
            "time_ms": number_cell(peak.time_ms, 3),
            "surface": spot.surface,
            "belongs_to": spot.owner,
            "from_front_m": number_cell(float(point[0]), 3),
            "from_left_m": number_cell(float(point[1]), 3),
            "up_m": number_cell(float(point[2]), 3),
        }
        for peak in one.peaks
        for spot in peak.spots
        for point in spot.points[:: max(1, len(spot.points) // MOST_POINTS)]
    ]


def _curves(found: Match, one: MatchedResponse) -> list[dict[str, str]]:
    predicted, (s, place) = found.results.responses.energy_time, found.numbers(one)
    rows = []
    for k in range(0, len(one.curves.time_ms), STEP):
        row = {
            "loudspeaker": one.loudspeaker,
            "time_ms": number_cell(float(one.curves.time_ms[k]), 3),
            "measured_db": number_cell(float(one.curves.broadband_db[k]), 1),
            "predicted_db": number_cell(float(predicted.broadband_db[s, place, k]), 1),
        }
        for band, hz in enumerate(predicted.bands.nominal_hz):
            row[f"measured_{hz:.0f}_hz_db"] = number_cell(float(one.curves.octave_db[band, k]), 1)
            row[f"predicted_{hz:.0f}_hz_db"] = number_cell(float(predicted.octave_db[s, place, band, k]), 1)
        rows.append(row)
    return rows
