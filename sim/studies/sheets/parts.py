"""The parts list: panels by kind with mass and price, and what has to carry them."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from sim.blueprint.units import mass_words
from sim.responses.plan import Plan
from sim.showing.numbers import drawn_area_size, drawn_length
from sim.studies.sheets.dimensions import kinds_of
from sim.studies.sheets.readings import PanelReading
from sim.studies.sheets.records import Table

GRAVITY_M_S2: Final = 9.81
OVERHEAD_FACTOR: Final = 5.0
WALL_FACTOR: Final = 3.0
"""Factors of safety on the weight of what hangs (common practice, no source); local codes may ask for more."""
OVERHEAD_POINTS: Final = 4
WALL_POINTS: Final = 2
KG_PER_PAIR: Final = 10.0
"""One more pair of fixing points for every 10 kg (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class Part:
    """One line of the parts list.

    Attributes
    ----------
    kind
        "panel", "fixings", "tether", "stand" or "posts".
    name, material
        What it is.
    panels
        Which panels it is for.
    width_m, height_m, depth_m
        Its sizes; nan where that has no meaning.
    count
        How many.
    mass_each_kg
        Of one panel; mass_is_estimate says whether it was worked out from its layers.
    load_n
        Weight of one panel.
    design_load_n
        What each fixing point has to be rated for, factor of safety included.
    price_each
        nan when not known.
    note
        What to mind, and where a number comes from.
    """

    kind: str
    name: str
    material: str
    panels: tuple[str, ...]
    count: int
    width_m: float = math.nan
    height_m: float = math.nan
    depth_m: float = math.nan
    mass_each_kg: float = math.nan
    mass_is_estimate: bool = False
    load_n: float = math.nan
    design_load_n: float = math.nan
    price_each: float = math.nan
    note: str = ""


def parts_list(readings: Sequence[PanelReading], plan: Plan | None = None) -> tuple[Part, ...]:
    """List panels by kind, each kind followed by what holds it."""
    parts: list[Part] = []
    for kind in kinds_of(readings):
        parts.append(_panel(kind, plan))
        parts += _holding(kind)
    return tuple(parts)


def _panel(kind: Sequence[PanelReading], plan: Plan | None) -> Part:
    one = kind[0]
    planned = {entry.panel.name: entry for entry in plan.panels} if plan is not None else {}
    entries = [planned[reading.panel.name] for reading in kind if reading.panel.name in planned]
    gains = dict.fromkeys(f"step {entry.step}: {entry.gain_db:.1f} dB off the measure" for entry in entries)
    prices = {reading.panel.price for reading in kind}
    return Part(
        kind="panel",
        name=entries[0].stock if entries else "panel",
        material=one.panel.material,
        panels=tuple(reading.number for reading in kind),
        count=len(kind),
        width_m=one.width_m,
        height_m=one.height_m,
        depth_m=one.panel.depth_m - one.panel.air_behind_m,
        mass_each_kg=max(reading.panel.mass_kg for reading in kind),
        mass_is_estimate=any(reading.panel.mass_is_estimate for reading in kind),
        load_n=max(reading.panel.mass_kg for reading in kind) * GRAVITY_M_S2,
        price_each=one.panel.price if len(prices) == 1 else math.nan,
        note="; ".join(gains),
    )


def fixing_points(reading: PanelReading) -> int:
    """How many points hold one panel."""
    least = OVERHEAD_POINTS if reading.is_overhead else WALL_POINTS
    return max(least, 2 * math.ceil(reading.panel.mass_kg / KG_PER_PAIR))


def design_load_n(reading: PanelReading) -> float:
    """What each point has to be rated for: the weight times the factor; overhead, one point may have failed."""
    weight = reading.panel.mass_kg * GRAVITY_M_S2
    points = fixing_points(reading)
    if reading.is_overhead:
        return OVERHEAD_FACTOR * weight / (points - 1)
    return WALL_FACTOR * weight / points


def _holding(kind: Sequence[PanelReading]) -> list[Part]:
    one, numbers = kind[0], tuple(reading.number for reading in kind)
    heaviest = max(kind, key=lambda reading: reading.panel.mass_kg)
    weight, points = heaviest.panel.mass_kg * GRAVITY_M_S2, fixing_points(heaviest)
    words = "; ".join(dict.fromkeys(r.panel.fixings for r in kind if r.panel.fixings))
    over = one.is_overhead
    reported = f"as given: {words}" if words else "fixings not given"
    if one.panel.held_by == "stand":
        note = f"must stand when tipped by 10 degrees; {reported}"
        return [Part("stand", "stand for one panel", "", numbers, len(kind), load_n=weight, note=note)]
    parts = []
    if one.panel.held_by == "posts":
        note = f"carries one panel; stands firm without drilling the surface; {reported}"
        parts.append(Part("posts", "frame on posts for one panel", "", numbers, len(kind), load_n=weight, note=note))
    else:
        factor = OVERHEAD_FACTOR if over else WALL_FACTOR
        rule = f"factor of safety {factor:g}" + (", one point failed" if over else "") + " (common practice, no source)"
        where = "into joists or rated anchors" if over else "into studs or masonry"
        parts.append(
            Part(
                "fixings",
                f"fixing point {where}, {points} for each panel",
                "",
                numbers,
                points * len(kind),
                load_n=weight,
                design_load_n=design_load_n(heaviest),
                note=f"{rule}; {reported}",
            )
        )
    if over:
        note = "a second, separate load path; rated for overhead use"
        parts.append(
            Part(
                "tether",
                "secondary tether",
                "",
                numbers,
                len(kind),
                load_n=weight,
                design_load_n=OVERHEAD_FACTOR * weight,
                note=note,
            )
        )
    return parts


def parts_table(parts: Sequence[Part], unit: str, currency: str = "") -> Table:
    """The parts list for a sheet; prices that are not known leave room to write."""
    rows = []
    for part in parts:
        size = drawn_area_size(part.width_m, part.height_m, unit) if np.isfinite(part.width_m) else ""
        deep = drawn_length(part.depth_m, unit)
        rows.append(
            (
                str(part.count),
                part.name,
                part.material,
                f"{size} x {deep}" if size else "",
                ", ".join(part.panels),
                _number(part.mass_each_kg, 1, " est." if part.mass_is_estimate else ""),
                _number(part.count * part.mass_each_kg, 1),
                _number(part.load_n, 0),
                _number(part.design_load_n, 0),
                _number(part.price_each, 2) or "..........",
                _number(part.count * part.price_each, 2) or "..........",
                part.note,
            )
        )
    money = f" {currency}" if currency else ""
    panels = [part for part in parts if part.kind == "panel"]
    together = sum(part.count * part.mass_each_kg for part in panels)
    total = f"{sum(part.count for part in panels)} panels, {mass_words(together, unit, 1)} together."
    return Table(
        "Parts list",
        (
            "Count",
            "Part",
            "Material",
            "Size",
            "For panels",
            "kg each",
            "kg all",
            "Load each, N",
            "Rated at least, N",
            f"Price each{money}",
            f"Price all{money}",
            "Note",
        ),
        tuple(rows),
        (
            "Rated at least: each fixing point or tether, factor of safety included. Masses marked est. are worked out "
            "from the layers, a frame and cloth; weigh one before you choose fixings.",
            total,
        ),
    )


def _number(value: float, decimals: int, tail: str = "") -> str:
    return f"{value:.{decimals}f}{tail}" if math.isfinite(value) else ""
