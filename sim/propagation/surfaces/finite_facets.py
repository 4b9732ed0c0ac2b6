"""What a mirrored path loses at facets that end in the air: the Kirchhoff-Fresnel factor F of each.

F is the Fresnel integral over the facet divided by that over its whole plane, for the unfolded length of the whole path
before and after it (Born & Wolf, Principles of Optics; the Fresnel integral as a sum over the rim is in
`panel_fractions`): 1 for a facet large against the Fresnel zone, 1/2 on its rim, 0 far outside, much less than 1 for
the side of a cabinet at 500 Hz.  A path over several such facets has the product, which is as good as the exact double
Kirchhoff integral (2 dB rms for two cabinet sides against boundary elements).

Across sides that are not bare (`bare_sides`) the polygon goes on to infinity: in the corner of a room the image in the
next wall carries the sound on, so there F stays 1.  A side that lies a little off another surface counts as bare by its
weight (`side_openness`), so that no gap switches anything.

Where edge diffraction of the same sequence of mirrors is summed, the image and its edges stand together for the facet,
and it takes no F: never F and edges stripped of their image.  That is so for one mirror, and for two when the other one
is large enough that edges are traced with it.  Of a large and a small facet in turn see `two_finite_mirrors`.

Neglected: the shadow of a body on its own far sides, and strips narrower than the wavelength, of which F says too much;
for those of one and two mirrors the sum over edges is right.
"""

from __future__ import annotations

import numpy as np

from sim.arrays import BoolArray, ComplexArray, FloatArray, IntArray, frozen
from sim.geometry.bare_sides import bare_sides, side_openness
from sim.placement.built_scene import BuiltScene
from sim.propagation.paths import PathTable
from sim.propagation.surfaces.facet_outlines import outlines
from sim.propagation.surfaces.incidence import Incidences, incidences_with
from sim.propagation.surfaces.panel_fractions import LOWEST_HZ, fractions_of_polygons
from sim.propagation.surfaces.two_finite_mirrors import (
    broadness,
    clear_of_face,
    edge_frequencies,
    from_grid,
    inside_share,
    shared_factors,
)

SMALLEST_MIRROR_M2 = 0.3
"""Edges are traced with mirrors at least so large before or after them; `edges.tracing` holds to the same."""
BESIDE_M = 0.35
"""Paths are kept while their points lie beside a bare side by less than this."""
WITHIN_M = 2.0e-6
"""A point less than this outside its facet lies in it: the slack of `mirrors.kernels.ON_BORDER_M`."""
ON_RIM = 1.0e-10
"""Sine of an angle below which a point lies on the rim itself: the `LEAST_WIDTH` of `edges.edge_kernels`."""
FLAT_FRACTION, ZONES = 0.5, 1.5
"""Beside its facet a path fades from 0.5 to 1.0 of 1.5 Fresnel half-axes, or of `BESIDE_M` where that is less: F alone
is down 20 dB there."""
KEPT_HZ, KEPT_FROM = np.geomspace(250.0, 8000.0, 11), 10.0 ** (-30.0 / 20.0)


def finite_facets(built: BuiltScene) -> BoolArray:
    """Return (f,): facets with a bare side, which take a factor."""
    starts = built.room.arrays.rim_start
    bare = np.concatenate([[0], np.cumsum(bare_sides(built.room))])
    return np.asarray(bare[starts[1:]] > bare[starts[:-1]])


def takes_factor(built: BuiltScene, facets: IntArray) -> BoolArray:
    """Whether each mirror (p, K) of sequences takes F: it ends in the air, and no edges stand for it."""
    known = facets >= 0
    taking = known & finite_facets(built)[np.maximum(facets, 0)]
    order = known.sum(axis=1)
    taking[order == 1] = False
    if facets.shape[1] > 1:
        large = np.array([facet.area_m2 >= SMALLEST_MIRROR_M2 for facet in built.room.facets])
        two = np.flatnonzero(order == 2)
        taking[two, 0] &= ~large[facets[two, 1]]
        taking[two, 1] &= ~large[facets[two, 0]]
    return np.asarray(taking)


def is_beside(paths: PathTable) -> BoolArray:
    """Whether each path (p,) was kept although a point of it lies beside its facet."""
    return np.asarray((paths.margin_m < -WITHIN_M) & (paths.margin_facet >= 0))


def finite_factors(built: BuiltScene, paths: PathTable, frequencies_hz: FloatArray) -> tuple[IntArray, ComplexArray]:
    """Return rows (n,) of the paths that take factors, and the product of these, complex (n, f).

    A path that lies beside a facet for which edges stand carries nothing itself: its edges do.  Nearer to the rim than
    the slack of the search, it carries what its edges take it to (`_on_rim`).
    """
    rows = np.flatnonzero((paths.order >= 2) | is_beside(paths) | _near_rim(paths))
    if not rows.size:
        return rows, np.ones((0, len(frequencies_hz)), dtype=np.complex128)
    some = paths.chosen(rows)
    taking = takes_factor(built, some.facets)
    beside = _beside_m(built, some)
    switched = _on_rim(built, some, taking)
    touched = taking.any(axis=1) | (beside > 0.0).any(axis=1) | (switched < 1.0)
    rows, taking, beside = rows[touched], taking[touched], beside[touched]
    product = np.ones((len(rows), len(frequencies_hz)), dtype=np.complex128)
    if not len(rows):
        return rows, product
    product *= switched[touched, None]
    product[((beside > 0.0) & ~taking).any(axis=1)] = 0.0
    few = paths.chosen(rows)
    met, turn = _met(built, few, taking)
    small = _small_beside_large(built, few, taking)
    pairs = np.asarray(small[met.path].any(axis=1))
    one, two = np.flatnonzero(~pairs), np.flatnonzero(pairs)
    np.multiply.at(product, met.path[one], _factors_of(built, met.chosen(one), turn[one], beside, frequencies_hz))
    if two.size:
        large, (met_small, turn_small) = met.chosen(two), _met(built, few, small)
        factor = from_grid(_factors_of(built, large, turn[two], beside, edge_frequencies()), frequencies_hz)
        broad = broadness(built, met_small.facet)[:, None]
        factor_small = broad * _factors_of(built, met_small, turn_small, beside, frequencies_hz)
        inside, clear = inside_share(built, large.facet, large.point), clear_of_face(met_small.cosine)
        within = product[large.path, 0].real
        product[large.path] = shared_factors(within, inside, clear, factor, factor_small, frequencies_hz)
    return rows, product


def _met(built: BuiltScene, paths: PathTable, chosen: BoolArray) -> tuple[Incidences, IntArray]:
    """Incidences of the chosen turns (p, K) of paths, path by path, and the turn (m,) of each."""
    wanted = np.zeros(len(built.room.facets), dtype=np.bool_)
    wanted[paths.facets[chosen]] = True
    met, turn = incidences_with(built, paths, wanted), _turns(paths, wanted)
    mine = np.flatnonzero(chosen[met.path, turn])
    return met.chosen(mine), turn[mine]


def _factors_of(
    built: BuiltScene, met: Incidences, turn: IntArray, beside: FloatArray, frequencies_hz: FloatArray
) -> ComplexArray:
    """F (m, f) of incidences, whose points lie beside their facets by (p, K)."""
    factors = np.ones((len(met), len(frequencies_hz)), dtype=np.complex128)
    for f in np.unique(met.facet):
        here = np.flatnonzero(met.facet == f)
        away = beside[met.path[here], turn[here]]
        factors[here] = factor_of_facet(built, int(f), met.chosen(here), away, frequencies_hz)
    return factors


def _small_beside_large(built: BuiltScene, paths: PathTable, taking: BoolArray) -> BoolArray:
    """Which turns (p, K) are of a small facet whose edges are traced with a large one that takes F."""
    finite = (paths.facets >= 0) & finite_facets(built)[paths.facets]
    return np.asarray(finite & ~taking & ((paths.order == 2) & taking.any(axis=1))[:, None])


def _near_rim(paths: PathTable) -> BoolArray:
    """Whether a point of each path (p,) may lie on the rim of its facet, to the slack of the search."""
    return np.asarray((np.abs(paths.margin_m) <= 2.0 * WITHIN_M) & (paths.margin_facet >= 0))


def _on_rim(built: BuiltScene, paths: PathTable, taking: BoolArray) -> FloatArray:
    """Weight (p,) of images whose point lies on a bare side, to `WITHIN_M`: 1 inside it, 0 outside, 1/2 on it.

    So that image and edges together switch nothing, inside and outside are those of the edge's own integral: by the
    angles of source and ear about the side, together less than half a turn inside.  Within `ON_RIM` the edge
    leaves its peak out, and half of the image stands for it.  (That width goes by the angle of the air, here that of a
    right-angled edge; where another one differs, no double can tell.)
    """
    from sim.rays.shape_kernels import inside_polygon

    weight, arrays, bare = np.ones(len(paths)), built.room.arrays, bare_sides(built.room)
    rows = np.flatnonzero(_near_rim(paths))
    wanted = np.zeros(len(built.room.facets), dtype=np.bool_)
    wanted[paths.facets[rows][paths.facets[rows] >= 0]] = True
    met = incidences_with(built, paths.chosen(rows), wanted)
    turn = _turns(paths.chosen(rows), wanted)
    for n in range(len(met)):
        row, f = int(rows[met.path[n]]), int(met.facet[n])
        if taking[row, turn[n]]:
            continue
        facet, normal = built.room.facets[f], arrays.normal[f]
        rim = arrays.rim[arrays.rim_start[f] : arrays.rim_start[f + 1]]
        here = np.array(facet.to_plane(met.point[n]))
        sent = met.arriving[n] - 2.0 * (met.arriving[n] @ normal) * normal
        source, ear = met.point[n] - met.before_m[n] * met.arriving[n], met.point[n] + met.after_m[n] * sent
        for side in rim[bare[arrays.rim_start[f] : arrays.rim_start[f + 1]]]:
            along = side[2:] - side[:2]
            length = float(np.hypot(*along))
            inward = np.array([-along[1], along[0]]) / length
            if not -WITHIN_M <= (here - side[:2]) @ along / length <= length + WITHIN_M:
                continue
            if abs((here - side[:2]) @ inward) > WITHIN_M:
                continue
            beyond = 0.5 * (side[:2] + side[2:]) + 1.0e-4 * inward
            inward *= 1.0 if inside_polygon(beyond[0], beyond[1], rim) else -1.0
            angles = sum(
                np.arctan2(abs((end - met.point[n]) @ normal), (np.array(facet.to_plane(end)) - side[:2]) @ inward)
                for end in (source, ear)
            )
            past = np.sin((np.pi - angles) / 3.0)
            weight[row] *= 0.5 if abs(past) < ON_RIM else float(past > 0.0)
    return weight


def worth_keeping(built: BuiltScene, paths: PathTable) -> IntArray:
    """Rows without those beside their facets whose own factors stay under -30 dB from 250 Hz to 8 kHz.

    Where edges stand for a facet, the row stays: its edges say what it carries.  Rows over the loudspeaker's own
    cabinet do not: what its driver radiates knows the cabinet already.
    """
    beside = np.flatnonzero(is_beside(paths))
    if not beside.size:
        return np.arange(len(paths))
    some = paths.chosen(beside)
    rows, product = finite_factors(built, some, KEPT_HZ)
    edges_stand = ((_beside_m(built, some) > 0.0) & ~takes_factor(built, some.facets)).any(axis=1)
    weak = np.zeros(len(some), dtype=np.bool_)
    weak[rows] = np.abs(product).max(axis=1, initial=0.0) < KEPT_FROM
    own = np.array([built.room.owner_number(one.body) for one in built.loudspeakers])[some.loudspeaker]
    over_own = ((some.facets >= 0) & (built.room.arrays.owner[some.facets] == own[:, None])).any(axis=1)
    return np.setdiff1d(np.arange(len(paths)), beside[(weak & ~edges_stand) | over_own])


def _turns(paths: PathTable, wanted: BoolArray) -> IntArray:
    """Turn of each incidence of `incidences_with`."""
    return np.nonzero((paths.facets >= 0) & wanted[np.maximum(paths.facets, 0)])[1]


def _beside_m(built: BuiltScene, paths: PathTable) -> FloatArray:
    """How far each point (p, K) lies outside the rim of its facet, 0 within."""
    from sim.rays.shape_kernels import distance_to_border, inside_polygon

    out, arrays = np.zeros(paths.facets.shape), built.room.arrays
    for row in np.flatnonzero(is_beside(paths)):
        for turn in range(paths.order[row]):
            f = int(paths.facets[row, turn])
            x, y = built.room.facets[f].to_plane(paths.points[row, turn])
            rim = arrays.rim[arrays.rim_start[f] : arrays.rim_start[f + 1]]
            if not inside_polygon(x, y, rim) and (away := distance_to_border(x, y, rim)) > WITHIN_M:
                out[row, turn] = away
    return out


def nearest_on_facet(built: BuiltScene, f: int, point: FloatArray) -> FloatArray:
    """The point (3,) itself where it lies on a facet or what continues it, else the nearest of the rim."""
    from sim.rays.shape_kernels import inside_polygon

    facet, arrays = built.room.facets[f], built.room.arrays
    rim = arrays.rim[arrays.rim_start[f] : arrays.rim_start[f + 1]]
    place = facet.to_plane(point)
    if inside_polygon(place[0], place[1], rim):
        return point
    along = rim[:, 2:] - rim[:, :2]
    part = np.clip(((place - rim[:, :2]) * along).sum(axis=1) / (along**2).sum(axis=1), 0.0, 1.0)
    feet = rim[:, :2] + part[:, None] * along
    return facet.from_plane(feet[np.argmin(((feet - place) ** 2).sum(axis=1))])


def factor_of_facet(
    built: BuiltScene, f: int, met: Incidences, beside_m: FloatArray, frequencies_hz: FloatArray
) -> ComplexArray:
    """F (m, f) of a facet in incidences with its plane, faded where the point lies beside it by (m,)."""
    from sim.rays.shape_kernels import inside_polygon

    speed = built.air.speed_of_sound_m_s
    frequencies = np.maximum(frequencies_hz, LOWEST_HZ)
    stretch = 0.5 * (1.0 / met.before_m + 1.0 / met.after_m)
    total = np.zeros((len(met), len(frequencies)), dtype=np.complex128)
    normal, room = built.room.facets[f].normal, built.room
    opened = side_openness(room)[room.arrays.rim_start[f] : room.arrays.rim_start[f + 1]]
    before = 0.0
    for level in np.unique([*opened[opened > 0.0], 1.0]):  # sides open by so much and more take part to the next level
        if not (opened >= level).any():  # it ends nowhere
            total[beside_m <= 0.0] += level - before
            break
        part = np.zeros_like(total)
        for sign, ring in outlines(room, f, opened >= level):
            corners = _about_points(ring, met, normal)
            part += sign * fractions_of_polygons(corners, stretch, 2.0 * np.pi * frequencies / speed)
            if sign > 0.0 and level > opened.min(where=opened > 0.0, initial=1.0):
                for n in np.flatnonzero(beside_m > 0.0):  # of a point within, it ends at a side that is not bare there
                    sides = frozen(np.hstack([corners[n], np.roll(corners[n], -1, axis=0)]))
                    part[n] *= not inside_polygon(0.0, 0.0, sides)
        total += (level - before) * part
        before = level
    outside = np.flatnonzero(beside_m > 0.0)
    if outside.size:
        half_axis = np.sqrt(0.5 * speed / frequencies[None, :] / stretch[outside, None])
        ends = np.minimum(ZONES * half_axis / met.cosine[outside, None], BESIDE_M)
        total[outside] *= faded(beside_m[outside, None] / ends)
    return total


def faded(place: FloatArray) -> FloatArray:
    """Weight 1 to half of the way, falling to 0 at its end, for a place 0 .. 1 on it."""
    past = np.clip((place - FLAT_FRACTION) / (1.0 - FLAT_FRACTION), 0.0, 1.0)
    return np.asarray(np.cos(0.5 * np.pi * past) ** 2)


def _about_points(ring: FloatArray, met: Incidences, normal: FloatArray) -> FloatArray:
    """Corners (m, n, 2) of a ring (n, 3) about each point, along the plane of incidence (shortened) and across."""
    along = met.arriving - (met.arriving @ normal)[:, None] * normal
    length = np.linalg.norm(along, axis=1)
    other = np.eye(3)[int(np.argmin(np.abs(normal)))]
    other = other - (other @ normal) * normal
    along = np.where(length[:, None] < 1e-9, other / np.linalg.norm(other), along / np.maximum(length, 1e-9)[:, None])
    across = np.cross(normal, along)
    relative = ring[None] - met.point[:, None]
    return np.stack(
        [np.einsum("mni,mi->mn", relative, along) * met.cosine[:, None], np.einsum("mni,mi->mn", relative, across)],
        axis=-1,
    )
