"""Drawings of surfaces: wall elevations, unrolled slopes and the reflected ceiling plan."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal, Protocol

import numpy as np

from sim.arrays import FloatArray
from sim.blueprint.reader import SceneFile
from sim.geometry.room import Room
from sim.placement.built_scene import BuiltScene
from sim.showing.numbers import drawn_length
from sim.showing.surface_views import middle_of
from sim.studies.sheets.contents import facet_rings, furniture, marks, other_facets, panels, zones
from sim.studies.sheets.dimensions import Edges, chain, chains, panel_tables, point_tables
from sim.studies.sheets.readings import PanelReading, ReflectionPoint
from sim.studies.sheets.records import Dimension, Drawing, Label, Outline, Side
from sim.studies.sheets.surfaces import LEVEL_COSINE, Piece, Surface, bounds_of

TITLES = {
    "wall": "Wall elevation: {}",
    "slope": "Unrolled slope: {}",
    "ceiling": "Reflected ceiling plan",
    "floor": "Plan of: {}",
}


class Drawn(Protocol):
    """A scene and what was built of it, traced or not."""

    @property
    def scene(self) -> SceneFile:
        """The scene."""

    @property
    def built(self) -> BuiltScene:
        """What was built of it."""


def surface_drawing(
    results: Drawn, surface: Surface, readings: Sequence[PanelReading], points: Sequence[ReflectionPoint]
) -> Drawing:
    """Draw a surface with everything on it that a builder has to know.

    readings and points are those of all surfaces.
    """
    built, blueprint = results.built, results.scene.blueprint
    unit = blueprint.units
    mine = [reading for reading in readings if reading.surface is surface]
    planes = {piece.plane for piece in surface.pieces}
    touched = [point for point in points if point.plane in planes]
    context, context_labels = _context(built.room, surface)
    near, near_labels = furniture(built, surface)
    zoned, zone_labels = zones(blueprint, surface, built.room)
    others, other_labels = other_facets(built.room, surface, blueprint.openings)
    hung, hung_labels = panels(mine)
    rims = [Outline(ring, "WALLS", weight="heavy") for piece in surface.pieces for ring in piece.rings]
    bounds = _bounds(built.room, surface)
    return Drawing(
        title=TITLES[surface.kind].format(surface.name),
        words=_words(surface, unit),
        low=bounds[0],
        high=bounds[1],
        outlines=(*context, *near, *others, *hung, *zoned, *rims),
        marks=marks(touched, surface.view),
        labels=(*hung_labels, *other_labels, *zone_labels, *near_labels, *context_labels),
        dimensions=_dimensions(
            surface, mine, [line.points for line in others if line.layer == "OPENINGS"], bounds, unit
        ),
        ends=_ends(surface),
        front=_front(surface),
        tables=(*panel_tables(mine, unit), *point_tables(touched, surface, unit)),
        minor=not mine,
    )


def _bounds(room: Room, surface: Surface) -> FloatArray:
    if not surface.lies:
        return np.stack([surface.low, surface.high])
    low, high = bounds_of(room)
    return np.array([[0.0, 0.0], [high[1] - low[1], high[0] - low[0]]])


def _context(room: Room, surface: Surface) -> tuple[list[Outline], list[Label]]:
    """On a plan also the slopes beside it, and the room around it; their lengths are foreshortened."""
    lines: list[Outline] = []
    labels: list[Label] = []
    if not surface.lies:
        return lines, labels
    width, depth = _bounds(room, surface)[1]
    lines.append(Outline(np.array([[0.0, 0.0], [width, 0.0], [width, depth], [0.0, depth]]), "WALLS", weight="medium"))
    for number, facet in enumerate(room.facets):
        if facet.owner == room.owners[0] and -LEVEL_COSINE < facet.normal[2] < -0.05:
            rings = facet_rings(room, number, surface.view)
            lines += [Outline(ring, "WALLS", dash="dashed", weight="fine") for ring in rings]
            labels.append(Label(f"{facet.name} (see its own drawing)", middle_of(rings[0]), "WALLS"))
    return lines, labels


def _words(surface: Surface, unit: str) -> str:
    if surface.kind == "floor":
        return "Seen from above: front at the top, left at the left."
    if surface.kind == "ceiling":
        return "Seen as in a mirror on the floor: front at the top, left at the left, as on the plan."
    if surface.kind == "slope":
        steep = float(np.degrees(np.arccos(np.clip(-surface.normal[2], -1.0, 1.0))))
        return (
            f"Seen from inside, facing it. Lengths up the page run up the slope ({steep:.0f} degrees), "
            f"from the {surface.pieces[0].ends.lower}."
        )
    lift = f" Its lowest line is {drawn_length(surface.lowest_m, unit)} up." if surface.lowest_m > 0.005 else ""
    return f"Seen from inside the room, facing it.{lift}"


def _ends(surface: Surface) -> tuple[str, str]:
    if surface.lies:
        return ("left side", "right side")
    leftmost = min(surface.pieces, key=lambda piece: float(piece.low[0]))
    rightmost = max(surface.pieces, key=lambda piece: float(piece.high[0]))
    reported = (leftmost.ends.left_corner, rightmost.ends.right_corner)
    return (
        "" if reported[0].startswith("its ") else reported[0],
        "" if reported[1].startswith("its ") else reported[1],
    )


def _front(surface: Surface) -> Literal["", "up", "left", "right"]:
    if surface.lies:
        return "up"
    along = float(surface.view.right[0])
    if abs(along) < 0.5:
        return ""
    return "left" if along > 0.0 else "right"


def _dimensions(
    surface: Surface, mine: Sequence[PanelReading], openings: Sequence[FloatArray], bounds: FloatArray, unit: str
) -> tuple[Dimension, ...]:
    made: list[Dimension] = []
    axes: tuple[tuple[int, Side], ...] = ((0, "below"), (1, "left"))
    for axis, side in axes:
        rows = [*_groups(surface, axis, mine), *_opening_groups(surface, axis, openings)]
        found, free = chains(rows, side, 1, bounds, unit)
        whole = [float(bounds[0, axis]), float(bounds[1, axis])]
        made += [*found, *chain(whole, side, free, bounds, unit)]
    return tuple(made)


def _groups(surface: Surface, axis: int, mine: Sequence[PanelReading]) -> list[Edges]:
    return [
        Edges(
            _reach(piece, axis),
            tuple((float(one.low[axis]), float(one.high[axis])) for one in mine if one.piece is piece),
        )
        for piece in surface.pieces
    ]


def _opening_groups(surface: Surface, axis: int, openings: Sequence[FloatArray]) -> list[Edges]:
    held: dict[int, list[tuple[float, float]]] = {}
    for ring in openings:
        middle = middle_of(ring)
        for number, piece in enumerate(surface.pieces):
            if np.all(middle >= piece.low) and np.all(middle <= piece.high):
                held.setdefault(number, []).append((float(ring[:, axis].min()), float(ring[:, axis].max())))
                break
    return [Edges(_reach(surface.pieces[number], axis), tuple(spans)) for number, spans in held.items()]


def _reach(piece: Piece, axis: int) -> tuple[float, float]:
    return (float(piece.low[axis]), float(piece.high[axis]))
