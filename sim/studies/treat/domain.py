"""The domain that panels are placed on: surfaces, free zones, left and right, and what may hang beside what.

Left and right are mirrored in the upright plane midway between left and right loudspeakers.  Two panels that are
mirror images make a pair; one that is its own mirror image is centred.  Where the mirrored place does not exist, or
must stay free, one may hang alone.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any, Literal

import numpy as np

from sim.arrays import FloatArray
from sim.blueprint.schema import Blueprint
from sim.errors import SceneError
from sim.placement.built_scene import BuiltScene
from sim.placement.finishes import LayeredFinish
from sim.studies.treat.stock import StockItem, finish_of, stock_of
from sim.studies.treat.surfaces import Rectangle, Surface, treatable_surfaces
from sim.studies.treat.zones import Zone, blocked_by, zone_of

EDGE_M = 1e-4
"""Rectangles may pass the rim of a free zone by this much: rounding only."""
SAME_PLANE_M = 0.10
SAME_WAY = float(np.cos(np.radians(3.0)))
"""Mirrored surfaces may be this far off each other and still count as left and right of one another."""
INCH_STEP_M = 0.0127
METRIC_STEP_M = 0.010
STEPS = {METRIC_STEP_M: 5, INCH_STEP_M: 4}
TOUCH_M2 = 1e-6


@dataclass(frozen=True)
class Spot:
    """One panel in its place: number of the surface, rectangle on it, number in stock, and whether it must move."""

    surface: int
    rectangle: Rectangle
    stock: int
    movable: bool


@dataclass(frozen=True)
class Group:
    """Panels that are hung together: a pair, a centred one, or one alone (`why` then says why)."""

    spots: tuple[Spot, ...]
    kind: Literal["pair", "centred", "single"]
    why: str = ""

    @property
    def movable(self) -> int:
        """How many of them have to be moved away in everyday use."""
        return sum(spot.movable for spot in self.spots)


@dataclass
class PlacementDomain:
    """Surfaces and zones of one scene.

    zones[stock number][surface number]; finishes likewise, with the gap behind.  middle_m is the mirror plane, rounded
    so that mirrored edges are as tidy as the others; step_m is how tidy that is.
    """

    built: BuiltScene
    blueprint: Blueprint
    surfaces: tuple[Surface, ...]
    left_alone: tuple[str, ...]
    stock: tuple[StockItem, ...]
    zones: tuple[tuple[Zone, ...], ...]
    finishes: tuple[tuple[LayeredFinish, ...], ...]
    middle_m: float
    step_m: float
    symmetric: bool
    _free: dict[tuple[int, int, bool], Any] = field(default_factory=dict)

    @property
    def grid_m(self) -> float:
        """Coarse step of places, about 50 mm: whole tidy steps."""
        return STEPS[self.step_m] * self.step_m

    def rule_at(self, surface: int, stock: int, rectangle: Rectangle) -> Literal["fixed", "movable", "no"]:
        """What kind of panel a rectangle may be."""
        if self._covers(surface, stock, rectangle, movable=False):
            return "fixed"
        return "movable" if self._covers(surface, stock, rectangle, movable=True) else "no"

    def _covers(self, surface: int, stock: int, rectangle: Rectangle, movable: bool) -> bool:
        import shapely

        key = (surface, stock, movable)
        if key not in self._free:
            zone = self.zones[stock][surface]
            free = (zone.free_movable if movable else zone.free_fixed).buffer(EDGE_M, join_style="mitre")
            shapely.prepare(free)
            self._free[key] = free
        covered: bool = shapely.covers(self._free[key], shapely.box(*rectangle))
        return bool(covered)

    def spot(self, surface: int, stock: int, rectangle: Rectangle) -> Spot | None:
        """One panel, or None where there can be none."""
        rule = self.rule_at(surface, stock, rectangle)
        return None if rule == "no" else Spot(surface, rectangle, stock, rule == "movable")

    def mirrored(self, surface: int, rectangle: Rectangle) -> tuple[int, Rectangle] | None:
        """The mirror image of a place, on the surface that is there; None when none is."""
        own = self.surfaces[surface]
        corners = own.corners_m(rectangle)
        corners = corners * np.array([1.0, -1.0, 1.0]) + np.array([0.0, 2.0 * self.middle_m, 0.0])
        normal = own.normal * np.array([1.0, -1.0, 1.0])
        middle = corners.mean(axis=0)
        best: tuple[float, int] | None = None
        for number, other in enumerate(self.surfaces):
            flat = other.to_flat(middle)
            if other.normal @ normal < SAME_WAY or abs(flat[2]) > SAME_PLANE_M:
                continue
            import shapely

            away = float(other.region.distance(shapely.Point(flat[:2])))
            if away < 0.3 and (best is None or away < best[0]):
                best = (away, number)
        if best is None:
            return None
        flat = self.surfaces[best[1]].to_flat(corners)[:, :2]
        low, high = np.round(flat.min(axis=0), 6), np.round(flat.max(axis=0), 6)
        return best[1], (float(low[0]), float(low[1]), float(high[0]), float(high[1]))

    def group_at(self, surface: int, stock: int, rectangle: Rectangle) -> Group | None:
        """The panels that come with one at a place; None when there can be none there."""
        spot = self.spot(surface, stock, rectangle)
        if spot is None:
            return None
        if not self.symmetric:
            return Group((spot,), "single")
        image = self.mirrored(surface, rectangle)
        if image is None:
            return Group((spot,), "single", "nothing is opposite")
        other_surface, other = image
        if other_surface == surface:
            off = max(abs(x - y) for x, y in zip(other, rectangle, strict=True))
            if off < 1e-6:
                return Group((spot,), "centred")
            if _overlap_m2(other, rectangle) > TOUCH_M2:
                return None
        twin = self.spot(other_surface, stock, other)
        if twin is None:
            reasons = self.zones[stock][other_surface]
            return Group((spot,), "single", _why_not(reasons, other))
        spots = (spot, twin) if self._left_first(spot, twin) else (twin, spot)
        return Group(spots, "pair")

    def _left_first(self, one: Spot, other: Spot) -> bool:
        return float(self.corners_m(one)[:, 1].mean()) <= float(self.corners_m(other)[:, 1].mean())

    def corners_m(self, spot: Spot) -> FloatArray:
        """Corners (4, 3) of a panel, in its surface."""
        return self.surfaces[spot.surface].corners_m(spot.rectangle)

    def body_m(self, spot: Spot) -> FloatArray:
        """Corners (8, 3) of the room a panel takes, with the gap behind it."""
        corners = self.corners_m(spot)
        return np.concatenate(
            [corners, corners + self.surfaces[spot.surface].normal * self.zones[spot.stock][spot.surface].depth_m]
        )

    def collide(self, one: Spot, other: Spot) -> bool:
        """Whether two panels would share room; touching is allowed."""
        import shapely

        first, second = self.surfaces[one.surface], self.surfaces[other.surface]
        if first.plane == second.plane:
            flat = first.to_flat(self.corners_m(other))[:, :2]
            low, high = flat.min(axis=0), flat.max(axis=0)
            return _overlap_m2(one.rectangle, (low[0], low[1], high[0], high[1])) > TOUCH_M2
        depth = self.zones[one.stock][one.surface].depth_m
        taken = blocked_by(self.body_m(other), first, depth)
        return taken is not None and shapely.box(*one.rectangle).intersection(taken).area > TOUCH_M2

    def clash(self, group: Group, others: Sequence[Group]) -> bool:
        """Whether any panel of a group collides with any of others."""
        return any(self.collide(a, b) for a in group.spots for other in others for b in other.spots)


def placement_domain(built: BuiltScene, blueprint: Blueprint) -> PlacementDomain:
    """Find surfaces, zones and the mirror plane of a scene.

    Raises
    ------
    SceneError
        If there is no pair of loudspeakers, or no surface may get a panel.
    """
    lefts = [one.axis_point for one in built.loudspeakers if one.side == "left"]
    rights = [one.axis_point for one in built.loudspeakers if one.side == "right"]
    if not lefts or not rights:
        raise SceneError(
            "loudspeakers",
            "there is no pair, one left and one right of the ear",
            "a treatment plan needs both; add the other monitor",
        )
    step = INCH_STEP_M if blueprint.units in ("in", "ft") else METRIC_STEP_M
    middle = 0.5 * float(np.mean([a[1] + b[1] for a, b in zip(lefts, rights, strict=False)]))
    middle = round(round(middle / step) * step, 9)
    surfaces, left_alone = treatable_surfaces(built, blueprint)
    stock = stock_of(blueprint)
    zones = tuple(tuple(zone_of(built, blueprint, s, item.thickness_m) for s in surfaces) for item in stock)
    if not any(zone.free_movable.area > 0.0 for row in zones for zone in row):
        raise SceneError(
            "treatment",
            "no wall, slope or ceiling has room for a panel",
            "take names out of leave_bare, or thinner panels into stock",
        )
    finishes = tuple(
        tuple(finish_of(blueprint, item.record, zone.gap_m) for zone in row)
        for item, row in zip(stock, zones, strict=True)
    )
    return PlacementDomain(
        built, blueprint, surfaces, left_alone, stock, zones, finishes, middle, step, blueprint.treatment.symmetric
    )


def _overlap_m2(one: Rectangle, other: Rectangle) -> float:
    width = min(one[2], other[2]) - max(one[0], other[0])
    height = min(one[3], other[3]) - max(one[1], other[1])
    return max(0.0, width) * max(0.0, height)


def _why_not(zone: Zone, rectangle: Rectangle) -> str:
    """Why a rectangle does not fit in a zone."""
    import shapely

    box = shapely.box(*rectangle)
    reasons = [each.reason for each in zone.exclusions if each.shape.intersection(box).area > TOUCH_M2]
    return " and ".join(dict.fromkeys(reasons)) or f"the {zone.surface.name} ends there"
