"""A drawing of the room in space without any script: what is shown until the picture that turns is ready.

Seen from behind the seat, a little from the left and from above, as along parallel lines.  Surfaces of the room that
face away are left out, so that one sees inside.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from ..arrays import FloatArray
from ..responses.results import Results
from .report_looks import loudspeaker_looks
from .report_markup import escaped, number
from .report_scene import panel_box, surface_kind, way_points

TOWARD_VIEWER: Final = (1.0, -0.62, 0.78)
WIDTH: Final = 760.0
PADDING: Final = 14.0
FILLS: Final = {
    "room": "#f1efe9", "window": "#dbe6ee", "door": "#e7ddcd", "furniture": "#d8cfbf", "loudspeaker": "#4a4a4a",
}  # fmt: skip
_BOX: Final = ((0, 1, 2, 3), (4, 5, 6, 7), (0, 1, 5, 4), (1, 2, 6, 5), (2, 3, 7, 6), (3, 0, 4, 7))
STRONGEST: Final = 3


def room_sketch(results: Results) -> str:
    """The room with the strongest reflections of each loudspeaker as one SVG element."""
    room, stage = results.stage.room, results.stage
    view = _directions()
    corners = room.triangles.reshape(-1, 3) @ view[:2].T
    low, high = corners.min(axis=0), corners.max(axis=0)
    scale = (WIDTH - 2.0 * PADDING) / float(high[0] - low[0])
    height = (high[1] - low[1]) * scale + 2.0 * PADDING

    def flat(points: FloatArray) -> str:
        places = np.atleast_2d(points) @ view[:2].T
        across = (places[:, 0] - low[0]) * scale + PADDING
        down = (high[1] - places[:, 1]) * scale + PADDING
        return " ".join(f"{x:.1f},{y:.1f}" for x, y in zip(across, down, strict=True))

    shapes: list[str] = []
    facing = [number for number, facet in enumerate(room.facets) if float(facet.normal @ view[2]) > 0.0]
    farthest_first = {
        owner: float((room.triangles[room.owner_of_triangle == n].reshape(-1, 3) @ view[2]).mean())
        for n, owner in enumerate(room.owners)
    }
    farthest_first[room.owners[0]] = -np.inf
    for place in sorted(facing, key=lambda n: farthest_first[room.facets[n].owner]):
        facet = room.facets[place]
        fill = _shaded(FILLS[surface_kind(results, facet.name, facet.owner)], facet.normal)
        for triangle in room.triangles[room.facet_of_triangle == place]:
            shapes.append(f'<polygon points="{flat(triangle)}" fill="{fill}" stroke="{fill}" stroke-width=".6"/>')
        for side in facet.border:
            ends = facet.from_plane(side.reshape(2, 2))
            shapes.append(f'<polyline points="{flat(ends)}" fill="none" stroke="#57534a" stroke-width="1"/>')
    for panel in stage.panels:
        box = panel_box(panel)
        for face in _BOX:
            points = flat(box[list(face)])
            shapes.append(f'<polygon points="{points}" fill="#7f9a86" fill-opacity=".45" stroke="#3f5c4a"/>')
    for look in loudspeaker_looks([one.name for one in stage.loudspeakers]):
        strongest = [
            a
            for a in results.responses.arrivals
            if a.loudspeaker == look.name and a.listener == stage.listener_names[0] and 0 < a.number <= STRONGEST
        ]
        for arrival in strongest:
            shapes.append(
                f'<polyline points="{flat(way_points(results, arrival))}" fill="none" stroke="{look.colour}"'
                f' stroke-width="1.8" stroke-dasharray="{look.dashes}"/>'
            )
    x, y = flat(stage.ears[0]).split(",")
    shapes.append(f'<circle cx="{x}" cy="{y}" r="5" fill="#fff" stroke="#1c1b19" stroke-width="2"/>')
    title = f"The room from behind and above, with the {number(STRONGEST, 0)} strongest reflections of each loudspeaker"
    return (
        f'<svg class="sketch" viewBox="0 0 {WIDTH:.0f} {height:.0f}" role="img" aria-label="{escaped(title)}">'
        f"{''.join(shapes)}</svg>"
    )


def _shaded(colour: str, normal: FloatArray) -> str:
    """A colour a little darker for walls than for floors, so that they are told apart."""
    light = 0.955 + 0.045 * abs(float(normal[2])) - 0.05 * abs(float(normal[1]))
    return "#" + "".join(f"{round(light * int(colour[at : at + 2], 16)):02x}" for at in (1, 3, 5))


def _directions() -> FloatArray:
    """(3, 3) rows: to the right of the drawing, up in it, toward the viewer."""
    toward = np.array(TOWARD_VIEWER) / np.linalg.norm(TOWARD_VIEWER)
    right = np.cross(-toward, [0.0, 0.0, 1.0])
    right = right / np.linalg.norm(right)
    return np.stack([right, np.cross(right, -toward), toward])
