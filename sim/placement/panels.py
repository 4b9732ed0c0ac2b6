"""Panels in their place: rectangles on surfaces, as deep and heavy as their layers, none where it must not be."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np

from sim.answers import printable
from sim.arrays import FloatArray, KeptFor, frozen
from sim.blueprint.error_messages import closest
from sim.blueprint.room import KeepClear
from sim.blueprint.schema import Blueprint
from sim.blueprint.treatment import Panel
from sim.blueprint.units import length_words
from sim.errors import SceneError
from sim.geometry.patches import DIRECTIONS, EDGE_TOLERANCE_M, Face, polygons_of, rectangle_between, spans_in_words
from sim.geometry.room import Room
from sim.geometry.unions import united_polygon
from sim.placement.finishes import LayeredFinish, finish_name
from sim.placement.solids import share_space, upright_box

if TYPE_CHECKING:
    from shapely import Polygon

FRAME_BOARD_M = 0.018
FRAME_DENSITY_KG_M3 = 650.0
CLOTH_KG_M2 = 0.3
"""A frame of 18 mm board all round, as deep as the panel, and cloth on its face (common practice, no source)."""


def air_behind_m(finish: LayeredFinish) -> float:
    """Depth of the air between a panel's back and its surface: of the gaps that stand last in its layers."""
    air = 0.0
    for layer in reversed(finish.layers):
        if layer.kind != "gap":
            break
        air += layer.thickness_m
    return air


def panel_mass_kg(finish: LayeredFinish, corners_m: FloatArray) -> float:
    """Estimate of the mass of a panel with corners (4, 3): its layers, a frame of board round them, and cloth.

    A 600 x 1200 x 100 mm panel of wool comes to 7 to 9 kg; framed ones have 6 to 10 kg (common practice, no source).
    The library's masses hold cloth and battens already, so this errs to the heavy side, as it should for fixings.
    Layers whose mass is not known count as nothing.
    """
    sides = np.linalg.norm(np.roll(corners_m, -1, axis=0) - corners_m, axis=1)
    area, rim = float(sides[0] * sides[1]), float(sides.sum())
    thickness = sum(layer.thickness_m for layer in finish.layers) - air_behind_m(finish)
    frame = rim * thickness * FRAME_BOARD_M * FRAME_DENSITY_KG_M3
    return area * (finish.mass_kg_m2 + CLOTH_KG_M2) + frame


# Panels in their place: rectangles on surfaces, each as deep as its layers, none where it must not be.

SMALLEST_OVERLAP_M2 = 1e-5
HEAT_CLEARANCE_M = 0.30
"""Nothing hangs nearer to a heater (common practice, no source); a hot lamp is given a clearance in the scene."""
THINNEST_M = 2e-3
"""A panel without thickness, such as a cloth, takes this much room."""


@printable
@dataclass(frozen=True, slots=True)
class PlacedPanel:
    """A panel on its surface.

    Attributes
    ----------
    name, surface, material, note
        As in the scene.
    finish
        Number of its build-up among the built scene's layered finishes.
    plane
        Number of the plane it hangs in, as of the facets there.
    corners_m
        (4, 3) corners in order, in the plane of the surface, not at its face.
    normal
        (3,) unit vector toward the air.
    depth_m
        How far its face stands before the surface.
    movable
        Whether it can be taken away.
    air_behind_m
        Air between its back and the surface.
    held_by
        "surface", "stand" or "posts".
    fixings
        How it is fixed, in the person's words.
    mass_kg
        Whole mass, or an estimate from its layers.
    mass_is_estimate
        Whether it is.
    price
        Of one; nan when not given.
    """

    name: str
    surface: str
    material: str
    note: str
    finish: int
    plane: int
    corners_m: FloatArray
    normal: FloatArray
    depth_m: float
    movable: bool
    air_behind_m: float = 0.0
    held_by: str = "surface"
    fixings: str = ""
    mass_kg: float = float("nan")
    mass_is_estimate: bool = True
    price: float = float("nan")

    @property
    def body(self) -> FloatArray:
        """Corners (8, 3): at the surface, then at the face."""
        known = _bodies.find(self)
        if known is not None:
            return known
        out = self.normal * max(self.depth_m, THINNEST_M)
        return _bodies.keep(frozen(np.concatenate([self.corners_m, self.corners_m + out])), self)


_bodies: KeptFor[FloatArray] = KeptFor(256)


def place_panels(
    blueprint: Blueprint, room: Room, finishes: Sequence[LayeredFinish]
) -> tuple[tuple[PlacedPanel, ...], list[str]]:
    """Hang the scene's panels on the surfaces of the room; also sentences on what stands over an opening.

    Raises
    ------
    SceneError
        If a panel names no surface, its spans do not place it there, it reaches over the edge, stands over an opening
        that must stay usable, stands in a zone to keep clear, or overlaps another panel.

    The same panels as before where neither they nor what they hang on is new: most of the time something else moves.
    """
    if not blueprint.panels:
        return (), []
    names = {*(panel.surface for panel in blueprint.panels), *(opening.name for opening in blueprint.openings)}
    hung_on = (facet for facet in room.facets if facet.name in names)
    given = (*blueprint.panels, *blueprint.openings, *blueprint.keep_clear, *finishes, *hung_on, blueprint.units)
    known = _placed.find(*given)
    if known is None:
        known = _placed.keep(_place_panels(blueprint, room, finishes), *given)
    return known[0], list(known[1])


_placed: KeptFor[tuple[tuple[PlacedPanel, ...], list[str]]] = KeptFor(64)


def _place_panels(
    blueprint: Blueprint, room: Room, finishes: Sequence[LayeredFinish]
) -> tuple[tuple[PlacedPanel, ...], list[str]]:
    numbers = {finish.name: number for number, finish in enumerate(finishes)}
    placed: list[PlacedPanel] = []
    notes: list[str] = []
    for record in blueprint.panels:
        where = f'panels "{record.name}"'
        face, plane, rectangle = _hung(record, blueprint, room, where)
        notes += _over_openings(record, blueprint, room, face, plane, rectangle, where)
        number = numbers[finish_name(record)]
        finish = finishes[number]
        corners = frozen(face.lifted(np.asarray(rectangle.exterior.coords)[:4]))
        panel = PlacedPanel(
            name=record.name,
            surface=record.surface,
            material=record.material,
            note=record.note,
            finish=number,
            plane=plane,
            corners_m=corners,
            normal=frozen(face.inward.copy()),
            depth_m=finish.build_up.depth_m,
            movable=record.movable,
            air_behind_m=air_behind_m(finish),
            held_by=record.held_by,
            fixings=record.fixings,
            mass_kg=record.mass_kg or panel_mass_kg(finish, corners),
            mass_is_estimate=record.mass_kg is None,
            price=float("nan") if record.price is None else record.price,
        )
        _refuse_taken_room(panel, placed, blueprint.keep_clear, where, blueprint.units)
        placed.append(panel)
    return tuple(placed), notes


def _hung(record: Panel, blueprint: Blueprint, room: Room, where: str) -> tuple[Face, int, Polygon]:
    """Return the plane surface a panel hangs on (its openings filled), the plane's number and the panel's rectangle."""
    numbers = room.facet_numbers(record.surface)
    if not numbers:
        names = [facet.name for facet in room.facets if facet.owner == "room"]
        raise SceneError(
            f"{where}: surface",
            f'no surface is called "{record.surface}"',
            closest(record.surface, names, what="the surfaces"),
        )
    filled = {record.surface, *(opening.name for opening in blueprint.openings)}
    spans = {key: span for key in DIRECTIONS if (span := getattr(record, key)) is not None}
    faults: list[SceneError] = []
    planes = sorted({room.facets[n].plane for n in numbers}, key=lambda plane: -_area(room, numbers, plane))
    for plane in planes:
        face = _face(room, plane, filled, record.surface)
        try:
            rectangle = rectangle_between(spans, face, where)
        except SceneError as fault:
            faults.append(fault)
            continue
        if any(part.buffer(EDGE_TOLERANCE_M, join_style="mitre").covers(rectangle) for part in face.region):
            return face, plane, rectangle
        corners = face.lifted(np.asarray(rectangle.exterior.coords)[:4])
        rims = face.lifted(np.concatenate([np.asarray(part.exterior.coords)[:-1] for part in face.region]))
        faults.append(
            SceneError(
                where,
                f'it reaches over the edge of "{record.surface}": the panel spans {spans_in_words(corners)}, '
                f"the surface {spans_in_words(rims)}",
                "correct its spans, or name the surface it really hangs on",
            )
        )
    raise faults[0]


def _area(room: Room, numbers: Sequence[int], plane: int) -> float:
    return sum(room.facets[n].area_m2 for n in numbers if room.facets[n].plane == plane)


def _face(room: Room, plane: int, names: set[str], name: str) -> Face:
    """All facets of these names in one plane as one flat face, in the directions of the first."""
    members = [n for n, facet in enumerate(room.facets) if facet.plane == plane and facet.name in names]
    first = room.facets[members[0]]
    triangles = room.triangles[np.isin(room.facet_of_triangle, members)]
    region = _united(np.ascontiguousarray(first.to_plane(triangles), dtype=np.float64).tobytes())
    return Face(name, "walls", first.frame[0], first.frame[1], first.frame[2], first.normal, region)


@lru_cache(maxsize=256)
def _united(triangles: bytes) -> tuple[Polygon, ...]:
    """Polygons of triangles (t, 3, 2) in a plane; kept, since walls stay while panels and all else move before them."""
    return polygons_of(united_polygon(np.frombuffer(triangles).reshape(-1, 3, 2)))


def _over_openings(
    record: Panel, blueprint: Blueprint, room: Room, face: Face, plane: int, rectangle: Polygon, where: str
) -> list[str]:
    """Refuse a panel over an opening that must stay usable; return a sentence when it may stand there."""
    notes = []
    for opening in blueprint.openings:
        if not any(facet.plane == plane and facet.name == opening.name for facet in room.facets):
            continue
        hole = _face(room, plane, {opening.name}, opening.name)
        # both faces lie in one plane, but each has an origin and directions of its own
        rim = _face_coordinates(face, hole)
        if sum(part.intersection(rectangle).area for part in rim) <= SMALLEST_OVERLAP_M2:
            continue
        slides = record.movable and opening.panel_may_slide
        if (opening.escape and not slides) or (opening.must_open and not record.movable):
            needed = "a way out" if opening.escape else "an opening that must open"
            raise SceneError(
                where,
                f'it stands over "{opening.name}", {needed}',
                "move it beside the opening"
                if opening.escape
                else "move it beside the opening, or say movable = true for a panel that is taken away by hand",
            )
        kind = "movable panel" if record.movable else "panel"
        notes.append(f'The {kind} "{record.name}" stands over "{opening.name}" and keeps it from being used.')
        if opening.escape:
            notes.append(
                f'"{opening.name}" is a way out: "{record.name}" has to slide or roll clear in one movement by anyone, '
                "without tools and in the dark, and be parked when nobody works; the fire authority decides."
            )
    return notes


def _face_coordinates(face: Face, other: Face) -> list[Polygon]:
    """The region of another face of the same plane, in the coordinates of the first."""
    import shapely

    axes = np.stack([face.first, face.second])
    rims = [other.lifted(np.asarray(part.exterior.coords)) for part in other.region]
    return [shapely.Polygon((rim - face.origin) @ axes.T) for rim in rims]


def _refuse_taken_room(
    panel: PlacedPanel, others: Sequence[PlacedPanel], zones: Sequence[KeepClear], where: str, unit: str
) -> None:
    """Raise SceneError when a panel shares space with another panel or a zone to keep clear."""
    for other in others:
        if share_space(panel.body, other.body):
            raise SceneError(where, f'it overlaps the panel "{other.name}"', "move one of them, or make it smaller")
    for zone in zones:
        spans = np.array([zone.from_front, zone.from_left, zone.up])
        around = max(zone.clearance, HEAT_CLEARANCE_M if zone.kind == "heater" else 0.0)
        low, high = spans[:, 0] - around, spans[:, 1] + around
        if share_space(panel.body, upright_box(0.5 * (low + high), high - low)):
            free = f" with {length_words(around, unit)} around it" if around > 0.0 else ""
            raise SceneError(
                where, f'it stands in the zone "{zone.name}" ({zone.kind}){free}', "move it away, or make it smaller"
            )
