"""The section through desk and ears: heights, the way sound takes over the desk, and how deep clouds hang."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from sim.arrays import FloatArray
from sim.responses.records import Arrival, Results
from sim.showing.numbers import drawn_length
from sim.showing.surface_views import middle_of
from sim.studies.sheets.contents import body_triangles, convex_ring, cut, panel_body, silhouette
from sim.studies.sheets.dimensions import chain, through
from sim.studies.sheets.readings import SHAPES, PanelReading, letters_of
from sim.studies.sheets.records import Dimension, Drawing, Label, Mark, Outline, Table
from sim.studies.sheets.surfaces import View, bounds_of

SLACK_M = 0.01
WAY_HEADINGS = (
    "Loudspeaker",
    "Surface",
    "From front",
    "From left",
    "Up",
    "Extra path",
    "After direct",
    "First notches",
)
SAME_SPOT_M = 0.08
"""Marks nearer to each other than this would hide each other on paper."""


def section_drawing(results: Results, readings: Sequence[PanelReading]) -> Drawing:
    """Cut the room along its depth through the ear and look toward the right wall: front at the left."""
    built, unit = results.built, results.scene.blueprint.units
    low, high = bounds_of(built.room)
    view = View(np.array([1.0, 0.0, 0.0]), np.array([0.0, 0.0, 1.0]), np.array([low[0], low[2]]))
    bounds = np.array([[0.0, 0.0], [high[0] - low[0], high[2] - low[2]]])
    ear = built.ears[0]
    lines, labels = _bodies(results, view)
    panels, panel_labels = _panels(readings, view, float(ear[1]))
    lines += panels
    labels += panel_labels
    room = [
        Outline(line, "WALLS", closed=False, weight="heavy")
        for line in cut(
            built.room.triangles[built.room.owner_of_triangle == 0], ear + 1e-5, np.array([0.0, 1.0, 0.0]), view
        )
    ]
    ways, marks, notes, path_rows = _ways(results, view)
    half = 0.5 * np.array([built.head_box[0], built.head_box[2]])
    seat = view.flatten(ear)
    box = seat + half * np.array([[-1.0, -1.0], [1.0, -1.0], [1.0, 1.0], [-1.0, 1.0]])
    marks = (*marks, Mark(seat, "", "cross", "LOUDSPEAKERS"))
    labels.append(Label("ear and head box", seat + np.array([0.0, half[1] + 0.08]), "TEXT"))
    table = Table(
        "Desk reflection",
        WAY_HEADINGS if path_rows else (),
        tuple(path_rows),
        notes,
    )
    return Drawing(
        title="Section through desk and ears",
        words="Cut along the depth through the ear, seen toward the right wall. Dashed: the desk reflection.",
        low=bounds[0],
        high=bounds[1],
        outlines=(*lines, *room, Outline(box, "LOUDSPEAKERS", dash="dashed", weight="fine"), *ways),
        marks=marks,
        labels=tuple(labels),
        dimensions=_dimensions(results, view, bounds, unit, readings),
        ends=("front", "rear"),
        front="left",
        tables=(table,),
    )


def _panels(readings: Sequence[PanelReading], view: View, across_m: float) -> tuple[list[Outline], list[Label]]:
    """Panels that are cut hatched, others dashed; those on side walls left out; equal outlines share a label."""
    lines: list[Outline] = []
    names: dict[tuple[float, ...], list[str]] = {}
    spots: dict[tuple[float, ...], FloatArray] = {}
    for reading in readings:
        body = panel_body(reading.panel)
        is_cut = body[:, 1].min() < across_m + SLACK_M and body[:, 1].max() > across_m - SLACK_M
        if not is_cut and abs(float(reading.panel.normal[1])) > 0.9:
            continue
        ring = convex_ring(body, view)
        if is_cut:
            lines.append(Outline(ring, "PANELS", fill="hatch"))
        else:
            lines.append(Outline(ring, "PANELS", dash="dashed", weight="fine"))
        key = tuple(np.round(np.concatenate([ring.min(axis=0), ring.max(axis=0)]), 3).tolist())
        names.setdefault(key, []).append(reading.number)
        spots[key] = middle_of(ring)
    return lines, [Label(", ".join(names[key]), spot, "PANELS", bold=True) for key, spot in spots.items()]


def _bodies(results: Results, view: View) -> tuple[list[Outline], list[Label]]:
    built = results.built
    boxes = {one.body: one for one in built.loudspeakers if one.corners is not None}
    letters = letters_of([one.name for one in built.loudspeakers])
    lines: list[Outline] = []
    labels: list[Label] = []
    shown: list[tuple[FloatArray, list[str]]] = []
    for owner in built.room.owners[1:]:
        rings = silhouette(body_triangles(built.room, owner), view)
        if owner in boxes:
            spot, letter = middle_of(rings[0]), letters[boxes[owner].name]
            same = next((names for place, names in shown if np.linalg.norm(place - spot) < 0.05), None)
            if same is not None:
                same.append(letter)
                continue
            shown.append((spot, [letter]))
        layer = "LOUDSPEAKERS" if owner in boxes else "FURNITURE"
        weight = "medium" if owner in boxes else "fine"
        lines += [Outline(ring, layer, weight=weight) for ring in rings]  # type: ignore[arg-type]
        if owner not in boxes:
            labels.append(Label(owner, middle_of(rings[0]), "FURNITURE"))
    labels += [Label(", ".join(names), place, "LOUDSPEAKERS", bold=True) for place, names in shown]
    return lines, labels


def _ways(
    results: Results, view: View
) -> tuple[list[Outline], tuple[Mark, ...], tuple[str, ...], list[tuple[str, ...]]]:
    """Direct and desk-mirrored ways of each loudspeaker; rows for the table, and sentences where there is none."""
    built, unit = results.built, results.scene.blueprint.units
    desks = {item.name for item in results.scene.blueprint.furniture if item.worked_at}
    letters = letters_of([one.name for one in built.loudspeakers])
    lines: list[Outline] = []
    marks: list[Mark] = []
    notes: list[str] = []
    rows: list[tuple[str, ...]] = []
    seat = view.flatten(built.ears[0])
    for number, one in enumerate(built.loudspeakers):
        found = _over_desk(results, one.name, desks)
        direct = np.stack([view.flatten(one.axis_point), seat])
        lines.append(Outline(direct, "LOUDSPEAKERS", closed=False, weight="fine"))
        marks.append(Mark(view.flatten(one.axis_point), "", "dot", "LOUDSPEAKERS"))
        if not found and desks:
            notes.append(
                f"No desk reflection of the {one.name} monitor reaches the ear{_why(results, one.name, desks)}."
            )
        for arrival in found:
            part = arrival.main
            point = part.points[0]
            driver = [d.name for d in one.model.drivers].index(part.driver)
            path = view.flatten(np.stack([one.driver_points[driver], point, built.ears[0]]))
            lines.append(Outline(path, "POINTS", closed=False, dash="dashed", weight="medium"))
            _mark(marks, Mark(view.flatten(point), letters[one.name], SHAPES[number % len(SHAPES)]))
            place = tuple(drawn_length(float(value), unit) for value in point)
            notches = ", ".join(f"{value:.0f} Hz" for value in arrival.notches_hz if np.isfinite(value))
            rows.append(
                (
                    f"{letters[one.name]}: {one.name}, {part.driver}",
                    arrival.surfaces[0],
                    *place,
                    drawn_length(part.extra_path_m, unit),
                    f"{part.delay_ms:.2f} ms",
                    notches,
                )
            )
    notes.append("Paths are drawn as they look from the side; extra path and times are true.")
    return lines, tuple(marks), tuple(notes), rows


def _mark(marks: list[Mark], new: Mark) -> None:
    """Add a mark, or its letter to one that it would hide."""
    for number, old in enumerate(marks):
        if old.letter and np.linalg.norm(old.place - new.place) < SAME_SPOT_M:
            marks[number] = Mark(old.place, old.letter + new.letter, "circle")
            return
    marks.append(new)


def _over_desk(results: Results, loudspeaker: str, desks: set[str]) -> list[Arrival]:
    return [
        arrival
        for arrival in results.responses.arrivals
        if arrival.loudspeaker == loudspeaker
        and arrival.order == 1
        and not arrival.diffracted
        and arrival.listener == results.built.listener_names[0]
        and arrival.owners[0] in desks
    ]


def _why(results: Results, loudspeaker: str, desks: set[str]) -> str:
    """What became of the reflection point nearest to the desk's top."""
    missed = [
        candidate
        for candidate in results.candidates
        if candidate.loudspeaker == loudspeaker
        and candidate.listener == 0
        and candidate.owner in desks
        and candidate.status == "misses"
        and results.built.room.facets[candidate.facet].normal[2] > 0.5
    ]
    if not missed:
        return ""
    nearest = max(missed, key=lambda candidate: candidate.rim_m)
    unit = results.scene.blueprint.units
    return f": its point lies {drawn_length(abs(nearest.rim_m), unit)} off the {nearest.surface}"


def _dimensions(
    results: Results, view: View, bounds: FloatArray, unit: str, readings: Sequence[PanelReading]
) -> tuple[Dimension, ...]:
    """Below: depths of loudspeakers, desk and ear; left: axis height and ear; right: desk top, faces of clouds."""
    built = results.built
    spots = view.flatten(np.stack([one.axis_point for one in built.loudspeakers]))
    ear = view.flatten(built.ears[0])
    desks = [item.name for item in results.scene.blueprint.furniture if item.worked_at]
    rings = [ring for name in desks for ring in silhouette(body_triangles(built.room, name), view)]
    hanging = [convex_ring(panel_body(one.panel), view) for one in readings if one.panel.normal[2] < -0.95]
    depth, height = (float(bounds[1, 0]), float(bounds[1, 1]))
    desk_depths = [float(v) for ring in rings for v in (ring[:, 0].min(), ring[:, 0].max())]
    made = chain(through([*desk_depths, *spots[:, 0].tolist(), float(ear[0])], (0.0, depth)), "below", 1, bounds, unit)
    made += chain((0.0, depth), "below", 2, bounds, unit)
    made += chain(through([*spots[:, 1].tolist()], (0.0, height)), "left", 1, bounds, unit)
    made += chain(through([float(ear[1])], (0.0, height)), "left", 2, bounds, unit)
    made += chain((0.0, height), "left", 3, bounds, unit)
    tops = [float(ring[:, 1].max()) for ring in rings]
    faces = [float(ring[:, 1].min()) for ring in hanging]
    if tops:
        made += chain(through(tops, (0.0, height)), "right", 1, bounds, unit)
    if faces:
        made += chain(through(faces, (0.0, height)), "right", 2, bounds, unit)
        spans = [float(v) for ring in hanging for v in (ring[:, 0].min(), ring[:, 0].max())]
        made += chain(through(spans, (0.0, depth)), "above", 1, bounds, unit)
    return tuple(made)
