"""The plan: room, furniture, loudspeakers, seat, head box and panels from above, with the distances one sets up by."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from sim.arrays import FloatArray
from sim.geometry.room import Room
from sim.placement.built_scene import BuiltScene
from sim.responses.records import Results
from sim.showing.numbers import drawn_length
from sim.showing.surface_views import middle_of
from sim.studies.sheets.contents import (
    body_triangles,
    bounds_corners,
    convex_ring,
    facet_rings,
    opening_shapes,
    panel_body,
    silhouette,
    zone_spans,
)
from sim.studies.sheets.dimensions import chain, through
from sim.studies.sheets.readings import PanelReading, letters_of
from sim.studies.sheets.records import Dimension, Drawing, Label, Mark, Outline, Side, Table
from sim.studies.sheets.surfaces import View, bounds_of, plan_view

OVERHEAD_M = 0.30
"""What begins this far above the ear is drawn dashed: it hangs."""
EDGE_ON = 0.02


def plan_drawing(results: Results, readings: Sequence[PanelReading]) -> Drawing:
    """Draw the room from above."""
    built, blueprint = results.built, results.scene.blueprint
    unit, view = blueprint.units, plan_view(results.built.room)
    low, high = bounds_of(built.room)
    bounds = np.array([[0.0, 0.0], [high[1] - low[1], high[0] - low[0]]])
    lines, labels = _furniture(built, view)
    for add in (_openings(results, view), _zones(results, view), _panels(built, readings, view)):
        lines += add[0]
        labels += add[1]
    shell = [Outline(ring, "WALLS", weight="heavy") for ring in _shell(built.room, view)]
    ridges = [Outline(ring, "WALLS", dash="dashed", weight="fine") for ring in _slopes(built.room, view)]
    set_up, marks, set_up_labels = _set_up(built, view, unit)
    return Drawing(
        title="Plan",
        words="Seen from above: front at the top, left at the left. Dashed: overhead. Hatched: panels.",
        low=bounds[0],
        high=bounds[1],
        outlines=(*ridges, *lines, *shell, *set_up),
        marks=marks,
        labels=(*set_up_labels, *labels),
        dimensions=_dimensions(results, view, bounds, unit),
        ends=("left side", "right side"),
        front="up",
        tables=(set_up_table(built, unit),),
    )


def set_up_table(built: BuiltScene, unit: str) -> Table:
    """Everything one has to place, as tape distances and angles."""
    names = [one.name for one in built.loudspeakers]
    letters = letters_of(names)
    ear = built.ears[0]
    rows: list[tuple[str, ...]] = []
    for one in built.loudspeakers:
        place = tuple(drawn_length(float(value), unit) for value in one.axis_point)
        straight = drawn_length(float(np.linalg.norm(one.axis_point - ear)), unit)
        turns = tuple(f"{value + 0.0:.1f} deg" for value in (one.toe_in_deg, one.tilt_deg))
        rows.append((f"{letters[one.name]}: {one.name}, acoustic axis point", *place, straight, *turns))
    for seat, name in zip(built.ears, built.listener_names, strict=True):
        rows.append((name, *(drawn_length(float(value), unit) for value in seat), "", "", ""))
    notes = [
        "Distances to the ear, here and beside the lines, are straight ones in space.",
        "Toe-in: positive toward the centre line.",
    ]
    if len(built.loudspeakers) == 2:
        first, second = (one.axis_point for one in built.loudspeakers)
        notes.append(f"Between both axis points: {drawn_length(float(np.linalg.norm(second - first)), unit)}.")
    return Table(
        "Set-up",
        ("", "From front", "From left", "Up", "Straight to ear", "Toe-in", "Tilt down"),
        tuple(rows),
        tuple(notes),
    )


def _furniture(built: BuiltScene, view: View) -> tuple[list[Outline], list[Label]]:
    room = built.room
    boxes = {one.body for one in built.loudspeakers if one.corners is not None}
    lines, labels = [], []
    bodies = sorted(
        (o for o in room.owners[1:] if o not in boxes), key=lambda o: float(body_triangles(room, o)[..., 2].max())
    )
    for owner in bodies:
        triangles = body_triangles(room, owner)
        hangs = float(triangles[..., 2].min()) > float(built.ears[:, 2].max()) + OVERHEAD_M
        rings = silhouette(triangles, view)
        lines += [
            Outline(
                ring, "FURNITURE", dash="dashed" if hangs else "solid", weight="fine", fill="none" if hangs else "white"
            )
            for ring in rings
        ]
        labels.append(Label(owner, _lower_left(rings[0]), "FURNITURE"))
    return lines, labels


def _openings(results: Results, view: View) -> tuple[list[Outline], list[Label]]:
    lines: list[Outline] = []
    labels: list[Label] = []
    shapes = [
        shape for opening in results.scene.blueprint.openings for shape in opening_shapes(results.built.room, opening)
    ]
    for shape in shapes:
        flat = view.flatten(shape.outline)
        if abs(float(shape.normal[2])) > EDGE_ON:
            lines.append(Outline(flat, "OPENINGS", dash="dashed"))
            labels.append(Label(shape.words, middle_of(flat), "OPENINGS"))
            continue
        ends = _farthest(flat)
        inward = view.flatten(shape.normal) - view.flatten(np.zeros(3))
        lines += [Outline(ends + deep * inward, "OPENINGS", closed=False, weight="heavy") for deep in (0.0, -0.04)]
        swing = shape.opening.swing
        if swing > 0.0:
            swung = np.stack([ends[0], ends[1], ends[1] + swing * inward, ends[0] + swing * inward])
            lines.append(Outline(swung, "KEEP-CLEAR", dash="dotted"))
            labels.append(Label(f"{shape.opening.name} swing: keep clear", middle_of(swung), "KEEP-CLEAR"))
        labels.append(Label(shape.words, ends.mean(axis=0), "OPENINGS"))
    return lines, labels


def _zones(results: Results, view: View) -> tuple[list[Outline], list[Label]]:
    lines, labels = [], []
    for zone in results.scene.blueprint.keep_clear:
        ring = convex_ring(bounds_corners(zone_spans(zone)), view)
        lines.append(Outline(ring, "KEEP-CLEAR", dash="dotted", weight="medium"))
        labels.append(Label(f"{zone.name}: keep clear", middle_of(ring), "KEEP-CLEAR"))
    return lines, labels


def _panels(built: BuiltScene, readings: Sequence[PanelReading], view: View) -> tuple[list[Outline], list[Label]]:
    lines, labels = [], []
    for reading in readings:
        hangs = reading.panel.normal[2] < -0.3
        ring = convex_ring(panel_body(reading.panel), view)
        lines.append(
            Outline(
                ring,
                "PANELS",
                dash="dashed" if hangs else "solid",
                weight="fine" if hangs else "medium",
                fill="none" if hangs else "hatch",
            )
        )
        spot = _lower_left(ring) if hangs else middle_of(ring)
        labels.append(Label(reading.number, spot, "PANELS", bold=True))
    return lines, labels


def _set_up(built: BuiltScene, view: View, unit: str) -> tuple[list[Outline], tuple[Mark, ...], list[Label]]:
    lines, marks, labels = [], [], []
    letters = letters_of([one.name for one in built.loudspeakers])
    ear = built.ears[0]
    for one in built.loudspeakers:
        if one.corners is not None:
            lines.append(Outline(convex_ring(one.corners, view), "LOUDSPEAKERS", weight="medium", fill="white"))
        distance = float(np.linalg.norm(one.axis_point - ear))
        spot, seat = view.flatten(one.axis_point), view.flatten(ear)
        lines.append(Outline(np.stack([spot, seat]), "LOUDSPEAKERS", closed=False, weight="fine", arrow=True))
        marks.append(Mark(spot, "", "dot", "LOUDSPEAKERS"))
        back = spot - 0.35 * (seat - spot) / max(float(np.linalg.norm(seat - spot)), 1e-9)
        labels.append(
            Label(
                letters[one.name],
                back if one.corners is None else _middle(one.corners, view),
                "LOUDSPEAKERS",
                bold=True,
            )
        )
        labels.append(Label(drawn_length(distance, unit), spot + 0.6 * (seat - spot), "TEXT"))
    half = 0.5 * np.array([built.head_box[1], built.head_box[0]])
    seat = view.flatten(ear)
    box = seat + half * np.array([[-1.0, -1.0], [1.0, -1.0], [1.0, 1.0], [-1.0, 1.0]])
    lines.append(Outline(box, "LOUDSPEAKERS", dash="dashed", weight="fine"))
    for place, name in zip(built.ears, built.listener_names, strict=True):
        marks.append(Mark(view.flatten(place), "", "cross", "LOUDSPEAKERS"))
        below = view.flatten(place) - np.array([0.0, half[1] + 0.05])
        labels.append(Label("ear and head box" if place is built.ears[0] or name == "ear" else name, below, "TEXT"))
    return lines, tuple(marks), labels


def _dimensions(results: Results, view: View, bounds: FloatArray, unit: str) -> tuple[Dimension, ...]:
    """Above and left: loudspeakers and ear; below and right: the desk; outermost the room."""
    built = results.built
    spots = view.flatten(np.stack([*(one.axis_point for one in built.loudspeakers), built.ears[0]]))
    desks = [item.name for item in results.scene.blueprint.furniture if item.worked_at]
    rings = [ring for name in desks for ring in silhouette(body_triangles(built.room, name), view)]
    made: list[Dimension] = []
    pairs: tuple[tuple[int, Side, Side], ...] = ((0, "above", "below"), (1, "left", "right"))
    for axis, near, far in pairs:
        ends = (float(bounds[0, axis]), float(bounds[1, axis]))
        made += chain(through([float(value) for value in spots[:, axis]], ends), near, 1, bounds, unit)
        edges = [float(value) for ring in rings for value in (ring[:, axis].min(), ring[:, axis].max())]
        if edges:
            made += chain(through(edges, ends), far, 1, bounds, unit)
        made += chain(ends, far if edges else near, 2, bounds, unit)
    return tuple(made)


def _shell(room: Room, view: View) -> list[FloatArray]:
    return silhouette(room.triangles[room.owner_of_triangle == 0], view)


def _slopes(room: Room, view: View) -> list[FloatArray]:
    rings = []
    for number, facet in enumerate(room.facets):
        if facet.owner == room.owners[0] and -0.98 < facet.normal[2] < -EDGE_ON:
            rings += facet_rings(room, number, view)
    return rings


def _lower_left(ring: FloatArray) -> FloatArray:
    """A spot (2,) well inside the lower left of a ring, where a name hides little."""
    low, high = ring.min(axis=0), ring.max(axis=0)
    return np.asarray(low + 0.15 * (high - low), dtype=np.float64)


def _middle(corners: FloatArray, view: View) -> FloatArray:
    return np.asarray(view.flatten(corners).mean(axis=0), dtype=np.float64)


def _farthest(flat: FloatArray) -> FloatArray:
    """Both ends (2, 2) of points (n, 2) on a line."""
    along = flat - flat.mean(axis=0)
    direction = np.linalg.svd(along, full_matrices=False)[2][0]
    order = np.argsort(along @ direction)
    return np.asarray(flat[order[[0, -1]]], dtype=np.float64)
