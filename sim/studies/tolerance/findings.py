"""What the samples of a scene say: ranges of every figure, answers that flip, and where the points may lie."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from sim.arrays import BoolArray, FloatArray, frozen
from sim.studies.tolerance.tolerance import Tolerance

LOW, HIGH = 5.0, 95.0
"""Percentiles that a range is told by; the middle is the median."""
FRAGILE_FRACTION: Final = 0.05
"""An answer that flips in more of the samples is fragile."""
LEAST_M: Final = 1.0e-9
INSIDE: Final = 95.0
"""Percentage of the points that a blob holds."""


@dataclass(frozen=True, slots=True)
class Spread:
    """A figure as written, and its 5th, 50th and 95th percentile over the samples in which it is there."""

    nominal: float
    low: float
    middle: float
    high: float


@dataclass(frozen=True, slots=True)
class ReflectionRange:
    """The reflection of one loudspeaker off one surface.

    `reaches` is the share of samples in which any driver has it; `level` is the highest of the target's octaves re
    direct, `levels` of every octave, `delay_ms` after the direct sound.
    """

    loudspeaker: str
    surface: str
    reaches: float
    level: Spread
    levels: tuple[Spread, ...]
    delay_ms: Spread


@dataclass(frozen=True, slots=True)
class Fragile:
    """An answer that flips: whether the reflection of a driver off a surface is there.

    `now` is "reaches", "misses" or "hidden" in the scene as written; `reaches`, `misses` and `hidden` are shares of the
    samples; `level_db` is the median level of the loudspeaker's reflection there while it is there, -inf if never.
    """

    loudspeaker: str
    driver: str
    surface: str
    now: str
    reaches: float
    misses: float
    hidden: float
    level_db: float

    @property
    def flips(self) -> float:
        """Share of the samples in which the answer is another one than in the scene as written."""
        return 1.0 - self.reaches if self.now == "reaches" else self.reaches


@dataclass(frozen=True, slots=True)
class Blob:
    """Where the reflection point of a driver on a surface may lie.

    Attributes
    ----------
    facet
        Number of the facet it lies on in the scene as written.
    middle
        (3,) mean of the points.
    half_axes
        (2, 3) half axes, in the surface, of an ellipse of the shape of the points' scatter that holds 95 % of them.
    reaches
        Share of the samples in which the point is there.
    """

    loudspeaker: str
    driver: str
    surface: str
    facet: int
    middle: FloatArray
    half_axes: FloatArray
    reaches: float

    def outline(self, points: int = 73) -> FloatArray:
        """The ellipse as a closed line (points, 3)."""
        turn = np.linspace(0.0, 2.0 * np.pi, points)
        return np.asarray(self.middle + np.column_stack([np.cos(turn), np.sin(turn)]) @ self.half_axes)


def reaching(found: Tolerance) -> BoolArray:
    """Whether each driver's reflection off each surface is there, (n, loudspeaker, driver, surface)."""
    return np.asarray((found.figures.clear_m > 0.0) & (found.figures.hidden == 0.0))


def spread_of(nominal: float, samples: FloatArray) -> Spread:
    """Percentiles of the finite samples; nan when there is none."""
    there = samples[np.isfinite(samples)]
    low, middle, high = np.percentile(there, [LOW, 50.0, HIGH]) if there.size else (np.nan,) * 3
    return Spread(float(nominal), float(low), float(middle), float(high))


def reflection_ranges(found: Tolerance) -> tuple[ReflectionRange, ...]:
    """Ranges of every reflection that is there in more than 5 % of the samples, for each loudspeaker loudest first."""
    figures, nominal = found.figures, found.nominal
    rows = []
    for s, name in enumerate(found.loudspeakers):
        mine = []
        for f, surface in enumerate(found.surfaces):
            fraction = float(np.isfinite(figures.delay_ms[:, s, f]).mean())
            if fraction <= FRAGILE_FRACTION:
                continue
            octaves = range(len(found.bands))
            levels = tuple(spread_of(nominal.level_db[s, f, b], figures.level_db[:, s, f, b]) for b in octaves)
            level = spread_of(nominal.worst_db[s, f], figures.worst_db[:, s, f])
            delay = spread_of(nominal.delay_ms[s, f], figures.delay_ms[:, s, f])
            mine.append(ReflectionRange(name, surface, fraction, level, levels, delay))
        rows += sorted(mine, key=lambda row: -np.nan_to_num(row.level.middle, nan=-1e3))
    return tuple(rows)


def early_ranges(found: Tolerance) -> tuple[tuple[Spread, Spread], ...]:
    """For each loudspeaker the ranges of `Tolerance.early_db`, and of its strongest reflection less the target."""
    now, early_db = found.early_db(found.nominal), found.early_db(found.figures)
    return tuple(
        (
            spread_of(now[s], early_db[:, s]),
            spread_of(found.nominal.over_target_db[s], found.figures.over_target_db[:, s]),
        )
        for s in range(len(found.loudspeakers))
    )


def chances(found: Tolerance) -> tuple[tuple[float, ...], float]:
    """Share of the samples in which each loudspeaker meets the target, and in which all do, by first reflections."""
    meets = found.figures.over_target_db <= 0.0
    return tuple(float(fraction) for fraction in meets.mean(axis=0)), float(meets.all(axis=1).mean())


def fragile_answers(found: Tolerance) -> tuple[Fragile, ...]:
    """Answers that flip in more than 5 % of the samples, those that flip most and are loudest first."""
    there = reaching(found)
    hidden = (found.figures.clear_m > 0.0) & (found.figures.hidden > 0.0)
    now = (found.nominal.clear_m > 0.0) & (found.nominal.hidden == 0.0)
    flips = (there != now).mean(axis=0)
    answers = []
    for s, d, f in np.argwhere(flips > FRAGILE_FRACTION):
        levels = found.figures.worst_db[:, s, f]
        heard = levels[np.isfinite(levels)]
        in_the_way = found.nominal.clear_m[s, d, f] > 0.0 and found.nominal.hidden[s, d, f] > 0.0
        reported = "reaches" if now[s, d, f] else "hidden" if in_the_way else "misses"
        reaches, behind = float(there[:, s, d, f].mean()), float(hidden[:, s, d, f].mean())
        answers.append(
            Fragile(
                found.loudspeakers[s],
                found.drivers[s][d],
                found.surfaces[f],
                reported,
                reaches,
                max(1.0 - reaches - behind, 0.0),
                behind,
                float(np.median(heard)) if heard.size else -np.inf,
            )
        )
    return tuple(sorted(answers, key=lambda one: -min(one.reaches, 1.0 - one.reaches) * 10.0 ** (one.level_db / 20.0)))


def blobs(found: Tolerance) -> tuple[Blob, ...]:
    """Where the reflection points may lie, for each driver and surface with more than 5 % of its points there."""
    there = reaching(found)
    room = found.built.room
    made = []
    for s, d, f in np.argwhere(there.mean(axis=0) > FRAGILE_FRACTION):
        points = found.figures.point_m[there[:, s, d, f], s, d, f]
        middle = points.mean(axis=0)
        facets = room.facet_numbers(found.surfaces[f])
        facet = min(facets, key=lambda n: abs(float(room.facets[n].normal @ middle) - room.facets[n].offset_m))
        frame = room.facets[facet].frame[1:]
        flat = (points - middle) @ frame.T
        power, ways = np.linalg.eigh(flat.T @ flat / len(points))
        deviation = np.sqrt(np.maximum(power, 0.0))
        away = np.linalg.norm(flat @ ways / np.maximum(deviation, LEAST_M), axis=1)
        half = float(np.percentile(away, INSIDE)) * deviation[:, None] * (ways.T @ frame)
        fraction = float(there[:, s, d, f].mean())
        names = (found.loudspeakers[s], found.drivers[s][d], found.surfaces[f])
        made.append(Blob(*names, facet, frozen(middle), frozen(half[::-1]), fraction))
    return tuple(made)
