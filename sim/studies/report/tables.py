"""Tables of a report: what arrives, worst first, where to put the tape, and a treatment plan."""

from __future__ import annotations

import math
from typing import Final

import numpy as np

from sim.blueprint.treatment import Panel
from sim.blueprint.units import mass_words
from sim.placement.panels import PlacedPanel
from sim.responses.measure import COMPONENTS
from sim.responses.plan import Plan
from sim.responses.records import Arrival, Results
from sim.showing.numbers import bare_length, format_length, format_small, hertz
from sim.showing.page import bullets, escaped, folded, level_colour, loudspeaker_looks, number, row, table, typeset
from sim.showing.scene_data import listed
from sim.showing.tape import tape_coordinates
from sim.showing.words import SHOWN_OCTAVES_HZ

OPEN_ROWS: Final = 10
"""Arrivals shown without unfolding."""
QUIETEST_POINT_DB: Final = -30.0


def arrivals_part(results: Results, place: int, words: str = "") -> str:
    """Tables of the worst arrivals of each loudspeaker at each listener; further ones are folded away.

    Parameters
    ----------
    results
        The layout.
    place
        Its number among the layouts of the page.
    words
        What to say of the layout in captions.
    """
    made = []
    for seat, listener in enumerate(results.built.listener_names):
        for look in loudspeaker_looks([one.name for one in results.built.loudspeakers]):
            mine = [a for a in listed(results) if (a.loudspeaker, a.listener) == (look.name, listener)]
            caption = f"{_dot(look.colour)}{escaped(look.name)} monitor at the {escaped(listener)}{escaped(words)}"
            shown = _arrivals(results, place, mine[:OPEN_ROWS], caption)
            if not mine:
                shown = f"<p>{caption}: nothing arrives but direct sound.</p>"
            rest = mine[OPEN_ROWS:]
            if rest:
                weaker = _arrivals(results, place, rest, f"{caption}, weaker")
                shown += folded(f"{len(rest)} weaker ones", weaker, prints=False)
            made.append(shown if seat == 0 else folded(f"{look.name} monitor at the {listener}", shown))
    return "".join(made)


def _dot(colour: str) -> str:
    return f'<i class="dot" style="background:{colour}"></i>'


def _arrivals(results: Results, place: int, arrivals: list[Arrival], caption: str) -> str:
    unit = results.scene.blueprint.units
    bands = results.responses.bands.nominal_hz
    octaves = [int(np.argmin(np.abs(bands - hz))) for hz in SHOWN_OCTAVES_HZ]
    target = results.scene.blueprint.target
    names = [one.name for one in results.built.loudspeakers]
    headings = ["No.", "Via", "Worst,<br>dB", "at<br>Hz", "After<br>direct, ms", f"Longer<br>by, {unit}"]
    headings += [f"{hertz(hz)},<br>dB" for hz in SHOWN_OCTAVES_HZ]
    headings += ["Off<br>axis", "Vanishes<br>within"]
    rows = []
    for arrival in arrivals:
        main = arrival.main
        late = not target.window_ms[0] <= main.delay_ms <= target.window_ms[1]
        fails = arrival.worst_db > target.level_db and not late
        key = f"{place}-{names.index(arrival.loudspeaker)}-{_seat(results, arrival)}-{arrival.number}"
        way = escaped(arrival.via) + (' <span class="tag">fragile</span>' if arrival.fragile else "")
        colour = level_colour(arrival.worst_db) if np.isfinite(arrival.worst_db) else ""
        swatch = f'<i class="level" style="background:{colour}"></i>' if colour else '<i class="level"></i>'
        cells = [
            f'<span data-show="{key}">{arrival.number}</span>',
            way,
            f"{swatch}{'<b>' if fails else ''}{number(arrival.worst_db, 1)}{'</b>' if fails else ''}",
            f"{arrival.worst_band_hz:g}",
            number(main.delay_ms, 2) + (' <span class="tag">late</span>' if late else ""),
            bare_length(main.extra_path_m, unit),
            *(number(float(arrival.level_db[octave]), 1) for octave in octaves),
            f"{main.departure_deg:.0f}°",
            escaped(format_small(main.margin_m, unit)) or "\N{EN DASH}",
        ]
        rows.append(row(cells, words=2))
    return table(caption, headings, rows, words=2, css="arrivals")


def _seat(results: Results, arrival: Arrival) -> int:
    return results.built.listener_names.index(arrival.listener)


def points_part(results: Results) -> str:
    """Where each surface mirrors once, with the two tape distances and two straight ones as a check."""
    unit = results.scene.blueprint.units
    headings = [
        "Surface",
        "Reflection point of",
        "Along the surface",
        "and square to that",
        "Check with the straight tape",
        f"From<br>front, {unit}",
        f"From<br>left, {unit}",
        f"Up,<br>{unit}",
        "Worst,<br>dB",
    ]
    rows = []
    once = [
        arrival
        for arrival in results.responses.arrivals
        if arrival.order == 1
        and not arrival.diffracted
        and arrival.listener == results.built.listener_names[0]
        and arrival.worst_db >= QUIETEST_POINT_DB
    ]
    looks = {look.name: look for look in loudspeaker_looks([one.name for one in results.built.loudspeakers])}
    loudest: dict[str, float] = {}
    for arrival in once:
        loudest[arrival.surfaces[0]] = max(loudest.get(arrival.surfaces[0], -1e3), arrival.worst_db)
    for arrival in sorted(once, key=lambda a: (-loudest[a.surfaces[0]], a.surfaces[0], a.loudspeaker)):
        point = arrival.main.points[0]
        tape = tape_coordinates(results.built.room, int(results.paths.facets[arrival.main.path, 0]), point)
        corners = "; ".join(f"{format_length(metres, unit)} to {name}" for name, metres in tape.corners)
        look = looks[arrival.loudspeaker]
        cells = [
            escaped(arrival.surfaces[0]),
            f"{_dot(look.colour)}{escaped(look.name)} {escaped(arrival.main.driver)}",
            f"<b>{escaped(format_length(tape.first_m, unit))}</b> {escaped(tape.first_from)}",
            f"<b>{escaped(format_length(tape.second_m, unit))}</b> {escaped(tape.second_from)}",
            escaped(corners),
            *(escaped(bare_length(float(length), unit)) for length in point),
            number(arrival.worst_db, 1),
        ]
        rows.append(row(cells, words=5, labels=headings))
    if not rows:
        return "<p>No surface reflects sound to the ear.</p>"
    caption = "First-order reflection points of the driver that matters most; strongest surface first"
    return table(caption, headings, rows, words=5, css="points stacks")


def notches_part(results: Results) -> str:
    """The deepest dips at the ear, with the surface that makes each."""
    reported = []
    ear = results.built.listener_names[0]
    for one in results.built.loudspeakers:
        mine = [n for n in results.responses.notches if (n.loudspeaker, n.listener) == (one.name, ear) and n.present][
            :4
        ]
        for notch in mine:
            maker = f"made by the {notch.surface}" if notch.surface else "no single cause"
            fill = f"; without it {notch.rise_db:.0f} dB more" if notch.surface else ""
            reported.append(
                f"{one.name}: {notch.frequency_hz:.0f} Hz, {notch.depth_db:.0f} dB deep, where the {notch.driver} "
                f"plays, {maker}{fill}"
            )
    return f"<h3>Deepest notches</h3>{bullets(reported)}" if reported else ""


# A treatment plan in a report: the panels, what each buys, what it does to decay, what is reached and what is not.

HELD = {"surface": "fixed to its surface", "stand": "on a stand", "posts": "on posts"}
SPANS = (("from_front", "from front"), ("from_left", "from left"), ("up", "up"))


def plan_part(plan: Plan) -> str:
    """The plan in the order of worth, with everything it says of itself."""
    parts = [_panels(plan), f"<p>{typeset(plan.stopped)}</p>" if plan.stopped else ""]
    for heading, reported, empty in (
        ("Reached", plan.reached, "Nothing meets the target that did not before."),
        ("Not reached", plan.not_reached, "Nothing is left above the target."),
        ("Also useful", plan.advice, ""),
    ):
        if reported or empty:
            parts.append(f"<h3>{heading}</h3>{bullets(reported, empty)}")
    parts += [_early(plan), _decay(plan)]
    if plan.cautions:
        parts.append(f"<h3>Mind this when building</h3>{bullets(plan.cautions)}")
    return "".join(parts)


def _panels(plan: Plan) -> str:
    unit = plan.before.scene.blueprint.units
    placed = {panel.name: panel for panel in plan.working.built.panels}
    currency = plan.before.scene.blueprint.treatment.currency
    priced = any(planned.panel.price is not None for planned in plan.panels)
    headings = ["Step", "Panel", "On", "Edges", "Build-up", "Lowers measure by", "6 dB or<br>more from", "Mass"]
    headings += [f"Price{f', {escaped(currency)}' if currency else ''}"] if priced else []
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
            _mass(placed.get(panel.name), unit),
        ]
        cells += [_price(panel.price)] if priced else []
        rows.append(row(cells, words=5, labels=headings))
    if not rows:
        return "<p>No panel helps enough to hang it here.</p>"
    caption = "Panels by priority; those of one step hang together"
    if priced:
        whole = sum(planned.panel.price or 0.0 for planned in plan.panels)
        caption += f"; {f'{whole:,g} {escaped(currency)}'.rstrip()} in all"
    return table(caption, headings, rows, words=5, css="plan stacks") + _details(plan)


def _price(price: float | None) -> str:
    return "\N{EN DASH}" if price is None else f"{price:,g}"


def _details(plan: Plan) -> str:
    """What each panel takes care of, and how it is fixed."""
    reported = []
    for planned in plan.panels:
        panel = planned.panel
        parts = [*planned.covers, *([f"Fixings: {panel.fixings}"] if panel.fixings else [])]
        inside = "".join(f"<li>{typeset(part)}</li>" for part in parts)
        reported.append(f"<li><b>{escaped(panel.name)}</b>{f'<ul>{inside}</ul>' if inside else ''}</li>")
    return f"<h3>What each takes care of</h3><ul>{''.join(reported)}</ul>"


def _edges(panel: Panel, unit: str) -> str:
    reported = []
    for key, words in SPANS:
        span = getattr(panel, key)
        if span is not None:
            low, high = (format_length(float(end), unit) for end in span)
            reported.append(f"{words}<br><b>{escaped(low)}</b> to <b>{escaped(high)}</b>")
    if panel.gap > 0.0:
        reported.append(f"gap behind it {escaped(format_length(panel.gap, unit))}")
    return "<br>".join(reported)


def _mass(hung: PlacedPanel | None, unit: str) -> str:
    if hung is None or not math.isfinite(hung.mass_kg):
        return "\N{EN DASH}"
    return ("about " if hung.mass_is_estimate else "") + mass_words(hung.mass_kg, unit, 1)


def _early(plan: Plan) -> str:
    """The measure and its components, step by step."""
    rows = []
    for step, measure in enumerate(plan.measures):
        words = "bare room" if step == 0 else f"with step {step}" if step == 1 else f"with steps 1 to {step}"
        cells = [number(measure.components[name], 1) for name in COMPONENTS]
        rows.append(row([words, *cells, number(measure.total_db, 1)]))
    caption = "The measure and what it is made of, each before its weight; less is better"
    headings = ["", *(f"{escaped(words)}, {unit}" for words, unit in COMPONENTS.values()), "measure, dB"]
    return "<h3>Step by step</h3>" + table(caption, headings, rows, words=1, css="short")


def _decay(plan: Plan) -> str:
    decay = plan.decay
    headings = ["", *(hertz(hz) for hz in decay.mid_hz.tolist())]
    rows = [
        row([words, *(number(float(seconds), 2) for seconds in times)])
        for words, times in (("before", decay.before_s), ("after", decay.after_s))
    ]
    caption = f"Decay time in seconds; nominal for this volume in the middle octaves: {number(decay.aim_s, 2)} s"
    return "<h3>What it does to the decay</h3>" + table(caption, headings, rows, css="short") + bullets(decay.warnings)
