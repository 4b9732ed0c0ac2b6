"""Tolerance: how far every figure of a scene may be off, when tape, hands, head and data are as exact as they are."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields
from typing import Any, ClassVar, Final

import numpy as np

from sim.acoustics.bands import Bands, octave_bands
from sim.answers import Answer, Labelled
from sim.arrays import FloatArray, frozen
from sim.blueprint.reader import AnyScene, SceneFile, read_scene
from sim.errors import SceneError
from sim.layouts.figures import LayoutFigures, layout_figures, surface_names
from sim.layouts.workers import Workers
from sim.placement.built_scene import BuiltScene, build_scene
from sim.progress import Report, say_nothing
from sim.responses.arrivals import in_target_band
from sim.responses.measure import COMPONENTS, octave_weights
from sim.showing.numbers import halves
from sim.studies.tolerance.samples import ToleranceTask, work_sample
from sim.studies.tolerance.uncertainties import KINDS, Uncertainty, uncertainties_of

SAMPLES: Final = 256
FEWEST, MOST = 32, 65_536
EARLY: Final = COMPONENTS["early"][0]
MOST_IMPOSSIBLE: Final = 0.5
"""With more impossible samples than this share, what is left says nothing about the scene."""


@dataclass(frozen=True, slots=True, repr=False)
class Tolerance(Answer):
    """Samples of a scene as it may really be.

    Attributes
    ----------
    scene, built
        As written.
    bands
        Octaves of the levels.
    surfaces
        Names of everything that can mirror.
    uncertainties
        What was drawn.
    seed, samples
        What it was drawn from, and how often.
    offsets
        (n, doubt) what was drawn, for the n samples that are possible.
    figures
        Of these samples, the sample first in every array.
    nominal
        Of the scene as written.
    impossible
        Number of samples that cannot be.
    reason
        Why most of these could not, or an empty text.
    """

    question: ClassVar[str] = "tolerance"

    scene: SceneFile
    built: BuiltScene
    bands: Bands
    surfaces: tuple[str, ...]
    uncertainties: tuple[Uncertainty, ...]
    seed: int
    samples: int
    offsets: FloatArray
    figures: LayoutFigures
    nominal: LayoutFigures
    impossible: int
    reason: str

    @property
    def loudspeakers(self) -> tuple[str, ...]:
        """Names, the first batch axis of all figures."""
        return tuple(one.name for one in self.built.loudspeakers)

    @property
    def drivers(self) -> tuple[tuple[str, ...], ...]:
        """For each loudspeaker the names of its drivers."""
        return tuple(tuple(driver.name for driver in one.model.drivers) for one in self.built.loudspeakers)

    @property
    def standardised(self) -> FloatArray:
        """(n, doubt) what was drawn, in standard deviations."""
        return np.asarray(
            self.offsets / np.array([uncertainty.standard_deviation for uncertainty in self.uncertainties])
        )

    def early_db(self, figures: LayoutFigures) -> FloatArray:
        """The measure's component `early` by first reflections alone, (..., loudspeaker) as the figures have it."""
        target = self.scene.blueprint.target
        judged, (start, end) = in_target_band(self.bands, target), target.window_ms
        over = np.maximum(figures.level_db[..., judged] - target.level_db, 0.0)
        inside = (figures.delay_ms >= start) & (figures.delay_ms <= end)
        counted = over @ octave_weights(self.bands.nominal_hz[judged], target)
        return np.asarray(np.where(inside, counted, 0.0).sum(axis=-1))

    def headline(self) -> str:
        """How far the early reflections of each loudspeaker may be off: from the 5th to the 95th percentile."""
        low, high = np.percentile(self.early_db(self.figures), [5.0, 95.0], axis=0)
        sides = zip(self.loudspeakers, low, high, strict=True)
        reported = ", ".join(f"{name} {halves(least)} to {halves(most)} dB" for name, least, most in sides)
        return f"{self.scene.blueprint.title}, {EARLY} in 90 % of {self.samples} samples: {reported}"

    def rows(self) -> list[dict[str, Any]]:
        """One row for each loudspeaker and surface: level in dB and delay in ms, nominal and in 90 % of the samples."""
        reported = []
        for s, name in enumerate(self.loudspeakers):
            for f, surface in enumerate(self.surfaces):
                level, delay = self.figures.worst_db[:, s, f], self.figures.delay_ms[:, s, f]
                there = np.isfinite(level)
                low, high = np.percentile(level[there], [5.0, 95.0]) if there.any() else (np.nan, np.nan)
                early, late = np.percentile(delay[there], [5.0, 95.0]) if there.any() else (np.nan, np.nan)
                reported.append(
                    {
                        "loudspeaker": name,
                        "surface": surface,
                        "level_db": float(self.nominal.worst_db[s, f]),
                        "level_5_percent_db": float(low),
                        "level_95_percent_db": float(high),
                        "delay_ms": float(self.nominal.delay_ms[s, f]),
                        "delay_5_percent_ms": float(early),
                        "delay_95_percent_ms": float(late),
                        "there_percent": 100.0 * float(there.mean()),
                    }
                )
        return reported

    def _axes(self) -> Mapping[str, tuple[Any, str]]:
        return {
            "loudspeaker": (list(self.loudspeakers), ""),
            "surface": (list(self.surfaces), ""),
            "octave": (self.bands.nominal_hz, "Hz"),
            "uncertainty": ([uncertainty.name for uncertainty in self.uncertainties], ""),
        }

    def _arrays(self) -> Mapping[str, Labelled]:
        each = ("sample", "loudspeaker", "surface")
        return {
            "offset": (("sample", "uncertainty"), self.offsets, "m, or of what its kind allows"),
            "level_db": ((*each, "octave"), self.figures.level_db, "dB"),
            "worst_db": (each, self.figures.worst_db, "dB"),
            "delay_ms": (each, self.figures.delay_ms, "ms"),
            "early_db": (("sample", "loudspeaker"), self.early_db(self.figures), "dB"),
        }


def tolerance(
    scene: AnyScene,
    *,
    samples: int = SAMPLES,
    seed: int | None = None,
    processes: int | None = None,
    report: Report = say_nothing,
) -> Tolerance:
    """Draw a scene as it may really be and work out its first reflections each time.

    Samples are scrambled Sobol points (Owen, J. Complexity 14 (1998) 466-489), a power of two: other numbers are
    rounded up.  The seed, left out, is that of the scene; the same seed gives the same answer, whatever the number of
    processes.  Several processes start afresh from the main module: call this below `if __name__ == "__main__"`.

    Raises
    ------
    SceneError
        If the scene cannot be, or most of its samples.
    """
    scene = read_scene(scene)
    if not FEWEST <= samples <= MOST:
        raise SceneError("samples", f"{samples} are asked for", f"ask for {FEWEST} to {MOST:,}")
    seed = scene.blueprint.method.seed if seed is None else seed
    if seed < 0:
        raise SceneError("seed", f"it is {seed}", "give 0 or more")
    blueprint, bands = scene.blueprint, octave_bands()
    built = build_scene(blueprint, scene.folder)
    task = ToleranceTask(
        blueprint, scene.folder, uncertainties_of(blueprint, built), blueprint.target, bands, surface_names(built)
    )
    offsets = draw(task.uncertainties, samples, seed)
    made: list[LayoutFigures | str] = []
    workers: Workers[ToleranceTask, FloatArray, LayoutFigures | str]
    with (workers := Workers(work_sample, task, processes=processes, expected=len(offsets), say=report)):
        for figures in workers.answers(list(offsets)):
            made.append(figures)
            if len(made) % 64 == 0:
                report(f"{len(made)} of {len(offsets)} samples")
    possible = [figures for figures in made if not isinstance(figures, str)]
    reason = most_frequent([figures for figures in made if isinstance(figures, str)])
    if len(possible) < (1.0 - MOST_IMPOSSIBLE) * len(made):
        raise SceneError(
            "tolerance",
            f"{len(made) - len(possible)} of {len(made)} samples cannot be ({reason.rstrip('.')})",
            "give what nearly touches more room, or a smaller method.placement_error",
        )
    kept = np.array([not isinstance(figures, str) for figures in made])
    stacked = LayoutFigures(
        *(frozen(np.stack([getattr(one, each.name) for one in possible])) for each in fields(LayoutFigures))
    )
    nominal = layout_figures(built, task.target, bands, task.surfaces)
    return Tolerance(
        scene,
        built,
        bands,
        task.surfaces,
        task.uncertainties,
        seed,
        len(made),
        frozen(offsets[kept]),
        stacked,
        nominal,
        len(made) - len(possible),
        reason,
    )


def most_frequent(reasons: Sequence[str]) -> str:
    """First of the reasons that are most frequent, those that differ by numbers only counted as one; "" for none."""
    kinds = [re.sub(r"[\d.]+", "#", reason) for reason in reasons]
    return reasons[kinds.index(Counter(kinds).most_common(1)[0][0])] if kinds else ""


def draw(uncertainties: tuple[Uncertainty, ...], samples: int, seed: int) -> FloatArray:
    """Return what each doubt is off by, (n, doubt): n is `samples` rounded up to a power of two.

    Each kind of doubt has Sobol points of its own, in an order of its own (Latin supercube sampling: Owen, ACM
    Transactions on Modeling and Computer Simulation 8 (1998) 71-102).  One sequence for all would, in so many
    dimensions, let a tape reading march in step with where the head is, and take its effects for its own.
    """
    from scipy.stats import norm, qmc

    power = int(np.ceil(np.log2(samples)))
    even = np.zeros((2**power, len(uncertainties)))
    for number, kind in enumerate(KINDS):
        mine = [column for column, uncertainty in enumerate(uncertainties) if uncertainty.kind == kind]
        if mine:
            rng = np.random.default_rng([seed, number])
            points = qmc.Sobol(len(mine), scramble=True, rng=rng).random_base2(power)
            even[:, mine] = points[rng.permutation(len(points))]
    even = np.clip(even, 1e-12, 1.0 - 1e-12)
    spread = np.array([uncertainty.spread for uncertainty in uncertainties])
    tape = np.array([uncertainty.kind == "tape" for uncertainty in uncertainties])
    return np.asarray(np.where(tape, norm.ppf(even), 2.0 * even - 1.0) * spread)
