"""One arrival in words: the way, the time, the ledger of losses, how near it is to vanishing, what would remove it."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from typing import Final

import numpy as np

from sim.arrays import FloatArray
from sim.blueprint.units import small_words
from sim.responses.records import Results
from sim.showing.numbers import db_change, format_length, hertz
from sim.showing.tape import tape_coordinates
from sim.studies.explain.records import Aim, Explanation, Touch
from sim.studies.explain.removal_text import removal_lines

MOST_NOTCHES: Final = 3
FAINTEST_DB: Final = -60.0
"""Levels below this are not told by number."""


def explanation_lines(results: Results, explained: Explanation) -> list[str]:
    """Write an explanation, lengths in the unit of the scene file, levels in dB re the direct sound of the octave."""
    arrival, unit = explained.arrival, results.scene.blueprint.units
    what = "direct sound" if arrival.number == 0 else f"arrival {arrival.number} of those ranked by harm"
    return [
        results.scene.blueprint.title,
        f"{arrival.loudspeaker} at the {arrival.listener}, {what}" + (f": {arrival.via}" if arrival.order else ""),
        "",
        summary_sentence(results, explained),
        *_below("Path", _way(results, explained, unit)),
        *_below("Time", _time(explained, unit)),
        *_below("Where its level comes from, in dB re the direct sound of each octave", _breakdown(results, explained)),
        *_below("Against the direct sound", _notches(results, explained)) * bool(arrival.order),
        *_below("How near it is to vanishing", _margin(explained, unit)) * bool(arrival.order),
        *_below("What would remove it", removal_lines(results, explained)),
        "",
        f"Below {results.responses.transition_hz:.0f} Hz nothing is judged.",
    ]


def summary_sentence(results: Results, explained: Explanation) -> str:
    """Say in one sentence how strong and how late it is, and how it stands against the target."""
    arrival, target = explained.arrival, results.scene.blueprint.target
    if arrival.number == 0:
        hidden = (
            f"It is hidden by the {' and the '.join(explained.hidden_by)}"
            if explained.hidden_by
            else "Nothing hides it"
        )
        return f"{hidden}; it is what all levels are counted from."
    start, end = target.window_ms
    window = f"the target's window ({start:g} to {end:g} ms)"
    level, limit = arrival.worst_db, target.level_db
    stands = f"{db_change(level - limit)} {'above' if level > limit else 'below'} the target of {limit:g} dB"
    if not explained.inside_window:
        stands += f", but outside {window}, so it does not count"
    loudest = f"{db(level)} dB in its worst octave, {hertz(arrival.worst_band_hz)}"
    if not explained.judged.any():
        return (
            f"{loudest}, {arrival.main.delay_ms:.2f} ms after the direct sound; no octave of the target is judged here."
        )
    return f"{loudest}, {arrival.main.delay_ms:.2f} ms after the direct sound: {stands}."


def db(level: float) -> str:
    """A level with one decimal, "under -60" when there is next to nothing."""
    return f"{level + 0.0:.1f}".replace("-0.0", "0.0") if level > FAINTEST_DB else f"under {FAINTEST_DB:g}"


def aim_words(aim: Aim) -> str:
    """A direction off the axis: whole angle, then sideways and up or down as the room has them."""
    sideways = f"{abs(aim.sideways_deg):.0f} to the {'right' if aim.sideways_deg > 0 else 'left'}"
    upward = f"{abs(aim.upward_deg):.0f} {'up' if aim.upward_deg > 0 else 'down'}"
    parts = [sideways] * (abs(aim.sideways_deg) >= 0.5) + [upward] * (abs(aim.upward_deg) >= 0.5)
    return f"{aim.off_axis_deg:.0f} degrees off its axis" + (f" ({', '.join(parts)})" if parts else "")


def _below(heading: str, lines: Iterator[str]) -> list[str]:
    said = [f"  {line}" for line in lines]
    return ["", heading, *said] if said else []


def _way(results: Results, explained: Explanation, unit: str) -> Iterator[str]:
    arrival = explained.arrival
    others = [part.driver for part in arrival.parts[1:]]
    also = f", whose points these are; the path of the {' and the '.join(others)} lies beside it" if others else ""
    yield f"driver: {arrival.main.driver}{also if arrival.order else ''}"
    if explained.silent and arrival.order:
        yield f"no such path from: {', '.join(explained.silent)}"
    if arrival.order:
        yield f"leaves {aim_words(explained.departing)}; the ear lies {aim_words(explained.toward_ear)}"
    else:
        yield f"the ear lies {aim_words(explained.toward_ear)}"
    for place, touch in enumerate(explained.touches, start=1):
        yield from _touch(results, touch, place, unit, explained)
    if arrival.order:
        side = arrival.main.arrival_azimuth_deg
        sideways = f"{abs(side):.0f} degrees to the {'right' if side > 0 else 'left'} of straight ahead"
        height = arrival.main.arrival_elevation_deg
        yield f"reaches the {arrival.listener} from {sideways}, {abs(height):.0f} {'up' if height > 0 else 'down'}"


def _touch(results: Results, touch: Touch, place: int, unit: str, explained: Explanation) -> Iterator[str]:
    depth, across, up = (format_length(float(value), unit) for value in touch.point)
    where = f"from_front {depth}, from_left {across}, up {up}"
    if touch.kind == "edge":
        about = "over two of its edges, about " if not len(explained.arrival.main.points) else "at "
        yield f"{place}. {touch.name}: {about}{where}; the path turns by {touch.angle_deg:.0f} degrees there"
        return
    yield f"{place}. {touch.name} ({touch.material}): at {where}; {touch.angle_deg:.0f} degrees from its normal"
    tape = tape_coordinates(results.built.room, touch.facet, touch.point)
    yield f"   by tape: {reading_words(tape.first_m, tape.first_from, tape.second_m, tape.second_from, unit)}"
    for panel in touch.panels:
        fraction = 100.0 * float(panel.fraction[explained.worst])
        octave = hertz(float(explained.bands.nominal_hz[explained.worst]))
        yield f"   {panel.name} ({panel.material}) governs {fraction:.0f} % of what comes back there at {octave}"


def reading_words(first_m: float, first_from: str, second_m: float, second_from: str, unit: str) -> str:
    """Two tape distances as words."""
    return f"{format_length(first_m, unit)} {first_from}, {format_length(second_m, unit)} {second_from}"


def _time(explained: Explanation, unit: str) -> Iterator[str]:
    main = explained.arrival.main
    if not explained.arrival.order:
        yield f"from the monitor: {main.flight_time_ms:.2f} ms, a path of {format_length(main.length_m, unit)}"
        return
    direct_ms = main.flight_time_ms - main.delay_ms
    rows = (
        ("from the monitor, this path", main.flight_time_ms, f"{format_length(main.length_m, unit)} long"),
        ("from the monitor, direct", direct_ms, f"{format_length(explained.direct_m, unit)} long"),
        ("after the direct sound", main.delay_ms, f"{format_length(main.extra_path_m, unit)} longer"),
    )
    for words, time_ms, length in rows:
        yield f"{words:<31} {time_ms:6.2f} ms   {length}"


def _breakdown(results: Results, explained: Explanation) -> Iterator[str]:
    """One column an octave of the target that is judged, the worst marked with a star."""
    arrival = explained.arrival
    shown = [int(band) for band in np.flatnonzero(explained.judged)] or [explained.worst]
    heads = [
        hertz(float(explained.bands.nominal_hz[band])) + ("*" if band == explained.worst else "") for band in shown
    ]
    rows: list[tuple[str, Sequence[str]]] = [("", heads), ("carried by", [explained.drivers[band] for band in shown])]
    if arrival.order:
        rows += [(explained.name_of(loss), _cells(loss.level_db, shown)) for loss in explained.losses]
        rows.append(("= this arrival", _cells(arrival.level_db, shown)))
        limit = results.scene.blueprint.target.level_db
        rows.append(("target", [f"{limit:.1f}"] * len(shown)))
    names = max(len(name) for name, _ in rows)
    widths = [max(len(cells[column]) for _, cells in rows) for column in range(len(shown))]
    for name, cells in rows:
        yield f"{name:<{names}}  " + "  ".join(f"{cell:>{w}}" for cell, w in zip(cells, widths, strict=True))
    if arrival.order:
        yield "* worst octave of the target. Each column follows the driver that carries that octave of this arrival."
    if any(loss.kind == "drivers" for loss in explained.losses) and arrival.order:
        yield "drivers together: how they add up here against how they add up in the direct sound (out of step: less)."
    if arrival.diffracted and not len(arrival.main.points):
        yield "What the monitor sends toward the two edges is counted with the diffraction."


def _cells(levels: FloatArray, shown: Sequence[int]) -> list[str]:
    return [db(float(levels[band])) for band in shown]


def _notches(results: Results, explained: Explanation) -> Iterator[str]:
    """First antiphases, and the notches at the ear that are put down to the surface of a way of one mirror."""
    arrival = explained.arrival
    found = [f"{hz:.0f} Hz" for hz in arrival.notches_hz if math.isfinite(hz)]
    yield f"it cancels most at {', '.join(found)}" if found else "it is nowhere in antiphase with the direct sound"
    pair, shown = (arrival.loudspeaker, arrival.listener), 0
    for notch in results.responses.notches:
        mine = (notch.loudspeaker, notch.listener) == pair and notch.present and arrival.order == 1
        if mine and notch.surface in arrival.surfaces and shown < MOST_NOTCHES:
            shown += 1
            yield (
                f"a notch at the ear is put down to it: {notch.frequency_hz:.0f} Hz, {notch.depth_db:.0f} dB deep, "
                f"{notch.rise_db:.0f} dB more without it"
            )


def _margin(explained: Explanation, unit: str) -> Iterator[str]:
    main = explained.arrival.main
    if explained.arrival.diffracted:
        yield main.margin_cause
        return
    fragile = ": fragile, tape and chair can move by as much" if explained.arrival.fragile else ""
    yield f"within {small_words(main.margin_m, unit)} {main.margin_cause}{fragile}"
