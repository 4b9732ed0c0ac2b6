"""What the surfaces along each path leave of the pressure, and the complex gain of each path."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from sim.acoustics.air import Air, attenuation_db_per_m
from sim.acoustics.layered_reflection import reflection_factor_at
from sim.acoustics.materials import reflection_factor
from sim.acoustics.patches import patch_share
from sim.arrays import BoolArray, ComplexArray, FloatArray, IntArray, frozen
from sim.loudspeakers.loudspeaker import Loudspeaker
from sim.placement.built_scene import BuiltScene
from sim.placement.finishes import LayeredFinish
from sim.propagation.paths import PathTable
from sim.propagation.surfaces.coupling import patch_coupling
from sim.propagation.surfaces.finite_facets import finite_factors
from sim.propagation.surfaces.incidence import Incidences, incidences_with
from sim.propagation.surfaces.panel_fractions import LOWEST_HZ
from sim.propagation.surfaces.patches import patch_fractions, patch_views

VALUES_AT_ONCE = 200_000
"""Incidences times frequencies worked out together, to keep arrays small."""
UNCOUPLED_BELOW = 0.02
"""Panels whose fraction stays below this get no coupling, those above twice this all of it."""
SIZE_DECIMALS = 12
"""Panels whose sides agree so far, in metres, are of one size."""


def surface_factors(
    built: BuiltScene, paths: PathTable, frequencies_hz: FloatArray, *, coupled: bool = True
) -> ComplexArray:
    """Product of the reflection factors along each path, complex, shape (path, f).

    A facet known by octave coefficients has sqrt(1 - alpha) at every angle.  A facet in layers has its complex factor
    at the angle of the leg that meets it.  Where panels hang in the plane of the facet, R = R_w + sum of
    (R_p - R_w) F over them, with F the variational patch for the whole length of the path before and after
    (`sim.acoustics.patches.patch_share`): nothing switches as a panel slides off the mirror point.  A panel's face
    stands `depth_m` before the wall, and what it returns is earlier by 2 depth cos(t)/c: R_p is that of its face
    times e^{+2jk depth cos t}, while F is that of the face alone, so that a hard panel has the plain fraction.
    Negative numbers in `facets` are no surfaces.  With `coupled` False, which is several times faster, what a panel's
    own sound does to it is left out (its coupling is 1).

    Neglected: what panels of one plane do to each other, the shadow of a panel on legs that only pass it, and that a
    thick panel covers other points of the wall than its face does.  Diffraction at its front edges is in
    `panel_frames`.
    """
    from sim.propagation.surfaces.gain_kernels import product_along

    special = _special_facets(built)
    met = np.zeros(len(built.absorption), dtype=np.bool_)
    met[paths.facets[paths.facets >= 0]] = True
    used = np.flatnonzero(met & ~special)
    row = np.full(len(met), -1)
    row[used] = np.arange(len(used))
    per_facet = np.ascontiguousarray(reflection_factor(built.absorption[used], frequencies_hz))
    facets = np.array(paths.facets, order="C")  # one type for the kernel, whoever calls
    factors: ComplexArray = product_along(facets, row, per_facet, len(frequencies_hz))
    if special.any():
        incidences = incidences_with(built, paths, special)
        rows = max(1, VALUES_AT_ONCE // max(1, len(frequencies_hz)))
        for start in range(0, len(incidences), rows):
            few = incidences.chosen(slice(start, start + rows))
            np.multiply.at(factors, few.path, met_factors(built, few, frequencies_hz, coupled=coupled))
    return factors


def facet_factors(built: BuiltScene, incidences: Incidences, frequencies_hz: FloatArray) -> ComplexArray:
    """Reflection factor (incidence, f) of any facets, those with layers or panels each at its own angle and place."""
    factors = reflection_factor(built.absorption, frequencies_hz)[incidences.facet].astype(np.complex128)
    special = np.flatnonzero(_special_facets(built)[incidences.facet])
    rows = max(1, VALUES_AT_ONCE // max(1, len(frequencies_hz)))
    for start in range(0, len(special), rows):
        few = special[start : start + rows]
        factors[few] = met_factors(built, incidences.chosen(few), frequencies_hz)
    return factors


def met_factors(
    built: BuiltScene, incidences: Incidences, frequencies_hz: FloatArray, *, coupled: bool = True
) -> ComplexArray:
    """Reflection factor (incidence, f) of facets with layers or panels, each at its own angle."""
    bare = _bare_factors(built, incidences, frequencies_hz)
    pairs = pairs_of(built, incidences)
    if not len(pairs.row):
        return bare
    faces = _faces(built, pairs, incidences, frequencies_hz)
    walls = bare[pairs.row]
    shares = _shares(built, pairs, incidences, (walls, faces), frequencies_hz, coupled)
    # a panel's face stands before the wall, so what it returns is earlier
    depths = np.array([panel.depth_m for panel in built.panels])[pairs.panel]
    ahead = 2.0 * depths * incidences.cosine[pairs.row] / built.air.speed_of_sound_m_s
    np.add.at(bare, pairs.row, (faces * turned_by(-frequencies_hz, ahead) - walls) * shares)
    return bare


@dataclass(frozen=True, slots=True)
class PanelPairs:
    """Panels (n,) and the incidences (n,) with the planes they hang in, by number; panel by panel."""

    panel: IntArray
    row: IntArray


def pairs_of(built: BuiltScene, incidences: Incidences) -> PanelPairs:
    """Every panel with every incidence with its plane."""
    planes = np.array([panel.plane for panel in built.panels], dtype=np.int64)
    return PanelPairs(*np.nonzero(planes[:, None] == built.room.arrays.plane[incidences.facet]))


def shares_of_pairs(
    built: BuiltScene, pairs: PanelPairs, incidences: Incidences, frequencies_hz: FloatArray
) -> ComplexArray:
    """Share F of panels in incidences with their planes, complex, (pair, f).

    As in R = R_w + sum of (R_p - R_w) F: 1 for a panel that is large against the Fresnel zone, 1/2 on its edge, 0 far
    outside.
    """
    walls = _bare_factors(built, incidences, frequencies_hz)[pairs.row]
    faces = _faces(built, pairs, incidences, frequencies_hz)
    return _shares(built, pairs, incidences, (walls, faces), frequencies_hz)


def _bare_factors(built: BuiltScene, incidences: Incidences, frequencies_hz: FloatArray) -> ComplexArray:
    """Reflection factor (incidence, f) of facets without their panels."""
    bare = reflection_factor(built.absorption[incidences.facet], frequencies_hz).astype(np.complex128)
    layered = built.finish_of_facet[incidences.facet] if built.finishes else np.full(len(incidences), -1)
    for number in np.unique(layered[layered >= 0]):
        rows = layered == number
        bare[rows] = _layered_factor(built, built.finishes[number], incidences.cosine[rows], frequencies_hz)
    return bare


def _faces(built: BuiltScene, pairs: PanelPairs, incidences: Incidences, frequencies_hz: FloatArray) -> ComplexArray:
    """Reflection factor (pair, f) of the faces of panels alone."""
    faces = np.empty((len(pairs.row), len(frequencies_hz)), dtype=np.complex128)
    finish = np.array([panel.finish for panel in built.panels], dtype=np.int64)[pairs.panel]
    for number in np.unique(finish).tolist():
        mine = np.flatnonzero(finish == number)
        rows, place = np.unique(pairs.row[mine], return_inverse=True)
        layered = _layered_factor(built, built.finishes[number], incidences.cosine[rows], frequencies_hz)
        faces[mine] = layered[place.reshape(-1)]
    return faces


def _shares(
    built: BuiltScene,
    pairs: PanelPairs,
    incidences: Incidences,
    factors: tuple[ComplexArray, ComplexArray],
    frequencies_hz: FloatArray,
    coupled: bool = True,
) -> ComplexArray:
    """Share F (pair, f), from the factors (pair, f) of the wall and of the face alone; panels of a size in one go."""
    if len(pairs.row) == 0:
        return np.zeros((0, len(frequencies_hz)), dtype=np.complex128)
    corners = np.array([panel.corners_m for panel in built.panels])
    normals = np.array([panel.normal for panel in built.panels])
    sizes = np.round(np.linalg.norm(corners[:, [1, 3]] - corners[:, :1], axis=2), SIZE_DECIMALS)
    size_of = np.unique(sizes, axis=0, return_inverse=True)[1].reshape(-1)[pairs.panel]
    shares = np.empty_like(factors[0])
    for size in np.unique(size_of):
        mine = np.flatnonzero(size_of == size)
        which = pairs.panel[mine]
        shares[mine] = share_of_panel(
            corners[which],
            normals[which],
            incidences.chosen(pairs.row[mine]),
            (factors[0][mine], factors[1][mine]),
            frequencies_hz,
            built.air.speed_of_sound_m_s,
            coupled,
        )
    return shares


def share_of_panel(
    corners_m: FloatArray,
    normal: FloatArray,
    incidences: Incidences,
    factors: tuple[ComplexArray, ComplexArray],
    frequencies_hz: FloatArray,
    speed_m_s: float,
    coupled: bool = True,
) -> ComplexArray:
    """Share F (incidence, f) of a panel, from the factors of its wall and of its face alone.

    corners_m (4, 3) and normal (3,); or (incidence, 4, 3) and (incidence, 3) of panels of one size.
    """
    views = patch_views(corners_m, normal, incidences)
    fraction = patch_fractions(views, frequencies_hz, speed_m_s)
    coupling = np.ones_like(fraction)
    if coupled:
        most = np.abs(fraction).max(axis=1, initial=0.0)
        rows = np.flatnonzero(most > UNCOUPLED_BELOW)
        weight = np.clip(most[rows] / UNCOUPLED_BELOW - 1.0, 0.0, 1.0)[:, None]
        if rows.size:
            coupling[rows] += weight * (patch_coupling(views.chosen(rows), frequencies_hz, speed_m_s) - 1.0)
    return patch_share(*factors, fraction, coupling)


def _layered_factor(
    built: BuiltScene, finish: LayeredFinish, cosine: FloatArray, frequencies_hz: FloatArray
) -> ComplexArray:
    """Reflection factor (incidence, f) of an absorber at cosines (incidence,)."""
    return reflection_factor_at(finish.build_up, np.maximum(frequencies_hz, LOWEST_HZ), np.arccos(cosine), built.air)


def _special_facets(built: BuiltScene) -> BoolArray:
    """Whether each facet (facet,) has layers or hangs with panels in one plane."""
    if built.panels:
        special = np.isin(built.room.arrays.plane, [panel.plane for panel in built.panels])
    else:
        special = np.zeros(len(built.room.facets), dtype=np.bool_)
    return special | (built.finish_of_facet >= 0) if built.finishes else special


# The complex gain of each path: directivity, surfaces, distance and air.


def path_gains(
    built: BuiltScene, paths: PathTable, frequencies_hz: FloatArray, *, delayed: bool = True, coupled: bool = True
) -> ComplexArray:
    """Complex pressure (path, f) at the listener, for a loudspeaker of pressure 1 at 1 m on its axis.

    D(departure) * product of R(f) F(f) * e^{-jkL}/L * 10^(-attenuation L/20).  With `delayed` False the phase of
    the travel time is left out, which the levels of single paths do not need; `coupled` as in `surface_factors`.  F is
    that of `finite_facets`, for mirrors that end in the air and whose edges are not traced.

    Neglected: the angle dependence of surfaces known only by random-incidence coefficients, and scattering.
    """
    from sim.propagation.surfaces.gain_kernels import finish

    speed = built.air.speed_of_sound_m_s
    gains = surface_factors(built, paths, frequencies_hz, coupled=coupled)
    rows, product = finite_factors(built, paths, frequencies_hz)
    if rows.size:
        gains[rows] *= product
    nepers = _nepers_per_m(built.air, frequencies_hz.tobytes())
    fading = np.exp(-nepers[None, :] * paths.length_m[:, None]) / paths.length_m[:, None]
    wavenumber, length = 2.0 * np.pi / speed * frequencies_hz, np.array(paths.length_m)
    for d, mine, ways, model in _alike(built, paths):
        radiated = np.ascontiguousarray(model.driver_radiation(d, ways, frequencies_hz, speed))
        finish(gains, mine, radiated, fading, length, wavenumber, delayed)
    return gains


@lru_cache(maxsize=64)
def _nepers_per_m(air: Air, packed: bytes) -> FloatArray:
    """What air takes from tones of frequencies (f,) in Hz, given as bytes."""
    return frozen(np.log(10.0) / 20.0 * attenuation_db_per_m(np.frombuffer(packed), air))


def turned_by(frequencies_hz: FloatArray, delay_s: FloatArray) -> ComplexArray:
    """Phase e^{-j 2 pi f t} (path, f) of delays (path,)."""
    from sim.propagation.surfaces.gain_kernels import turned

    return np.asarray(turned(2.0 * np.pi * frequencies_hz, np.array(delay_s)))


def _alike(built: BuiltScene, paths: PathTable) -> Iterator[tuple[int, IntArray, FloatArray, Loudspeaker]]:
    """For each driver of each model: its number, rows of the paths from it, how they leave it in the box's frame."""
    models: dict[int, list[int]] = {}
    for s, loudspeaker in enumerate(built.loudspeakers):
        models.setdefault(id(loudspeaker.model), []).append(s)
    ways = np.empty_like(paths.departure)
    for s, loudspeaker in enumerate(built.loudspeakers):
        own = np.flatnonzero(paths.loudspeaker == s)
        ways[own] = loudspeaker.to_box(paths.departure[own])
    for same in models.values():
        of_model = paths.loudspeaker == same[0] if len(same) == 1 else np.isin(paths.loudspeaker, same)
        model = built.loudspeakers[same[0]].model
        for d in range(len(model.drivers)):
            mine = np.flatnonzero(of_model & (paths.driver == d))
            if mine.size:
                yield d, mine, ways[mine], model
