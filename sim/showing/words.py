"""Words that several questions share: plain text, assumptions, cautions, verdicts, names of peaks."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import Final

import numpy as np

from sim.blueprint.units import length_words, small_words
from sim.machine.whole_files import write_whole
from sim.placement.supports import tilt_at_the_ear_deg
from sim.propagation.paths import FRAGILE_M, Candidate
from sim.responses.ear_records import EarWindow, Peak
from sim.responses.records import Arrival, Results, Verdict
from sim.showing.numbers import db_beside, db_words, hertz_range

WIDTH: Final = 100


def wrapped(text: str, indent: str = "") -> list[str]:
    """A paragraph as lines that all begin with an indent."""
    return textwrap.wrap(text, WIDTH, initial_indent=indent, subsequent_indent=indent)


def listed(sentences: Iterable[str]) -> list[str]:
    """Sentences as a list, each with a dash before it."""
    lines = []
    for sentence in sentences:
        lines += textwrap.wrap(sentence, WIDTH, initial_indent="  - ", subsequent_indent="    ")
    return lines


def named(entries: Mapping[str, str]) -> list[str]:
    """Names, each with its meaning in the lines below."""
    lines = []
    for name, meaning in entries.items():
        lines += [f"  {name}", *wrapped(meaning, "      ")]
    return lines


def titled(title: str, about: Sequence[str], sections: Iterable[tuple[str, Sequence[str]]]) -> str:
    """A whole text: title, sentences about it, and sections of lines under underlined headings."""
    lines = [title, "=" * len(title), ""]
    for sentence in about:
        lines += wrapped(sentence)
    for heading, body in sections:
        lines += ["", heading, "-" * len(heading), *body]
    return "\n".join(lines) + "\n"


def window_sentence(window: EarWindow) -> str:
    """What of the sound the response at the ear holds, and how much may be missing."""
    if window.searched_mirrors == 0:
        return f"The response at the ear holds the listed paths to {window.window_ms:g} ms after the direct sound."
    known = (
        f"The response at the ear, its dips and what things add to it hold every reflection to {window.window_ms:g} ms "
        f"after the direct sound ({window.paths} paths of up to {window.most_mirrors} surfaces"
    )
    if window.complete or window.left_out_db <= -100.0:
        return f"{known}; searched to {window.searched_mirrors}, there are no more)."
    return f"{known}; what lies beyond is about {window.left_out_db:.0f} dB re direct, an estimate)."


def write_lines(lines: Sequence[str], path: Path) -> None:
    """Write lines of text.

    Raises
    ------
    OutputError
        If the file cannot be written.
    """
    write_whole(path, "\n".join(lines) + "\n", "the text")


def write_explanation(text: str, path: Path) -> None:
    """Write a text that explains a folder.

    Raises
    ------
    OutputError
        If the file cannot be written.
    """
    write_whole(path, text, "the explanation")


# What is said with every result: assumptions, cautions, and what is not judged.

SWEEP_CAUTIONS: Final = (
    "Turn the monitors down before the first sweep, then up in steps: as loud as speech is enough in a small room.",
    "Nobody with an ear near a monitor, and no headphones: a sweep is a loud steady tone. At work 85 dB(A) over eight"
    " hours is the usual limit, and every 3 dB more halves the time.",
    "Tweeters burn at levels that a woofer bears: stop when anything buzzes or smells. Play one monitor at a time, the"
    " other muted.",
)
"""Before a swept sine is played."""
CAUTIONS: Final[tuple[str, ...]] = (
    "Nothing here replaces local building, fire and electrical codes or licensed trades; where they differ, they win.",
    "Overhead panels: fix to joists or rated anchors with hardware rated for overhead use and a second tether, "
    "never by glue or magnets alone; suspended-ceiling grids and plain plasterboard are not structure. Two people.",
    "Drilling: use a detector first; cables, water and gas may run anywhere behind a surface, also at the points "
    "named here. Have old coatings and boards tested for asbestos.",
    "Heavy monitors: lift with two people or a hoist; a cabinet and its stand should still stand when tipped "
    "by 10 degrees; strap tilted cabinets; mind children, pets and earthquake areas.",
    "Fibres: when cutting mineral or glass wool wear gloves, long sleeves, eye cover and a dust mask; wrap it fully.",
    "Fire: ask for the reaction-to-fire class of the whole panel as mounted (EN 13501-1 or ASTM E84); never use "
    "packing or bedding foam; keep clear of lamps, heaters and transformers.",
    "Escape and air: never block a door, an escape window, a smoke alarm, a sprinkler, a vent or a radiator.",
    "Hearing: play test signals at a moderate level and stay away from the monitor while they run.",
    "Mains: keep the protective earth, leave room for heat behind powered monitors, no mains cable under panels.",
)

NOT_JUDGED: Final[tuple[str, ...]] = (
    "Bass: below the transition frequency single resonances of the room rule, and rays say little.",
    "Edge diffraction of higher order than two; two edges with a reflection before or after them, or on a body that "
    "is not a plain plate or box standing free; the shadow of panels.",
    "Vibration of the desk, the stands and the floor.",
    "Small things that are not in the scene, and people.",
)


def cautions(results: Results) -> tuple[str, ...]:
    """What to mind: what is not settled in this scene first, then what holds for every room."""
    return (*results.built.warnings, *CAUTIONS)


def assumptions(results: Results) -> tuple[str, ...]:
    """What was assumed: notes of the scene and of building it, and what looked odd in the file."""
    scene, built, air = results.scene, results.built, results.built.air
    return (
        "Surfaces are flat and reflect like mirrors; materials take away what their absorption coefficient says, "
        "at every angle" + (", save those given in layers, which know the angle." if built.finishes else "."),
        *(
            ["Panels take part by the Fresnel fraction of their area and by the front edges of their frames."]
            * bool(built.panels)
        ),
        f"Air: {air.temperature_c:g} C, {air.relative_humidity_percent:g} % relative humidity, "
        f"{air.pressure_kpa:g} kPa; speed of sound {air.speed_of_sound_m_s:.1f} m/s.",
        f"Paths touch at most {results.paths.facets.shape[1]} surfaces.",
        f"Frequencies below {results.responses.transition_hz:.0f} Hz are not judged.",
        *built.notes,
        *scene.blueprint.notes,
        *scene.warnings,
    )


def letter_of(number: int) -> str:
    """Letters of the layout with a number from 0 on: A to Z, then AA, AB and so on."""
    letters = ""
    number += 1
    while number:
        number, rest = divmod(number - 1, 26)
        letters = chr(ord("A") + rest) + letters
    return letters


# A scene against its target in sentences: verdicts, and reflections that are only just there or only just not.

NEAR_M: Final = 0.30
"""A surface that fails by more is not worth a sentence (common practice, no source)."""
SHOWN_OCTAVES_HZ: Final = (1000, 2000, 4000)


def verdict_sentence(results: Results, verdict: Verdict, who: str = "") -> str:
    """Say in one sentence how one loudspeaker at one listener stands against the target; `who` names it otherwise."""
    target = results.scene.blueprint.target
    who = who or f"{verdict.loudspeaker} at the {verdict.listener}"
    limit = f"{target.level_db:g} dB from {target.window_ms[0]:g} to {target.window_ms[1]:g} ms"
    band = f"{hertz_range(*target.band_hz)}"
    hidden = any(
        a.blocked and (a.loudspeaker, a.listener) == (verdict.loudspeaker, verdict.listener)
        for a in results.responses.arrivals
    )
    warning = " Something blocks the direct sound." if hidden else ""
    if hidden and not reflections(results, verdict.loudspeaker, verdict.listener):
        return (
            f"{who}: silence. Something blocks the direct sound, and no path of up to "
            f"{results.paths.facets.shape[1]} reflections or round an edge leads past it; there is nothing to judge."
        )
    if verdict.met:
        return f"{who}: the target is met, nothing is above {limit} ({band}).{warning}"
    worst = worst_offender(results, verdict)
    assert worst is not None
    count = len(verdict.offenders)
    above = "one arrival is" if count == 1 else f"{count} arrivals are"
    lead = "it is" if count == 1 else "the worst is"
    return (
        f"{who}: {above} above {limit} ({band}); {lead} {worst.via}: "
        f"{db_beside(worst.worst_db, target.level_db)}, {worst.main.delay_ms:.2f} ms after the direct sound.{warning}"
    )


def worst_offender(results: Results, verdict: Verdict) -> Arrival | None:
    """The strongest arrival above the target inside its window, or None."""
    mine = reflections(results, verdict.loudspeaker, verdict.listener)
    return next((one for one in mine if verdict.offenders and one.number == verdict.offenders[0]), None)


def near_misses(results: Results, loudspeaker: str, listener: str) -> tuple[str, ...]:
    """Say which surfaces only just do not mirror, and by how much; nearest first."""
    place = results.built.listener_names.index(listener)
    mine = [c for c in results.candidates if (c.loudspeaker, c.listener) == (loudspeaker, place)]
    reached = {c.facet for c in mine if c.status == "reaches"}
    failing = sorted((c for c in mine if c.status in ("misses", "blocked")), key=fails_by)
    reported: dict[str, str] = {}
    for candidate in failing:
        some_reach = candidate.facet in reached
        if fails_by(candidate) > (FRAGILE_M if some_reach else NEAR_M) or candidate.surface in reported:
            continue
        reported[candidate.surface] = _miss_sentence(candidate, results.scene.blueprint.units, some_reach)
    return tuple(reported.values())


def fails_by(candidate: Candidate) -> float:
    """By how much (m) a surface only just does not reflect: its point lies outside, or something blocks it."""
    by = abs(candidate.rim_m) if candidate.status == "misses" else candidate.shade_m
    return by if np.isfinite(by) else np.inf


def _miss_sentence(candidate: Candidate, unit: str, some_reach: bool) -> str:
    by = small_words(fails_by(candidate), unit)
    whose = f"the {candidate.driver}'s point" if some_reach else "the point"
    fact = f"{whose} {by} outside" if candidate.status == "misses" else ""
    if candidate.status == "blocked":
        part = f" for the {candidate.driver}" if some_reach else ""
        fact = f"blocked by the {candidate.blocked_by}{part}, by {by}"
    return f"{candidate.surface}: {fact}{': fragile' if candidate.fragile else ''}"


def reflections(results: Results, loudspeaker: str, listener: str) -> list[Arrival]:
    """Reflections of one loudspeaker at one listener, rank 1 first."""
    mine: Iterable[Arrival] = (
        a for a in results.responses.arrivals if (a.loudspeaker, a.listener) == (loudspeaker, listener) and a.order
    )
    return sorted(mine, key=lambda arrival: arrival.number)


# Energy-time curves as pictures and the report show them: how far they go, and how a peak is named.

BEFORE_MS: Final = -1.0
FLOOR_DB, CEILING_DB = -40.0, 6.0


def last_shown_ms(results: Results) -> float:
    """End of the time axis: a quarter beyond the target window, as far as the curves go."""
    curve, target = results.responses.energy_time, results.scene.blueprint.target
    return float(min(curve.time_ms[-1], max(target.window_ms[1] * 1.25, 12.0)))


def peak_mark(peak: Peak) -> str:
    """Numbers of the arrivals that a peak is named after: "3", or "3+5" when two merge; "?" for none, "0" direct."""
    return "+".join(str(number) for number in peak.arrivals[:2]) or "?"


# The sentence that trace, treat and report open with: what to do first, in short.
#
# What cannot be or hurts comes before all.  Else it is the most harmful reflection and what the trade would do about
# it; whether that helps in this room is what `advise` tries, one change after the other.

ADVISE: Final = "bounceplan advise tries this and everything else you can change."
AIMED_DEG: Final = 5.0
"""A monitor that points at the ear within this is aimed (common practice, no source)."""


def opening(results: Results) -> str:
    """What to do first in a traced scene, in one or two sentences."""
    if results.built.warnings:
        return f"Do this first: settle what stops you. {results.built.warnings[0]}"
    worst = most_harmful(results)
    if worst is None:
        target = results.scene.blueprint.target
        return f"Nothing is to be done first: no reflection is above the target of {target.level_db:g} dB."
    over = worst.worst_db - results.scene.blueprint.target.level_db
    return (
        f"First: {worst.via}, {db_words(worst.worst_db)} at {worst.main.delay_ms:.1f} ms ({worst.loudspeaker}), harms "
        f"most, {over:.0f} dB above the target. By rule of thumb: {cure(results, worst)}. {ADVISE}"
    )


def most_harmful(results: Results) -> Arrival | None:
    """The strongest arrival at the first seat that is above the target inside its window."""
    ear = results.built.listener_names[0]
    worst = [worst_offender(results, one) for one in results.responses.verdicts if one.listener == ear]
    # rounded, so that of two mirror images the first is named, not the one whose sums end in larger digits
    return max((one for one in worst if one is not None), key=lambda one: round(one.worst_db, 2), default=None)


def cure(results: Results, arrival: Arrival) -> str:
    """What the trade would do about an arrival first, as an instruction (common practice, no source)."""
    blueprint = results.scene.blueprint
    pieces = [owner for owner in dict.fromkeys(arrival.owners) if owner != "room"]
    boxes = {one.body for one in results.built.loudspeakers}
    desks = {item.name for item in blueprint.furniture if item.worked_at}
    if any(piece in boxes for piece in pieces):
        return "turn or move the monitors so that no cabinet stands in the way"
    if any(piece in desks for piece in pieces):
        desk = next(piece for piece in pieces if piece in desks)
        return f"{_aim(results, arrival.loudspeaker)}a soft top on the {desk}, or less of it; no wall panel acts on it"
    if pieces:
        return f"lower, turn or move the {pieces[0]}"
    if arrival.diffracted or not len(arrival.main.points):
        return "move the monitors or the seat a little"
    facet = next((one for one in results.built.room.facets if one.name == arrival.surfaces[0]), None)
    point, unit = arrival.main.points[0], blueprint.units
    deep, across, up = (length_words(float(one), unit) for one in point)
    place = f"{deep} from the front wall, {across} from the left"
    if facet is not None and facet.normal[2] > 0.5:
        return f"a thick rug, its middle {place}"
    if facet is not None and facet.normal[2] < -0.5:
        return f"a cloud, its middle {place}"
    if facet is not None and float(np.abs(facet.normal).max()) > 0.99:  # on the wall itself one length is nothing
        place = f"{across} from the left" if abs(facet.normal[1]) < 0.5 else f"{deep} from the front wall"
    return f"a panel on the {arrival.surfaces[0]}, its middle {place}, {up} up"


def _aim(results: Results, loudspeaker: str) -> str:
    """How to tilt a monitor at the ear before anything else; nothing where it is aimed already or built in."""
    built, scene = results.built, results.scene
    index = [one.name for one in built.loudspeakers].index(loudspeaker)
    placed = built.loudspeakers[index]
    tilt = tilt_at_the_ear_deg(scene.blueprint, index, scene.folder) - placed.tilt_deg
    if placed.built_into or abs(tilt) < AIMED_DEG:
        return ""
    return f"tilt the monitors {abs(tilt):.0f} degrees {'down' if tilt > 0.0 else 'up'} to aim at the ear, then "
