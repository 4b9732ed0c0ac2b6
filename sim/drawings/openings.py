"""Openings as rectangles in their surfaces, also those that a mesh only tells of."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..arrays import FloatArray
from ..blueprint.room import Opening
from ..geometry.faces import Face
from ..geometry.facets import united_polygon
from ..geometry.openings import DIRECTIONS, rectangle_between
from ..geometry.room import Room
from .shapes import rings_of


@dataclass(frozen=True, slots=True)
class OpeningShape:
    """One outline (n, 3) of an opening in metres, the number of its plane, and the normal (3,) toward the air."""

    opening: Opening
    outline: FloatArray
    plane: int
    normal: FloatArray

    @property
    def words(self) -> str:
        """Name of the opening and what must stay possible there."""
        if self.opening.escape:
            return f"{self.opening.name}: way out, never block"
        return f"{self.opening.name}: must open" if self.opening.must_open else self.opening.name


def opening_shapes(room: Room, opening: Opening) -> list[OpeningShape]:
    """Outlines of an opening: of the surfaces that bear its name, else the rectangle of its spans in its surface."""
    made = []
    for number in room.facet_numbers(opening.name):
        facet = room.facets[number]
        shape = united_polygon(facet.to_plane(room.triangles[room.facet_of_triangle == number]))
        made += [OpeningShape(opening, facet.from_plane(ring), facet.plane, facet.normal) for ring in rings_of(shape)]
    if made:
        return made
    for number in room.facet_numbers(opening.surface)[:1]:
        facet = room.facets[number]
        face = Face(facet.name, "walls", facet.frame[0], facet.frame[1], facet.frame[2], facet.normal, ())
        spans = {key: span for key in DIRECTIONS if (span := getattr(opening, key)) is not None}
        rectangle = rectangle_between(spans, face, f'openings "{opening.name}"')
        outline = face.lifted(np.asarray(rectangle.exterior.coords)[:-1])
        made.append(OpeningShape(opening, outline, facet.plane, facet.normal))
    return made
