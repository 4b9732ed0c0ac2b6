"""Searches over functions that are known in closed form, in place of rooms."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from sim.layouts.plan import SweepTask
from sim.layouts.workers import Workers
from sim.placement.limits import Limit
from sim.studies.search.search import plan_search
from sim.studies.search.trials import Trial, Trials, Values
from tests.studies.little_room import little_room

VARY = {"left.height": "1.0:1.4", "left.from_front": "0.4:0.8"}


class Analytic:
    """Trials whose merit is a function of the shares of both ranges; forbidden and impossible where it says so."""

    def __init__(
        self,
        merit: Callable[[float, float], float],
        forbidden: Callable[[float, float], float] = lambda *_: 0.0,
        impossible: Callable[[float, float], bool] = lambda *_: False,
    ) -> None:
        task = plan_search(little_room(), VARY)
        low, high = np.array([1.0, 0.4]), np.array([1.4, 0.8])

        def work(_: SweepTask, values: Values) -> Trial:
            u, v = ((np.array(values) - low) / (high - low)).tolist()
            if impossible(u, v):
                return Trial(values, float("nan"), (), "a wall is in the way; move it", None)
            broken = forbidden(u, v)
            limits = (Limit("reach", "out of reach", broken, False),) if broken else ()
            return Trial(values, merit(u, v), limits, "", None)

        self.trials = Trials(task, Workers(work, task, processes=1), None)

    def fractions(self, trial: Trial) -> np.ndarray:
        return self.trials.fraction(np.array(trial.values))
