"""A tolerance study in words: ranges, answers that flip, where points may lie, and what to measure again."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Final

import numpy as np

from sim.acoustics.levels import SILENCE_DB
from sim.blueprint.units import length_words, small_words
from sim.showing.numbers import db_change, db_words, format_small, hertz_range
from sim.showing.tape import tape_coordinates
from sim.studies.tolerance.advice import DECIDES, Advice, Figure, advice, fractions_by_kind, sensitivities
from sim.studies.tolerance.findings import (
    FRAGILE_FRACTION,
    HIGH,
    LOW,
    Blob,
    Fragile,
    Spread,
    blobs,
    chances,
    early_ranges,
    fragile_answers,
    reflection_ranges,
)
from sim.studies.tolerance.samples import OFF_AXIS_DB_AT_90, OFF_BY
from sim.studies.tolerance.tolerance import EARLY, Tolerance
from sim.studies.tolerance.uncertainties import TAPE_M

KIND_WORDS: Final = {
    "tape": "tape readings",
    "placement": "how exactly monitors stand",
    "head": "where the head is",
    "material": "what materials absorb",
    "directivity": "what monitors radiate off their axis",
}
REMEDY: Final = {
    "Worth setting up more exactly": ("placement",),
    "Worth keeping still": ("head",),
    "Worth finding data of": ("material", "directivity"),
}
MOST_ADVICE: Final = 4
MOST_FRAGILE: Final = 12


def tolerance_lines(found: Tolerance) -> list[str]:
    """Return the lines of tolerance.txt."""
    figures = sensitivities(found)
    lines = [f"Tolerance: {found.scene.blueprint.title}", ""]
    lines += [f"  {found.samples} samples, seed {found.seed}; first reflections off flat surfaces only"]
    if found.impossible:
        lines += [f"  {found.impossible} of them cannot be and are left out; most often: {found.reason}"]
    lines += ["", "Taken as not known exactly", *_uncertainties(found)]
    lines += ["", f"Against the target (in brackets the middle {HIGH - LOW:g} % of the samples)", *_target(found)]
    lines += ["", "Reflections, the loudest first: level re direct, delay", *_reflections(found)]
    fragile = fragile_answers(found)
    lines += ["", "Fragile answers", *_fragile(fragile)]
    lines += [
        "",
        "Where reflection points may lie (95 % of those of each driver; points.csv has them one by one)",
        *_points(found),
    ]
    lines += ["", f"What makes {EARLY} uncertain", *_kinds(found, figures)]
    lines += ["", "Worth measuring again", *_measure(found, figures)]
    for heading, kinds in REMEDY.items():
        reported = [_sentence(one) for one in advice(found, figures, kinds)[:MOST_ADVICE]]
        lines += ["", heading, *reported] if reported else []
    return lines


def _uncertainties(found: Tolerance) -> Iterator[str]:
    blueprint = found.scene.blueprint
    unit = blueprint.units
    count = {kind: sum(uncertainty.kind == kind for uncertainty in found.uncertainties) for kind in KIND_WORDS}
    box = " x ".join(small_words(float(size), unit) for size in found.built.head_box)
    reported = {
        "tape": f"{count['tape']} tape readings, each with a standard deviation of {format_small(TAPE_M, unit)}",
        "placement": "where monitors stand, up to "
        f"{small_words(blueprint.method.placement_error, unit)} off along each direction",
        "head": f"where the head is, anywhere in {box} (depth, across, up)",
        "material": f"absorption of {count['material']} materials, coefficients up to {OFF_BY[0]:g} or "
        f"{100 * OFF_BY[1]:g} % off, whichever is more; flow resistivities within what is usual",
        "directivity": f"what {count['directivity']} drivers radiate off their axis, up to {OFF_AXIS_DB_AT_90:g} dB off"
        " at 90 degrees and in proportion to the angle",
    }
    yield from (f"  {words}" for kind, words in reported.items() if count[kind])
    yield "  (how large these are is common practice, no source)"


def _target(found: Tolerance) -> Iterator[str]:
    target = found.scene.blueprint.target
    each, both = chances(found)
    default = "" if "target" in found.scene.blueprint.model_fields_set else ", the usual one: the scene names none"
    yield (
        f"  target: {target.level_db:g} dB from {target.window_ms[0]:g} to {target.window_ms[1]:g} ms, octaves "
        f"{hertz_range(*target.band_hz)}{default}"
    )
    for name, (early, _), fraction in zip(found.loudspeakers, early_ranges(found), each, strict=True):
        yield (
            f"  {name}: {EARLY} {_spread(early)} dB (of the measure, by first reflections alone);"
            f" meets it in {_percent(fraction)} of the samples"
        )
    if len(each) > 1:
        yield f"  all monitors meet it in {_percent(both)} of the samples"


def _reflections(found: Tolerance) -> Iterator[str]:
    rows = reflection_ranges(found)
    if not rows:
        yield "  none"
    wide = max((len(f"{row.loudspeaker} {row.surface}") for row in rows), default=0)
    for row in rows:
        always = "" if row.reaches > 0.995 else f", there in {_percent(row.reaches)} of the samples"
        name = f"{row.loudspeaker} {row.surface}"
        yield f"  {name:<{wide}}  {_spread(row.level):>22} dB, {_spread(row.delay_ms, 2):>20} ms{always}"


def _fragile(answers: Sequence[Fragile]) -> Iterator[str]:
    if not answers:
        yield f"  none: no reflection appears or leaves in more than {_percent(FRAGILE_FRACTION)} of the samples"
    for one in answers[:MOST_FRAGILE]:
        states = {"reaches": one.reaches, "misses": one.misses, "hidden": one.hidden}
        now = states.pop(one.now)
        others = " and ".join(
            f"{word} in {_percent(fraction)}" for word, fraction in states.items() if fraction >= 0.005
        )
        yield (
            f"  the {one.driver} of {one.loudspeaker} on the {one.surface}: {one.now} as written and in "
            f"{_percent(now)} of the samples, but {others} ({db_words(one.level_db)} when it is there)"
        )
    if len(answers) > MOST_FRAGILE:
        yield f"  and {len(answers) - MOST_FRAGILE} weaker ones; points.csv has all of them"


def _points(found: Tolerance) -> Iterator[str]:
    """For each loudspeaker and surface the two stretches of tape that hold the points of all its drivers."""
    unit = found.scene.blueprint.units
    groups: dict[tuple[str, str, int], list[Blob]] = {}
    for blob in blobs(found):
        groups.setdefault((blob.loudspeaker, blob.surface, blob.facet), []).append(blob)
    for (loudspeaker, surface, _), members in groups.items():
        ways = [blob_on_tape(found, blob) for blob in members]
        reported = []
        for middle, off, whence in ((0, 1, 2), (3, 4, 5)):
            low = min(float(way[middle]) - float(way[off]) for way in ways)
            high = max(float(way[middle]) + float(way[off]) for way in ways)
            reported.append(f"{length_words(low, unit)} to {length_words(high, unit)} {ways[0][whence]}")
        yield f"  {loudspeaker}, {surface}: {' and '.join(reported)}"


def blob_on_tape(found: Tolerance, blob: Blob) -> tuple[float, float, str, float, float, str]:
    """Two tape distances to the middle of a blob, each with how far the ellipse reaches to either side, and from where.

    A tape distance is linear in the point, so that the ellipse reaches as far as the root of the sum of squares of what
    its half axes change.
    """
    room = found.built.room
    facet = room.facets[blob.facet]
    height = float(facet.normal @ blob.middle) - facet.offset_m
    middle = np.asarray(blob.middle - height * facet.normal)  # walls moved by millimetres; the tape runs on the nominal
    here = tape_coordinates(room, blob.facet, middle)
    there = [tape_coordinates(room, blob.facet, middle + half) for half in blob.half_axes]
    changes = np.array([[one.first_m - here.first_m, one.second_m - here.second_m] for one in there])
    first, second = np.linalg.norm(changes, axis=0).tolist()
    return here.first_m, first, here.first_from, here.second_m, second, here.second_from


def _kinds(found: Tolerance, figures: Sequence[Figure]) -> Iterator[str]:
    for figure in (one for one in figures if one.kind == "early"):
        fractions = fractions_by_kind(found, figure.fractions)
        if not np.isfinite(figure.fractions.explained):
            count = len(found.uncertainties)
            yield f"  too few samples for {count} uncertainties; take {4 * (count + 1)} or more"
            return
        reported = ", ".join(
            f"{KIND_WORDS[kind]} {_percent(fraction)}"
            for kind, fraction in sorted(fractions.items(), key=lambda pair: -pair[1])
            if fraction >= 0.005
        )
        yield f"  {figure.loudspeaker}, {figure.deviation:.2f} dB (standard deviation): {reported or 'nothing'}"
    yield "  (fractions of the variance; what is missing from 100 % is jumps, curves and interplay)"


def _measure(found: Tolerance, figures: Sequence[Figure]) -> Iterator[str]:
    """Readings that decide something; where none does, say so, and name the one that makes most all the same."""
    listed = advice(found, figures)
    if not all(np.isfinite(figure.fractions.explained) for figure in figures if figure.kind == "early"):
        yield "  too few samples to tell"
        return
    for one in listed[:MOST_ADVICE]:
        yield _sentence(one)
    if not listed:
        yield f"  nothing: no tape reading makes more than {_percent(DECIDES)} of what makes any answer flip"
        tape = [number for number, uncertainty in enumerate(found.uncertainties) if uncertainty.kind == "tape"]
        reported = [one for one in figures if one.kind in ("early", "there") and np.isfinite(one.fractions.explained)]
        most = max(
            ((float(one.fractions.fraction[n]), n, one) for one in reported for n in tape), key=lambda each: each[0]
        )
        if most[0] >= 0.005:
            words = found.uncertainties[most[1]].words
            yield f"  it would most likely be {words}: {_percent(most[0])} of {_what(most[2])}"


def _sentence(one: Advice) -> str:
    said = [
        f"whether the {answer.driver} of {answer.loudspeaker} strikes the {answer.surface} ({_percent(fraction)})"
        for answer, fraction in one.answers[:2]
    ]
    said = [f"it decides {' and '.join(said)}"] if said else []
    moved = [
        f"moves {EARLY} of {figure.loudspeaker} by {db_change(figure.deviation * np.sqrt(fraction))}"
        for figure, fraction in one.levels[:2]
    ]
    more = len(one.answers) - 2
    reported = " and ".join([*said, *(f"it {words}" for words in moved[:1]), *(words for words in moved[1:])])
    return f"  {one.uncertainty.words}: {reported}" + (f"; and {more} more answers" if more > 0 else "")


def _what(figure: Figure) -> str:
    if figure.kind == "early":
        return f"the variance of {EARLY} of {figure.loudspeaker}"
    return f"what decides whether the {figure.driver} of {figure.loudspeaker} strikes the {figure.surface}"


def _spread(spread: Spread, decimals: int = 1) -> str:
    """Write a figure and its range: "-9.5 (-10.6 to -7.9)"; a dash where it is not there as written."""
    heard = np.isfinite(spread.nominal) and spread.nominal > SILENCE_DB
    now = f"{spread.nominal:.{decimals}f}" if heard else "-"
    if not np.isfinite(spread.low):
        return now
    return f"{now} ({spread.low:.{decimals}f} to {spread.high:.{decimals}f})"


def _percent(fraction: float) -> str:
    percent = 100.0 * fraction
    return f"{percent:.1f} %" if 0.0 < percent < 1.0 or 99.0 < percent < 100.0 else f"{percent:.0f} %"
