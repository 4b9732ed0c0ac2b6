"""Flat convex polygons cut by planes: what of a cell lies inside a convex solid, and what beside it."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from sim.arrays import FloatArray
from sim.placement.solids import faces_of
from sim.propagation.waves.elements import Elements, outward_quads, quad_cells

ON_M = 1e-7
"""A corner this near to a plane lies in it."""
SMALLEST_M2 = 1e-7


def split(polygon: FloatArray, normal: FloatArray, offset_m: float) -> tuple[FloatArray | None, FloatArray | None]:
    """Parts of a convex polygon (k, 3) with normal . x below an offset and above it, None where there is none."""
    height = polygon @ normal - offset_m
    if (height <= ON_M).all():
        return polygon, None
    if (height >= -ON_M).all():
        return None, polygon
    below: list[FloatArray] = []
    above: list[FloatArray] = []
    for here, there, h, g in zip(polygon, np.roll(polygon, -1, axis=0), height, np.roll(height, -1), strict=True):
        if h <= ON_M:
            below.append(here)
        if h >= -ON_M:
            above.append(here)
        if min(h, g) < -ON_M and max(h, g) > ON_M:
            cut = here + h / (h - g) * (there - here)
            below.append(cut)
            above.append(cut)
    return _worth(below), _worth(above)


def cut_out(
    polygon: FloatArray, planes: Iterable[tuple[FloatArray, float]]
) -> tuple[FloatArray | None, list[FloatArray]]:
    """What of a convex polygon (k, 3) lies below all planes (normal, offset), and convex parts of what does not."""
    rest: FloatArray | None = polygon
    outside = []
    for normal, offset in planes:
        if rest is None:
            break
        rest, beyond = split(rest, normal, offset)
        if beyond is not None:
            outside.append(beyond)
    if rest is None:
        return None, [polygon]  # nothing of it lies inside: it stays in one piece
    return rest, outside


def area_m2(polygon: FloatArray) -> float:
    """Area of a flat polygon (k, 3)."""
    spread = polygon - polygon[0]
    return 0.5 * float(np.linalg.norm(np.cross(spread[1:-1], spread[2:]).sum(axis=0)))


def quads_of(polygon: FloatArray) -> list[FloatArray]:
    """A convex polygon (k, 3) as quadrilaterals (4, 3); a triangle has its last corner twice."""
    made = []
    for first in range(1, len(polygon) - 1, 2):
        last = min(first + 2, len(polygon) - 1)
        made.append(polygon[[0, first, first + 1, last]])
    return made


def _worth(corners: list[FloatArray]) -> FloatArray | None:
    if len(corners) < 3:
        return None
    polygon = np.array(corners)
    return polygon if area_m2(polygon) > SMALLEST_M2 else None


# Elements on convex solids as they stand: nothing is left between those that touch, those that nearly do match.
#
# Faces nearer to each other than a hundredth of a millimetre, or than asked, count as touching: nothing of either is in
# the air.  Faces up to 29 mm apart get the same elements on both sides, since pressures across so thin a gap hold only
# between elements that face each other.
# What of a face lies inside another solid, or behind a wall, is cut away, so that solids may also reach into each
# other.

CLOSED_M = 1e-5
"""Gaps up to here are closed."""
SAME_FACE_M = 0.002
"""Of faces of two solids that look one way, nearer than this to one plane, where they overlap one is enough."""
MATCHED_M = 0.029
"""Across gaps up to here, elements face each other; at 30 mm boundary elements of other code say that the faces' own
elements do as well."""
PER_DISTANCE, SMALLEST_CELL_M = 0.5, 0.01
NO_CELLS = np.zeros((0, 4, 3))
PARALLEL = 0.999
SAME_PLANE_M = 1e-6


@dataclass(slots=True)
class FlatFace:
    """A face of a solid: its quad (4, 3), normal out of the solid and offset, and the cells (4, 3) it is cut into."""

    solid: int
    number: int
    quad: FloatArray
    normal: FloatArray
    offset: float
    cells: list[FloatArray]

    def within(self) -> list[tuple[FloatArray, float]]:
        """Planes along the sides of the face, square to it, that hold it."""
        planes = []
        for here, there in zip(self.quad, np.roll(self.quad, -1, axis=0), strict=True):
            outward = np.cross(there - here, self.normal)
            size = float(np.linalg.norm(outward))
            if size > 1e-9:
                planes.append((outward / size, float(outward @ here) / size))
        return planes


def mesh_solids(
    solids: list[FloatArray],
    largest_m: float,
    walls: list[tuple[FloatArray, float]] | None = None,
    half: tuple[FloatArray, float] | None = None,
    sources: FloatArray | None = None,
    closed_m: float = CLOSED_M,
) -> Elements:
    """Elements of solids (8, 3) in a room, none longer than `largest_m`; face 6 s + f is face f of solid s.

    walls: (normal into the room, offset) of walls that may be touched; what lies behind them is cut away.
    half: (normal, offset) of a plane; only what lies before it is kept.  sources: (q, 3) points, beside which elements
    are smaller, since what falls on them changes within centimetres.  closed_m: gaps up to here are closed.
    """
    faces = [face for s, solid in enumerate(solids) for face in flat_faces(s, solid)]
    for face in faces:
        face.cells = list(_finer_beside(quad_cells(face.quad, largest_m), sources))
    for a, one in enumerate(faces):
        for other in faces[a + 1 :]:
            if one.solid != other.solid:
                _match(one, other, closed_m)
    planes = [list(zip(*faces_of(solid), strict=True)) for solid in solids]
    for face in faces:
        for s, held in enumerate(planes):
            if s != face.solid:
                _take_hidden(face, held, s < face.solid, closed_m)
        for normal, offset in walls or []:
            _take_behind(face, normal, offset, closed_m)
    corners, numbers = [], []
    for face in faces:
        for cell in face.cells if half is None else _before(face.cells, *half):
            for quad in quads_of(cell):
                if area_m2(quad) > SMALLEST_M2:
                    corners.append(quad)
                    numbers.append(6 * face.solid + face.number)
    return Elements(np.array(corners).reshape(-1, 4, 3), np.array(numbers, dtype=np.int64))


def _before(cells: list[FloatArray], normal: FloatArray, offset: float) -> list[FloatArray]:
    """What of cells lies before a plane."""
    parts = [split(cell, normal, offset)[1] for cell in cells]
    return [part for part in parts if part is not None]


def flat_faces(s: int, solid: FloatArray) -> list[FlatFace]:
    """Faces of solid number s (8, 3) that have any area, not cut into cells yet."""
    made = []
    for number, quad in enumerate(outward_quads(solid)):
        crossed = np.cross(quad[2] - quad[0], quad[3] - quad[1])
        size = float(np.linalg.norm(crossed))
        if 0.5 * size <= SMALLEST_M2:
            continue
        normal = crossed / size
        made.append(FlatFace(s, number, quad, normal, float(normal @ quad.mean(axis=0)), []))
    return made


def _finer_beside(cells: FloatArray, sources: FloatArray | None) -> FloatArray:
    """Cells (n, 4, 3) cut in four until none is longer than half its distance to a point of (q, 3), or 1 cm."""
    if sources is None or not len(sources):
        return cells
    done = []
    while len(cells):
        longest = np.linalg.norm(np.roll(cells, -1, axis=1) - cells, axis=2).max(axis=1)
        away = np.linalg.norm(cells.mean(axis=1)[:, None] - sources[None], axis=2).min(axis=1)
        coarse = longest > np.maximum(PER_DISTANCE * away, SMALLEST_CELL_M)
        done.append(cells[~coarse])
        cells = np.concatenate([NO_CELLS, *(quad_cells(cells[n], 0.51 * longest[n]) for n in np.flatnonzero(coarse))])
    return np.concatenate(done)


def _match(one: FlatFace, other: FlatFace, closed_m: float) -> None:
    """Give two faces that look at each other across a thin gap the same cells where they overlap."""
    if one.normal @ other.normal > -PARALLEL:
        return
    gap = -(one.offset + other.offset)
    if not closed_m < gap <= MATCHED_M:
        return
    larger, smaller = (one, other) if area_m2(one.quad) >= area_m2(other.quad) else (other, one)
    shared: list[FloatArray] = []
    kept: list[FloatArray] = []
    for cell in larger.cells:
        inside, outside = cut_out(cell, smaller.within())
        kept += outside if inside is not None else [cell]
        shared += quads_of(inside) if inside is not None else []
    if not shared:
        return
    larger.cells = kept + shared
    rest: list[FloatArray] = []
    for cell in smaller.cells:
        inside, outside = cut_out(cell, larger.within())
        rest += outside if inside is not None else [cell]
    heights = [(cell @ smaller.normal - smaller.offset)[:, None] for cell in shared]
    smaller.cells = rest + [
        (cell - height * smaller.normal)[::-1] for cell, height in zip(shared, heights, strict=True)
    ]


def _take_hidden(face: FlatFace, planes: list[tuple[FloatArray, float]], earlier: bool, closed_m: float) -> None:
    """Take away what of a face lies in another solid, or on it; of two faces in one plane the earlier one stays."""
    held = []
    for normal, offset in planes:
        slope = float(normal @ face.normal)
        if slope < -PARALLEL:  # looks at this face: a thin gap between them is none
            held.append((normal, offset + closed_m))
        elif earlier and slope > PARALLEL and abs(float(normal @ face.quad[0]) - offset) < SAME_FACE_M:
            held.append((normal, offset + 2.0 * SAME_FACE_M))
        else:
            held.append((normal, offset - SAME_PLANE_M * max(slope, 0.0)))
    if any((face.quad @ normal - offset).min() >= -ON_M for normal, offset in held):
        return  # all of it lies beside the solid
    kept: list[FloatArray] = []
    for cell in face.cells:
        inside, outside = cut_out(cell, held)
        kept += outside if inside is not None else [cell]
    face.cells = kept


def _take_behind(face: FlatFace, normal: FloatArray, offset: float, closed_m: float) -> None:
    """Take away what of a face lies behind a wall, or looks at it from no distance."""
    looks = float(normal @ face.normal) < -PARALLEL
    if (face.quad @ normal - offset).min() > closed_m:
        return
    kept = []
    for cell in face.cells:
        _, outside = cut_out(cell, [(normal, offset + (closed_m if looks else 0.0))])
        kept += outside if outside else []
    face.cells = kept
