"""Boundary elements against what holds of any sound field: energy, reciprocity, and how a rigid box rings inside."""

from __future__ import annotations

import numpy as np
import pytest

from sim.machine.processes import one_blas_thread
from sim.propagation.waves.elements import Elements, box_elements
from sim.propagation.waves.surface import Sight, Surface, mirror_at, sent

UNIT = np.array([[0, 0, 0], [1, 0, 0], [1, 1, 0], [0, 1, 0], [0, 0, 1], [1, 0, 1], [1, 1, 1], [0, 1, 1]], dtype=float)
SPEED = 343.2


def wave(source: np.ndarray, places: np.ndarray, k: float) -> np.ndarray:
    away = np.linalg.norm(places - source, axis=1)
    return np.asarray(np.exp(-1j * k * away) / away)


def sphere_of_directions() -> tuple[np.ndarray, np.ndarray]:
    """Directions (n, 3) and their solid angles (n,): Gauss points in the height, even steps round."""
    up, weights = np.polynomial.legendre.leggauss(24)
    turn = 2.0 * np.pi * np.arange(48) / 48
    level = np.sqrt(1.0 - up**2)
    ways = np.stack([np.outer(level, np.cos(turn)), np.outer(level, np.sin(turn)), np.outer(up, np.ones(48))], axis=2)
    return ways.reshape(-1, 3), np.repeat(weights * 2.0 * np.pi / 48, 48)


@pytest.mark.parametrize("beta", [0.0, 0.25 + 0.4j])
def test_what_a_source_gives_goes_far_away_or_into_soft_faces(beta: complex) -> None:
    """Integral of |f|^2 over all sides + integral of Re(beta) |p|^2 = 4 pi (1 - Im(p_s)/k).

    f: far away, p_s: what the body sends back to the source.  The mean power of a point source of volume velocity is
    that of half p v* round it; far off it is |p|^2 / (2 rho c), into a face Re(beta) |p|^2 / (2 rho c) (Morse & Ingard,
    Theoretical Acoustics, 1968, chapters 6 and 7).
    """
    k, source = 2.0 * np.pi * 600.0 / SPEED, np.array([0.1, 0.5, 0.2])
    elements = box_elements((UNIT - 0.5) * [0.5, 0.7, 0.05] + [0.0, 0.45, 0.0], 0.045)
    surface, soft = Surface(elements), np.where(elements.face == 1, beta, 0.0)
    far, angles = sphere_of_directions()
    reach = 60.0
    with one_blas_thread():
        pressure = surface.pressure(complex(k), wave(source, surface.places, k)[:, None], soft)
        there = sent(Sight(elements, reach * far), complex(k), pressure, soft)[:, 0] + wave(source, reach * far, k)
        back = sent(Sight(elements, source[None]), complex(k), pressure, soft)[0, 0]
    away = float((np.abs(reach * there) ** 2) @ angles)
    taken = float((soft.real * np.abs(pressure[:, 0]) ** 2) @ elements.areas_m2)
    given = 4.0 * np.pi * (1.0 - back.imag / k)
    assert abs(given / (4.0 * np.pi) - 1.0) > 0.05  # the body matters
    assert (taken > 0.03 * given) == (beta != 0.0)
    assert away + taken == pytest.approx(given, rel=0.01)


def test_source_and_ear_may_change_places_over_a_floor_that_takes_some() -> None:
    """Rayleigh's reciprocity (Pierce, Acoustics, section 4-9), with a soft face, a floor in the kernel and a shadow."""
    k, ends = 2.0 * np.pi * 700.0 / SPEED, np.array([[-0.5, 0.1, 0.3], [0.6, -0.2, 0.9]])
    elements = box_elements((UNIT - 0.5) * [0.1, 0.8, 0.5] + [0.0, 0.0, 0.6], 0.05)
    floor, factor = mirror_at(np.array([0.0, 0.0, 1.0]), 0.0), 0.7
    surface, soft = Surface(elements, [floor]), np.where(elements.face == 1, 0.2 + 0.1j, 0.0)
    falls = [wave(end, surface.places, k) + factor * wave(end, floor.image(surface.places), k) for end in ends]
    with one_blas_thread():
        pressure = surface.pressure(complex(k), np.stack(falls, axis=1), soft, [factor])
        seen = [sent(Sight(elements, some), complex(k), pressure, soft) for some in (ends, floor.image(ends))]
    total = seen[0] + factor * seen[1]
    direct = wave(ends[0], ends[1:], k)[0]
    assert abs(total[1, 0] - total[0, 1]) < 0.02 * abs(direct)
    assert abs(total[1, 0]) > 0.3 * abs(direct)


def test_a_rigid_box_rings_inside_where_its_sides_say() -> None:
    """Its first three modes, f = c/2 sqrt((l/a)^2 + (m/b)^2 + (n/c)^2) (Kuttruff, Room Acoustics, chapter 3).

    The elements look inward, so the air is the box; a source in one corner, an ear in the other.
    """
    sides = np.array([0.83, 0.61, 0.47])
    outward = box_elements((UNIT - 0.5) * sides, 0.07)
    elements = Elements(outward.corners[:, ::-1], outward.face)
    source, ear = -0.36 * sides, 0.34 * sides[None]
    surface, sight = Surface(elements), Sight(elements, ear)
    for mode in ((1, 0, 0), (0, 1, 0), (1, 1, 0)):
        rings = 0.5 * SPEED * np.sqrt(((np.array(mode) / sides) ** 2).sum())
        levels = []
        near = rings * np.linspace(0.97, 1.03, 25)
        with one_blas_thread():
            for f in near:
                k = 2.0 * np.pi * f / SPEED
                pressure = surface.pressure(complex(k), wave(source, surface.places, k)[:, None])
                levels.append(abs(sent(sight, complex(k), pressure)[0, 0]))
        highest = int(np.argmax(levels))
        assert 0 < highest < len(near) - 1
        assert near[highest] == pytest.approx(rings, rel=0.01)
        assert max(levels) > 8.0 * min(levels)


def test_a_box_has_no_single_answer_where_a_soft_box_would_ring_and_points_inside_mend_it() -> None:
    """f = c/2 sqrt(1/a2 + 1/b2 + 1/c2), that of the inside with p = 0 all round (Schenck 1968)."""
    size = np.array([0.35, 0.40, 0.60])
    elements = box_elements((UNIT - 0.5) * size, 0.06)
    source, ear = np.array([0.9, 0.1, 0.2]), np.array([[-0.9, 0.3, 0.1]])
    rings = 0.5 * SPEED * np.sqrt((1.0 / size**2).sum())
    steps = np.linspace(0.97, 1.03, 25)
    inner = np.random.default_rng(3).uniform(-0.4, 0.4, (12, 3)) * size
    curves = []
    for points in (None, inner):
        surface, sight, levels = Surface(elements, inner=points), Sight(elements, ear), []
        with one_blas_thread():
            for f in rings * steps:
                k = 2.0 * np.pi * f / SPEED
                pressure = surface.pressure(complex(k), wave(source, surface.places, k)[:, None])
                levels.append(20.0 * np.log10(abs(sent(sight, complex(k), pressure)[0, 0] + wave(source, ear, k)[0])))
        curves.append(np.array(levels) - np.interp(steps, steps[[0, -1]], np.array(levels)[[0, -1]]))
    bare, mended = np.abs(curves)
    assert bare.max() > 1.0
    assert steps[int(np.argmax(bare))] == pytest.approx(1.0, abs=0.01)
    assert mended.max() < 0.4
