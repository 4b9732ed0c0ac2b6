"""The plan: trace the room, choose panels, trace it again with them, and say what came of it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np

from sim.blueprint.reader import AnyScene, SceneFile, parse_scene, read_scene
from sim.blueprint.schema import Blueprint
from sim.blueprint.treatment import Panel, Target
from sim.blueprint.writing import to_toml
from sim.progress import Report, say_nothing
from sim.responses.arrivals import in_target_band
from sim.responses.measure import SAME_DB, measure_of
from sim.responses.plan import Plan, PlannedPanel
from sim.responses.records import Results
from sim.showing.archive.kept_traces import trace_kept
from sim.studies.treat.candidates import candidate_groups, coverage, energy_tables
from sim.studies.treat.domain import Group, PlacementDomain, placement_domain
from sim.studies.treat.hanging import panel_records, plan_cautions, treated_blueprint
from sim.studies.treat.outcome import (
    Pairing,
    covered_by,
    covers_words,
    is_under,
    no_cure,
    not_reached,
    outside_window,
    pair_up,
    reached,
    touches,
    works_from_hz,
)
from sim.studies.treat.scoring import EarlyReflections
from sim.studies.treat.search import Searcher
from sim.studies.treat.steps import Part, TracedSteps, chosen_steps, side_advice, trace_steps
from sim.studies.treat.stock import PorousReach, decay_of, kinds_advice, limits_of, porous_reach

Trace = Callable[[SceneFile], Results]
"""Traces a scene that was read already: what the pipeline does."""


def plan_treatment(
    scene: SceneFile, trace: Trace, report: Report, *, panels: int | None = None, budget: float | None = None
) -> Plan:
    """Plan the treatment of a scene.

    Parameters
    ----------
    scene
        As read.  Panels it already has stay and count as part of the room.
    trace
        What traces a scene.
    report
        Called with a few words at the start of each stage.
    panels, budget
        In place of those in the scene's `[treatment]`.

    Raises
    ------
    SceneError
        If there is no pair of loudspeakers, nothing may be treated, no panel is allowed, or a budget lacks prices.
    """
    limits = limits_of(scene.blueprint, panels, budget)
    report("tracing the room as it is")
    before = trace(scene)
    report("finding where panels may be")
    domain = placement_domain(before.built, scene.blueprint)
    target = scene.blueprint.target
    judged = in_target_band(before.responses.bands, target)
    tables = energy_tables(domain, before.responses.maps, judged)
    pool = candidate_groups(domain, tables)
    reflections = EarlyReflections(before.built, target, [surface.plane for surface in domain.surfaces])
    searcher = Searcher(domain, reflections, limits, lambda group: coverage(tables, group))
    report(f"choosing panels among {len(pool)} places")
    least = scene.blueprint.treatment.least_gain_db
    steps = chosen_steps(searcher, pool, target, least)
    title = scene.blueprint.title

    def hung(parts: Sequence[Part]) -> Results:
        """The room traced with all panels of some parts."""
        groups = [group for part in parts for group in part]
        if not groups:
            return before
        names = [record for made in panel_records(domain, groups) for record in made]
        report(f"tracing the room with {len(names)} panels")
        return trace(_treated(scene, names, f"{title}, treated"))

    traced = trace_steps(tuple((group,) for group in steps.groups), hung, least)
    working, groups = traced.results[-1], tuple(group for part in traced.parts for group in part)
    every = [record for made in panel_records(domain, groups) for record in made]
    stopped = steps.stopped
    if len(groups) < len(steps.groups):
        stopped = f"Stop here: a further step lowers the measure by less than {least:g} dB when it is traced."
    elif steps.further is not None:
        more = measure_of(hung((*traced.parts, (steps.further,)))).total_db
        gain = measure_of(working).total_db - more
        stopped += f" It would lower the measure by {max(gain, 0.0):.1f} dB" + (
            f", less than {SAME_DB:g} dB: the same." if gain < SAME_DB else "."
        )
    parked = None
    if any(panel.movable for panel in (*scene.blueprint.panels, *every)):
        report("tracing the room with movable panels away")
        parked = trace(_parked(scene, every, f"{title}, treated, movable panels away"))
    pairs = pair_up(before, working)
    spots = [spot for group in groups for spot in group.spots]
    reaches = _reaches(domain, groups, pairs, target)
    measures = tuple(measure_of(result) for result in traced.results)
    return Plan(
        before=before,
        working=working,
        parked=parked,
        panels=_planned(domain, traced, pairs, before),
        measures=measures,
        decay=decay_of(before.built, working.built),
        no_cure=no_cure(domain, pairs, target),
        equal=steps.equal,
        reached=reached(pairs, target),
        not_reached=(*not_reached(domain, spots, pairs, target, steps.limit_words), *outside_window(pairs, target)),
        advice=(
            *side_advice(measures[0], measures[-1], None if parked is None else measure_of(parked)),
            *kinds_advice(reaches, before.responses.transition_hz, before.built.air),
        ),
        stopped=stopped,
        cautions=plan_cautions(domain, groups, panel_records(domain, groups), working),
    )


def treat(
    scene: AnyScene | Results,
    report: Report = say_nothing,
    *,
    panels: int | None = None,
    budget: float | None = None,
) -> Plan:
    """Find where panels go in a scene, what each buys and when to stop; everything is traced again with them.

    Parameters
    ----------
    scene
        The room, with a `[treatment]` where the usual will not do; also one that was traced.
    report
        Called with a few words at the start of each stage.
    panels, budget
        Most panels in all, and most they may cost, in place of those in the scene's `[treatment]`.

    Raises
    ------
    SceneError
        If there is no pair of loudspeakers, nothing may be treated, no panel is allowed, or a budget lacks prices.
    """
    report("reading the scene")
    read = scene.scene if isinstance(scene, Results) else read_scene(scene)
    return plan_treatment(read, trace_kept, report, panels=panels, budget=budget)


def write_scene(scene: SceneFile, blueprint: Blueprint) -> tuple[str, SceneFile]:
    """A changed scene as text in metres, and as it is read back from that text, in the unit of the first one."""
    text = to_toml(blueprint)
    read = parse_scene(text, scene.folder, scene.path)
    return text, replace(read, blueprint=read.blueprint.model_copy(update={"units": scene.blueprint.units}))


def _treated(scene: SceneFile, panels: Sequence[Panel], title: str) -> SceneFile:
    return write_scene(scene, treated_blueprint(scene.blueprint, panels, title))[1]


def _parked(scene: SceneFile, panels: Sequence[Panel], title: str) -> SceneFile:
    """The scene with panels, but without any movable one, of those it had too."""
    staying = [panel for panel in scene.blueprint.panels if not panel.movable]
    blueprint = scene.blueprint.model_copy(update={"panels": tuple(staying)})
    fixed = [panel for panel in panels if not panel.movable]
    return write_scene(scene, treated_blueprint(blueprint, fixed, title))[1]


def _planned(
    domain: PlacementDomain, traced: TracedSteps, pairs: Sequence[Pairing], before: Results
) -> tuple[PlannedPanel, ...]:
    target, mid_hz = before.scene.blueprint.target, before.responses.bands.nominal_hz
    groups = [(number, group) for number, part in enumerate(traced.parts, start=1) for group in part]
    records = panel_records(domain, [group for _, group in groups])
    planned = []
    for (number, group), made in zip(groups, records, strict=True):
        for spot, panel in zip(group.spots, made, strict=True):
            covered = covered_by(domain, spot, pairs, target)
            planned.append(
                PlannedPanel(
                    panel=panel,
                    stock=domain.stock[spot.stock].record.name,
                    step=number,
                    gain_db=traced.gains_db[number - 1],
                    covers=covers_words(covered),
                    works_from_hz=works_from_hz(covered, mid_hz),
                )
            )
    return tuple(planned)


def _reaches(
    domain: PlacementDomain, groups: Sequence[Group], pairs: Sequence[Pairing], target: Target
) -> tuple[PorousReach, ...]:
    """How far down each build-up works, at the angle of the strongest single reflection it is there for."""
    found: dict[str, PorousReach] = {}
    for group in groups:
        for spot in group.spots:
            finish = domain.finishes[spot.stock][spot.surface]
            covered = covered_by(domain, spot, pairs, target)
            if finish.name in found or not covered:
                continue
            point = next(point for n, point in touches(domain, covered[0].before) if is_under(domain, spot, n, point))
            to_ear = domain.built.ears[0] - point if covered[0].before.order == 1 else None
            cosine = 1.0
            if to_ear is not None:
                cosine = abs(float(to_ear @ domain.surfaces[spot.surface].normal)) / float(np.linalg.norm(to_ear))
            angle = float(np.degrees(np.arccos(min(cosine, 1.0))))
            found[finish.name] = porous_reach(finish.build_up, angle, domain.built.air)
    return tuple(found.values())
