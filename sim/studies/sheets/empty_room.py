"""Drawings of the empty room with every tape distance, to be checked on paper before anything is worked out."""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np

from sim.arrays import FloatArray
from sim.blueprint.reader import SceneFile
from sim.geometry.enclosures import room_patches
from sim.geometry.room import Room, build_room, first_hit
from sim.placement.built_scene import BuiltScene
from sim.showing.numbers import drawn_length
from sim.studies.sheets.contents import opening_shapes, silhouette
from sim.studies.sheets.dimensions import chain
from sim.studies.sheets.elevation import surface_drawing
from sim.studies.sheets.layout import sheets_of
from sim.studies.sheets.page_layout import Sheet, TitleBlock, block_of, scales_for
from sim.studies.sheets.records import Dimension, Drawing, Label, Outline, Table
from sim.studies.sheets.surfaces import Surface, bounds_of, plan_view, surfaces_of

NOT_JUDGED = "Nothing is worked out yet: this is the empty room as the scene has it, to be checked with a tape."
HEADINGS = ("No", "Measure", "Drawing", "On site", "Same")
BLANK, BOX = "_" * 13, "[    ]"
MOST_FACETS = 200
"""Of a room of more flat pieces (scans) only the plan is drawn: nobody checks a thousand of them by tape."""
MOST_CORNERS = 24
"""The plan of a room of more corners (scans) has its overall sizes only."""
MOST_EDGES = 12
"""A wall of more edges has its length, heights and diagonals only."""
FEW_CORNERS = 6
"""Up to so many corners all diagonals are drawn, of others the longest from each."""
INSET_M = 0.16
NAME_IN_M, LETTER_M = 0.34, 0.03
"""How far inside of its wall a length is written, and how far the name of a window; more on a wall at its side."""
SAME_SPOT_M = 0.002


@dataclass(frozen=True, slots=True)
class EmptyRoom:
    """A scene, and its room with nothing in it."""

    scene: SceneFile
    built: BuiltScene


def emptied(scene: SceneFile, built: BuiltScene) -> EmptyRoom:
    """Take everything out of a built scene but the room itself."""
    room = build_room(room_patches(scene.blueprint, scene.folder).patches)
    return EmptyRoom(scene, replace(built, room=room, loudspeakers=(), panels=()))


def room_corners(scene: SceneFile, room: Room) -> FloatArray:
    """Corners (n, 2) of the room seen from above, from_front and from_left in metres, once round its floor.

    Of a box or an outline those of the scene, to the last digit; of a mesh the outer line of all its surfaces.
    """
    given = scene.blueprint.room
    if given.outline is not None:
        return np.array([(corner.from_front, corner.from_left) for corner in given.outline])
    if given.box is not None:
        depth, width = given.box.depth, given.box.width
        return np.array([(0.0, 0.0), (depth, 0.0), (depth, width), (0.0, width)])
    view = plan_view(room)
    ring = max(silhouette(room.triangles[room.owner_of_triangle == 0], view), key=len)
    places = ring + view.zero_m
    return np.column_stack([-places[:, 1], places[:, 0]])


def room_book(empty: EmptyRoom, paper: str, date: datetime.date) -> tuple[TitleBlock, tuple[Sheet, ...]]:
    """Lay out the plan, then walls and slopes, on sheets of a paper at the largest scales that fit."""
    unit = empty.scene.blueprint.units
    few = len(empty.built.room.facets) <= MOST_FACETS
    surfaces = [one for one in surfaces_of(empty.built.room) if one.kind in ("wall", "slope")] if few else []
    drawings = [room_plan(empty), *(_checked(empty, surface) for surface in surfaces)]
    return block_of(empty.scene, date, NOT_JUDGED), sheets_of(drawings, paper, scales_for(unit))


def measures_table(title: str, rows: Sequence[tuple[str, str, float]], unit: str, notes: tuple[str, ...] = ()) -> Table:
    """A table to tick: number, what, length in metres; a place to write what the tape reads, and a box."""
    written = tuple((number, what, drawn_length(metres, unit), BLANK, BOX) for number, what, metres in rows)
    return Table(title, HEADINGS, written, notes)


# The plan: every wall, diagonals, overall sizes and the height.


def room_plan(empty: EmptyRoom) -> Drawing:
    """The room from above with the length of each wall and diagonals between corners that see each other."""
    unit, room = empty.scene.blueprint.units, empty.built.room
    view, corners = plan_view(room), room_corners(empty.scene, room)
    flat = view.flatten(np.column_stack([corners, np.zeros(len(corners))]))
    low, high = bounds_of(room)
    bounds = np.array([[0.0, 0.0], [high[1] - low[1], high[0] - low[0]]])
    rows: list[tuple[str, str, float]] = []
    lines: list[Dimension] = []
    if len(corners) <= MOST_CORNERS:
        for number, (a, b) in enumerate(zip(flat, np.roll(flat, -1, axis=0), strict=True), 1):
            length = float(np.linalg.norm(b - a))
            name = _wall_name(room, corners[number - 1], corners[number % len(corners)])
            rows.append((f"W{number}", name or "wall", length))
            lines.append(_inset(flat, a, b, f"W{number}  {drawn_length(length, unit)}"))
        for number, (i, j) in enumerate(diagonals(flat), 1):
            length = float(np.linalg.norm(flat[j] - flat[i]))
            rows.append((f"D{number}", f"diagonal, corner {i + 1} to {j + 1}", length))
            words = f"D{number}  {drawn_length(length, unit)}"
            lines.append(Dimension(*_readable(flat[i], flat[j]), "along", 0, length, words))
    rows += _lying(empty, low)
    rows += [("A", "overall width", float(bounds[1, 0])), ("B", "overall depth", float(bounds[1, 1]))]
    height = _height_m(room, corners)
    rows += [("H", "height in the middle", height)] if np.isfinite(height) else []
    marks = [Label(str(n), _beside(flat, n - 1), "TEXT", bold=True) for n in range(1, len(flat) + 1)]
    made = [*lines, *chain((0.0, float(bounds[1, 0])), "below", 1, bounds, unit)]
    made += chain((0.0, float(bounds[1, 1])), "left", 1, bounds, unit)
    openings, names = _openings(empty)
    notes = ["At 0.3 m above the floor unless that is not possible; write where."]
    if len(room.facets) > MOST_FACETS:
        notes.append(f"Walls have no drawings of their own: the room is made of {len(room.facets)} flat pieces.")
    return Drawing(
        title="Plan of the empty room",
        words="Seen from above: front at the top, left at the left. Numbers at corners; W walls, D diagonals.",
        low=bounds[0],
        high=bounds[1],
        outlines=(Outline(flat, "WALLS", weight="heavy"), *openings),
        labels=(*(marks if len(corners) <= MOST_CORNERS else ()), *names),
        dimensions=tuple(made),
        front="up",
        tables=(measures_table("Check with a tape", rows, unit, tuple(notes)),),
    )


def _lying(empty: EmptyRoom, low: FloatArray) -> list[tuple[str, str, float]]:
    """Hatches in floor and ceiling: where they are in the room whose lowest corner is `low` (3,), and how large."""
    rows = []
    for opening in empty.scene.blueprint.openings:
        for shape in opening_shapes(empty.built.room, opening):
            if abs(float(shape.normal[2])) > 0.5:
                near, far = (end[:2] - low[:2] for end in (shape.outline.min(axis=0), shape.outline.max(axis=0)))
                rows += [
                    ("O", f"{opening.name}, from the front", float(near[0])),
                    ("O", f"{opening.name}, from the left", float(near[1])),
                    ("O", f"{opening.name}, depth", float(far[0] - near[0])),
                    ("O", f"{opening.name}, width", float(far[1] - near[1])),
                ]
    return rows


def diagonals(ring: FloatArray) -> list[tuple[int, int]]:
    """Pairs of corners (n, 2) of an outline that see each other across it, all of few, else the longest from each."""
    import shapely

    inside = shapely.Polygon(ring).buffer(1e-6)
    count = len(ring)
    free = [
        (i, j)
        for i, j in combinations(range(count), 2)
        if j - i not in (1, count - 1) and inside.covers(shapely.LineString(ring[[i, j]])) and _crosses(ring, i, j)
    ]
    if count <= FEW_CORNERS:
        return free
    best = {
        max((pair for pair in free if corner in pair), key=lambda pair: _length(ring, pair), default=(-1, -1))
        for corner in range(count)
    }
    return sorted(pair for pair in best if pair[0] >= 0)


def _length(ring: FloatArray, pair: tuple[int, int]) -> float:
    return float(np.linalg.norm(ring[pair[1]] - ring[pair[0]]))


def _crosses(ring: FloatArray, i: int, j: int) -> bool:
    """Whether a diagonal leaves the outline: one that runs along a wall tells nothing new."""
    middle = 0.5 * (ring[i] + ring[j])
    along = np.roll(ring, -1, axis=0) - ring
    place = np.clip(((middle - ring) * along).sum(axis=1) / (along**2).sum(axis=1), 0.0, 1.0)
    return bool(np.linalg.norm(middle - ring - place[:, None] * along, axis=1).min() > SAME_SPOT_M)


def _inset(ring: FloatArray, a: FloatArray, b: FloatArray, words: str) -> Dimension:
    """The length of a wall, written along a line a little inside of it."""
    along = (b - a) / np.linalg.norm(b - a)
    inward = INSET_M * np.array([-along[1], along[0]]) * (1.0 if _turns_left(ring) else -1.0)
    return Dimension(*_readable(a + inward, b + inward), "along", 0, float(np.linalg.norm(b - a)), words)


def _readable(a: FloatArray, b: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Both ends in the order in which words between them run to the right, or up."""
    right = float(b[0] - a[0])
    return (a, b) if right > SAME_SPOT_M or (abs(right) <= SAME_SPOT_M and b[1] > a[1]) else (b, a)


def _turns_left(ring: FloatArray) -> bool:
    x, y = ring.T
    return float(x @ np.roll(y, -1) - y @ np.roll(x, -1)) > 0.0


def _beside(ring: FloatArray, corner: int) -> FloatArray:
    """A spot (2,) a little inside of a corner."""
    import shapely

    ways = [ring[corner - 1] - ring[corner], ring[(corner + 1) % len(ring)] - ring[corner]]
    step = sum((way / np.linalg.norm(way) for way in ways), start=np.zeros(2))
    size = float(np.linalg.norm(step))
    step = 0.12 * step / size if size > 1e-9 else np.zeros(2)
    inside = shapely.Polygon(ring).covers(shapely.Point(ring[corner] + step))
    return np.asarray(ring[corner] + (step if inside else -step), dtype=np.float64)


def _wall_name(room: Room, a: FloatArray, b: FloatArray) -> str:
    """Name of the wall between two corners, from_front and from_left; empty where none stands."""
    middle = np.append(0.5 * (a + b), float(bounds_of(room)[0][2]) + 0.05)
    for facet in room.facets:
        if abs(float(facet.normal[2])) < 0.5 and facet.covers(middle, SAME_SPOT_M):
            return facet.name
    return ""


def _height_m(room: Room, corners: FloatArray) -> float:
    """Floor to ceiling at a spot well inside the outline."""
    import shapely

    spot = shapely.Polygon(corners).centroid
    if not shapely.Polygon(corners).contains(spot):
        spot = shapely.Polygon(corners).representative_point()
    low, high = bounds_of(room)
    middle = np.array([spot.x, spot.y, 0.5 * (low[2] + high[2])])
    up, down = (first_hit(room, middle, np.array([0.0, 0.0, way]))[0] for way in (1.0, -1.0))
    return up + down


def _openings(empty: EmptyRoom) -> tuple[list[Outline], list[Label]]:
    """Windows and doors as thick lines in their walls, hatches as they lie, with their names."""
    view = plan_view(empty.built.room)
    lines, labels = [], []
    for opening in empty.scene.blueprint.openings:
        for shape in opening_shapes(empty.built.room, opening):
            flat = view.flatten(shape.outline)
            if abs(float(shape.normal[2])) > 0.5:
                lines.append(Outline(flat, "OPENINGS", dash="dashed"))
                labels.append(Label(opening.name, flat.mean(axis=0), "OPENINGS"))
                continue
            along = flat - flat.mean(axis=0)
            order = np.argsort(along @ np.linalg.svd(along, full_matrices=False)[2][0])
            ends = flat[order[[0, -1]]]
            outward = view.flatten(-0.05 * shape.normal) - view.flatten(np.zeros(3))
            lines.append(Outline(ends + outward, "OPENINGS", closed=False, weight="heavy"))
            inward = -outward / max(float(np.linalg.norm(outward)), 1e-9)
            away = NAME_IN_M + LETTER_M * len(opening.name) * abs(float(inward[0]))
            labels.append(Label(opening.name, ends.mean(axis=0) + away * inward, "OPENINGS"))
    return lines, labels


# Each wall and slope with its own lengths, heights and diagonals.


def _checked(empty: EmptyRoom, surface: Surface) -> Drawing:
    """The drawing of a wall or slope with its diagonals and a table to tick."""
    unit = empty.scene.blueprint.units
    drawing = surface_drawing(empty, surface, (), ())
    rows, lines = _of_piece(surface, unit)
    for opening in empty.scene.blueprint.openings:
        for shape in opening_shapes(empty.built.room, opening):
            if shape.plane in {piece.plane for piece in surface.pieces}:
                rows += _of_opening(opening.name, surface.view.flatten(shape.outline) - surface.low)
    numbered = [(str(number), what, metres) for number, (what, metres) in enumerate(rows, 1)]
    table = measures_table("Check with a tape", numbered, unit)
    return replace(drawing, dimensions=(*drawing.dimensions, *lines), tables=(table,), minor=True)


def _of_piece(surface: Surface, unit: str) -> tuple[list[tuple[str, float]], list[Dimension]]:
    """Length, heights at both ends and diagonals of each piece of a surface."""
    rows: list[tuple[str, float]] = []
    lines = []
    up = "up the slope" if surface.kind == "slope" else "height"
    for number, piece in enumerate(surface.pieces, 1):
        ring = piece.rings[0]
        which = f", piece {number}" if len(surface.pieces) > 1 else ""
        left, right = (ring[np.abs(ring[:, 0] - end) < SAME_SPOT_M] for end in (piece.low[0], piece.high[0]))
        heights = [float(np.ptp(side[:, 1])) for side in (left, right)]
        rows.append((f"length{which}", float(piece.high[0] - piece.low[0])))
        rows += [
            (f"{up} at the {side} end{which}", height)
            for side, height in zip(("left", "right"), heights, strict=True)
            if height > SAME_SPOT_M
        ]
        highest = float(piece.high[1] - piece.low[1])
        if highest > max(heights) + SAME_SPOT_M:
            rows.append((f"{up} at its highest{which}", highest))
        if min(heights) > SAME_SPOT_M:
            corners = [side[np.argsort(side[:, 1])][[0, -1]] for side in (left, right)]
            pairs = ((corners[0][0], corners[1][1], "rising"), (corners[0][1], corners[1][0], "falling"))
            for start, end, way in pairs:
                length = float(np.linalg.norm(end - start))
                rows.append((f"{way} diagonal{which}", length))
                lines.append(Dimension(start, end, "along", 0, length, drawn_length(length, unit)))
        rows += [(f"{what}{which}", length) for what, length in _other_edges(ring)]
    return rows, lines


def _other_edges(ring: FloatArray) -> list[tuple[str, float]]:
    """Sloping edges from left to right, and level ones that do not reach from end to end; of few corners only."""
    along = np.roll(ring, -1, axis=0) - ring
    if len(ring) > MOST_EDGES:
        return []
    whole = float(np.ptp(ring[:, 0]))
    order = np.argsort((ring + 0.5 * along)[:, 0], kind="stable").tolist()
    flat = np.abs(along) <= SAME_SPOT_M
    sloping = [("sloping edge", float(np.linalg.norm(along[n]))) for n in order if not flat[n].any()]
    level = [("level edge", float(abs(along[n, 0]))) for n in order if flat[n, 1] and abs(along[n, 0]) < whole - 0.002]
    found = []
    for kind in (sloping, level):
        for number, (what, length) in enumerate(kind, 1):
            found.append((f"{what} {number} from the left" if len(kind) > 1 else what, length))
    return found


def _of_opening(name: str, ring: FloatArray) -> list[tuple[str, float]]:
    """Where an opening is in its surface, and how large."""
    low, high = ring.min(axis=0), ring.max(axis=0)
    rows = [
        (f"{name}, from the left end", float(low[0])),
        (f"{name}, width", float(high[0] - low[0])),
        (f"{name}, lower edge", float(low[1])),
        (f"{name}, upper edge", float(high[1])),
    ]
    return [row for row in rows if row[1] > SAME_SPOT_M]
