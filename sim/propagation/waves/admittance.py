"""How soft the faces of bodies are to waves: the admittance that a locally reacting surface of each material has."""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from sim.acoustics.layered_reflection import surface_impedance
from sim.acoustics.materials import reflection_factor
from sim.arrays import ComplexArray, FloatArray, frozen
from sim.placement.built_scene import BuiltScene

LOWEST_HZ = 20.0
"""Absorbers in layers are worked out above this."""
STRAIGHT = np.array([1.0])
SAME_PLANE_M, SAME_DIRECTION = 2e-3, 0.999


def admittance_of_finish(built: BuiltScene, number: int, frequencies_hz: FloatArray) -> ComplexArray:
    """Rho c / Z (f,) of an absorber in layers, as it is where sound meets it straight on."""
    finish = built.finishes[number]
    impedance = surface_impedance(finish.build_up, np.maximum(frequencies_hz, LOWEST_HZ), STRAIGHT, built.air)[0]
    return np.asarray(built.air.density_kg_m3 * built.air.speed_of_sound_m_s / impedance, dtype=np.complex128)


def admittance_of_absorption(absorption: FloatArray, frequencies_hz: FloatArray) -> ComplexArray:
    """Real admittance (f,) of a surface known by its octave coefficients (8,) at random incidence.

    The one that takes as much of sound from all sides: alpha = 8 b (1 + b / (1 + b) ... ) below, for b = rho c / Z
    (Kuttruff, Room Acoustics, absorption of a locally reacting real wall in a diffuse field).  It takes 0.951 at most,
    which is held for what is said to take more.
    """
    taken = 1.0 - reflection_factor(absorption, frequencies_hz) ** 2
    admittances, fractions = _diffuse_table()
    return np.asarray(np.interp(taken, fractions, admittances), dtype=np.complex128)


@lru_cache(maxsize=1)
def _diffuse_table() -> tuple[FloatArray, FloatArray]:
    """Admittances b (n,) up to that of the most absorption, and what each takes of a diffuse field (n,).

    8 / z^2 * (1 + z - 1 / (1 + z) - 2 ln(1 + z)) with z = 1 / b.
    """
    b = np.concatenate([[0.0], np.geomspace(1e-5, 1.0 / 1.567, 2000)])
    z = 1.0 / np.maximum(b, 1e-9)
    taken = 8.0 / z**2 * (1.0 + z - 1.0 / (1.0 + z) - 2.0 * np.log1p(z))
    taken[0] = 0.0
    return frozen(b), frozen(taken)


def face_admittances(
    built: BuiltScene, bodies: tuple[str, ...], normals: FloatArray, points: FloatArray, frequencies_hz: FloatArray
) -> ComplexArray:
    """Admittance (n, f) of faces with unit normals (n, 3) through points (n, 3) of the bodies they belong to (n,)."""
    found = np.zeros((len(bodies), len(frequencies_hz)), dtype=np.complex128)
    facets = built.room.facets
    for row, (body, normal, point) in enumerate(zip(bodies, normals, points, strict=True)):
        for f, facet in enumerate(facets):
            if facet.owner != body or float(facet.normal @ normal) < SAME_DIRECTION:
                continue
            if abs(float(facet.normal @ point) - facet.offset_m) > SAME_PLANE_M:
                continue
            finish = int(built.finish_of_facet[f]) if built.finishes else -1
            if finish >= 0:
                found[row] = admittance_of_finish(built, finish, frequencies_hz)
            else:
                found[row] = admittance_of_absorption(built.absorption[f], frequencies_hz)
            break
    return found
