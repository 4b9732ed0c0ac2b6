"""A treatment plan in a report: the panels, what each buys, what it does to decay, what is reached and what is not."""

from __future__ import annotations

import math

import numpy as np

from sim.blueprint.treatment import Panel
from sim.placement.panels import PlacedPanel
from sim.responses.plan import Plan
from sim.showing.lengths import format_length
from sim.showing.numbers import hertz
from sim.showing.page import bullets, escaped, number, row, table, typeset

HELD = {"surface": "fixed to its surface", "stand": "on a stand", "posts": "on posts"}
SPANS = (("from_front", "from front"), ("from_left", "from left"), ("up", "up"))


def plan_part(plan: Plan) -> str:
    """The plan in the order of worth, with everything it says of itself."""
    parts = [_panels(plan), f"<p>{typeset(plan.stopped)}</p>" if plan.stopped else ""]
    for heading, told, empty in (
        ("Reached", plan.reached, "Nothing meets the target that did not before."),
        ("Not reached", plan.not_reached, "Nothing is left above the target."),
        ("Worth knowing", plan.advice, ""),
    ):
        if told or empty:
            parts.append(f"<h3>{heading}</h3>{bullets(told, empty)}")
    parts += [_early(plan), _decay(plan)]
    if plan.cautions:
        parts.append(f"<h3>Mind this when building</h3>{bullets(plan.cautions)}")
    return "".join(parts)


def _panels(plan: Plan) -> str:
    unit = plan.before.scene.blueprint.units
    placed = {panel.name: panel for panel in plan.working.stage.panels}
    rows = []
    last = 0
    for planned in plan.panels:
        panel = planned.panel
        gain = f"{number(planned.gain_db, 1)} dB" if planned.step != last else "same step"
        last = planned.step
        works = hertz(planned.works_from_hz) if math.isfinite(planned.works_from_hz) else "nowhere"
        held = HELD.get(panel.held_by, panel.held_by) + (", movable" if panel.movable else "")
        cells = [
            str(planned.step),
            f"{escaped(panel.name)}<small>{escaped(planned.stock)}</small>",
            escaped(panel.surface),
            _edges(panel, unit),
            f"{escaped(panel.material)}<small>{escaped(held)}</small>",
            gain,
            works,
            _mass(placed.get(panel.name)),
        ]
        rows.append(row(cells, words=5))
    if not rows:
        return "<p>No panel is worth hanging here.</p>"
    headings = ["Step", "Panel", "On", "Edges", "Build-up", "Gain", "6 dB or<br>more from", "Mass"]
    caption = "Panels in order of worth; panels of one step hang together"
    return table(caption, headings, rows, words=5, css="plan") + _details(plan)


def _details(plan: Plan) -> str:
    """What each panel takes care of, and how it is fixed."""
    told = []
    for planned in plan.panels:
        panel = planned.panel
        parts = [*planned.covers, *([f"Fixings: {panel.fixings}"] if panel.fixings else [])]
        inside = "".join(f"<li>{typeset(part)}</li>" for part in parts)
        told.append(f"<li><b>{escaped(panel.name)}</b>{f'<ul>{inside}</ul>' if inside else ''}</li>")
    return f"<h3>What each takes care of</h3><ul>{''.join(told)}</ul>"


def _edges(panel: Panel, unit: str) -> str:
    told = []
    for key, words in SPANS:
        span = getattr(panel, key)
        if span is not None:
            low, high = (format_length(float(end), unit) for end in span)
            told.append(f"{words}<br><b>{escaped(low)}</b> to <b>{escaped(high)}</b>")
    if panel.gap > 0.0:
        told.append(f"gap behind it {escaped(format_length(panel.gap, unit))}")
    return "<br>".join(told)


def _mass(hung: PlacedPanel | None) -> str:
    if hung is None or not math.isfinite(hung.mass_kg):
        return "\N{EN DASH}"
    return ("about " if hung.mass_is_estimate else "") + f"{number(hung.mass_kg, 1)} kg"


def _early(plan: Plan) -> str:
    """Early reflections that panels can reach, step by step, the mean over octaves and the worst of them."""
    names = [one.name for one in plan.before.stage.loudspeakers]
    if plan.early_db.ndim != 3 or plan.early_db.shape[1] != len(names):
        return ""
    rows = []
    for step, levels in enumerate(plan.early_db):
        words = "bare room" if step == 0 else f"with step {step}" if step == 1 else f"with steps 1 to {step}"
        means = [number(float(10.0 * np.log10(np.mean(10.0 ** (one / 10.0)))), 1) for one in levels]
        rows.append(row([words, *means]))
    caption = (
        "Early reflections that panels can reach, summed as energy over the window, mean of the octaves, dB re direct"
    )
    return "<h3>Step by step</h3>" + table(
        caption, ["", *(escaped(name) for name in names)], rows, words=1, css="short"
    )


def _decay(plan: Plan) -> str:
    decay = plan.decay
    headings = ["", *(hertz(hz) for hz in decay.mid_hz.tolist())]
    rows = [
        row([words, *(number(float(seconds), 2) for seconds in times)])
        for words, times in (("before", decay.before_s), ("after", decay.after_s))
    ]
    caption = f"Decay time in seconds; nominal for this volume in the middle octaves: {number(decay.aim_s, 2)} s"
    return "<h3>What it does to the decay</h3>" + table(caption, headings, rows, css="short") + bullets(decay.warnings)
