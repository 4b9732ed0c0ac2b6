"""Edges: where two facets of one body meet, with the angle of the air between them.

Edges that stick out into the air (more than half a turn of air) are the ones that can hide a path; they are
also the ones that will diffract.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from sim.answers import printable
from sim.arrays import FloatArray, IntArray, KeptFor, frozen
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


FEW_SIDES = 600
"""Bodies of up to so many sides have all pairs of them looked at; of others (scans), those near each other."""
_Found = tuple[FloatArray, IntArray, IntArray, FloatArray]
_kept: KeptFor[_Found] = KeptFor(128)


def build_edges(facets: Sequence[Facet]) -> Edges:
    """Find the edges between facets of the same owner, also where one long side meets several short ones."""
    first_side = np.cumsum([0, *(len(facet.border) for facet in facets)])
    rows: list[_Found] = []
    new: list[tuple[IntArray, tuple[Facet, ...]]] = []
    for numbers in members_of([facet.owner for facet in facets]).values():
        body = tuple(facets[number] for number in numbers)
        found = _kept.find(*body)
        if found is None and sum(len(facet.border) for facet in body) > FEW_SIDES:
            found = _kept.keep(_body_edges(body), *body)
        if found is None:
            new.append((numbers, body))
        else:
            rows.append(_numbered(found, numbers, body, first_side))
    for (numbers, body), found in zip(new, _small_bodies([body for _, body in new]), strict=True):
        rows.append(_numbered(_kept.keep(found, *body), numbers, body, first_side))
    ends, pairs, sides, angles = (np.concatenate(column) for column in zip(*rows, strict=True))
    order = np.lexsort((sides[:, 1], sides[:, 0]))
    return Edges(frozen(ends[order]), frozen(pairs[order]), frozen(angles[order]))


def _numbered(found: _Found, numbers: IntArray, body: Sequence[Facet], first_side: IntArray) -> _Found:
    """Edges of a body with facets and sides by their numbers in the whole room."""
    ends, pairs, sides, angles = found
    local = np.cumsum([0, *(len(facet.border) for facet in body)])
    return ends, numbers[pairs], sides - local[pairs] + first_side[numbers[pairs]], angles


def _small_bodies(bodies: Sequence[tuple[Facet, ...]]) -> list[_Found]:
    """Edges of each of some bodies, in one go; facets and sides by their numbers within the body."""
    from sim.geometry.flat_kernels import find_edges

    facets = [facet for body in bodies for facet in body]
    if not facets:
        return []
    counts = np.array([len(facet.border) for facet in facets])
    starts = np.concatenate([[0], np.cumsum(counts)])
    sizes = [len(body) for body in bodies]
    facet = np.repeat(np.arange(len(facets)), counts)
    body_of = np.repeat(np.arange(len(bodies)), sizes)
    ends, pairs, sides, angles = find_edges(
        np.arange(len(facet)),
        facet,
        body_of[facet],
        np.array([one.plane for one in facets]),
        np.stack([one.normal for one in facets]),
        np.stack([one.frame for one in facets]),
        np.concatenate([one.border for one in facets]),
        starts,
    )
    whose, first = body_of[pairs[:, 0]], np.concatenate([[0], np.cumsum(sizes)])
    found = []
    for number in range(len(bodies)):
        mine = whose == number
        some = (
            ends[mine],
            pairs[mine] - first[number],
            sides[mine] - starts[first[number]],
            angles[mine],
        )
        found.append(some)
    return found


def _body_edges(facets: Sequence[Facet]) -> _Found:
    """Edges of one body: ends (e, 2, 3), facets (e, 2) and sides (e, 2) by their numbers in it, angles of air (e,)."""
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
