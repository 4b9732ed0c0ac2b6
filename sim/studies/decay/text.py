"""A decay study in words: the room against the target, gaps, what to mind, and the README of its folder."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Sequence
from pathlib import Path
from typing import Final

import numpy as np

from sim import __version__
from sim.arrays import FloatArray
from sim.blueprint.treatment import Target
from sim.blueprint.units import volume_words
from sim.showing.file_meanings import meaning_of
from sim.showing.numbers import hertz, hertz_range
from sim.showing.words import CAUTIONS, WIDTH, listed, named, titled, write_explanation
from sim.studies.decay.records import DecayStudy
from sim.studies.decay.study import RULE
from sim.studies.decay.verdict import AVERAGED_HZ, GAP_LEVEL_DB, LISTENING_ROOMS, furnished_s, mean_decay_s

CELL: Final = 15
HEAD: Final = 9
SHOWN: Final = (
    ("EDT s", "edt_s", 3, 1.0),
    ("T20 s", "t20_s", 3, 1.0),
    ("T30 s", "t30_s", 3, 1.0),
    ("C50 dB", "c50_db", 2, 1.0),
    ("C80 dB", "c80_db", 2, 1.0),
    ("D50 %", "d50", 1, 100.0),
    ("Ts ms", "ts_ms", 1, 1.0),
    ("direct dB", "direct_db", 1, 1.0),
)
"""Heading, figure, decimals, and what it is multiplied by."""
NEGLECTED: Final = (
    "Rays are energies: no interference and no resonances of the room, so nothing below the transition frequency.",
    "Edge diffraction, in the late decay and in the early reflections named here; bounceplan trace has it.",
    "Scattering coefficients are estimates, and decay times between bare parallel walls depend on them.",
    "Absorption is that of random incidence at every angle. Sound leaves the acoustic axis point of a monitor.",
    "People, and small things that are not in the scene.",
)


def decay_lines(study: DecayStudy) -> list[str]:
    """Lines on a study: times in seconds and milliseconds, levels in dB, octaves side by side."""
    scene = study.scene
    lines = [f"{scene.blueprint.title}  ({scene.path}, scene {scene.digest})"]
    lines += textwrap.wrap(
        f"{study.rays} rays from each monitor in {study.batches} batches, image sources up to order "
        f"{study.order}, followed for {study.length_s:.2f} s, seed {study.seed}. After +- stands the standard "
        f"error. In "
        f"brackets: not judged by rays, the octave reaches below {_hertz(study.transition_hz)}.",
        WIDTH,
    )
    lines += ["", *_room(study)]
    for s, place, name, listener in study.pairs():
        lines += ["", f"{name} at the {listener}", _row("", [hertz(hz) for hz in study.octaves.nominal_hz])]
        for heading, figure, decimals, factor in SHOWN:
            values, errors = study.figure(figure)
            lines.append(_figures(study, heading, factor * values[s, place], factor * errors[s, place], decimals))
    lines += ["", "Early reflections", *listed(_early(study))]
    lines += ["", "To mind", *listed(study.cautions or ("nothing stands out",))]
    lines += ["", "Left out", *listed(NEGLECTED)]
    return lines


def _room(study: DecayStudy) -> list[str]:
    room, aim, count = study.room, study.aim, len(study.octaves)
    lines = [
        f"Decay of the room: mean of {len(study.pairs())} "
        + ("monitors and seats" if len(study.pairs()) > 1 else "monitor and seat"),
        _row("", [hertz(hz) for hz in study.octaves.nominal_hz]),
        _figures(study, "T20 s", room.t20_s, room.t20_error_s, 3),
        _figures(study, "T30 s", room.t30_s, room.t30_error_s, 3),
        _row("tolerance", [f"{low:.2f} - {high:.2f}" for low, high in zip(aim.lower_s, aim.upper_s, strict=True)]),
        _row("verdict", [_short(each.answer) for each in study.verdicts]),
        _row("furnished", [f"{seconds:.2f}" if math.isfinite(seconds) else "-" for seconds in furnished_s(study)]),
        _row("Sabine s", [f"{seconds:.3f}" for seconds in study.diffuse.sabine_s[-count:]]),
        _row("Eyring s", [f"{seconds:.3f}" for seconds in study.diffuse.eyring_s[-count:]]),
    ]
    mean = mean_decay_s(study.octaves, room.t20_s)
    low, high = AVERAGED_HZ
    said = f"T20, mean of the octaves from {hertz_range(low, high)}: {mean:.2f} s; " if math.isfinite(mean) else ""
    sentence = (
        f"{said}{aim.nominal_s:.2f} s are nominal for a monitoring room of "
        f"{volume_words(study.built.volume_m3, study.scene.blueprint.units)}, "
        f"0.25 s (V/100 m3)^(1/3). Tolerance: {LISTENING_ROOMS.source.partition(' (')[0]}."
    )
    more = (
        "Furnished: T20 if the room also held what lived-in rooms hold and the scene does not, things of 0.2 m3 "
        "filling a twentieth of it (EN 12354-6); bare scenes decay too long."
    )
    return [*lines, *textwrap.wrap(sentence, WIDTH), *textwrap.wrap(more, WIDTH)]


def _early(study: DecayStudy) -> list[str]:
    said = []
    for gap in study.gaps:
        who = f"{gap.loudspeaker} at the {gap.listener}"
        if math.isfinite(gap.gap_ms):
            said.append(
                f"{who}: initial time delay gap {gap.gap_ms:.2f} ms, to the {gap.way}, {gap.level_db:.1f} dB re "
                f"direct sound (the first of {GAP_LEVEL_DB:g} dB or more)."
            )
        else:
            said.append(f"{who}: no reflection of {gap.level_db:g} dB or more re direct sound.")
    own, rule = study.scene.blueprint.target, Target(preset=RULE)
    for verdict, ruled in zip(study.early, study.early_rule, strict=True):
        who = f"{verdict.loudspeaker} at the {verdict.listener}"
        said.append(
            f"{who}: {_above(len(ruled.offenders))} the rule of listening rooms, {_limit(rule)} (ITU-R BS.1116-3 and "
            f"EBU Tech 3276); {_above(len(verdict.offenders))} the target of the scene, {_limit(own)}."
        )
    return said


def _above(count: int) -> str:
    return f"{count or 'no'} {'reflection is' if count == 1 else 'reflections are'} above"


def _limit(target: Target) -> str:
    return f"{target.level_db:g} dB from {target.window_ms[0]:g} to {target.window_ms[1]:g} ms"


def _figures(study: DecayStudy, heading: str, values: FloatArray, errors: FloatArray, decimals: int) -> str:
    return _row(
        heading,
        [
            with_error(value, error, decimals, judged=bool(judged))
            for value, error, judged in zip(values.tolist(), errors.tolist(), study.judged, strict=True)
        ],
    )


def with_error(value: float, error: float, decimals: int, *, judged: bool = True) -> str:
    """A figure and its standard error: "0.413+-0.006", in brackets where it is not judged, "-" where there is none."""
    if not np.isfinite(value):
        return "-"
    text = f"{value:.{decimals}f}+-" + (f"{error:.{decimals}f}" if np.isfinite(error) else "?")
    return text if judged else f"({text})"


def _row(heading: str, cells: Sequence[str]) -> str:
    return f"{heading:<{HEAD}}" + "".join(f"{cell:>{CELL}}" for cell in cells)


def _short(answer: str) -> str:
    return {"not judged by rays": "not judged", "too close to call": "too close"}.get(answer, answer)


def _hertz(frequency: float) -> str:
    return f"{frequency:.0f} Hz" if math.isfinite(frequency) else "2 kHz (no decay time to tell the transition by)"


# The README of a decay study's folder: files, columns, how it was found, what was left out, what to mind.

FILES: Final = ("decay.txt", "decay.csv", "decay_figures.csv", "decay.h5", "decay.png", "contents.txt")
COLUMNS: Final[dict[str, str]] = {
    "loudspeaker, listener": 'Names; "all" for the mean of the room.',
    "time_ms": "After direct sound; 0 is the moment it arrives, all of it counted.",
    "level_125_hz_db ... level_8000_hz_db": "Decay curve: energy still to come, re all energy of that octave, direct "
    "sound included. It starts below 0 by what direct sound alone makes of the whole.",
    "standard_error_..._hz_db": "Statistical error of that level. The true mean lies within twice of it in 95 of 100.",
    "octave_hz, judged": "Middle of the octave; no: it reaches below the transition frequency.",
    "figure, value, standard_error": "One of the figures below, and its statistical error.",
    "reached": "Whether the error asked for was reached; only T20 and C50 are asked.",
    "answer": "The room's T20 against the tolerance: within, above, below, too close to call (a limit lies within two "
    "standard errors), not judged by rays, or not known.",
    "edt_s, t20_s, t30_s": "Time for 60 dB by a line through 0 to -10, -5 to -25, -5 to -35 dB (ISO 3382-1, -2).",
    "c50_db, c80_db, d50, ts_ms": "Clarity, definition as a fraction, centre time (ISO 3382-1, Annex A).",
    "nonlinearity20_permille, nonlinearity30_permille": "1000 (1 - r^2) of the T20 and T30 fits (ISO 3382-2, Annex B).",
    "curvature_percent": "100 (T30/T20 - 1) (ISO 3382-2, Annex B).",
    "first_s, last_s": "The same for -5 to -15 and -25 to -35 dB: where they differ the decay has two slopes.",
    "direct_db": "Direct sound re all that comes after it.",
    "followed_db": "How far down the curve was followed; what comes later is added as an exponential.",
    "lowest_tolerated_s, highest_tolerated_s": "Tolerance of monitoring rooms of this volume.",
    "sabine_s, eyring_s": "What these formulas say of the same surfaces and air; for comparison.",
}
METHOD: Final = (
    "Direct sound and reflections up to order {order} are image sources, found exactly; each surface keeps what "
    "neither "
    "is absorbed nor scattered. {rays} rays from each monitor bring all else, so that nothing counts twice.",
    "Curves are backward integrals of energies in bins of {bin_ms:g} ms. What would come after {length_s:.2f} s is "
    "added as an exponential with the rate of the last two fifths. A figure is given only where the curve was followed "
    "10 dB further down than the figure looks.",
    "Standard errors: jackknife over {batches} batches of rays that share no random number. They tell how far another "
    "seed would be off, not how wrong materials and scattering are. Rays were added until T20 was known to "
    "{percent:g} % and C50 to {clarity:g} dB in every judged octave, or the rays were used up.",
    "Seed {seed}: the same scene, seed and version give the same numbers, on any number of threads.",
)


def write_decay_readme(study: DecayStudy, path: Path) -> None:
    """Write the explanation that stands beside the tables.

    Raises
    ------
    OutputError
        If the file cannot be written.
    """
    write_explanation(decay_readme(study), path)


def decay_readme(study: DecayStudy) -> str:
    """Return the explanation as text, at most 100 characters wide."""
    scene = study.scene
    about = (f"Written by bounceplan {__version__} from {scene.path.name}.", f"Scene hash {scene.digest}.")
    method = [
        words.format(
            order=study.order,
            rays=study.rays,
            bin_ms=1000.0 * study.bin_s,
            length_s=study.length_s,
            batches=study.batches,
            percent=study.wanted_percent,
            clarity=study.wanted_db,
            seed=study.seed,
        )
        for words in METHOD
    ]
    sections = (
        ("Files", named({name: meaning_of(name) for name in FILES})),
        ("Columns", named(COLUMNS)),
        ("How it was found", listed(method)),
        ("Left out", listed(NEGLECTED)),
        ("To mind", listed(study.cautions)),
        ("Assumptions", listed((*study.built.notes, *scene.blueprint.notes, *scene.warnings))),
        ("Before you lift, drill or hang anything", listed((*study.built.warnings, *CAUTIONS))),
    )
    reported = [(heading, body or ["  nothing"]) for heading, body in sections]
    return titled(f"{scene.blueprint.title}: decay", about, reported)
