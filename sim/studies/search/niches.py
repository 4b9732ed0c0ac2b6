"""Several good layouts that differ: differential evolution, again and again outside what is known already.

Each turn is a differential evolution (Storn & Price, J. Global Optimization 11 (1997) 341-359, as in SciPy) over the
ranges, begun on scrambled Sobol points and on the best layouts known, then a pattern search that halves its steps down
to what one can set.  From the second turn on, the neighbourhoods of the layouts already found are closed (sequential
niches: Beasley, Bull & Martin, Evolutionary Computation 1 (1993) 101-125).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from sim.arrays import BoolArray, FloatArray
from sim.progress import Report
from sim.studies.search.trials import Trial, Trials, ranges_of

APART: Final = 0.25
"""Two layouts are different when some number that matters differs by this share of its range."""
WORTH_DB: Final = 3.0
"""Layouts that are worse than the best by more are not offered."""
HUMP_DB: Final = 0.1
"""A layout lies on the slope of a better one unless the way there leads over something worse by more than this."""
CLOSED: Final = 1.0e4
"""Rank added inside closed neighbourhoods."""
PER_FIELD, FEWEST, MOST = 10, 24, 60
"""Size of a population: so many for each field, between these."""
GENERATIONS: Final = (32, 12)
"""Of the first turn, and of each later one, which begins with the best that is known."""
SETTLED_DB: Final = 0.05
"""A population whose merits differ by less (standard deviation) has arrived."""
BETWEEN: Final = np.linspace(0.0, 1.0, 9)[1:-1]


@dataclass(frozen=True, slots=True)
class Closed:
    """The neighbourhood of a layout that was found: shares (n,), and which numbers (n,) matter there.

    A number that may take any value of its range without 0.5 dB of change does not make another layout.
    """

    fractions: FloatArray
    matters: BoolArray

    def distance(self, fractions: FloatArray) -> float:
        """Largest difference of the share (n,) of a number that matters; 0 when none does."""
        return float(np.max(np.abs(fractions - self.fractions), where=self.matters, initial=0.0))


def find_layouts(trials: Trials, wanted: int, seed: int, begin: Sequence[FloatArray], report: Report) -> list[Trial]:
    """Return up to `wanted` allowed layouts that differ, the best first; `begin` are shares (n,) to begin with."""
    found: list[Trial] = []
    closed: list[Closed] = []
    start = list(begin)
    for turn in range(wanted):
        report(f"looking for layout {turn + 1} of {wanted}, {len(trials.all)} tried so far")
        best = _one_turn(trials, closed, seed + turn, start, first=not turn)
        if best is None or (found and best.merit_db > min(one.merit_db for one in found) + WORTH_DB):
            break
        found.append(best)
        closed.append(Closed(trials.fraction(np.array(best.values)), _matters(trials, best)))
        start = []
    return sorted(found, key=lambda trial: trial.merit_db)


def left_alone(trials: Trials, layout: Trial, own: Sequence[float]) -> Trial:
    """The layout with numbers that do not matter there as the scene has them (nan: it has none), if that is as good."""
    here = trials.fraction(np.array(layout.values))
    for number in np.flatnonzero(~_matters(trials, layout)):
        fraction = trials.fraction(np.array(own))[number]
        if 0.0 <= fraction <= 1.0:
            there = here.copy()
            there[number] = fraction
            (trial,) = trials.tried([there])
            if trial.allowed and trial.merit_db <= layout.merit_db + SETTLED_DB:
                here, layout = there, trial
    return layout


def same_slope(trials: Trials, layouts: Sequence[Trial]) -> list[int]:
    """For each layout (best first) the number of a better one whose slope it lies on, -1 for one of its own.

    It lies there when nothing on the straight way to the better one is worse than itself.
    """
    slopes = []
    for number, one in enumerate(layouts):
        here = trials.fraction(np.array(one.values))
        slopes.append(-1)
        for better, other in enumerate(layouts[:number]):
            there = trials.fraction(np.array(other.values))
            way = trials.tried([here + fraction * (there - here) for fraction in BETWEEN])
            if all(trial.allowed and trial.merit_db <= one.merit_db + HUMP_DB for trial in way):
                slopes[-1] = better
                break
    return slopes


def _matters(trials: Trials, layout: Trial) -> BoolArray:
    (ranges,) = ranges_of(trials, [layout])
    return np.array([(span.low_why, span.high_why) != ("end", "end") for span in ranges])


def _one_turn(trials: Trials, closed: list[Closed], seed: int, begin: list[FloatArray], *, first: bool) -> Trial | None:
    """Best allowed layout outside what is closed, or None."""
    from scipy.optimize import Bounds, differential_evolution
    from scipy.stats import qmc

    n = len(trials.low)
    size = int(np.clip(PER_FIELD * n, FEWEST, MOST))
    points = qmc.Sobol(n, scramble=True, rng=np.random.default_rng(seed)).random_base2(int(np.ceil(np.log2(size))))

    def rank(fractions: FloatArray) -> float:
        near = min((one.distance(fractions) for one in closed), default=np.inf)
        settled = trials.settings(fractions)
        return trials.rank(known[settled]) + (CLOSED * (1.0 + APART - near) if near < APART else 0.0)

    known: dict[tuple[float, ...], Trial] = {trial.values: trial for trial in trials.all}

    def ranks(columns: Any) -> Any:  # shares (n, m) of a population in, (m,) out
        many = list(np.atleast_2d(columns.T))
        known.update({trial.values: trial for trial in trials.tried(many)})
        return np.array([rank(fractions) for fractions in many])

    best_known = sorted((trials.fraction(np.array(trial.values)) for trial in trials.all), key=rank)[: size // 3]
    population = np.array([*begin, *best_known, *points])[:size]
    result = differential_evolution(
        ranks,
        Bounds(np.zeros(n), np.ones(n)),
        init=population,
        maxiter=GENERATIONS[0 if first else 1],
        tol=0.0,
        atol=SETTLED_DB,
        polish=False,
        vectorized=True,
        updating="deferred",
        rng=np.random.default_rng(seed),
    )
    fractions = _refined(ranks, np.asarray(result.x))
    best = trials.tried([fractions])[0]
    return best if best.allowed and rank(fractions) == best.merit_db else None


def _refined(ranks: Callable[[Any], Any], fractions: FloatArray) -> FloatArray:
    """Pattern search: step along each number both ways, all steps of a round at once; halve when none is better."""
    here, step = float(ranks(fractions[:, None])[0]), 0.05
    n = len(fractions)
    while step > 1.0e-3:
        ways = np.clip(fractions[:, None] + step * np.concatenate([np.eye(n), -np.eye(n)], axis=1), 0.0, 1.0)
        there = ranks(ways)
        if there.min() < here:
            fractions, here = ways[:, int(np.argmin(there))], float(there.min())
        else:
            step *= 0.5
    return fractions
