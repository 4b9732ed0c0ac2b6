"""Edges: where two facets of one body meet, with the angle of the air between them.

Edges that stick out into the air (more than half a turn of air) are the ones that can hide a path; they are
also the ones that will diffract.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from sim.answers import printable
from sim.arrays import FloatArray, IntArray, KeptFor, frozen, in_rows
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


FEW_SIDES = 600
"""Bodies of up to so many sides have all pairs of them looked at; of others (scans), those near each other."""
_Found = tuple[FloatArray, IntArray, IntArray, FloatArray]
_kept: KeptFor[_Found] = KeptFor(128)


def build_edges(facets: Sequence[Facet]) -> Edges:
    """Find the edges between facets of the same owner, also where one long side meets several short ones."""
    counts = np.array([len(facet.border) for facet in facets], dtype=np.int64)
    first_side = np.concatenate([[0], np.cumsum(counts)])
    rows: list[_Found] = []
    new: list[tuple[IntArray, tuple[Facet, ...]]] = []
    for numbers in members_of([facet.owner for facet in facets]).values():
        body = tuple(facets[number] for number in numbers.tolist())
        found = _kept.find(*body)
        if found is None and counts[numbers].sum() > FEW_SIDES:
            found = _kept.keep(edges_of_large_body(body), *body)
        if found is None:
            new.append((numbers, body))
        else:
            rows.append(_numbered(found, numbers, counts, first_side))
    for (numbers, body), found in zip(new, _small_bodies([body for _, body in new]), strict=True):
        rows.append(_numbered(_kept.keep(found, *body), numbers, counts, first_side))
    ends, pairs, sides, angles = (np.concatenate(column) for column in zip(*rows, strict=True))
    order = np.lexsort((sides[:, 1], sides[:, 0]))
    return Edges(frozen(ends[order]), frozen(pairs[order]), frozen(angles[order]))


def _numbered(found: _Found, numbers: IntArray, counts: IntArray, first_side: IntArray) -> _Found:
    """Edges of the body of these facets, with facets and sides by their numbers in the whole room."""
    ends, pairs, sides, angles = found
    local = np.concatenate([[0], np.cumsum(counts[numbers])])
    return ends, numbers[pairs], sides - local[pairs] + first_side[numbers[pairs]], angles


def _small_bodies(bodies: Sequence[tuple[Facet, ...]]) -> list[_Found]:
    """Edges of each of some bodies, in one go; facets and sides by their numbers within the body."""
    from sim.geometry.edge_kernels import find_edges

    facets = [facet for body in bodies for facet in body]
    if not facets:
        return []
    sizes = [len(body) for body in bodies]
    body_of = np.repeat(np.arange(len(bodies)), sizes)
    arrays = _arrays(facets)
    side, facet, *planes = arrays
    ends, pairs, sides, angles = find_edges(side, facet, body_of[facet], *planes)
    starts = planes[-1]
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


def _arrays(facets: Sequence[Facet]) -> tuple[Any, ...]:
    """Number and facet of each side, then plane, normal and frame of each facet, all sides, and where each's begin."""
    counts = np.array([len(facet.border) for facet in facets])
    return (
        np.arange(counts.sum()),
        np.repeat(np.arange(len(facets)), counts),
        np.array([one.plane for one in facets]),
        in_rows(one.normal for one in facets),
        in_rows(one.frame for one in facets),
        np.concatenate([one.border for one in facets]),
        np.concatenate([[0], np.cumsum(counts)]),
    )


def edges_of_large_body(facets: Sequence[Facet]) -> _Found:
    """Edges of one body of many sides, of which only those that lie on one line are compared."""
    from sim.geometry.edge_kernels import edges_of_pairs

    arrays = _arrays(facets)
    _, facet, _, _, frame, border, _ = arrays
    along = border.reshape(-1, 2, 2)
    ends = frame[facet, None, 0] + np.einsum("sed,sda->sea", along, frame[facet, 1:])
    ends, pairs, sides, angles = edges_of_pairs(_candidates(ends[:, 0], ends[:, 1]), *arrays)
    return frozen(ends), frozen(pairs), frozen(sides), frozen(angles)


_SEEN_FROM_ASIDE = np.linalg.qr(np.vander([0.3, -0.7, 1.1, -1.3, 0.9, 0.5], 3))[0]
"""(6, 3) square to each other and along nothing that rooms have: what is near in six numbers is near in these three,
and little else is; a tree over three is looked through in a tenth of the time."""


def _candidates(starts: FloatArray, stops: FloatArray) -> IntArray:
    """Pairs (n, 2) of sides that lie on one straight line, found by hashing the line they lie on.

    Sides with the same two ends lie on one line; of those only one is looked for, which halves the work in a mesh.
    """
    whose, lead, counts = _same_ends(starts, stops)
    along = stops[lead] - starts[lead]
    length = np.linalg.norm(along, axis=1)
    along = along / np.maximum(length, 1e-12)[:, None]
    # the first of the large components decides the sense: on a 45 degree slope two are equal but for rounding
    first = (np.abs(along) > 0.5).argmax(axis=1)
    along = along * np.sign(along[np.arange(len(along)), first])[:, None]
    foot = starts[lead] - (starts[lead] * along).sum(axis=1)[:, None] * along
    lines = np.hstack([along * 2.0, foot])  # 1 mm per 0.5 mrad: generous, the overlap test is the judge
    near = near_pairs(lines @ _SEEN_FROM_ASIDE, 2.0e-3 * (1.0 + 1.0e-9))
    near = near[np.linalg.norm(lines[near[:, 0]] - lines[near[:, 1]], axis=1) <= 2.0e-3]
    near = np.concatenate([near, np.repeat(np.flatnonzero(counts > 1), 2).reshape(-1, 2)])
    pairs = _all_between(near, np.argsort(whose, kind="stable"), np.cumsum([0, *counts]), counts)
    return np.asarray(np.sort(pairs[pairs[:, 0] != pairs[:, 1]], axis=1))


def _same_ends(starts: FloatArray, stops: FloatArray) -> tuple[IntArray, IntArray, IntArray]:
    """Number (s,) of the pair of corners that each side runs between, whichever way; corners to a grid of 20 um.

    With it the first side of each number, and how many have it.
    """
    ends = np.concatenate([starts, stops])
    steps = np.rint((ends - ends.min(axis=0)) / TOUCH_M).astype(np.int64)
    span = steps.max(axis=0) + 1
    if float(np.prod(span.astype(np.float64))) > 2.0**62:  # larger than any room: each side by itself
        return np.arange(len(starts)), np.arange(len(starts)), np.ones(len(starts), dtype=np.int64)
    corner = np.unique((steps[:, 0] * span[1] + steps[:, 1]) * span[2] + steps[:, 2], return_inverse=True)[1].reshape(
        2, -1
    )
    _, lead, whose, counts = np.unique(
        corner.min(axis=0) * len(ends) + corner.max(axis=0), return_index=True, return_inverse=True, return_counts=True
    )
    return whose.reshape(-1), lead, counts


def _all_between(near: IntArray, order: IntArray, starts: IntArray, counts: IntArray) -> IntArray:
    """Pairs (n, 2) of every member of one group with every member of another, for pairs of groups (g, 2).

    The members of group g stand in `order` from starts[g].  A group with itself gives each pair of its members once.
    """
    many = counts[near[:, 0]] * counts[near[:, 1]]
    group = np.repeat(np.arange(len(near)), many)
    place = np.arange(len(group)) - np.repeat(np.cumsum(many) - many, many)
    across = counts[near[group, 1]]
    one, two = place // across, place % across
    pairs = np.column_stack([order[starts[near[group, 0]] + one], order[starts[near[group, 1]] + two]])
    return np.asarray(pairs[(near[group, 0] != near[group, 1]) | (one < two)])
