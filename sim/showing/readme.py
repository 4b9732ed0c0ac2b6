"""The README of a results folder: what each file and column means, what was assumed, what to mind."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path
from typing import Final

from sim import __version__
from sim.blueprint.schema import Blueprint
from sim.responses.records import Results
from sim.showing.file_meanings import PICTURES, TRACED, meaning_of
from sim.showing.folder import CONTENTS
from sim.showing.numbers import hertz_range
from sim.showing.words import (
    NOT_JUDGED,
    assumptions,
    cautions,
    listed,
    named,
    titled,
    window_sentence,
    wrapped,
    write_explanation,
)

COLUMNS: Final[dict[str, str]] = {
    "loudspeaker, listener, driver": 'Names; driver "all" is all drivers of the monitor together, its times, '
    "lengths and angles being those of the driver that matters most in the target band.",
    "number": "Rank by harm within one monitor and listener, 1 first; 0 is the direct sound.",
    "kind, via, materials": "Direct, specular (mirrored) or diffracted (at an edge); the surfaces in turn, and what "
    "they "
    "are made of.",
    "delay_ms": "After the direct sound of the same driver.",
    "flight_time_ms": "From the monitor.",
    "extra_path_m, length_m": "Longer than the direct path; whole path.",
    "level_63_hz_db ... level_16000_hz_db": "Level in each octave re the direct sound of the same monitor in "
    "that octave, as if nothing hid it. Below the transition frequency the level is not judged.",
    "worst_db, worst_band_hz": "Highest level among the octaves of the target band, and that octave.",
    "departure_deg": "Angle from the monitor's axis.",
    "arrival_azimuth_deg, arrival_elevation_deg": "Where it comes from at the ear: 0 is straight at the front wall, "
    "positive to the right and from above.",
    "margin_m, margin_cause (why), fragile": "How far the path is from the other answer and what would bring it "
    "about; fragile means within 5 cm, what a tape and a chair can move.",
    "blocked": "Only for direct sound: something hides it.",
    "notch_1_hz ... notch_3_hz": "First frequencies at which it cancels most against the direct sound.",
    "without, without_kind": "What is left out: a surface of the room, a piece (furniture or a monitor's cabinet, "
    "all of it) or a panel (the bare wall in its place); empty: nothing. With a piece goes every path that meets "
    "it, and direct "
    "sound that it alone hides is let through; reflections that it hides stay hidden.",
    "third_octave_hz, level_db, adds_db": "Middle of the band (IEC 61260-1); energy mean over it, re the direct sound "
    "of the whole monitor in that band; level with everything less this one, so what the thing adds.",
    "window_ms, with_room_db": "Of ear_response.csv: all its levels are those of the sound to this long after the "
    "direct sound; the level with what comes later added as energy, by rays (only for the response as it is).",
    "judged": "no: the band reaches below the transition frequency.",
    "frequency_hz, depth_db, rise_without_it_db": "Middle of a notch; twelfth-octave mean under the one-octave mean; "
    "by how much the notch would fill up without the surface.",
    "panel, rise_without_panel_db, present": "The panel that changes the level there most: a positive rise without it "
    "means that it makes the notch deeper, a negative one that it fills it. Present no: the notch would be there "
    "without that panel, and depth, surface and rise_without_it_db are those of the bare wall.",
    "panels": "The panel met on each surface: one that governs more than half of the pressure at the arrival's worst "
    "octave (for a joint, several). In reflection_points.csv panel is that on the surface.",
    "surface, belongs_to, material": "The surface, the room or the piece it is part of, its material.",
    "status": "reaches; misses (the reflection point is just outside the surface); blocked (something just hides it).",
    "from_front, from_left, up": "Distance from the front wall (the one the listener faces), from the left wall as "
    "seen from the seat, height above the floor. ..._m is in metres, ..._text in the unit of the scene file.",
    "tape_1, tape_2, tape_1_from, tape_2_from": "Two distances along the surface, square to each other, and the "
    "lines they start from. On a slope the first runs up the slope.",
    "corner_1, corner_2": "The two nearest named corners of the surface; corner_1_m and corner_2_m are the straight "
    "distances from them, as a check. Left and right are those of the seat.",
}


def write_readme(results: Results, path: Path) -> None:
    """Write the explanation that stands beside the tables.

    Raises
    ------
    OutputError
        If the file cannot be written.
    """
    write_explanation(readme_text(results), path)


def readme_text(results: Results) -> str:
    """Return the explanation as text, at most 100 characters wide."""
    scene = results.scene
    blueprint, target = scene.blueprint, scene.blueprint.target
    about = (
        f"Written by bounceplan {__version__} from {scene.path.name}.",
        f"Scene hash {scene.digest}, seed {blueprint.method.seed}. The same scene and version give the same numbers.",
        f"Target: {target.level_db:g} dB re direct sound, {target.window_ms[0]:g} to {target.window_ms[1]:g} ms after "
        f"it, {hertz_range(*target.band_hz)}.",
        window_sentence(results.responses.response.window),
    )
    sections = (
        ("Files", _files()),
        ("Columns", [*named(COLUMNS), "", *wrapped("An empty cell: no such level, notch or limit.", "  ")]),
        ("Assumptions", listed(assumptions(results))),
        ("Not in the scene file, so the usual value was taken", listed(_taken(blueprint, scene.defaulted))),
        ("Not judged", listed(NOT_JUDGED)),
        ("Before you lift, drill or hang anything", listed(cautions(results))),
    )
    return titled(blueprint.title, about, sections)


def _files() -> list[str]:
    meanings = {name: meaning_of(name) for name in (*TRACED, *PICTURES)}
    return named({**meanings, CONTENTS: meaning_of(CONTENTS)})


def _taken(blueprint: Blueprint, keys: Iterable[str]) -> list[str]:
    """Keys that took a default, with the value where it is a plain one; lengths are in metres."""
    reported = []
    for key in keys:
        value: object = blueprint
        for name in key.replace("[", ".").replace("]", "").split("."):
            value = value[int(name)] if isinstance(value, tuple) else getattr(value, name, None)
        plain = isinstance(value, str | int | float) or (isinstance(value, tuple) and value)
        reported.append(f"{key} = {value}" if plain else key)
    return reported or ["nothing: the file says it all"]
