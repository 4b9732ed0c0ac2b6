"""Edges: where two facets of one body meet, with the angle of the air between them.

Edges that stick out into the air (more than half a turn of air) are the ones that can hide a path; they are
also the ones that will diffract.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import lru_cache

import numpy as np

from sim.answers import printable
from sim.arrays import FloatArray, IntArray, frozen
from sim.geometry.facets import Facet
from sim.geometry.patches import members_of
from sim.geometry.seams import near_pairs

TOUCH_M = 2.0e-5
CLOSED_RAD = 1.0e-6
"""Two facets that lie on each other have a whole turn of air about their common edge, but for rounding."""
STICKS_OUT = np.radians(181.0)


@printable
@dataclass(frozen=True, slots=True)
class Edges:
    """Straight edges of the room and of everything in it.

    Attributes
    ----------
    ends
        (e, 2, 3) end points in metres.
    facets
        (e, 2) numbers of the two facets; the second is -1 where a sheet simply ends.
    air_angle_rad
        (e,) angle from one facet through the air to the other: 3 pi/2 on a box, pi/2 in a room corner.
    """

    ends: FloatArray
    facets: IntArray
    air_angle_rad: FloatArray

    @property
    def sticking_out(self) -> IntArray:
        """Numbers of the edges that stick out into the air."""
        return np.flatnonzero(self.air_angle_rad > STICKS_OUT)


def air_angle(first: Facet, second: Facet, a: FloatArray, b: FloatArray) -> float:
    """Angle of air in radians between two facets along their common edge a-b.

    Measured about the edge from the face of `first`, through the air in front of it, to the face of `second`.
    """
    along = (b - a) / np.linalg.norm(b - a)
    into = [_into_facet(facet, a, b, along) for facet in (first, second)]
    angle = float(np.arctan2(into[1] @ first.normal, into[1] @ into[0]) % (2.0 * np.pi))
    return angle if angle > CLOSED_RAD else 2.0 * np.pi  # back to back, the two sides of a sheet


def _into_facet(facet: Facet, a: FloatArray, b: FloatArray, along: FloatArray) -> FloatArray:
    """Unit vector in the facet's plane, square to the edge, pointing into the facet."""
    from sim.rays.shape_kernels import inside_polygon

    sideways = np.cross(facet.normal, along)
    x, y = facet.to_plane(0.5 * (a + b) + 1.0e-4 * sideways)
    return sideways if inside_polygon(x, y, facet.border) else -sideways


@dataclass(frozen=True)
class _Body:
    """Facets of one owner, and what tells them from others: only that is compared."""

    key: tuple[bytes, tuple[int, ...]]
    facets: tuple[Facet, ...] = field(compare=False)


def build_edges(facets: Sequence[Facet]) -> Edges:
    """Find the edges between facets of the same owner, also where one long side meets several short ones."""
    first_side = np.cumsum([0, *(len(facet.border) for facet in facets)])
    rows: list[tuple[FloatArray, IntArray, IntArray, FloatArray]] = []
    for numbers in members_of([facet.owner for facet in facets]).values():
        body = _body([facets[number] for number in numbers])
        ends, pairs, sides, angles = _body_edges(body)
        local = np.cumsum([0, *(len(facet.border) for facet in body.facets)])
        rows.append((ends, numbers[pairs], sides - local[pairs] + first_side[numbers[pairs]], angles))
    ends, pairs, sides, angles = (np.concatenate(column) for column in zip(*rows, strict=True))
    order = np.lexsort((sides[:, 1], sides[:, 0]))
    return Edges(frozen(ends[order]), frozen(pairs[order]), frozen(angles[order]))


def _body(facets: Sequence[Facet]) -> _Body:
    planes = {plane: number for number, plane in enumerate(dict.fromkeys(facet.plane for facet in facets))}
    shape = b"".join(part.tobytes() for facet in facets for part in (facet.frame, facet.border))
    return _Body((shape, tuple(n for f in facets for n in (planes[f.plane], len(f.border)))), tuple(facets))


@lru_cache(maxsize=128)
def _body_edges(body: _Body) -> tuple[FloatArray, IntArray, IntArray, FloatArray]:
    """Edges of one body, kept: of many layouts of one room most bodies are the same.

    Ends (e, 2, 3), facets (e, 2) and sides (e, 2) by their numbers within the body, angles of air (e,).
    """
    facets = body.facets
    starts = np.concatenate([facet.from_plane(facet.border[:, :2]) for facet in facets])
    stops = np.concatenate([facet.from_plane(facet.border[:, 2:]) for facet in facets])
    owner_of = np.concatenate([np.full(len(facet.border), i) for i, facet in enumerate(facets)])
    ends: list[FloatArray] = []
    pairs: list[tuple[int, int]] = []
    sides: list[tuple[int, int]] = []
    angles: list[float] = []
    for i, j in _candidates(starts, stops):
        first, second = facets[owner_of[i]], facets[owner_of[j]]
        if first.plane == second.plane:
            continue
        shared = _overlap(starts[i], stops[i], starts[j], stops[j])
        if shared is None:
            continue
        ends.append(np.stack(shared))
        pairs.append((int(owner_of[i]), int(owner_of[j])))
        sides.append((i, j))
        angles.append(air_angle(first, second, *shared))
    return (
        frozen(np.array(ends, dtype=np.float64).reshape(-1, 2, 3)),
        frozen(np.array(pairs, dtype=np.int64).reshape(-1, 2)),
        frozen(np.array(sides, dtype=np.int64).reshape(-1, 2)),
        frozen(np.array(angles, dtype=np.float64)),
    )


def _candidates(starts: FloatArray, stops: FloatArray) -> list[tuple[int, int]]:
    """Pairs of sides that lie on one straight line, found by hashing the line they lie on."""
    along = stops - starts
    length = np.linalg.norm(along, axis=1)
    along = along / np.maximum(length, 1e-12)[:, None]
    # the first of the large components decides the sense: on a 45 degree slope two are equal but for rounding
    lead = (np.abs(along) > 0.5).argmax(axis=1)
    along = along * np.sign(along[np.arange(len(along)), lead])[:, None]
    foot = starts - (starts * along).sum(axis=1)[:, None] * along
    lines = np.hstack([along * 2.0, foot])  # 1 mm per 0.5 mrad: generous, the overlap test is the judge
    pairs = near_pairs(lines, 2.0e-3)
    return [(int(i), int(j)) for i, j in np.sort(pairs, axis=1)[np.lexsort((pairs[:, 1], pairs[:, 0]))]]


def _overlap(a: FloatArray, b: FloatArray, c: FloatArray, d: FloatArray) -> tuple[FloatArray, FloatArray] | None:
    """Return the stretch that segments ab and cd have in common, if they lie on one line."""
    length = float(np.linalg.norm(b - a))
    if length <= 10.0 * TOUCH_M:
        return None
    along = (b - a) / length
    places = np.array([(c - a) @ along, (d - a) @ along])
    away = [np.linalg.norm(p - a - place * along) for p, place in zip((c, d), places, strict=True)]
    if max(away) > TOUCH_M:
        return None
    low, high = max(0.0, float(places.min())), min(length, float(places.max()))
    return (a + low * along, a + high * along) if high - low > 10.0 * TOUCH_M else None
