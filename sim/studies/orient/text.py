"""An orientation study in words: a short table for each loudspeaker, what is equal, what differs, and why."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Sequence
from typing import Final

from sim.blueprint.units import length_words, small_words
from sim.responses.measure import COMPONENTS
from sim.showing.numbers import db_change, hertz, joined
from sim.showing.words import WIDTH, listed
from sim.studies.orient.field import Reflection
from sim.studies.orient.findings import EQUAL_DB, LOW_HZ, OrientationFindings, find, softest, twins
from sim.studies.orient.study import OrientationStudy, Oriented

KEPT: Final = {
    "axis": "every orientation with the acoustic axis point where it is",
    "support": "every orientation with the cabinet on what it stands on; the acoustic axis moves with it",
}


def orientation_lines(study: OrientationStudy) -> list[str]:
    """Lines on a study: levels in dB, times in milliseconds, angles in degrees, places in metres."""
    scene = study.scene
    unit = scene.blueprint.units
    depth, across, up = (small_words(float(size), unit) for size in study.head_box)
    lines = [*_wrapped(f"{study.headline()}."), f"{scene.blueprint.title}  ({scene.path}, scene {scene.digest})"]
    lines += _wrapped(
        f"{KEPT[study.keep]}. Head box {depth} x {across} x {up} (depth x across x up). Orientations "
        "are those of monitors left of the seat; on the right they are mirror images."
    )
    lines += ["", *_measures(study)]
    reported: list[str] = []
    for found in find(study):
        twin = next((name for name in reported if twins(study, name, found.name)), None)
        lines.append("")
        if twin is not None:
            lines.append(f"{found.name}: the mirror image of {twin}, equal within {EQUAL_DB:g} dB in every orientation")
            continue
        reported.append(found.name)
        lines += _loudspeaker(study.of(found.name), found, unit)
    lines += ["", "How to read it", *listed(_reading())]
    return lines


def _measures(study: OrientationStudy) -> list[str]:
    """The measure and its components of every orientation, as it is aimed and aimed at the ear."""
    lines = ["Judged as it is aimed, then aimed at the ear (mirrors of two orders; less is better)"]
    width = 46
    lines.append(" " * width + "".join(f"{one.name:>22}" for one in study.orientations))
    judged = list(zip(study.measures, study.aimed, strict=True))
    for name, (words, unit) in COMPONENTS.items():
        cells = [_pair(*(None if one is None else one.components[name] for one in pair)) for pair in judged]
        lines.append(f"  {f'{words}, {unit}':<{width - 2}}" + "".join(f"{cell:>22}" for cell in cells))
    cells = [_pair(*(None if one is None else one.total_db for one in pair)) for pair in judged]
    lines.append(f"  {'measure, dB':<{width - 2}}" + "".join(f"{cell:>22}" for cell in cells))
    return lines


def _pair(now: float | None, aimed: float | None) -> str:
    texts = ["-" if value is None else f"{value:.1f}" for value in (now, aimed)]
    return f"{texts[0]}, {texts[1]}"


def _loudspeaker(orientations: tuple[Oriented, ...], found: OrientationFindings, unit: str) -> list[str]:
    lines = [
        f"{found.name} ({found.kind}), crossover {hertz(found.near_hz)}"
        if orientations[0].placed.model.crossovers_hz
        else f"{found.name} ({found.kind}), no crossover: looked at round {hertz(found.near_hz)}"
    ]
    lines.append(
        f"  {'':<24}{'spread of direct sound, dB':>28}{'drivers, ms':>14}{'lobe, deg':>18}"
        f"{'desk refl., dB':>20}{'ceiling refl., dB':>20}"
    )
    lines.append(f"  {'':<24}{'across':>8}{'up':>8}{'whole':>12}{'over seat':>14}{'up':>9}{'right':>9}")
    for number, one in enumerate(orientations):
        lag = f"{one.times[-1].change_ms:.3f}" if one.times else "-"
        lobe = (_signed(one.lobes[-1].up_deg), _signed(one.lobes[-1].across_deg)) if one.lobes else ("-", "-")
        desk, ceiling = _range(found.desk[number]), _range(found.ceiling[number])
        if one.trouble:
            desk, ceiling = "does not fit", ""
        lines.append(
            f"  {one.orientation.name:<24}{found.across_db[number]:>8.1f}{found.up_db[number]:>8.1f}"
            f"{found.whole_db[number]:>12.1f}{lag:>14}{lobe[0]:>9}{lobe[1]:>9}{desk:>20}{ceiling:>20}"
        )
    sentences = [
        *_evenness(orientations, found),
        *_low(orientations, found),
        *_lobes(orientations),
        *_nulls(orientations, unit),
        *_surface("upward", orientations, found.desk),
        *_surface("downward", orientations, found.ceiling),
        *_points(orientations, unit),
        *(f"{one.orientation.name}: it does not fit ({one.trouble})." for one in orientations if one.trouble),
    ]
    return [*lines, *listed(sentences)]


def _evenness(orientations: Sequence[Oriented], found: OrientationFindings) -> list[str]:
    names = [one.orientation.name for one in orientations]
    if found.unchanged:
        change = max(float(found.change_db.max()), float(found.ear_change_db.max()))
        return [f"Its direct sound is the same in every orientation, to {change:.2f} dB: roll does not matter."]
    best = found.most_even()
    if len(best) == len(names):
        return [
            f"Near {hertz(found.near_hz)} all orientations are equally even over the head box, within {EQUAL_DB:g} dB "
            f"({_span(found.whole_db.tolist())} dB)."
        ]
    worst = max(range(len(names)), key=lambda number: float(found.whole_db[number]))
    said = [
        f"Near {hertz(found.near_hz)} most even over the head box: {joined([names[i] for i in best])} "
        f"({_span([float(found.whole_db[i]) for i in best])} dB"
        + (f", equal within {EQUAL_DB:g} dB" if len(best) > 1 else "")
        + f"); least: {names[worst]} ({db_change(float(found.whole_db[worst]))})."
    ]
    sideways = [i for i, one in enumerate(orientations) if abs(abs(one.orientation.roll_deg) - 90.0) < 1.0]
    standing = [i for i, one in enumerate(orientations) if abs(math.sin(math.radians(one.orientation.roll_deg))) < 0.02]
    if sideways and standing:
        lying, upright = max(found.across_db[i] for i in sideways), max(found.across_db[i] for i in standing)
        words = (
            "loses" if lying > upright + EQUAL_DB else "gains" if lying < upright - EQUAL_DB else "changes little in"
        )
        said.append(
            f"On its side it {words} evenness from left to right near {hertz(found.near_hz)}: {db_change(lying)} over "
            f"the seat against {db_change(upright)}"
            + (" (common practice says that a two-way loses; these are computed)." if found.kind == "two-way" else ".")
        )
    return said


def _low(orientations: Sequence[Oriented], found: OrientationFindings) -> list[str]:
    if found.unchanged or len(orientations) < 2:
        return []
    bands = orientations[0].thirds.bands.nominal_hz
    low = max((float(found.ear_change_db[i]) for i, hz in enumerate(bands) if hz <= LOW_HZ), default=0.0)
    even = (
        f"Up to {hertz(found.equal_up_to_hz)} all orientations are equally even within {EQUAL_DB:g} dB"
        if found.equal_up_to_hz
        else f"Even in the lowest third-octave the orientations differ by more than {EQUAL_DB:g} dB over the head box"
    )
    single = len(orientations[0].placed.model.drivers) == 1
    why = "" if single else ", as the distance of the woofer changes"
    said = [f"{even}; at the ear itself they differ by {db_change(low)} at most up to {hertz(LOW_HZ)}{why}."]
    if single:
        said.append(
            "All its sound is taken to leave from one point: what drivers do to each other is known as far as the data "
            "hold it, for listeners far away."
        )
    elif not math.isnan(found.stacking_db):
        said.append(
            f"Which driver is on top changes direct sound by {db_change(found.stacking_db)} at most up to "
            f"{hertz(LOW_HZ)} (common practice: below about 400 to 500 Hz the order of drivers hardly matters)."
        )
    return said


def _lobes(orientations: Sequence[Oriented]) -> list[str]:
    hanging = [
        f"{one.orientation.name} {db_change(lobe.ear_under_db)} at {hertz(lobe.crossover_hz)}"
        for one in orientations
        for lobe in one.lobes
        if lobe.ear_under_db > EQUAL_DB
    ]
    return [f"The ear lies below the loudest direction: {', '.join(hanging)}."] if hanging else []


def _nulls(orientations: Sequence[Oriented], unit: str) -> list[str]:
    said = []
    for one in orientations:
        for times in one.times:
            if not math.isnan(times.null_m):
                side = "right" if times.null_m > 0 else "left"
                said.append(
                    f"{one.orientation.name}: {times.lower} and {times.upper} cancel at {hertz(times.crossover_hz)} "
                    f"for someone {length_words(abs(times.null_m), unit)} to the {side} of the ear."
                )
    return said


def _surface(way: str, orientations: Sequence[Oriented], found: Sequence[Reflection | None]) -> list[str]:
    """What the loudest surface that looks one way sends in each orientation that fits into the room."""
    names = [one.orientation.name for one in orientations]
    fitting = [number for number, one in enumerate(orientations) if not one.trouble]
    reaching = [number for number in fitting if found[number] is not None]
    there = [one for one in found if one is not None]
    if not there:
        return [f"No surface that looks {way} sends anything at first order."]
    best = softest(found)
    first = found[best[0]]
    loud = max(there, key=lambda one: one.high_db)
    loudest = next(number for number, one in enumerate(found) if one is loud)
    silent = [names[number] for number in fitting if number not in reaching]
    beside = f"; nothing at first order {joined(silent)}" if silent else ""
    if len(best) == len(reaching):
        which = "in every orientation" if len(reaching) == len(found) else "in every orientation that fits"
        if silent:
            which = joined([names[number] for number in reaching])
        equal = f"equal within {EQUAL_DB:g} dB " if len(reaching) > 1 else ""
        return [f"Reflection off the {loud.surface}: {equal}{which}, {_range(first)} dB{beside}."]
    return [
        f"Reflection off the {loud.surface}: weakest {joined([names[i] for i in best])} ({_range(first)} dB"
        + (f", equal within {EQUAL_DB:g} dB" if len(best) > 1 else "")
        + f"); loudest {names[loudest]} ({_range(loud)} dB){beside}."
    ]


def _points(orientations: Sequence[Oriented], unit: str) -> list[str]:
    """Where the drivers' reflection points lie on the loudest upward surface, and whether they leave it."""
    said = []
    for one in orientations:
        up = [each for each in one.reflections if each.facing == "up" and math.isfinite(each.high_db)]
        if not up:
            continue
        loudest = max(up, key=lambda each: each.high_db)
        places = [
            f"{driver} from_front {length_words(float(point[0]), unit)}, "
            f"from_left {length_words(float(point[1]), unit)}" + ("" if clear >= 0.0 else " (beside it)")
            for driver, point, clear in zip(loudest.drivers, loudest.point_m, loudest.clear_m, strict=True)
            if math.isfinite(point[0])
        ]
        said.append(f"{one.orientation.name}, reflection points on the {loudest.surface}: {'; '.join(places)}.")
    return said


def _reading() -> list[str]:
    return [
        "Spread: largest less smallest level of the direct sound over the head box in the worst third-octave near the "
        "crossover, distance to the acoustic axis taken out; along the seat, up and down, and over the whole box.",
        "Drivers: by how much the arrival of the lower driver against the upper one changes along the head box.",
        "Lobe: where the monitor is loudest at the crossover, from its axis, up and to the seat's right.",
        "Desk and ceiling reflection: the loudest first-order reflection from a surface that looks up (desk, "
        "console or "
        "floor), and from one that looks down; worst octave of the target re the direct sound, lowest and highest "
        "over the head box. Edges and second bounces are left out.",
        "orientation.csv, drivers.csv, driver_times.csv (every 10 cm along the seat), surfaces.csv and "
        "driver_reflection_points.csv hold every band, driver, surface and point.",
    ]


def _range(one: Reflection | None) -> str:
    if one is None:
        return "none"
    if not math.isfinite(one.low_db):
        return f"none to {one.high_db:.1f}"
    return f"{one.low_db:.1f} to {one.high_db:.1f}"


def _signed(angle_deg: float) -> str:
    return "0.0" if abs(angle_deg) < 0.05 else f"{angle_deg:+.1f}"


def _span(values: Sequence[float]) -> str:
    low, high = f"{min(values):.1f}", f"{max(values):.1f}"
    return low if low == high else f"{low} to {high}"


def _wrapped(text: str) -> list[str]:
    return textwrap.wrap(text[:1].upper() + text[1:], WIDTH)
