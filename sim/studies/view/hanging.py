"""Where a panel out of the stock is hung: at a reflection point, its mirror image opposite, or beside what is there."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from typing import Any, Final

import numpy as np

from sim.arrays import FloatArray
from sim.blueprint.schema import Blueprint
from sim.blueprint.treatment import Panel, StockPanel
from sim.blueprint.units import length_words
from sim.errors import SceneError
from sim.geometry.facets import Facet
from sim.layouts.fields import things_of
from sim.placement.built_scene import BuiltScene
from sim.studies.view.edits import MOST_HUNG, Edits, Hung, Span
from sim.studies.view.snapshot import Listed

STEP_M, REACH_M, MOST_TRIES = 0.15, 1.05, 120
"""Where a panel cannot hang it is tried in steps beside, so far and so often (our choice)."""
MOST_PAIRS: Final = 20
"""After so many places a panel is hung without its mirror image."""
MARK_M: Final = 0.005
KEYS: Final = ("from_front", "from_left", "up")
FLOOR: Final = 0.1
"""A surface that looks up by more than this is no place for a panel."""
ALIKE_M: Final = 0.001


def stock_words(blueprint: Blueprint) -> list[str]:
    """Each kind in stock with its size, for a list to choose from."""
    unit = blueprint.units
    return [
        f"{one.name} ({' x '.join(length_words(side, unit) for side in one.size)}, {one.material})"
        for one in blueprint.treatment.stock
    ]


def surfaces_for_panels(blueprint: Blueprint, built: BuiltScene) -> list[str]:
    """Surfaces of the room that may carry a panel, the largest first."""
    openings = {one.name for one in blueprint.openings}
    areas: dict[str, float] = {}
    for facet in built.room.facets:
        if facet.owner == built.room.owners[0] and facet.normal[2] <= FLOOR and facet.name not in openings:
            areas[facet.name] = areas.get(facet.name, 0.0) + facet.area_m2
    bare = blueprint.treatment.leave_bare
    return [name for name in sorted(areas, key=lambda name: -areas[name]) if name not in bare]


def refuse_beyond_stock(blueprint: Blueprint, edits: Edits, stock: int, more: int) -> None:
    """Raise SceneError where the scene allows no further panel of a kind."""
    treatment = blueprint.treatment
    if not 0 <= stock < len(treatment.stock):
        raise SceneError("stock", "there is no such panel", "choose one of the stock of the scene")
    kind = treatment.stock[stock]
    used = sum(one.stock == stock for one in edits.hung)
    if kind.available is not None and used + more > kind.available:
        raise SceneError(
            f'treatment: stock "{kind.name}"', f"all {kind.available} of them hang", "take one down, or raise available"
        )
    most = treatment.panels if treatment.panels is not None else MOST_HUNG
    if len(blueprint.panels) - len(edits.taken) + len(edits.hung) + more > most:
        raise SceneError("treatment: panels", f"the scene allows {most} panels", "take one down, or raise that number")


def hung_at(
    blueprint: Blueprint, built: BuiltScene, stock: int, surface: str, turned: bool, listed: tuple[Listed, ...]
) -> Iterator[tuple[Hung, Hung | None]]:
    """Places for a panel on a surface, the best first, each with its mirror image on the other side where there is one.

    The best is the strongest first reflection of that surface, else its middle; the others lie around it.

    Raises
    ------
    SceneError
        If there is no such surface.
    """
    facet = _facet(blueprint, built, surface)
    along, up = _directions(facet)
    width, height = _sides(blueprint.treatment.stock[stock], facet, turned)
    start = _middle(blueprint, built, facet, surface, listed)
    names = _names(blueprint, surface)
    first = next(names)
    for aside, above in _around():
        middle = start + aside * along + above * up
        spans = _spans(middle, along, width, up, height)
        hung = Hung(first, stock, surface, spans, bool(facet.normal[2] < -FLOOR))
        yield hung, _twin(blueprint, built, hung, facet)


def _facet(blueprint: Blueprint, built: BuiltScene, surface: str) -> Facet:
    allowed = surfaces_for_panels(blueprint, built)
    if surface not in allowed:
        bare = surface in blueprint.treatment.leave_bare
        found = "the scene says to leave it bare" if bare else "no panel can hang there"
        raise SceneError(surface[:80] or "surface", found, "choose a wall, a slope or the ceiling")
    mine = [f for f in built.room.facets if f.name == surface and f.owner == built.room.owners[0]]
    return max(mine, key=lambda one: one.area_m2)


def _directions(facet: Facet) -> tuple[FloatArray, FloatArray]:
    """Level and rising direction in a surface; of a ceiling across and along the room."""
    normal = facet.normal
    level = np.cross([0.0, 0.0, 1.0], normal)
    if np.linalg.norm(level) < 1e-6:
        return np.array([0.0, 1.0, 0.0]), np.array([1.0, 0.0, 0.0])
    level = level / np.linalg.norm(level)
    return level, np.cross(normal, level)


def _sides(stock: StockPanel, facet: Facet, turned: bool) -> tuple[float, float]:
    """Width along and height: upright on walls, with the longer side along the room under a ceiling, or turned."""
    short, long = sorted(stock.size)
    return (long, short) if turned else (short, long)


def _middle(
    blueprint: Blueprint, built: BuiltScene, facet: Facet, surface: str, listed: tuple[Listed, ...]
) -> FloatArray:
    names = {surface, *(one.name for one in blueprint.openings if one.surface == surface)}
    points = [
        (one.worst_db, one.points[1])
        for one in listed
        if one.order == 1 and not one.diffracted and len(one.points) > 2 and set(one.surfaces) <= names
    ]
    if points:
        return np.asarray(max(points, key=lambda one: one[0])[1])
    mine = [n for n, other in enumerate(built.room.facets) if other is facet]
    corners = built.room.triangles[np.isin(built.room.facet_of_triangle, mine)].reshape(-1, 3)
    return np.asarray(0.5 * (corners.min(axis=0) + corners.max(axis=0)))


def _spans(middle: FloatArray, along: FloatArray, width: float, up: FloatArray, height: float) -> tuple[Span, ...]:
    """Where a rectangle lies along the two directions of the room that tell it best, on marks of the tape."""
    found = []
    for direction, size in ((along, width), (up, height)):
        rises = abs(direction[2]) > 1e-6
        axis = 2 if rises else int(np.argmax(np.abs(direction[:2])))
        extent = size * abs(float(direction[axis]))
        low = MARK_M * round((float(middle[axis]) - 0.5 * extent) / MARK_M)
        found.append((KEYS[axis], round(low, 6), round(low + extent, 6)))
    return tuple(sorted(found, key=lambda one: KEYS.index(one[0])))


def _around() -> Iterator[tuple[float, float]]:
    """Steps (along, up) away from the best place, the nearest first."""
    count = round(REACH_M / STEP_M)
    steps = [STEP_M * n for n in range(-count, count + 1)]
    every = sorted(((a, b) for a in steps for b in steps), key=lambda one: (round(math.hypot(*one), 6), one))
    yield from every[:MOST_TRIES]


def _names(blueprint: Blueprint, surface: str) -> Iterator[str]:
    taken = things_of(blueprint)
    for number in range(1, MOST_HUNG + len(blueprint.panels) + 2):
        name = f"{surface} panel {number}"
        if name not in taken:
            yield name


def _twin(blueprint: Blueprint, built: BuiltScene, hung: Hung, facet: Facet) -> Hung | None:
    """The mirror image of a panel about the middle of the room; None where it lies over it or has no surface."""
    across = built.room.triangles[built.room.owner_of_triangle == 0][..., 1]
    middle = 0.5 * float(across.min() + across.max())
    spans = tuple(_mirrored(one, middle) for one in hung.spans)
    wanted = facet.normal * np.array([1.0, -1.0, 1.0])
    allowed = surfaces_for_panels(blueprint, built)
    others = [f for f in built.room.facets if f.name in allowed and float(f.normal @ wanted) > 0.999]
    if abs(float(facet.normal[1])) < 0.01:
        others = [f for f in others if f.name == hung.surface]
    if not others:
        return None
    mine = next((span for span in spans if span[0] == "from_left"), None)
    before = next((span for span in hung.spans if span[0] == "from_left"), None)
    if mine is not None and before is not None and min(mine[2], before[2]) - max(mine[1], before[1]) > 0.0:
        return None  # it lies over the middle: its mirror image would be in its own place
    surface = max(others, key=lambda one: one.area_m2).name
    names = (name for name in _names(blueprint, surface) if name != hung.name)
    return Hung(next(names), hung.stock, surface, spans, hung.overhead)


def _mirrored(span: Span, middle_m: float) -> Span:
    key, low, high = span
    return (key, round(2.0 * middle_m - high, 6), round(2.0 * middle_m - low, 6)) if key == "from_left" else span


# Pairs of panels move together, as pairs of monitors do.


def partner_of(blueprint: Blueprint, name: str) -> tuple[Panel, float] | None:
    """The panel that is the mirror image of another, and the plane that mirrors them; None where there is none.

    Both hang on one surface as mirror images, or at the same place on two surfaces opposite each other.
    """
    one = next((panel for panel in blueprint.panels if panel.name == name), None)
    if one is None:
        return None
    for other in blueprint.panels:
        if other is one or other.material != one.material or not _alike(one.up, other.up):
            continue
        if not _alike(one.from_front, other.from_front):
            continue
        if one.from_left is None and other.from_left is None and one.surface != other.surface:
            return other, 0.0
        if one.from_left is not None and other.from_left is not None and one.surface == other.surface:
            middle = 0.25 * (sum(one.from_left) + sum(other.from_left))
            if abs(middle - blueprint.listener.ear.from_left) < 10.0 * ALIKE_M + 0.05:
                return other, middle
    return None


def _alike(one: Any, other: Any) -> bool:
    if one is None or other is None:
        return one is other
    return all(abs(a - b) < ALIKE_M for a, b in zip(one, other, strict=True))


Possible = Callable[[tuple[Hung, ...]], bool]


def best_place(places: Iterator[tuple[Hung, Hung | None]], together: bool, possible: Possible) -> tuple[Hung, ...]:
    """The first place where a panel can hang, with its mirror image if wanted and possible; empty if there is none."""
    alone: tuple[Hung, ...] = ()
    for number, (hung, twin) in enumerate(places):
        pair = together and twin is not None and number < MOST_PAIRS
        if pair and twin is not None and possible((hung, twin)):
            return (hung, twin)
        if not alone and possible((hung,)):
            alone = (hung,)
        if alone and not pair:
            return alone
    return alone
