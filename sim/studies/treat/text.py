"""A treatment plan as plain lines for a terminal or a print, at most 110 columns wide; lengths in the scene's unit."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Iterator, Sequence
from itertools import pairwise
from pathlib import Path

from sim.blueprint.treatment import Panel
from sim.blueprint.units import mass_words, thickness_words
from sim.blueprint.writing import copy_named_files, to_toml
from sim.errors import OutputError
from sim.machine.whole_files import write_whole
from sim.placement.panels import PlacedPanel
from sim.responses.measure import COMPONENTS, SAME_DB
from sim.responses.plan import Decay, Plan, PlannedPanel
from sim.showing.numbers import format_length, hertz, hertz_range
from sim.showing.words import opening, write_lines

WIDTH = 110
KEYS = (("from_front", "from the front"), ("from_left", "from the left"), ("up", "up"))
HOLDING = {"surface": "fixed", "stand": "on a stand", "posts": "on posts"}


def plan_lines(plan: Plan) -> list[str]:
    """Write a plan: panels, what each step buys, what is reached and what is not, decay, kinds, cautions."""
    scene = plan.before.scene
    target = scene.blueprint.target
    lines = [f"Treatment plan: {scene.blueprint.title}  (scene {scene.digest})"]
    lines += _wrapped(opening(plan.before))
    lines += _wrapped(plan.no_cure)
    lines += _wrapped(
        f"Target: nothing above {target.level_db:g} dB re direct sound, {target.window_ms[0]:g} to "
        f"{target.window_ms[1]:g} ms after it, octaves in {hertz_range(*target.band_hz)}."
    )
    lines += ["", *_panels(plan)]
    lines += ["", *_steps(plan)]
    lines += ["", *_wrapped(plan.stopped)]
    lines += _list("What meets the target now and did not before", plan.reached or ("nothing",))
    lines += _list("What does not, and why", plan.not_reached or ("nothing: all is below the target",))
    lines += ["", *_decay(plan.decay)]
    lines += _list("Kinds of absorber, left and right", plan.advice)
    lines += _list("Mind this", plan.cautions)
    below = f"Below {plan.before.responses.transition_hz:.0f} Hz nothing is judged."
    lines += ["", *_wrapped(f"{below} Nothing here says that a spot is free of cables, pipes or asbestos.")]
    return lines


def screen_lines(plan: Plan) -> list[str]:
    """Write what fits one screen: what no panel cures, where each panel goes, what it buys, when to stop, cautions."""
    unit = plan.before.scene.blueprint.units
    lines = [f"Treatment plan: {plan.before.scene.blueprint.title}"]
    lines += _wrapped(opening(plan.before))
    lines += _wrapped(plan.no_cure)
    lines += ["", "Panels, by priority" if plan.panels else "No panels."]
    for one in plan.panels:
        lines += _wrapped(f"{one.step}. {one.panel.surface}: {panel_edges(one.panel, unit)}", "  ", "     ")
    totals = [one.total_db for one in plan.measures]
    steps = ", ".join(f"{total:.1f} dB after step {n}" for n, total in enumerate(totals[1:], 1))
    lines += _wrapped(
        f"Measure (less is better; below {SAME_DB:g} dB is the same): {totals[0]:.1f} dB as it is"
        f"{', ' * bool(steps)}{steps}."
    )
    if plan.equal:
        lines += _wrapped(f"The same within {SAME_DB:g} dB: {'; or '.join(plan.equal[:2])}.")
    lines += _wrapped(plan.stopped)
    over = [one.panel.name for one in plan.panels if one.panel.fixings]
    if over:
        lines += _wrapped(
            f"Over heads: {', '.join(over)}. Rated fixings into structure, a second tether, two people; a detector "
            "first."
        )
    below = f"Below {plan.before.responses.transition_hz:.0f} Hz nothing is judged."
    return [*lines, *_wrapped(f"{below} Why, what is left, decay and all cautions: plan.txt.")]


def write_plan(plan: Plan, path: Path) -> None:
    """Write the same into a text file.

    Raises
    ------
    OutputError
        If it cannot be written.
    """
    write_lines(plan_lines(plan), path)


def write_treated_scene(plan: Plan, path: Path) -> None:
    """Write the treated scene as a scene file of its own, with the files it names beside it.

    Raises
    ------
    OutputError
        If something cannot be written.
    """
    scene = plan.working.scene
    write_whole(path, to_toml(scene.blueprint), "the scene")
    try:
        copy_named_files(scene.blueprint, scene.folder, path.parent)
    except OSError as fault:
        raise OutputError(f"{path} cannot be written ({fault.strerror}).") from None


def panel_edges(panel: Panel, unit: str) -> str:
    """From where to where a panel reaches, such as "from the front 0.650 to 1.250 m, up 0.770 to 1.970 m"."""
    parts = []
    for key, words in KEYS:
        span = getattr(panel, key)
        if span is not None:
            low, high = (format_length(edge, unit) for edge in span)
            parts.append(f"{words} {low.removesuffix(f' {unit}') if unit != 'ft' else low} to {high}")
    return ", ".join(parts)


def _panels(plan: Plan) -> Iterator[str]:
    if not plan.panels:
        yield "No panels."
        return
    unit, currency = plan.before.scene.blueprint.units, plan.before.scene.blueprint.treatment.currency
    placed = {panel.name: panel for panel in plan.working.built.panels}
    yield "Panels, by priority; edges from the front wall, the left wall (as seen from the seat) and the floor"
    for one in plan.panels:
        yield from _panel(one, placed[one.panel.name], unit, currency)
    total = sum(placed[one.panel.name].mass_kg for one in plan.panels)
    price = sum(one.panel.price or 0.0 for one in plan.panels)
    cost = f", {price:g} {currency}".rstrip() if price > 0.0 else ""
    yield f"  together {len(plan.panels)} panels, about {mass_words(total, unit)}{cost}"


def _panel(one: PlannedPanel, placed: PlacedPanel, unit: str, currency: str) -> Iterator[str]:
    panel = one.panel
    about = "about " if placed.mass_is_estimate else ""
    facts = [one.stock, HOLDING[panel.held_by], f"{about}{mass_words(placed.mass_kg, unit)}"]
    if panel.movable:
        facts.append("movable")
    if placed.air_behind_m > 0.0:
        facts.append(f"{thickness_words(placed.air_behind_m, unit)} of air behind it")
    if panel.price is not None:
        facts.append(f"{panel.price:g} {currency}".rstrip())
    yield f"  {one.step}. {panel.name} on the {panel.surface}"
    yield from _wrapped(panel_edges(panel, unit), "       ")
    yield from _wrapped(", ".join(facts), "       ")
    if math.isfinite(one.works_from_hz):
        start = hertz(one.works_from_hz)
        yield f"       takes 6 dB or more off the strongest reflection there, from the {start} octave up"
    for words in one.covers:
        yield from _wrapped(words, "       - ", "         ")
    if panel.fixings:
        yield from _wrapped(f"fixings: {panel.fixings}", "       ")


def _steps(plan: Plan) -> Iterator[str]:
    """The measure and its components after each step: the one size that a plan has."""
    yield f"What each step does to the measure (less is better; below {SAME_DB:g} dB is the same)"
    width = 46
    headings = ["as it is", *(f"step {n}" for n in range(1, len(plan.measures)))]
    yield " " * width + "".join(f"{heading:>10}" for heading in headings)
    for name, (words, unit) in COMPONENTS.items():
        values = "".join(f"{one.components[name]:10.1f}" for one in plan.measures)
        yield f"  {f'{words}, {unit}':{width - 2}}{values}"
    yield f"  {'measure, dB':{width - 2}}" + "".join(f"{one.total_db:10.1f}" for one in plan.measures)
    gains = ["", *(f"{one.total_db - other.total_db:.1f}" for one, other in pairwise(plan.measures))]
    yield f"  {'lowered by, dB':{width - 2}}" + "".join(f"{gain:>10}" for gain in gains)
    if plan.equal:
        yield from _wrapped(
            f"Other plans are the same within {SAME_DB:g} dB; this one costs least, then drills least, then leaves "
            f"most daylight. Also: {'. Or: '.join(plan.equal)}."
        )


def _decay(decay: Decay) -> Iterator[str]:
    yield "Decay in seconds, Eyring"
    yield "  octave " + "".join(f"{hertz(float(f)):>9}" for f in decay.mid_hz)
    yield "  before " + "".join(f"{value:9.2f}" for value in decay.before_s)
    yield "  after  " + "".join(f"{value:9.2f}" for value in decay.after_s)
    yield from _wrapped(f"{decay.aim_s:.2f} s would suit the volume (ITU-R BS.1116-3).", "  ")
    for warning in decay.warnings:
        yield from _wrapped(warning, "  - ", "    ")


def _list(heading: str, items: Sequence[str]) -> list[str]:
    lines = ["", heading]
    for item in items:
        lines += _wrapped(item, "  - ", "    ")
    return lines


def _wrapped(words: str, first: str = "", rest: str | None = None) -> list[str]:
    return textwrap.wrap(words, WIDTH, initial_indent=first, subsequent_indent=first if rest is None else rest)
