"""Diffraction at one edge of the room or of what stands in it, for every edge that sticks out.

First order (Svensson, Fred & Vanderkooy, J. Acoust. Soc. Am. 106 (1999) 2331-2344), wedge angles from the mesh, finite
edges, only the stretches that both ends see, the loudspeaker's radiation along each edge.  A mirror before or after the
edge is the same with the image of the source or of the ear: the total of direct, mirrored and bent paths is continuous
when every mirrored sequence has beside it the edges of each of its facets, the other facets before and after.

Two and three edges in turn matter where a body is small or hides the ear: `free_bodies` finds the bodies for which
`plates.body_pressure` gives them.  They are left out for bodies that are not convex, for the room's own surfaces and
from one body to another.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import TypeAlias

import numpy as np

from sim.arrays import ComplexArray, FloatArray, IntArray, frozen, in_rows
from sim.geometry.room import Room
from sim.propagation.edges.bare import bare_edges as bare_edges
from sim.propagation.edges.bare import bare_stretches, both
from sim.propagation.edges.bare import free_bodies as free_bodies
from sim.propagation.edges.bare import images as images
from sim.propagation.edges.plates import DRIVE_SAMPLES, Radiation, octaves
from sim.propagation.edges.wedges import WHOLE, KnownWedges, Wedge, Wedges, about_wedges, chosen
from sim.propagation.edges.wedges import wedge_of as wedge_of
from sim.propagation.mirrors.beams import facet_tuple

CELLS = 32
"""Cells along an edge between which sight is asked; a hidden part shorter than a cell may be missed."""
AT_ONCE = 32
"""So many edges are asked for what the source radiates toward them in one call."""
ALIGNED_RAD = 1e-8
"""Within this angle of a straight way over an edge, sight and edge may differ in which side of the border they see."""
Drives: TypeAlias = dict[tuple[int, tuple[int, ...]], ComplexArray]
"""Radiation (n, f) toward places along an edge, by its number and the mirrors before it."""


@dataclass(frozen=True, slots=True)
class EdgePaths:
    """What single edges add at the ear.

    Attributes
    ----------
    edges
        (p,) numbers in `room.edges`.
    points
        (p, 3) apex: where the shortest way bends, or the seen place nearest to it.
    length_m
        (p,) length of the way over that point, mirrors included.
    parts
        (p, 3, f) complex pressure, to be added to e^{-jkL}/L terms, in the parts of `edge_kernels.edge_parts`: with the
        borders of shadow, of the mirror zone of the edge's first facet, and of its second; reflection factors and air
        left out.
    seen
        (p,) share of the edge's length that both ends see.
    """

    edges: IntArray
    points: FloatArray
    length_m: FloatArray
    parts: ComplexArray
    seen: FloatArray

    @property
    def gains(self) -> ComplexArray:
        """(p, f): the sum, as it is beside rigid faces."""
        return np.asarray(self.parts.sum(axis=1))


def edge_gains(
    room: Room,
    source: FloatArray,
    receiver: FloatArray,
    own: int,
    frequencies_hz: FloatArray,
    speed_of_sound_m_s: float,
    radiation: Radiation | None = None,
    *,
    before: Sequence[int] = (),
    after: Sequence[int] = (),
    edges: IntArray | None = None,
    wedges: dict[int, Wedge] | None = None,
    bare: dict[int, FloatArray] | None = None,
    opened: dict[int, FloatArray] | None = None,
    drives: Drives | None = None,
) -> EdgePaths:
    """Diffract sound from a source (3,) at every bare edge to a receiver (3,).

    own: number of the loudspeaker's own cabinet, which its radiation knows already; its edges are left out.
    radiation: complex (m, f) toward unit vectors (m, 3), asked at 17 places along each edge; None: 1 everywhere.
    before, after: facets that mirror before the edge, counted from the source, and after it, counted from the receiver.
    edges: numbers of the edges to take, all of `bare_edges`, or of `KnownWedges`, unless given; wedges: what `wedge_of`
    says of them, if known already; bare: the stretches over which they are bare (find them once for a room); opened:
    weights along the edges that lie near another surface (`openness`); drives: filled with what the source radiates
    toward the edges, for the next call with the same source and the first of the same frequencies.  Numbers past those
    of the room are edges of their own, told by `wedges` alone, without facets of the room beside them.

    Faces beside the edge are rigid in the sum; `soft_faces` weights the parts for others.  Neglected: what hides less
    than a 32nd of an edge.
    """
    from sim.propagation.edges.many_kernels import seen_stretches

    wavenumbers = 2.0 * np.pi * np.asarray(frequencies_hz, dtype=np.float64) / speed_of_sound_m_s
    source_images, ear_images = images(room, source, before), images(room, receiver, after)
    start, end = source_images[-1].copy(), ear_images[-1].copy()
    first, last = (np.array(sequence, dtype=np.int64) for sequence in (before, after))
    stretches_of = bare_stretches(room) if bare is None else bare
    if edges is None and isinstance(wedges, KnownWedges):
        known = wedges
    else:
        some = list(stretches_of) if edges is None else [int(e) for e in edges]
        known = KnownWedges({e: wedges[e] if wedges is not None else wedge_of(room, e) for e in some})
    closed = [e for e, weights in (opened or {}).items() if weights.max() == 0.0]
    pairs, taken = _taking_part(room, known.numbers, own, [*before[-1:], *after[-1:]], closed)
    planes = np.where(pairs >= 0, room.arrays.plane[pairs], -1)[taken]
    looks = (source_images, first, ear_images, last, CELLS)
    found, counts = seen_stretches(
        chosen(known.arrays, taken),
        np.ascontiguousarray(planes),
        own,
        looks,
        facet_tuple(room),
        room.ray_arrays,
    )
    seen_by_both: list[tuple[int, FloatArray]] = []
    for row in np.flatnonzero(counts).tolist():
        stretches, place = found[row, : counts[row]], int(taken[row])
        free = stretches_of.get(int(known.numbers[place]), WHOLE)
        if not np.array_equal(free, WHOLE):
            stretches = both(stretches, free)
        if len(stretches):
            seen_by_both.append((place, stretches))
    rows = np.array([place for place, _ in seen_by_both], dtype=np.int64)
    drives = {} if drives is None else drives
    parts = np.zeros((len(rows), 3, len(wavenumbers)), dtype=np.complex128)
    for at in range(0, len(rows), AT_ONCE):
        few = seen_by_both[at : at + AT_ONCE]
        some_wedges = {int(known.numbers[place]): known[int(known.numbers[place])] for place, _ in few}
        _find_drives(room, start, before, some_wedges, radiation, len(wavenumbers), drives)
        drive = [drives[e, tuple(before)][:, : len(wavenumbers)] for e in some_wedges]
        drive_of_few = _opened(drive, some_wedges, opened)
        parts[at : at + AT_ONCE] = _parts(start, end, known, few, wavenumbers, drive_of_few)
        for n, beside in [] if before or after else _off_border(room, start, end, known, few, own):
            parts[at + n] = _parts(start, beside, known, few[n : n + 1], wavenumbers, drive_of_few[n : n + 1])[0]
    points, length = _apexes(start, end, chosen(known.arrays, rows), [stretches for _, stretches in seen_by_both])
    return EdgePaths(
        frozen(known.numbers[rows]),
        frozen(points),
        frozen(length),
        frozen(parts),
        frozen(np.array([np.diff(stretches, axis=1).sum() for _, stretches in seen_by_both], dtype=np.float64)),
    )


def _taking_part(
    room: Room, numbers: IntArray, own: int, mirrors: Sequence[int], closed: Sequence[int]
) -> tuple[IntArray, IntArray]:
    """Facets (n, 2) beside edges, -1 for none, and which of these (m,) are no one's own, no mirror's and not closed."""
    pairs = np.full((len(numbers), 2), -1)
    of_room = numbers < len(room.edges.facets)
    pairs[of_room] = room.edges.facets[numbers[of_room]]
    left_out = (room.arrays.owner[pairs[:, 0]] == own) | np.isin(pairs, np.array(mirrors)).any(axis=1)
    return pairs, np.flatnonzero(~(left_out & (pairs[:, 0] >= 0)) & ~np.isin(numbers, np.array(closed)))


def _opened(drive: list[ComplexArray], edges: Iterable[int], opened: dict[int, FloatArray] | None) -> ComplexArray:
    """What the source radiates toward places along some edges (e, n, f), weighted where they lie near a surface."""
    near = [None if opened is None else opened.get(e) for e in edges]
    if all(weights is None for weights in near):
        return np.array(drive)
    count = drive[0].shape[1]
    whole = [one if len(one) else np.ones((DRIVE_SAMPLES, count), dtype=np.complex128) for one in drive]
    return np.array([one if w is None else w[:, None] * one for one, w in zip(whole, near, strict=True)])


def _parts(
    start: FloatArray,
    end: FloatArray,
    known: KnownWedges,
    few: Sequence[tuple[int, FloatArray]],
    wavenumbers: FloatArray,
    drive: ComplexArray,
) -> ComplexArray:
    """Parts (e, 3, f) of a few edges: places in `known`, and stretches (m, 2) of each."""
    from sim.propagation.edges.many_kernels import parts_of_edges

    some = chosen(known.arrays, np.array([place for place, _ in few]))
    edge_of = np.repeat(np.arange(len(few)), [len(stretches) for _, stretches in few])
    stretches = np.concatenate([stretches for _, stretches in few]) * some[4][edge_of][:, None]
    groups, begins = _in_octaves(wavenumbers.tobytes())
    order = (groups.copy(), begins.copy())
    return np.asarray(parts_of_edges(start, end, some, stretches, edge_of, order, wavenumbers, drive))


@lru_cache(maxsize=64)
def _in_octaves(packed: bytes) -> tuple[IntArray, IntArray]:
    """Wavenumbers, given as bytes, octave by octave: their numbers (f,), and where each octave begins in these.

    The places along an edge need only suit the highest frequency of a group.
    """
    groups = octaves(np.frombuffer(packed, dtype=np.float64))
    return frozen(np.concatenate(groups)), frozen(np.cumsum([0, *(len(group) for group in groups)]))


def _off_border(
    room: Room,
    source: FloatArray,
    ear: FloatArray,
    known: KnownWedges,
    few: Sequence[tuple[int, FloatArray]],
    own: int,
) -> list[tuple[int, FloatArray]]:
    """For edges in line with source and ear the place `ALIGNED_RAD` beside the ear, on the side that sight says.

    On the border the edge sends half the direct sound, with a sign that has to be that of a direct sound counted as
    hidden, or not.  Returns which of the few edges, and the place (3,).
    """
    from sim.rays.shape_kernels import blocker

    some = chosen(known.arrays, np.array([place for place, _ in few]))
    starts, along, face, normal, _, air = some
    (_, angle_s, _), (r_e, angle_e, z_e) = (about_wedges(point, some) for point in (source, ear))
    moved = []
    for n in np.flatnonzero(np.abs(np.pi - np.abs(angle_e - angle_s)) <= ALIGNED_RAD).tolist():
        hidden = blocker(source, ear, -1, -1, own, *room.ray_arrays) >= 0
        turned = angle_s[n] + np.sign(angle_e[n] - angle_s[n]) * (np.pi + (ALIGNED_RAD if hidden else -ALIGNED_RAD))
        turned = min(max(float(turned), 0.0), float(air[n]))
        out = np.cos(turned) * face[n] + np.sin(turned) * normal[n]
        moved.append((n, starts[n] + r_e[n] * out + z_e[n] * along[n]))
    return moved


def _apexes(
    start: FloatArray, end: FloatArray, wedges: Wedges, seen: Sequence[FloatArray]
) -> tuple[FloatArray, FloatArray]:
    """Apex (p, 3) of each edge, or the place that is seen and nearest to it, and the length (p,) of the way over it."""
    if not seen:
        return np.zeros((0, 3)), np.zeros(0)
    (r_s, _, z_s), (r_e, _, z_e) = (about_wedges(point, wedges) for point in (start, end))
    whole = np.where(r_s + r_e > 0.0, r_s + r_e, 1.0)
    apex = np.where(r_s + r_e > 0.0, (z_s * r_e + z_e * r_s) / whole, 0.5 * (z_s + z_e))
    first = in_rows(stretches[0] for stretches in seen) * wedges[4][:, None]
    z = np.clip(apex, first[:, 0], first[:, 1])
    for row, stretches in enumerate(seen):
        if len(stretches) > 1:
            nearest = np.clip(apex[row], stretches[:, 0] * wedges[4][row], stretches[:, 1] * wedges[4][row])
            z[row] = nearest[np.argmin(np.abs(nearest - apex[row]))]
    return wedges[0] + z[:, None] * wedges[1], np.hypot(r_s, z - z_s) + np.hypot(r_e, z - z_e)


def _find_drives(
    room: Room,
    image: FloatArray,
    before: Sequence[int],
    wedges: dict[int, Wedge],
    radiation: Radiation | None,
    count: int,
    drives: Drives,
) -> None:
    """Fill radiation (n, f) toward places evenly along each edge, over the mirrors before it; (0, f) without any."""
    key = tuple(before)
    if radiation is None:
        drives.update({(e, key): np.zeros((0, count), dtype=np.complex128) for e in wedges})
        return
    unknown = [e for e in wedges if (e, key) not in drives or drives[e, key].shape[1] < count]
    if not unknown:
        return
    start, along, length = (np.array([wedges[e][i] for e in unknown]) for i in (0, 1, 4))
    fraction = np.linspace(0.0, 1.0, DRIVE_SAMPLES)[:, None]
    ways = (start[:, None] + fraction * (length[:, None] * along)[:, None] - image).reshape(-1, 3)
    for f in reversed(before):
        normal = room.arrays.normal[f]
        ways = ways - 2.0 * (ways @ normal)[:, None] * normal
    ways /= np.linalg.norm(ways, axis=1)[:, None]
    found = np.asarray(radiation(ways), dtype=np.complex128).reshape(len(unknown), DRIVE_SAMPLES, count)
    drives.update({(e, key): found[i] for i, e in enumerate(unknown)})
