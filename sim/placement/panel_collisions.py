"""Panels against everything else: furniture, walls, loudspeakers, the listener, and what swings open."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from sim.arrays import FloatArray
from sim.blueprint.room import Opening
from sim.blueprint.units import length_words
from sim.errors import SceneError
from sim.geometry.room import Room
from sim.placement.collisions import PLAY_M, depth_words, edge_through_box, first_through
from sim.placement.in_air import Solids, not_in_air
from sim.placement.panels import PlacedPanel
from sim.placement.poses import PlacedLoudspeaker
from sim.placement.solids import inside_box, share_space, sharing, shrunk, upright_box

COVERED_M = 0.005
"""A driver this near to a panel's body is covered by it."""


def refuse_panel_collisions(
    room: Room,
    panels: Sequence[PlacedPanel],
    loudspeakers: Sequence[PlacedLoudspeaker],
    ears: FloatArray,
    listener_names: Sequence[str],
    head_box: FloatArray,
    openings: Sequence[Opening],
    furniture: Sequence[Solids] = (),
    unit: str = "m",
) -> list[str]:
    """Raise SceneError for the first panel that takes room that is not free; return what is only worth a note.

    A panel is a box from its surface to its face.  What opens takes the box that its rectangle sweeps on the way
    `swing` straight into the room: more than a leaf on hinges needs beside its hinges, and no less.  A movable panel
    may stand there, but not before a way out unless one may slide before it.
    """
    notes: list[str] = []
    swept = [swept_boxes(opening, room) if panels else [] for opening in openings]
    if not panels:
        return notes
    heads = [upright_box(ear, np.maximum(head_box, PLAY_M)) for ear in ears]
    corners = [one.corners for one in loudspeakers]
    boxes = [box for box in corners if box is not None]
    met_boxes = sharing(np.array([panel.body for panel in panels]), np.array([*heads, *boxes]))
    drivers = np.concatenate([one.driver_points for one in loudspeakers])
    for panel, shared in zip(panels, met_boxes.tolist(), strict=True):
        where = f'panels "{panel.name}"'
        _refuse_at_ears(shared, listener_names, where)
        reached = iter(shared[len(heads) :])
        cabinets = [box is not None and next(reached) for box in corners]
        covered = inside_box(panel.body, drivers, COVERED_M).tolist()
        _refuse_at_loudspeakers(loudspeakers, cabinets, covered, where)
        met = pierced_by_panel(room, panel, furniture, unit)
        if met:
            raise SceneError(
                where,
                f"it stands {length_words(panel.depth_m, unit)} before the surface and {met}",
                "make it thinner or smaller, or move it",
            )
        for opening, ways in zip(openings, swept, strict=True):
            notes += _in_swing(panel, opening, ways, where, unit)
    return notes


def pierced_by_panel(room: Room, panel: PlacedPanel, furniture: Sequence[Solids] = (), unit: str = "m") -> str:
    """Words for what a panel goes through and by how much, or is inside of, or an empty text."""
    body = shrunk(panel.body, PLAY_M)
    facet = first_through(room, body)
    if facet < 0:
        facet = edge_through_box(room, body)
    if facet >= 0:
        return f"goes through the {room.facets[facet].name}{depth_words(room, facet, body, furniture, unit)}"
    within = np.flatnonzero(inside_box(body, room.edges.ends.reshape(-1, 3)))
    if within.size:
        return f"takes in the {room.facets[room.edges.facets[within[0] // 2][0]].name}"
    inside = not_in_air(room, body.mean(axis=0), -1)
    return f"is {inside}" if inside else ""


def _refuse_at_ears(shared: Sequence[bool], names: Sequence[str], where: str) -> None:
    """`shared` tells of the head at each ear whether the panel reaches into it."""
    for name, reached in zip(names, shared, strict=False):
        if reached:
            whom = "where the head may be" if name == "ear" else f'where the head of "{name}" may be'
            raise SceneError(where, f"it reaches {whom}", "move it away, or make it thinner")


def _refuse_at_loudspeakers(
    loudspeakers: Sequence[PlacedLoudspeaker], cabinets: Sequence[bool], covered: Sequence[bool], where: str
) -> None:
    """Whether the panel reaches into each cabinet, and whether it covers each driver."""
    hidden = iter(covered)
    for loudspeaker, reached in zip(loudspeakers, cabinets, strict=True):
        if reached:
            raise SceneError(
                where, f'it reaches into the cabinet of "{loudspeaker.name}"', "move it away, or make it thinner"
            )
        for driver in loudspeaker.model.drivers:
            if next(hidden):
                raise SceneError(
                    where, f'it covers the {driver.name} of "{loudspeaker.name}"', "move it beside the monitor"
                )


def _in_swing(
    panel: PlacedPanel, opening: Opening, boxes: Sequence[tuple[int, FloatArray]], where: str, unit: str
) -> list[str]:
    """Refuse a panel where something swings open; return a sentence when it may stand there.

    A panel in the plane of the opening is over it or beside it; `place_panels` has judged that.
    """
    swept = [box for plane, box in boxes if plane != panel.plane]
    if not any(share_space(panel.body, box) for box in swept):
        return []
    slides = panel.movable and opening.panel_may_slide
    if (opening.escape and not slides) or (opening.must_open and not panel.movable):
        what = "a way out" if opening.escape else "an opening that must open"
        better = f"move it out of the {length_words(opening.swing, unit)} that this swings into the room"
        if not opening.escape:
            better += ", or say movable = true for a panel that is taken away by hand"
        raise SceneError(where, f'it stands in the swing of "{opening.name}", {what}', better)
    kind = "movable panel" if panel.movable else "panel"
    return [f'The {kind} "{panel.name}" stands in the swing of "{opening.name}" and keeps it from opening wide.']


def swept_boxes(opening: Opening, room: Room) -> list[tuple[int, FloatArray]]:
    """For every plane an opening lies in: its number, and the box (8, 3) that the opening sweeps as it swings."""
    if opening.swing <= 0.0:
        return []
    boxes = []
    numbers = room.facet_numbers(opening.name)
    for plane in sorted({room.facets[n].plane for n in numbers}):
        members = [n for n in numbers if room.facets[n].plane == plane]
        first = room.facets[members[0]]
        flat = first.to_plane(room.triangles[np.isin(room.facet_of_triangle, members)].reshape(-1, 3))
        low, high = flat.min(axis=0), flat.max(axis=0)
        rim = first.from_plane(np.array([[low[0], low[1]], [high[0], low[1]], [high[0], high[1]], [low[0], high[1]]]))
        boxes.append((plane, np.concatenate([rim, rim + opening.swing * first.normal])))
    return boxes
