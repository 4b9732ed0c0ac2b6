"""A scene against its target in sentences: verdicts, and reflections that are only just there or only just not."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

import numpy as np

from sim.propagation.paths import FRAGILE_M, Candidate
from sim.responses.records import Arrival, Results, Verdict
from sim.showing.lengths import format_small
from sim.showing.numbers import hertz_range, level_cell

NEAR_M: Final = 0.30
"""A surface that fails by more is not worth a sentence (common practice, no source)."""
SHOWN_OCTAVES_HZ: Final = (1000, 2000, 4000)


def verdict_sentence(results: Results, verdict: Verdict) -> str:
    """Say in one sentence how one loudspeaker at one listener stands against the target."""
    target = results.scene.blueprint.target
    who = f"{verdict.loudspeaker} at the {verdict.listener}"
    limit = f"{target.level_db:g} dB from {target.window_ms[0]:g} to {target.window_ms[1]:g} ms"
    band = f"{hertz_range(*target.band_hz)}"
    by_number = {arrival.number: arrival for arrival in reflections(results, verdict.loudspeaker, verdict.listener)}
    hidden = any(
        a.blocked and (a.loudspeaker, a.listener) == (verdict.loudspeaker, verdict.listener)
        for a in results.responses.arrivals
    )
    warning = " Something stands in the way of the direct sound." if hidden else ""
    if hidden and not by_number:
        return (
            f"{who}: silence. Something stands in the way of the direct sound, and no path of up to "
            f"{results.paths.facets.shape[1]} reflections or round an edge leads past it; there is nothing to judge."
        )
    if verdict.met:
        return f"{who}: the target is met, nothing is above {limit} ({band}).{warning}"
    worst = by_number[verdict.offenders[0]]
    count = len(verdict.offenders)
    above = "one arrival is" if count == 1 else f"{count} arrivals are"
    lead = "it is" if count == 1 else "the worst is"
    return (
        f"{who}: {above} above {limit} ({band}); {lead} {worst.way} with {level_cell(worst.worst_db)} dB "
        f"at {worst.main.delay_ms:.2f} ms.{warning}"
    )


def near_misses(results: Results, loudspeaker: str, listener: str) -> tuple[str, ...]:
    """Say which surfaces only just do not mirror, and by how much; nearest first."""
    place = results.stage.listener_names.index(listener)
    mine = [c for c in results.candidates if (c.loudspeaker, c.listener) == (loudspeaker, place)]
    reached = {c.facet for c in mine if c.status == "reaches"}
    failing = sorted((c for c in mine if c.status in ("misses", "blocked")), key=_fails_by)
    told: dict[str, str] = {}
    for candidate in failing:
        some_reach = candidate.facet in reached
        if _fails_by(candidate) > (FRAGILE_M if some_reach else NEAR_M) or candidate.surface in told:
            continue
        told[candidate.surface] = _miss_sentence(candidate, results.scene.blueprint.units, some_reach)
    return tuple(told.values())


def _fails_by(candidate: Candidate) -> float:
    by = abs(candidate.rim_m) if candidate.status == "misses" else candidate.shade_m
    return by if np.isfinite(by) else np.inf


def _miss_sentence(candidate: Candidate, unit: str, some_reach: bool) -> str:
    by = format_small(_fails_by(candidate), unit)
    whose = f"the {candidate.driver}'s point" if some_reach else "the point"
    fact = f"{whose} would be {by} outside" if candidate.status == "misses" else ""
    if candidate.status == "blocked":
        part = f" for the {candidate.driver}" if some_reach else ""
        fact = f"shaded by the {candidate.blocked_by}{part}, by {by}"
    return f"{candidate.surface}: {fact}{': fragile' if candidate.fragile else ''}"


def reflections(results: Results, loudspeaker: str, listener: str) -> list[Arrival]:
    """Reflections of one loudspeaker at one listener, rank 1 first."""
    mine: Iterable[Arrival] = (
        a for a in results.responses.arrivals if (a.loudspeaker, a.listener) == (loudspeaker, listener) and a.order
    )
    return sorted(mine, key=lambda arrival: arrival.number)
