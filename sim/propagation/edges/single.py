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

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TypeAlias

import numpy as np

from sim.arrays import ComplexArray, FloatArray, IntArray, frozen
from sim.geometry.room import Room
from sim.placement.built_scene import BuiltScene
from sim.propagation.edges.bare import bare_edges as bare_edges
from sim.propagation.edges.bare import bare_stretches, both
from sim.propagation.edges.bare import free_bodies as free_bodies
from sim.propagation.edges.bare import images as images
from sim.propagation.edges.plates import DRIVE_SAMPLES, Radiation, octaves
from sim.propagation.mirrors.beams import facet_tuple
from sim.propagation.surfaces.factors import facet_factors
from sim.propagation.surfaces.incidence import GRAZING_COS, NEAREST_M, Incidences

CELLS = 32
"""Cells along an edge between which sight is asked; a hidden part shorter than a cell may be missed."""
NO_FACETS = np.array([-1, -1])
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


Wedge: TypeAlias = tuple[FloatArray, FloatArray, FloatArray, FloatArray, float, float]


def wedge_of(room: Room, edge: int) -> Wedge:
    """Return (start, along, face, normal, length, air angle) of an edge: what the kernels call a wedge."""
    from sim.rays.shape_kernels import inside_polygon

    start, stop = room.edges.ends[edge]
    facet = room.facets[room.edges.facets[edge, 0]]
    length = float(np.linalg.norm(stop - start))
    along = (stop - start) / length
    into = np.cross(facet.normal, along)
    x, y = facet.to_plane(0.5 * (start + stop) + 1.0e-4 * into)
    if not inside_polygon(x, y, facet.border):
        into = -into
    return start.copy(), along, into, facet.normal.copy(), length, float(room.edges.air_angle_rad[edge])


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
    edges: numbers of the edges to take, all of `bare_edges` unless given; wedges: what `wedge_of` says of them, if
    known already; bare: the stretches over which they are bare (find them once for a room); opened: weights along the
    edges that lie near another surface (`openness`); drives: filled with what the source radiates toward the edges,
    for the next call with the same source and the first of the same frequencies.  Numbers past those of the
    room are edges of their own, told by `wedges` alone, without facets of the room beside them.

    Faces beside the edge are rigid in the sum; `soft_faces` weights the parts for others.  Neglected: what hides less
    than a 32nd of an edge.
    """
    from sim.propagation.edges.edge_kernels import apex_place, cylinder, edge_parts
    from sim.propagation.edges.leg_kernels import clear_stretches

    wavenumbers = 2.0 * np.pi * np.asarray(frequencies_hz, dtype=np.float64) / speed_of_sound_m_s
    source_images, ear_images = images(room, source, before), images(room, receiver, after)
    start, end = source_images[-1].copy(), ear_images[-1].copy()
    first, last = (np.array(sequence, dtype=np.int64) for sequence in (before, after))
    looks = (source_images, first, ear_images, last, CELLS)
    facets, rows = facet_tuple(room), []
    groups = octaves(wavenumbers)
    stretches_of = bare_stretches(room) if bare is None else bare
    seen_by_both: list[tuple[int, Wedge, FloatArray]] = []
    for e in list(stretches_of) if edges is None else edges:
        pair = room.edges.facets[e] if e < len(room.edges.facets) else NO_FACETS
        if pair[0] >= 0 and (room.arrays.owner[pair[0]] == own or set(pair.tolist()) & {*before[-1:], *after[-1:]}):
            continue
        if opened is not None and int(e) in opened and opened[int(e)].max() == 0.0:
            continue
        wedge = wedges[int(e)] if wedges is not None else wedge_of(room, int(e))
        if max(cylinder(p, *wedge[:4])[1] for p in (start, end)) > wedge[5]:
            continue
        planes = np.where(pair >= 0, room.arrays.plane[pair], -1)
        stretches = clear_stretches(
            source_images[0],
            ear_images[0],
            np.stack([wedge[0], wedge[0] + wedge[4] * wedge[1]]),
            planes,
            own,
            looks,
            facets,
            room.ray_arrays,
        )
        if (free := stretches_of.get(int(e))) is not None:
            stretches = both(stretches, free)
        if len(stretches):
            seen_by_both.append((int(e), wedge, stretches))
    drives = {} if drives is None else drives
    for at, (e, wedge, stretches) in enumerate(seen_by_both):
        if at % AT_ONCE == 0:
            some_wedges = {edge: kept for edge, kept, _ in seen_by_both[at : at + AT_ONCE]}
            _find_drives(room, start, before, some_wedges, radiation, len(wavenumbers), drives)
        drive = drives[e, tuple(before)][:, : len(wavenumbers)]
        if opened is not None and e in opened:
            drive = np.asarray(opened[e][:, None] * (drive if len(drive) else 1.0), dtype=np.complex128)
            drive = np.broadcast_to(drive, (len(drive), len(wavenumbers)))
        parts = np.zeros((3, len(wavenumbers)), dtype=np.complex128)
        beside = end if before or after else _off_border(room, start, end, wedge, own)
        for group in groups:  # the places along the edge need only suit the highest frequency of a group
            some, way = wavenumbers[group], np.ascontiguousarray(drive[:, group])
            for low, high in stretches:
                parts[:, group] += edge_parts(start, beside, wedge, low * wedge[4], high * wedge[4], some, way)
        (r_s, _, z_s), (r_e, _, z_e) = (cylinder(p, *wedge[:4]) for p in (start, end))
        apex = apex_place(r_s, z_s, r_e, z_e)
        seen = np.clip(apex, stretches[:, 0] * wedge[4], stretches[:, 1] * wedge[4])
        z = float(seen[np.argmin(np.abs(seen - apex))])
        length = float(np.hypot(r_s, z - z_s) + np.hypot(r_e, z - z_e))
        rows.append((e, wedge[0] + z * wedge[1], length, parts, float(np.diff(stretches, axis=1).sum())))
    return EdgePaths(
        frozen(np.array([row[0] for row in rows], dtype=np.int64)),
        frozen(np.array([row[1] for row in rows]).reshape(-1, 3)),
        frozen(np.array([row[2] for row in rows], dtype=np.float64)),
        frozen(np.array([row[3] for row in rows], dtype=np.complex128).reshape(-1, 3, len(wavenumbers))),
        frozen(np.array([row[4] for row in rows], dtype=np.float64)),
    )


def _off_border(room: Room, source: FloatArray, ear: FloatArray, wedge: Wedge, own: int) -> FloatArray:
    """The ear, or where source, edge and ear lie in line the place `ALIGNED_RAD` beside it on the side that sight says.

    On the border the edge sends half the direct sound, with a sign that has to be that of a direct sound counted as
    hidden, or not.
    """
    from sim.propagation.edges.edge_kernels import cylinder
    from sim.rays.shape_kernels import blocker

    start, along, face, normal, _, air = wedge
    (_, angle_s, _), (r_e, angle_e, z_e) = (cylinder(point, start, along, face, normal) for point in (source, ear))
    lit = np.pi - abs(angle_e - angle_s)
    if abs(lit) > ALIGNED_RAD:
        return ear
    hidden = blocker(source, ear, -1, -1, own, *room.ray_arrays) >= 0
    turned = angle_s + np.sign(angle_e - angle_s) * (np.pi + (ALIGNED_RAD if hidden else -ALIGNED_RAD))
    turned = float(np.clip(turned, 0.0, air))
    return np.asarray(start + r_e * (np.cos(turned) * face + np.sin(turned) * normal) + z_e * along)


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


# Soft faces beside an edge: weights of the parts of its sound, by what each face reflects.
#
# Luebbers, IEEE Trans. Antennas Propag. 32 (1984) 70-76: of the four terms of a wedge, the two that carry the borders
# of shadow keep weight 1, the one that carries the border of a face's mirror zone gets the reflection factor of that
# face. On that border, where the mirrored path ends at the edge, the weight is the factor of that very path, so that
# the total stays continuous whatever the face is made of; with factors of 1 the wedge is rigid.
#
# A heuristic, not a solution: away from the borders the true wedge of an absorber differs.  The angle at which a face
# is met is Luebbers' own on the border and elsewhere the smaller of those of source and ear, no more than a right
# angle, which makes source and ear exchangeable (his are not).

Wedges: TypeAlias = tuple[FloatArray, FloatArray, FloatArray, FloatArray, FloatArray, FloatArray]
"""start, along, face, normal, each (p, 3), length (p,) and air angle (p,), as the kernels take them one by one."""


def stacked(wedges: Sequence[Wedge]) -> Wedges:
    """Wedges one by one as arrays."""
    start, along, face, normal, length, air = zip(*wedges, strict=True)
    return np.array(start), np.array(along), np.array(face), np.array(normal), np.array(length), np.array(air)


def face_weights(
    built: BuiltScene, facets: IntArray, wedges: Wedges, source: FloatArray, ear: FloatArray, frequencies_hz: FloatArray
) -> ComplexArray:
    """Weights (p, 2, f) of the mirror terms of p edges: reflection factors of the facets (p, 2) beside them.

    source, ear: (3,) or their images.  A facet -1 is rigid.
    """
    weights = np.ones((*facets.shape, len(frequencies_hz)), dtype=np.complex128)
    for side in range(2):
        known = np.flatnonzero(facets[:, side] >= 0)
        if known.size:
            start, along, face, normal, length, air = wedges
            some = start[known], along[known], face[known], normal[known], length[known], air[known]
            met = _incidences(facets[known, side], some, source, ear, side)
            weights[known, side] = facet_factors(built, met, frequencies_hz)
    return weights


def weighted(parts: ComplexArray, weights: ComplexArray) -> ComplexArray:
    """Pressure (p, f) of edges from their parts (p, 3, f) and the weights (p, 2, f) of their mirror terms."""
    return np.asarray(parts[:, 0] + parts[:, 1] * weights[:, 0] + parts[:, 2] * weights[:, 1])


def _incidences(facet: IntArray, wedges: Wedges, source: FloatArray, ear: FloatArray, side: int) -> Incidences:
    """Where the way over each edge's apex meets the face on one side, 0 or 1: on the edge itself."""
    start, along, face, normal, length, air = wedges
    (r_s, angle_s, z_s), (r_e, angle_e, z_e) = (_about(point, wedges) for point in (source, ear))
    if side == 1:  # seen from the other face, which lies the air angle on
        turned = np.cos(air)[:, None] * face + np.sin(air)[:, None] * normal
        normal = np.sin(air)[:, None] * face - np.cos(air)[:, None] * normal
        face, angle_s, angle_e = turned, air - angle_s, air - angle_e
    whole = np.maximum(np.hypot(r_s + r_e, z_e - z_s), NEAREST_M)
    square, slant = (r_s + r_e) / whole, (z_e - z_s) / whole
    least = np.clip(np.minimum(angle_s, angle_e), 0.0, 0.5 * np.pi)
    cosine = np.clip(square * np.sin(least), GRAZING_COS, 1.0)
    inward = 0.5 * square * (np.cos(angle_e) - np.cos(angle_s))
    apex = np.clip((z_s * r_e + z_e * r_s) / np.maximum(r_s + r_e, NEAREST_M), 0.0, length)
    before, after = np.hypot(r_s, apex - z_s), np.hypot(r_e, apex - z_e)
    return Incidences(
        path=np.arange(len(facet)),
        facet=facet,
        point=start + apex[:, None] * along,
        arriving=inward[:, None] * face + slant[:, None] * along - cosine[:, None] * normal,
        cosine=cosine,
        before_m=np.maximum(before, NEAREST_M),
        after_m=np.maximum(after, NEAREST_M),
    )


def _about(point: FloatArray, wedges: Wedges) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Distance, angle from face 0 and place along of a point (3,) about each edge, each (p,)."""
    start, along, face, normal, _, air = wedges
    x, y, z = (((point - start) * axis).sum(axis=1) for axis in (face, normal, along))
    angle = np.arctan2(y, x) % (2.0 * np.pi)
    angle[angle > 2.0 * np.pi - 1.0e-9] = 0.0  # on face 0, but for rounding
    return np.hypot(x, y), np.minimum(angle, air), z
