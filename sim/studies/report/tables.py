"""Tables of a report: what arrives, worst first, and where on the surfaces to put the tape."""

from __future__ import annotations

from typing import Final

import numpy as np

from sim.responses.records import Arrival, Results
from sim.showing.lengths import bare_length, format_length, format_small
from sim.showing.numbers import hertz
from sim.showing.page import bullets, escaped, folded, level_colour, loudspeaker_looks, number, row, table
from sim.showing.scene_data import listed
from sim.showing.tape import tape_coordinates
from sim.showing.verdicts import SHOWN_OCTAVES_HZ

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
    for seat, listener in enumerate(results.stage.listener_names):
        for look in loudspeaker_looks([one.name for one in results.stage.loudspeakers]):
            mine = [a for a in listed(results) if (a.loudspeaker, a.listener) == (look.name, listener)]
            caption = f"{_dot(look.colour)}{escaped(look.name)} loudspeaker at the {escaped(listener)}{escaped(words)}"
            shown = _arrivals(results, place, mine[:OPEN_ROWS], caption)
            if not mine:
                shown = f"<p>{caption}: nothing arrives but direct sound.</p>"
            rest = mine[OPEN_ROWS:]
            if rest:
                shown += folded(f"{len(rest)} weaker ones", _arrivals(results, place, rest, f"{caption}, weaker"))
            made.append(shown if seat == 0 else folded(f"{look.name} loudspeaker at the {listener}", shown))
    return "".join(made)


def _dot(colour: str) -> str:
    return f'<i class="dot" style="background:{colour}"></i>'


def _arrivals(results: Results, place: int, arrivals: list[Arrival], caption: str) -> str:
    unit = results.scene.blueprint.units
    bands = results.responses.bands.nominal_hz
    octaves = [int(np.argmin(np.abs(bands - hz))) for hz in SHOWN_OCTAVES_HZ]
    target = results.scene.blueprint.target
    names = [one.name for one in results.stage.loudspeakers]
    headings = ["No.", "Via", "Worst,<br>dB", "at<br>Hz", "After<br>direct, ms", f"Longer<br>by, {unit}"]
    headings += [f"{hertz(hz)},<br>dB" for hz in SHOWN_OCTAVES_HZ]
    headings += ["Off<br>axis", "Vanishes<br>within"]
    rows = []
    for arrival in arrivals:
        main = arrival.main
        late = not target.window_ms[0] <= main.delay_ms <= target.window_ms[1]
        fails = arrival.worst_db > target.level_db and not late
        key = f"{place}-{names.index(arrival.loudspeaker)}-{_seat(results, arrival)}-{arrival.number}"
        way = escaped(arrival.way) + (' <span class="tag">fragile</span>' if arrival.fragile else "")
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
    return results.stage.listener_names.index(arrival.listener)


def points_part(results: Results) -> str:
    """Where each surface mirrors once, with the two tape distances and two straight ones as a check."""
    unit = results.scene.blueprint.units
    rows = []
    once = [
        arrival
        for arrival in results.responses.arrivals
        if arrival.order == 1
        and not arrival.diffracted
        and arrival.listener == results.stage.listener_names[0]
        and arrival.worst_db >= QUIETEST_POINT_DB
    ]
    looks = {look.name: look for look in loudspeaker_looks([one.name for one in results.stage.loudspeakers])}
    loudest: dict[str, float] = {}
    for arrival in once:
        loudest[arrival.surfaces[0]] = max(loudest.get(arrival.surfaces[0], -1e3), arrival.worst_db)
    for arrival in sorted(once, key=lambda a: (-loudest[a.surfaces[0]], a.surfaces[0], a.loudspeaker)):
        point = arrival.main.points[0]
        tape = tape_coordinates(results.stage.room, int(results.paths.facets[arrival.main.path, 0]), point)
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
        rows.append(row(cells, words=5))
    if not rows:
        return "<p>No surface reflects sound to the ear.</p>"
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
    caption = "First-order reflection points of the driver that matters most; strongest surface first"
    return table(caption, headings, rows, words=5, css="points")


def notches_part(results: Results) -> str:
    """The deepest dips at the ear, with the surface that makes each."""
    reported = []
    ear = results.stage.listener_names[0]
    for one in results.stage.loudspeakers:
        mine = [n for n in results.responses.notches if (n.loudspeaker, n.listener) == (one.name, ear) and n.present][
            :4
        ]
        for notch in mine:
            maker = f"made by the {notch.surface}" if notch.surface else "made by several surfaces together"
            fill = f"; without it {notch.rise_db:.0f} dB more" if notch.surface else ""
            reported.append(
                f"{one.name}: {notch.frequency_hz:.0f} Hz, {notch.depth_db:.0f} dB deep, where the {notch.driver} "
                f"plays, {maker}{fill}"
            )
    return f"<h3>Deepest notches</h3>{bullets(reported)}" if reported else ""
