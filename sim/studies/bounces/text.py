"""A study of bounces in words and tables: strongest spots and fractions of surfaces."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

import numpy as np

from sim.showing.numbers import format_length, hertz_range, number_cell, write_table
from sim.showing.words import write_explanation
from sim.studies.bounces.maps import DISC_M, LOWEST_DB, MOST_SPOTS
from sim.studies.bounces.records import BounceStudy, Spot

SPOTS = (
    "loudspeaker",
    "bounce",
    "surface",
    "of",
    "from_front_m",
    "from_left_m",
    "up_m",
    "level_db",
    "error_db",
    "energy_percent",
    "delay_ms",
    "specular_percent",
)
SURFACES = ("loudspeaker", "bounce", "surface", "of", "energy_percent", "highest_db")


def write_bounces(study: BounceStudy, folder: Path) -> None:
    """Write bounce_spots.csv and bounce_surfaces.csv into a folder.

    Raises
    ------
    OutputError
        If one cannot be written.
    """
    write_table(
        folder / "bounce_spots.csv",
        SPOTS,
        (
            [
                spot.loudspeaker,
                str(spot.bounce),
                spot.surface,
                spot.owner,
                *(number_cell(float(value), 3) for value in spot.point),
                f"{spot.level_db:.1f}",
                f"{spot.error_db:.2f}",
                f"{100.0 * spot.fraction:.1f}",
                f"{spot.delay_ms:.2f}",
                f"{100.0 * spot.mirrored:.0f}",
            ]
            for spot in study.spots
        ),
    )
    write_table(folder / "bounce_surfaces.csv", SURFACES, _surfaces(study))


def _surfaces(study: BounceStudy) -> Iterable[list[str]]:
    for s, loudspeaker in enumerate(study.built.loudspeakers):
        for bounce in range(3):
            ranked = sorted(study.maps, key=lambda one: -float(one.fraction[s, bounce]))
            for one in ranked:
                fraction, level = float(one.fraction[s, bounce]), float(one.level_db[s, bounce].max())
                if fraction > 0.0:
                    reported = [f"{100.0 * fraction:.2f}", f"{level:.1f}"]
                    yield [loudspeaker.name, str(bounce + 1), one.surface, one.owner, *reported]


# A study of bounces in words: for the screen, and README.txt of its folder.

ORDINALS = ("first", "second", "third")
REPORTED = 3
SILENT_DB = -150.0
"""Levels of no energy at all are written as -200 dB."""


def bounce_lines(study: BounceStudy) -> list[str]:
    """How much comes early after how many bounces, and the strongest places, line by line."""
    low, high = study.window_ms
    lines = [
        f"{study.scene.blueprint.title}: bounces between {low:g} and {high:g} ms after direct sound",
        f"levels re direct sound, mean of the octaves {hertz_range(study.octaves_hz[0], study.octaves_hz[-1])}; "
        f"{study.rays} rays from each monitor, seed {study.seed}",
    ]
    wide = max((len(spot.surface) for spot in study.spots), default=0)
    for s, loudspeaker in enumerate(study.built.loudspeakers):
        if not np.any(study.early_db[s] > SILENT_DB):
            lines += ["", f"{loudspeaker.name}: none of its rays reaches the ear in this time; nothing to show."]
            continue
        once, twice, thrice, more = (f"{level:.1f}" for level in study.early_db[s])
        lines += [
            "",
            f"{loudspeaker.name}: {once} dB after one bounce, {twice} after two, {thrice} after three, "
            f"{more} after more",
            f"  {'bounce':7} {'place':{wide}}  {'from_front':>11} {'from_left':>11} {'up':>11} {'level, dB':>13}"
            f" {'share':>6} {'delay':>8}",
        ]
        for bounce in range(1, 4):
            spots = [each for each in study.spots if each.loudspeaker == loudspeaker.name and each.bounce == bounce]
            lines += [f"  {ORDINALS[bounce - 1]:7} {_place(study, spot, wide)}" for spot in spots[:REPORTED]]
            if not spots:
                lines.append(f"  {ORDINALS[bounce - 1]:7} no place above {LOWEST_DB:g} dB")
    return lines


def _place(study: BounceStudy, spot: Spot, wide: int) -> str:
    unit = study.scene.blueprint.units
    front, left, up = (format_length(float(value), unit) for value in spot.point)
    level = f"{spot.level_db:.1f} +- {spot.error_db:.1f}"
    return (
        f"{spot.surface:{wide}}  {front:>11} {left:>11} {up:>11} {level:>13} {100.0 * spot.fraction:4.0f} %"
        f" {spot.delay_ms:5.1f} ms"
    )


def write_bounce_readme(study: BounceStudy, path: Path) -> None:
    """Write README.txt of a folder of bounces.

    Raises
    ------
    OutputError
        If it cannot be written.
    """
    write_explanation("\n".join([*bounce_lines(study), "", *_meaning()]) + "\n", path)


def _meaning() -> list[str]:
    return [
        "Files",
        "  bounce_spots.csv     Strongest places of each monitor and bounce, at most "
        f"{MOST_SPOTS} of each above {LOWEST_DB:g} dB.",
        "  bounce_surfaces.csv  Share of each surface in the early reflections of each monitor, bounce by bounce.",
        "  bounces_*.png        The same drawn on each surface that matters: a row a monitor, a column a bounce.",
        "",
        "Columns of bounce_spots.csv",
        "  bounce               1: where sound strikes first; 2 and 3: where it strikes next before it reaches the "
        "ear.",
        "  from_front_m, from_left_m, up_m   The place, in metres from the front wall, the left wall and the floor.",
        f"  level_db             What strikes within {DISC_M:g} m of it, dB re direct sound of the same monitor.",
        "  error_db             Standard error of that, from the number of rays; more rays make it smaller.",
        "  energy_percent       Of all early reflections of that monitor; after three bounces it counts at "
        "three places.",
        "  delay_ms             Mean delay after direct sound.",
        "  specular_percent     How much of it was only mirrored; the rest was scattered at least once.",
        "",
        "What to mind",
        "  Rays carry energy: no interference, no edge diffraction, nothing below the transition frequency.",
        "  They leave the acoustic axis point with what the whole monitor radiates, and count what passes within",
        "  0.15 m of the ear, so places are blurred by about as much. A first-order path has the same place and",
        "  nearly the level of trace: layered absorbers take the same at every angle, panels are taken as lying in",
        "  their wall. Scattering coefficients are estimates unless you measured them (ISO 17497-1).",
    ]
