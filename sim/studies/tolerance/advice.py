"""What makes a scene uncertain, by fractions of variance, and which measurement is worth taking again.

First-order index of doubt i: S_i = (b_i sigma_i)^2/Var(y), with b_i the slope of a linear fit of the figure y over all
doubts at once (standardised regression coefficients squared; Saltelli et al., Global Sensitivity Analysis, 2008).  For
a figure that is linear in its doubts the shares are exact and add up to 1.  What is missing from 1 is bends, steps and
interplay of doubts.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from sim.arrays import FloatArray, frozen
from sim.studies.tolerance.findings import Fragile, fragile_answers, reaching, reflection_ranges
from sim.studies.tolerance.tolerance import Tolerance
from sim.studies.tolerance.uncertainties import KINDS, Uncertainty

SAMPLES_PER_UNCERTAINTY: Final = 2.0
"""With fewer samples for each doubt a fit explains chance."""


@dataclass(frozen=True, slots=True)
class Fractions:
    """Shares of the variance of one figure.

    Attributes
    ----------
    fraction
        (doubt,) first-order index; nan when there are too few samples, zero when the figure does not vary.
    slope
        (doubt,) change of the figure for one standard deviation of the doubt.
    explained
        Share of the variance that a linear fit explains.
    """

    fraction: FloatArray
    slope: FloatArray
    explained: float


def variance_fractions(draws: FloatArray, figure: FloatArray) -> Fractions:
    """Shares of the variance of `figure` (n,) that each column of `draws` (n, doubt) makes; samples of nan left out."""
    there = np.isfinite(figure)
    x, y = draws[there], figure[there]
    n, uncertainties = x.shape
    if n < SAMPLES_PER_UNCERTAINTY * (uncertainties + 1):
        missing = np.full(uncertainties, np.nan)
        return Fractions(frozen(missing), frozen(missing), float("nan"))
    x = x - x.mean(axis=0)
    deviation = x.std(axis=0)
    x = x / np.where(deviation > 0.0, deviation, 1.0)
    y = y - y.mean()
    variance = float(np.mean(y**2))
    if variance <= 1e-24:
        return Fractions(frozen(np.zeros(uncertainties)), frozen(np.zeros(uncertainties)), 1.0)
    slope = np.linalg.lstsq(x, y, rcond=None)[0]
    unexplained = float(np.mean((y - x @ slope) ** 2))
    # a slope that is chance has this expected square; it is taken off, so that 40 idle doubts do not add up
    chance = unexplained / max(n - uncertainties - 1, 1)
    power = np.maximum(slope**2 - chance, 0.0)
    # doubts are independent, so that their variances add up, which those of a few samples do only nearly
    whole = float(power.sum()) + unexplained
    return Fractions(frozen(power / whole), frozen(slope), float(power.sum()) / whole)


# What makes a scene uncertain, and which measurement is worth taking again.

DECIDES: Final = 0.15
"""A doubt that makes less of a figure's variance does not decide it (common practice, no source)."""
BELOW_TARGET_DB: Final = 10.0
"""Answers about reflections that are quieter than the target by more decide nothing."""
MATTERS_DB: Final = 0.25
"""A doubt that moves a level by less (standard deviation) is not worth a tape."""


@dataclass(frozen=True, slots=True)
class Figure:
    """One figure of which the sensitivity is known.

    `kind` is "early" (energy of a loudspeaker), "level" or "delay" (of a reflection) or "there" (whether a driver's
    reflection is there); `driver` and `surface` are empty where they do not belong.  `deviation` is the standard
    deviation of the figure, in dB, ms, or of how far inside the surface the point lies in metres; for an answer that
    things hidden decide, of 0 and 1.
    """

    kind: str
    loudspeaker: str
    driver: str
    surface: str
    deviation: float
    fractions: Fractions


@dataclass(frozen=True, slots=True)
class Advice:
    """One doubt and what it decides: answers as (fragile answer, share), levels as (figure, share); best first.

    `score` puts the doubts in order: decided answers, weighted by how loud they are, and dB of levels.
    """

    uncertainty: Uncertainty
    answers: tuple[tuple[Fragile, float], ...]
    levels: tuple[tuple[Figure, float], ...]
    score: float


def sensitivities(found: Tolerance) -> tuple[Figure, ...]:
    """Shares of variance of each early component, fragile answer, and of each reflection's level and delay."""
    x, figures, early_db = found.standardised, found.figures, found.early_db(found.figures)
    rows = []

    def add(kind: str, s: int, driver: str, surface: str, values: FloatArray) -> None:
        there = values[np.isfinite(values)]
        deviation = float(there.std()) if there.size else float("nan")
        rows.append(Figure(kind, found.loudspeakers[s], driver, surface, deviation, variance_fractions(x, values)))

    for s in range(len(found.loudspeakers)):
        add("early", s, "", "", early_db[:, s])
    for answer in fragile_answers(found):
        s, d, f = _numbers(found, answer)
        # How far inside the point lies is smooth, so that a fit is far better than that of a yes or no.
        inside = figures.clear_m[:, s, d, f]
        smooth = answer.hidden < min(answer.misses, answer.reaches) and np.isfinite(inside).mean() > 0.9
        values = inside if smooth else np.asarray(reaching(found)[:, s, d, f], dtype=np.float64)
        add("there", s, answer.driver, answer.surface, values)
    for row in reflection_ranges(found):
        s, f = found.loudspeakers.index(row.loudspeaker), found.surfaces.index(row.surface)
        add("level", s, "", row.surface, figures.worst_db[:, s, f])
        add("delay", s, "", row.surface, figures.delay_ms[:, s, f])
    return tuple(rows)


def advice(found: Tolerance, figures: Sequence[Figure], kinds: Sequence[str] = ("tape",)) -> tuple[Advice, ...]:
    """Doubts of some kinds that decide anything, the most worthwhile first."""
    answers = {(one.loudspeaker, one.driver, one.surface): one for one in fragile_answers(found)}
    quiet_db = found.scene.blueprint.target.level_db - BELOW_TARGET_DB
    listed = []
    for number, uncertainty in enumerate(found.uncertainties):
        if uncertainty.kind not in kinds:
            continue
        decided, moved, score = [], [], 0.0
        for figure in figures:
            fraction = float(figure.fractions.fraction[number])
            if not np.isfinite(fraction):
                continue
            if figure.kind == "there":
                answer = answers[(figure.loudspeaker, figure.driver, figure.surface)]
                weight = 4.0 * answer.reaches * (1.0 - answer.reaches) * 10.0 ** (answer.level_db / 20.0)
                if fraction >= DECIDES and answer.level_db >= quiet_db:
                    decided.append((answer, fraction))
                    score += weight * fraction
            elif figure.kind == "early" and float(np.sqrt(fraction)) * figure.deviation >= MATTERS_DB:
                moved.append((figure, fraction))
                score += 0.1 * float(np.sqrt(fraction)) * figure.deviation
        if decided or moved:
            decided.sort(key=lambda pair: -pair[1])
            moved.sort(key=lambda pair: -pair[1])
            listed.append(Advice(uncertainty, tuple(decided), tuple(moved), score))
    return tuple(sorted(listed, key=lambda one: -one.score))


def fractions_by_kind(found: Tolerance, fractions: Fractions) -> dict[str, float]:
    """Shares of one figure's variance, added up for each kind of doubt."""
    return {
        kind: float(
            sum(
                fraction
                for uncertainty, fraction in zip(found.uncertainties, fractions.fraction, strict=True)
                if uncertainty.kind == kind
            )
        )
        for kind in KINDS
    }


def _numbers(found: Tolerance, answer: Fragile) -> tuple[int, int, int]:
    s = found.loudspeakers.index(answer.loudspeaker)
    return s, found.drivers[s].index(answer.driver), found.surfaces.index(answer.surface)
