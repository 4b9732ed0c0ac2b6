"""Panels worth trying: at the reflection points of the walls that harm most, and a cloud."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Final

from sim.blueprint.schema import Blueprint
from sim.blueprint.treatment import Panel, stock_in
from sim.blueprint.units import small_words
from sim.responses.arrivals import in_window
from sim.responses.records import Arrival, Results
from sim.studies.advise.records import CARPENTRY, MONEY, Make, Setting

PAIRS: Final = (1, 2, 3)
CLOUD_M: Final = (-0.40, -0.20, 0.0, 0.20)
"""How far a cloud may lie off the reflection points where a lamp or a beam is in its place."""


# Panels at the reflection points: first the reflections that harm most.


def panel_settings(results: Results) -> Iterator[Setting]:
    """One, two and three pairs on the walls, and a cloud; where exactly, `treat` works out."""
    blueprint, built = results.scene.blueprint, results.built
    surfaces = {opening.name: opening.surface for opening in blueprint.openings}
    walls: dict[str, list[Panel]] = {}
    cloud: list[Panel] = []
    target, ear = blueprint.target, built.listener_names[0]
    listed = [a for a in results.responses.arrivals if a.listener == ear and a.order == 1 and not a.diffracted]
    for arrival in sorted(listed, key=lambda one: -one.worst_db):
        facet = next((f for f in built.room.facets if f.name == arrival.surfaces[0]), None)
        if facet is None or facet.owner != built.room.owners[0] or not in_window(arrival, target):
            continue
        surface = surfaces.get(facet.name, facet.name)
        across = [axis for axis in range(3) if abs(facet.normal[axis]) < 0.5]
        if len(across) != 2 or facet.normal[2] > 0.5 or surface in blueprint.treatment.leave_bare:
            continue  # slopes are left to `treat`, and the floor to people
        panel = _panel_at(blueprint, arrival, surface, across)
        if facet.normal[2] < -0.5:
            cloud.append(panel)
        else:
            walls.setdefault(f"{arrival.main.delay_ms:.1f}", []).append(panel)
    pairs = [found for found in walls.values() if found]
    most = blueprint.treatment.panels
    for number in (n for n in PAIRS if n <= len(pairs)):
        chosen = _apart(tuple(panel for pair in pairs[:number] for panel in pair))
        if most is not None and len(chosen) > most:
            break
        names = ", ".join(dict.fromkeys(panel.surface for panel in chosen))
        words = f"{len(chosen)} panels of {chosen[0].material} at the reflection points: {names}"
        yield Setting(f"panels: {number} {'pair' if number == 1 else 'pairs'}", words, MONEY, "", _with_panels(chosen))
    if cloud:
        chosen = _apart(tuple(cloud[:2]))
        words = f"a cloud of {len(chosen)} panels of {chosen[0].material} at the reflection points"
        worse = "overhead: rated fixings and a second tether, two people; nothing may hang over heads by glue"
        for step in CLOUD_M:
            moved = tuple(_slid(panel, "from_front", step) for panel in chosen)
            away = f", {small_words(abs(step), blueprint.units)} {'behind' if step > 0.0 else 'before'} them" * bool(
                step
            )
            yield Setting("cloud", words + away, CARPENTRY, worse, _with_panels(moved))


def _panel_at(blueprint: Blueprint, arrival: Arrival, surface: str, across: Sequence[int]) -> Panel:
    stock = stock_in(blueprint.treatment.stock, blueprint.units)[0]
    sides = sorted(stock.size)
    point = arrival.main.points[0]
    keys = ("from_front", "from_left", "up")
    sizes = sides if 2 in across else [sides[1], sides[0]]
    spans = {
        keys[axis]: (round(float(point[axis]) - 0.5 * size, 3), round(float(point[axis]) + 0.5 * size, 3))
        for axis, size in zip(across, sizes, strict=True)
    }
    overhead = 2 not in across
    drilled = not {surface, "all"} & set(blueprint.treatment.no_drilling)
    return Panel(
        name=f"{arrival.loudspeaker} {surface} panel",
        surface=surface,
        material=stock.material,
        gap=blueprint.treatment.cloud_gap if overhead else blueprint.treatment.wall_gap,
        movable=not overhead and blueprint.treatment.movable,
        held_by="surface" if drilled else "posts" if overhead else "stand",
        fixings="rated fixings into structure and a second tether" if overhead else "",
        price=stock.price,
        mass_kg=stock.mass_kg,
        **spans,
    )


def _apart(panels: Sequence[Panel]) -> tuple[Panel, ...]:
    """Panels of one surface that would overlap are pushed apart across, so that they touch."""
    made: list[Panel] = []
    for panel in panels:
        for other in made:
            if other.surface != panel.surface:
                continue
            key = "from_left" if panel.from_left is not None else "from_front"
            spans = [getattr(one, key) for one in (other, panel)]
            over = min(span[1] for span in spans) - max(span[0] for span in spans)
            if over > 0.0:
                sign = 1.0 if sum(spans[1]) >= sum(spans[0]) else -1.0
                step = sign * 0.5 * (over + 0.002)
                made[made.index(other)] = _slid(other, key, -step)
                panel = _slid(panel, key, step)
        made.append(panel)
    return tuple(made)


def _slid(panel: Panel, key: str, by_m: float) -> Panel:
    low, high = getattr(panel, key)
    return panel.model_copy(update={key: (round(low + by_m, 3), round(high + by_m, 3))})


def _with_panels(panels: Sequence[Panel]) -> Make:
    return lambda scene: scene.model_copy(update={"panels": (*scene.panels, *panels)})
