"""From places to panels as a scene writes them, how they are held, and what to mind when building."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from typing import Any, Literal

import numpy as np

from sim.blueprint.schema import Blueprint
from sim.blueprint.treatment import Panel
from sim.blueprint.units import mass_words
from sim.placement.stops import OVERHEAD_M
from sim.responses.records import Results
from sim.studies.treat.domain import Group, PlacementDomain, Spot
from sim.studies.treat.stock import stock_mass_kg

SIDE_M = 0.05
"""A panel whose middle is nearer to the mirror plane than this is neither left nor right."""

TO_CONFIRM = "to be confirmed by the fitter: "


def panel_records(domain: PlacementDomain, groups: Sequence[Group]) -> list[list[Panel]]:
    """Return the panels of each group, in the same order as its spots."""
    taken = {panel.name for panel in domain.blueprint.panels}
    on = Counter(domain.surfaces[spot.surface].name for group in groups for spot in _firsts(group))
    count: Counter[str] = Counter()
    records = []
    for group in groups:
        numbers: dict[str, int] = {}
        for spot in _firsts(group):
            surface = domain.surfaces[spot.surface].name
            count[surface] += 1
            numbers[surface] = count[surface]
        made = []
        for spot in group.spots:
            surface = domain.surfaces[spot.surface].name
            name = f"{surface} panel"
            if on[surface] > 1:
                name += f" {numbers[surface]}"
            if _shares_surface(group):
                name += f" {_side(domain, spot)}"
            while name in taken:
                name += " (new)"
            taken.add(name)
            made.append(_record(domain, group, spot, name))
        records.append(made)
    return records


def held_by(domain: PlacementDomain, spot: Spot) -> Literal["surface", "stand", "posts"]:
    """A movable panel stands; where nothing may be drilled a panel stands before its wall, or is carried by posts."""
    surface = domain.surfaces[spot.surface]
    if spot.movable:
        return "stand"
    if not {surface.name, "all"} & set(domain.blueprint.treatment.no_drilling):
        return "surface"
    return "stand" if surface.kind == "wall" else "posts"


def mass_kg(domain: PlacementDomain, spot: Spot) -> float:
    """Mass of a panel, told or estimated."""
    return stock_mass_kg(domain.stock[spot.stock], domain.finishes[spot.stock][spot.surface])


def is_overhead(domain: PlacementDomain, spot: Spot) -> bool:
    """Whether any of it is above heads."""
    return float(domain.body_m(spot)[:, 2].max()) > OVERHEAD_M


def treated_blueprint(blueprint: Blueprint, panels: Sequence[Panel], title: str) -> Blueprint:
    """The scene with panels added to those it has."""
    return blueprint.model_copy(update={"panels": (*blueprint.panels, *panels), "title": title})


def _firsts(group: Group) -> list[Spot]:
    """One panel for each surface of a group."""
    return list({spot.surface: spot for spot in group.spots}.values())


def _shares_surface(group: Group) -> bool:
    return len({spot.surface for spot in group.spots}) < len(group.spots)


def _side(domain: PlacementDomain, spot: Spot) -> str:
    across = float(domain.corners_m(spot)[:, 1].mean()) - domain.middle_m
    return "centre" if abs(across) < SIDE_M else "left" if across < 0.0 else "right"


def _record(domain: PlacementDomain, group: Group, spot: Spot, name: str) -> Panel:
    item, surface = domain.stock[spot.stock], domain.surfaces[spot.surface]
    holding = held_by(domain, spot)
    reported: dict[str, Any] = {
        "name": name,
        "surface": surface.name,
        **surface.spans(spot.rectangle),
        "material": item.record.material,
    }
    gap = domain.zones[spot.stock][spot.surface].gap_m
    if gap > 0.0:
        reported["gap"] = gap
    if spot.movable:
        reported["movable"] = True
    if holding != "surface":
        reported["held_by"] = holding
    if is_overhead(domain, spot):
        reported["fixings"] = _fixings(holding, mass_kg(domain, spot), surface.kind, domain.blueprint.units)
    if item.record.mass_kg is not None:
        reported["mass_kg"] = item.record.mass_kg
    if item.record.price is not None:
        reported["price"] = item.record.price
    notes = [item.record.name]
    if group.kind == "single" and group.why:
        notes.append(f"alone: {group.why}")
    reported["note"] = "; ".join(notes)
    return Panel.model_validate(reported)


def _fixings(holding: str, mass: float, kind: str, unit: str) -> str:
    load = mass_words(float(np.ceil(mass)), unit)
    if holding == "posts":
        return f"{TO_CONFIRM}posts or a frame from the floor, braced so that they cannot tip, a second tether; {load}"
    if holding == "stand":
        return f"{TO_CONFIRM}a stand that cannot tip; {load}"
    where = "joists or rated anchors" if kind != "wall" else "studs or rated anchors"
    return f"{TO_CONFIRM}hardware rated for overhead use into {where}, a second tether; {load}"


# What to mind when a plan is built: loads over heads, stands, ways out, and what the model left out.

NEGLECTED = (
    "Panels count by their face only: their sides, what they block and sound that passes close by them are left out.",
)


def plan_cautions(
    domain: PlacementDomain, groups: Sequence[Group], records: Sequence[Sequence[Panel]], working: Results
) -> tuple[str, ...]:
    """Return sentences, the ones on safety first."""
    return tuple(dict.fromkeys([*_safety(domain, groups, records), *_ways_out(working), *_left_out(domain, groups)]))


def _safety(domain: PlacementDomain, groups: Sequence[Group], records: Sequence[Sequence[Panel]]) -> Iterator[str]:
    spots = [
        (spot, panel)
        for group, made in zip(groups, records, strict=True)
        for spot, panel in zip(group.spots, made, strict=True)
    ]
    overhead = [(spot, panel) for spot, panel in spots if is_overhead(domain, spot)]
    if overhead:
        load = sum(mass_kg(domain, spot) for spot, _ in overhead)
        names = ", ".join(panel.name for _, panel in overhead)
        yield (
            f"Over heads: {names}, {mass_words(load, domain.blueprint.units)} in all. Fix to joists or rated "
            f"anchors with hardware rated for "
            "overhead use and a second tether, never to a suspended grid, plain plasterboard, or by glue alone; what "
            "is written as fixings is what the fitter still has to confirm."
        )
    posts = [panel.name for spot, panel in spots if held_by(domain, spot) == "posts"]
    if posts:
        yield (
            f"Nothing may be drilled there: {', '.join(posts)} need posts or a frame from the floor, braced against "
            "tipping. How that stands is not worked out here."
        )
    for spot, panel in spots:
        if spot.movable:
            yield (
                f"{panel.name} is movable and stands over an opening: put it away when the opening is used, and give "
                "its stand feet that it cannot tip over."
            )


def _ways_out(working: Results) -> Iterator[str]:
    """What building the treated room noted about panels, openings and fixings."""
    names = [panel.name for panel in working.built.panels]
    for note in (*working.built.warnings, *working.built.notes):
        if any(f'"{name}"' in note for name in names):
            yield note


def _left_out(domain: PlacementDomain, groups: Sequence[Group]) -> Iterator[str]:
    yield from domain.left_alone
    used = {(spot.stock, spot.surface) for group in groups for spot in group.spots}
    for stock, surface in sorted(used):
        yield from domain.zones[stock][surface].notes
    for group in groups:
        if group.kind == "single" and group.why:
            name = domain.surfaces[group.spots[0].surface].name
            yield f"The panel on the {name} has no twin on the other side: {group.why}."
    yield from NEGLECTED
