"""A decay study in words: the room against the target, figures with errors, gaps, and what to mind."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Sequence
from typing import Final

import numpy as np

from ..arrays import FloatArray
from ..blueprint.targets import Target
from ..responses.decay_records import DecayStudy
from ..responses.decay_study import RULE
from ..responses.decay_verdict import AVERAGED_HZ, GAP_LEVEL_DB, LISTENING_ROOMS, mean_decay_s
from .paragraphs import WIDTH, listed

CELL: Final = 15
HEAD: Final = 9
SHOWN: Final = (
    ("EDT s", "edt_s", 3, 1.0), ("T20 s", "t20_s", 3, 1.0), ("T30 s", "t30_s", 3, 1.0), ("C50 dB", "c50_db", 2, 1.0),
    ("C80 dB", "c80_db", 2, 1.0), ("D50 %", "d50", 1, 100.0), ("Ts ms", "ts_ms", 1, 1.0),
    ("direct dB", "direct_db", 1, 1.0),
)  # fmt: skip
"""Heading, figure, decimals, and what it is multiplied by."""
NEGLECTED: Final = (
    "Rays are energies: no interference and no resonances of the room, so nothing below the transition frequency.",
    "Edges bend no sound into the late decay, and none into the early reflections named here; bounceplan trace has "
    "those.",
    "Scattering coefficients are estimates, and decay times between bare parallel walls depend on them.",
    "Absorption is that of random incidence at every angle. Sound leaves the acoustic axis point of a loudspeaker.",
    "People, and small things that are not in the scene.",
)


def decay_lines(study: DecayStudy) -> list[str]:
    """Lines on a study: times in seconds and milliseconds, levels in dB, octaves side by side."""
    scene = study.scene
    lines = [f"{scene.blueprint.title}  ({scene.path}, scene {scene.digest})"]
    lines += textwrap.wrap(
        f"{study.rays} rays from each loudspeaker in {study.batches} batches, paths of up to {study.order} mirrors as "
        f"images, followed for {study.length_s:.2f} s, seed {study.seed}. After +- stands the standard error. In "
        f"brackets: not judged by rays, the octave reaches below {_hertz(study.transition_hz)}.",
        WIDTH,
    )
    lines += ["", *_room(study)]
    for s, place, name, listener in study.pairs():
        lines += ["", f"{name} at the {listener}", _row("", [_octave(hz) for hz in study.octaves.nominal_hz])]
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
        + ("loudspeakers and seats" if len(study.pairs()) > 1 else "loudspeaker and seat"),
        _row("", [_octave(hz) for hz in study.octaves.nominal_hz]),
        _figures(study, "T20 s", room.t20_s, room.t20_error_s, 3),
        _figures(study, "T30 s", room.t30_s, room.t30_error_s, 3),
        _row("tolerance", [f"{low:.2f} - {high:.2f}" for low, high in zip(aim.lower_s, aim.upper_s, strict=True)]),
        _row("verdict", [_short(each.answer) for each in study.verdicts]),
        _row("Sabine s", [f"{seconds:.3f}" for seconds in study.diffuse.sabine_s[-count:]]),
        _row("Eyring s", [f"{seconds:.3f}" for seconds in study.diffuse.eyring_s[-count:]]),
    ]
    mean = mean_decay_s(study.octaves, room.t20_s)
    low, high = AVERAGED_HZ
    said = (
        f"T20, mean of the octaves from {low:g} Hz to {high / 1000.0:g} kHz: {mean:.2f} s; "
        if math.isfinite(mean)
        else ""
    )
    sentence = (
        f"{said}{aim.nominal_s:.2f} s are nominal for a monitoring room of {study.stage.volume_m3:.0f} m3, "
        f"0.25 s (V/100 m3)^(1/3). Tolerance: {LISTENING_ROOMS.source}."
    )
    return [*lines, *textwrap.wrap(sentence, WIDTH)]


def _early(study: DecayStudy) -> list[str]:
    said = []
    for gap in study.gaps:
        who = f"{gap.loudspeaker} at the {gap.listener}"
        if math.isfinite(gap.gap_ms):
            said.append(
                f"{who}: initial time delay gap {gap.gap_ms:.2f} ms, up to {gap.way} with {gap.level_db:.1f} dB re "
                f"direct sound (the first of {GAP_LEVEL_DB:g} dB or more)."
            )
        else:
            said.append(f"{who}: no mirrored reflection of {gap.level_db:g} dB or more re direct sound.")
    own, rule = study.scene.blueprint.target, Target(preset=RULE)
    for verdict, ruled in zip(study.early, study.early_rule, strict=True):
        who = f"{verdict.loudspeaker} at the {verdict.listener}"
        said.append(
            f"{who}: {_above(len(ruled.offenders))} the rule of listening rooms, {_limit(rule)} (ITU-R BS.1116-3 and "
            f"EBU Tech 3276, from memory); {_above(len(verdict.offenders))} the target of the scene, {_limit(own)}."
        )
    return said


def _above(count: int) -> str:
    return f"{count or 'no'} mirrored {'reflection is' if count == 1 else 'reflections are'} above"


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


def _octave(frequency: float) -> str:
    return f"{frequency / 1000.0:g} kHz" if frequency >= 1000.0 else f"{frequency:g} Hz"


def _hertz(frequency: float) -> str:
    return f"{frequency:.0f} Hz" if math.isfinite(frequency) else "2 kHz (no decay time to tell the transition by)"
