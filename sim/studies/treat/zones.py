"""Where on a surface a panel may be: the surface less everything that must stay free, each with its reason."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Literal

import numpy as np

from sim.arrays import FloatArray
from sim.blueprint.room import Opening
from sim.blueprint.schema import Blueprint
from sim.blueprint.units import length_words, thickness_words
from sim.geometry.patches import Face, rectangle_between
from sim.placement.built_scene import BuiltScene
from sim.studies.treat.surfaces import SPAN_KEYS, Surface

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

SMALLEST_M2 = 1e-6
BOX_RINGS = np.array([[0, 0, 0], [1, 0, 0], [1, 1, 0], [0, 1, 0], [0, 0, 1], [1, 0, 1], [1, 1, 1], [0, 1, 1]])


def blocked_by(body: FloatArray, surface: Surface, depth_m: float) -> BaseGeometry | None:
    """What a box (8, 3), such as another panel, takes from a surface for panels of a depth; None when nothing."""
    return laid_flat([body], surface, depth_m)


def laid_flat(
    solids: Sequence[FloatArray], surface: Surface, depth_m: float, play_m: float = 0.0
) -> BaseGeometry | None:
    """Hull of what solids (each (n, 3): a triangle, or a box of eight corners) take of the depth before a surface.

    One body told by triangles is taken as its hull: cavities of furniture get no panels.
    """
    import shapely

    points: list[FloatArray] = []
    for solid in solids:
        flat = surface.to_flat(solid)
        if flat[:, 2].min() >= depth_m - 1e-6 or flat[:, 2].max() <= 1e-6:
            continue
        points.append(_between(flat, depth_m))
    if not points:
        return None
    hull: Any = shapely.convex_hull(shapely.MultiPoint(np.concatenate(points)[:, :2]))
    if play_m > 0.0:
        hull = hull.buffer(play_m, join_style="mitre")
    return hull if hull.area > SMALLEST_M2 else None


def _between(flat: FloatArray, depth_m: float) -> FloatArray:
    """Points (k, 3) that span the part of a convex solid (n, 3) whose third coordinate is between 0 and a depth."""
    kept = [flat[(flat[:, 2] >= 0.0) & (flat[:, 2] <= depth_m)]]
    for level in (0.0, depth_m):
        below, above = flat[flat[:, 2] < level], flat[flat[:, 2] > level]
        if len(below) and len(above):
            fraction = (level - below[:, None, 2]) / (above[None, :, 2] - below[:, None, 2])
            kept.append((below[:, None] + fraction[..., None] * (above[None] - below[:, None])).reshape(-1, 3))
    return np.concatenate(kept)


def box_between(low: FloatArray, high: FloatArray) -> FloatArray:
    """Corners (8, 3) of an upright box."""
    return np.where(BOX_RINGS == 1, high, low)


# Where on a surface a panel may be: the surface less everything that must stay free, each with its reason.
#
# What stands in the way is cut down to the depth that a panel takes before the surface, laid flat on it, and taken away
# with a few millimetres of play.  Openings that must stay usable, and what swings into the room from them, are kept
# apart: a movable panel may cross those that are no way out, or where the scene says that one may slide there.

PLAY_M = 0.010
"""Kept free round furniture, boxes and stands (common practice, no source)."""
HEAT_CLEARANCE_M = 0.30
"""Kept free round heaters at least (common practice, no source)."""
HEAD_CLEARANCE_M = 0.15
"""Kept free round the box the head stays in (common practice, no source)."""


@dataclass(frozen=True)
class Exclusion:
    """A part of a surface that a panel must leave free; `rule` is "never", or "fixed" where a movable panel may be."""

    shape: BaseGeometry
    reason: str
    rule: Literal["never", "fixed"]


@dataclass(frozen=True)
class Zone:
    """A surface, what is taken from it for panels of a depth, and what is left for fixed and for movable ones.

    gap_m is the air behind a panel here: on ceilings less than wished for where headroom would be lost.
    """

    surface: Surface
    depth_m: float
    gap_m: float
    exclusions: tuple[Exclusion, ...]
    free_fixed: BaseGeometry
    free_movable: BaseGeometry
    notes: tuple[str, ...]

    def reasons_at(self, point: FloatArray, movable: bool) -> tuple[str, ...]:
        """Why no panel may cover a point (3,) of the surface; none when one may."""
        import shapely

        place = shapely.Point(self.surface.to_flat(point)[:2])
        return tuple(
            each.reason
            for each in self.exclusions
            if (each.rule == "never" or not movable) and each.shape.buffer(1e-6).contains(place)
        )


def zone_of(built: BuiltScene, blueprint: Blueprint, surface: Surface, thickness_m: float) -> Zone:
    """Find where panels of a thickness may be on a surface."""
    import shapely

    asked = blueprint.treatment
    gap, notes = asked.wall_gap, []
    exclusions: list[Exclusion] = []
    if surface.kind == "ceiling":
        gap, said, never = _cloud_gap(surface, asked.cloud_gap, thickness_m, asked.headroom, blueprint.units)
        notes += said
        if never:
            exclusions.append(Exclusion(surface.region, never, "never"))
    depth = gap + thickness_m
    exclusions += _openings(built, blueprint, surface, depth)
    exclusions += _solids(built, blueprint, surface, depth)
    exclusions = [each for each in exclusions if each.shape.intersection(surface.region).area > SMALLEST_M2]
    taken = [each.shape for each in exclusions if each.rule == "never"]
    movable = surface.region.difference(shapely.union_all(taken)) if taken else surface.region
    others = [each.shape for each in exclusions if each.rule == "fixed"]
    fixed = movable.difference(shapely.union_all(others)) if others else movable
    return Zone(surface, depth, gap, tuple(exclusions), fixed, movable if asked.movable else fixed, tuple(notes))


def _cloud_gap(
    surface: Surface, wished_m: float, thickness_m: float, headroom_m: float, unit: str
) -> tuple[float, list[str], str]:
    """The gap above a cloud, what was said about it, and why there can be none."""
    lowest = float(surface.lifted(np.array(surface.region.bounds).reshape(2, 2))[:, 2].min())
    left = lowest - thickness_m - headroom_m
    if left >= wished_m - 1e-9:
        return wished_m, [], ""
    if left < 0.0:
        least = length_words(headroom_m, unit)
        return wished_m, [], f"a cloud below the {surface.name} would leave less than {least} of headroom"
    gap = float(np.floor(100.0 * left + 1e-9)) / 100.0
    hang = f"hang {thickness_words(gap, unit)} instead of {thickness_words(wished_m, unit)} below it"
    said = f"Clouds below the {surface.name} {hang}"
    return gap, [f"{said}, to leave {length_words(headroom_m, unit)} of headroom."], ""


def opening_shape(built: BuiltScene, surface: Surface, opening: Opening) -> BaseGeometry | None:
    """The part of the surface's plane that an opening takes; None when it is in another plane.

    In a box or outline room the opening is a facet of its own, in a mesh the spans tell where it is.
    """
    import shapely

    room = built.room
    members = [n for n in room.facet_numbers(opening.name) if room.facets[n].owner == "room"]
    if members:
        if room.facets[members[0]].plane != surface.plane:
            return None
        triangles = room.triangles[np.isin(room.facet_of_triangle, members)]
        return shapely.union_all(shapely.polygons(surface.to_flat(triangles)[..., :2]))
    planes = {room.facets[n].plane for n in room.facet_numbers(opening.surface)}
    if surface.plane not in planes:
        return None
    spans = {key: span for key in SPAN_KEYS if (span := getattr(opening, key)) is not None}
    face = Face(surface.name, "walls", surface.origin, surface.along, surface.rising, surface.normal, ())
    return rectangle_between(spans, face, f'openings "{opening.name}"')


def _openings(built: BuiltScene, blueprint: Blueprint, surface: Surface, depth_m: float) -> Iterator[Exclusion]:
    """Openings in the surface, and what swings from openings in other surfaces."""
    for opening in blueprint.openings:
        if not (opening.escape or opening.must_open):
            continue
        slides = opening.panel_may_slide
        rule: Literal["never", "fixed"] = "never" if opening.escape and not slides else "fixed"
        what = "a way out" if opening.escape else "it must open"
        inside = opening_shape(built, surface, opening)
        if inside is not None:
            yield Exclusion(inside, f"the {opening.name} is there ({what})", rule)
        elif opening.swing > 0.0:
            for box in _swept(built, opening):
                shape = laid_flat([box], surface, depth_m)
                if shape is not None:
                    yield Exclusion(shape, f"the {opening.name} swings there ({what})", rule)


def _swept(built: BuiltScene, opening: Opening) -> Iterator[FloatArray]:
    """Boxes (8, 3) that an opening sweeps on the way `swing` straight into the room."""
    room = built.room
    for n in room.facet_numbers(opening.name):
        facet = room.facets[n]
        flat = facet.border.reshape(-1, 2)
        (x0, y0), (x1, y1) = flat.min(axis=0), flat.max(axis=0)
        rim = facet.from_plane(np.array([[x0, y0], [x1, y0], [x1, y1], [x0, y1]]))
        yield np.concatenate([rim, rim + opening.swing * facet.normal])


def _solids(built: BuiltScene, blueprint: Blueprint, surface: Surface, depth_m: float) -> Iterator[Exclusion]:
    """Everything solid, everybody's heads, and zones to keep clear."""
    room = built.room
    for number, name in enumerate(room.owners):
        if number == 0:
            continue
        triangles = list(room.triangles[room.owner_of_triangle == number])
        shape = laid_flat(triangles, surface, depth_m, play_m=PLAY_M)
        if shape is not None:
            yield Exclusion(shape, f"the {name} is in the way", "never")
    yield from _other_walls(built, surface, depth_m)
    for record, placed in zip(blueprint.loudspeakers, built.loudspeakers, strict=True):
        if record.standing == "stand" and placed.corners is not None:
            low, high = placed.corners.min(axis=0), placed.corners.max(axis=0)
            stand = box_between(np.array([low[0], low[1], 0.0]), np.array([high[0], high[1], low[2]]))
            shape = laid_flat([stand], surface, depth_m, play_m=PLAY_M)
            if shape is not None:
                yield Exclusion(shape, f"the stand of {placed.name} is in the way", "never")
    for ear, name in zip(built.ears, built.listener_names, strict=True):
        half = 0.5 * built.head_box + HEAD_CLEARANCE_M
        shape = laid_flat([box_between(ear - half, ear + half)], surface, depth_m)
        if shape is not None:
            whose = "the head is" if name == "ear" else f"the head at the {name} is"
            yield Exclusion(shape, f"{whose} there", "never")
    for zone in blueprint.keep_clear:
        spans = np.array([zone.from_front, zone.from_left, zone.up])
        around = max(zone.clearance, HEAT_CLEARANCE_M if zone.kind == "heater" else 0.0)
        shape = laid_flat([box_between(spans[:, 0] - around, spans[:, 1] + around)], surface, depth_m)
        if shape is not None:
            yield Exclusion(shape, f"the {zone.name} has to stay clear", "never")
    for panel in built.panels:
        shape = laid_flat([panel.body], surface, depth_m)
        if shape is not None:
            yield Exclusion(shape, f'the panel "{panel.name}" is there already', "never")


def _other_walls(built: BuiltScene, surface: Surface, depth_m: float) -> Iterator[Exclusion]:
    """Parts above which another surface of the room leans over, as in an acute corner."""
    import shapely

    room = built.room
    for number, facet in enumerate(room.facets):
        if facet.owner != "room" or facet.plane == surface.plane:
            continue
        pieces = [
            piece
            for triangle in room.triangles[room.facet_of_triangle == number]
            if (piece := laid_flat([triangle], surface, depth_m - 1e-4)) is not None
        ]
        if pieces:
            yield Exclusion(shapely.union_all(pieces), f"the {facet.name} leans over it", "never")
