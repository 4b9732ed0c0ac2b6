"""Boundary elements against closed forms, and against themselves done slowly."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.special import eval_legendre, spherical_jn, spherical_yn

from sim.machine.processes import one_blas_thread
from sim.propagation.waves.elements import Elements, box_elements
from sim.propagation.waves.surface import Sight, Surface, after, mirror_at, sent

WAVENUMBER = 2.0 * np.pi * 1000.0 / 343.0


def box(size: tuple[float, float, float], middle: tuple[float, float, float] = (0.0, 0.0, 0.0)) -> np.ndarray:
    corners = [[0, 0, 0], [1, 0, 0], [1, 1, 0], [0, 1, 0], [0, 0, 1], [1, 0, 1], [1, 1, 1], [0, 1, 1]]
    return (np.array(corners) - 0.5) * size + middle


def sphere(radius: float, steps: int) -> Elements:
    """Flat trapezoids between circles of latitude, of the sphere's own area."""
    latitude, longitude = np.linspace(0.0, np.pi, steps + 1), np.linspace(0.0, 2.0 * np.pi, 2 * steps + 1)
    t, f = np.meshgrid(latitude, longitude, indexing="ij")
    at = np.stack([np.sin(t) * np.cos(f), np.sin(t) * np.sin(f), np.cos(t)], axis=2)
    corners = np.stack([at[:-1, :-1], at[1:, :-1], at[1:, 1:], at[:-1, 1:]], axis=2).reshape(-1, 4, 3)
    elements = Elements(corners, np.zeros(len(corners), dtype=np.int64))
    scale = radius * np.sqrt(4.0 * np.pi / elements.areas_m2.sum())
    return Elements(corners * scale, elements.face)


def point_source(source: np.ndarray, places: np.ndarray, k: complex) -> np.ndarray:
    distance = np.linalg.norm(places - source, axis=-1)
    return np.exp(-1j * k * distance) / distance


def sphere_pressure(radius: float, k: float, source_m: float, cosine: np.ndarray, beta: complex = 0.0) -> np.ndarray:
    """Pressure on a sphere before a point source (Bowman, Senior & Uslenghi, 1969, section 10; from memory).

    For h = j - iy (time e^{+jwt}): p = -ik sum (2n+1) h_n(k r0) P_n(cos) [j_n - j_n'/h_n' h_n](ka), and with an
    admittance j_n' + i beta ... in place of the derivatives.
    """
    n = np.arange(50)[:, None]
    inner, outer = spherical_jn(n, k * radius), spherical_jn(n, k * radius) - 1j * spherical_yn(n, k * radius)
    d_inner = spherical_jn(n, k * radius, True)
    d_outer = d_inner - 1j * spherical_yn(n, k * radius, True)
    # the surface moves as dp/dr = j k beta p
    ratio = (d_inner - 1j * beta * inner) / (d_outer - 1j * beta * outer)
    away = spherical_jn(n, k * source_m) - 1j * spherical_yn(n, k * source_m)
    terms = (2 * n + 1) * away * eval_legendre(n, cosine) * (inner - ratio * outer)
    keep = np.isfinite(terms)
    return np.asarray(-1j * k * np.where(keep, terms, 0.0).sum(axis=0))


@pytest.mark.parametrize("beta", [0.0, 0.3 + 0.2j])
@pytest.mark.parametrize("radius", [0.05, 0.15])
def test_pressure_on_a_sphere_is_that_of_its_series(radius: float, beta: complex) -> None:
    elements = sphere(radius, 16)
    source = np.array([0.1, 0.2, 0.55])
    surface = Surface(elements)
    admittance = np.full(len(elements), beta, dtype=np.complex128)
    incident = point_source(source, surface.places, WAVENUMBER)[:, None]
    with one_blas_thread():
        found = surface.pressure(complex(WAVENUMBER), incident, admittance)[:, 0]
    cosine = elements.middles @ source / np.linalg.norm(elements.middles, axis=1) / np.linalg.norm(source)
    wanted = sphere_pressure(radius, WAVENUMBER, float(np.linalg.norm(source)), cosine, beta)
    # facets: 2.5 % of the largest pressure on so coarse a sphere
    assert np.abs(found - wanted).max() < 0.025 * np.abs(wanted).max()


def slowly(elements: Elements, source: np.ndarray, k: complex, beta: np.ndarray, mirrors: list, factors: list):
    """The same equation in double precision, each element as four triangles of 16 x 16 points, about its middle.

    Each triangle is a quadrilateral with the middle as two of its corners, where points crowd (Duffy).
    """
    n = len(elements)
    middle, corners = elements.middles[:, None], elements.corners
    parts = [np.concatenate([corners[:, [i, (i + 1) % 4]], middle, middle], axis=1) for i in range(4)]
    each = [Elements(part, elements.face).points(16) for part in parts]
    points, weights = (np.concatenate([pair[i] for pair in each], axis=1) for i in (0, 1))
    matrix = 0.5 * np.eye(n, dtype=np.complex128)
    for turn, factor in zip([None, *mirrors], [1.0, *factors], strict=True):
        targets = elements.middles if turn is None else turn.image(elements.middles)
        for j in range(n):
            away = points[j][None] - targets[:, None]
            r = np.linalg.norm(away, axis=2)
            green = np.exp(-1j * k * r) / (4.0 * np.pi * r)
            slope = green * (-1j * k - 1.0 / r) * (away @ elements.normals[j]) / r
            matrix[:, j] -= factor * ((slope - 1j * k * beta[j] * green) @ weights[j])
    return np.linalg.solve(matrix, point_source(source, elements.middles, k))


def test_fast_assembly_is_the_slow_one_with_walls_soft_faces_and_damping() -> None:
    solid = box((0.3, 0.4, 0.05), (0.0, 0.0, 0.06))
    angle = np.array([[0.8, -0.6, 0.0], [0.6, 0.8, 0.0], [0.0, 0.0, 1.0]])
    elements = box_elements(solid @ angle.T, 0.07)
    floor, wall = mirror_at(np.array([0.0, 0.0, 1.0]), 0.0), mirror_at(np.array([1.0, 0.0, 0.0]), -0.3)
    mirrors = [floor, wall, after(floor, wall)]
    factors = [0.9, 0.8, 0.72]
    beta = np.where(elements.face == 1, 0.2 + 0.1j, 0.0)
    k, source = 15.0 - 0.3j, np.array([0.4, 0.1, 0.5])
    surface = Surface(elements, mirrors)
    with one_blas_thread():
        found = surface.pressure(k, point_source(source, surface.places, k)[:, None], beta, factors)[:, 0]
    wanted = slowly(elements, source, k, beta, mirrors, factors)
    assert np.abs(found - wanted).max() < 2e-3 * np.abs(wanted).max()


@pytest.mark.parametrize(("per_wavelength", "within"), [(60.0, 5e-4), (10.0, 5e-4), (6.0, 1e-3), (4.8, 3e-3)])
def test_one_point_stands_for_a_far_element_and_close_ones_are_corrected(per_wavelength: float, within: float) -> None:
    """Rows of the matrix against 12 x 12 points, squares, oblongs and triangles; own elements have closed forms."""
    cells = box_elements(box((0.5, 0.35, 0.3)), 0.0572)
    corners = cells.corners.copy()
    corners[::5, 3] = corners[::5, 2]  # every fifth a triangle
    elements = Elements(corners, cells.face)
    k = 2.0 * np.pi / (per_wavelength * 0.0572) - 0.29j
    beta = np.where(elements.face < 3, 0.3 + 0.2j, 0.0)
    points, weights = elements.points(12)
    targets = np.concatenate([elements.middles, 1.6 * elements.middles + 0.01])
    own, beyond = (np.zeros((len(elements), len(elements)), dtype=np.complex64) for _ in range(2))
    Sight(elements, elements.middles, own=True).add(k, beta, 1.0, own)
    Sight(elements, targets[len(elements) :]).add(k, beta, 1.0, beyond)
    found = np.concatenate([own, beyond], axis=1)
    away = points[:, :, None] - targets
    r = np.linalg.norm(away, axis=3)
    green = np.exp(-1j * k * r) / (4.0 * np.pi * r)
    slope = -green * (1j * k + 1.0 / r) * np.einsum("nqmd,nd->nqm", away, elements.normals) / r
    wanted = ((slope - 1j * k * beta[:, None, None] * green) * weights[:, :, None]).sum(axis=1)
    others = ~np.eye(len(elements), len(targets), dtype=np.bool_)
    off = (np.abs(found - wanted) * others).sum(axis=0) / (np.abs(wanted) * others).sum(axis=0).max()
    assert off.max() < within


def test_a_layer_without_dipoles_is_half_the_difference_of_two_with_opposite_strengths() -> None:
    elements = box_elements(box((0.2, 0.3, 0.25)), 0.06)
    targets = np.array([[0.3, 0.1, 0.0], [0.0, 0.0, 2.0], [0.11, 0.0, 0.0]])
    k, beta = 12.0 - 0.3j, np.full(len(elements), 0.4 + 0.1j)
    sight = Sight(elements, targets)
    alone, both = (np.zeros((len(elements), 3), dtype=np.complex64) for _ in range(2))
    sight.add(k, beta, 1.0, alone, dipoles=False)
    sight.add(k, beta, 0.5, both)
    sight.add(k, -beta, -0.5, both)
    np.testing.assert_allclose(alone, both, atol=1e-6 * float(np.abs(alone).max()))


def test_source_and_ear_may_change_places() -> None:
    solid = box((0.7, 1.2, 0.03))
    elements = box_elements(solid, 0.057)
    ends = np.array([[-0.3, 0.2, 0.35], [0.8, -0.1, -0.1]])
    surface, beta = Surface(elements), np.full(len(elements), 0.05, dtype=np.complex128)
    incident = np.stack([point_source(end, surface.places, WAVENUMBER) for end in ends], axis=1)
    with one_blas_thread():
        pressure = surface.pressure(complex(WAVENUMBER), incident, beta)
        there = sent(Sight(elements, ends), complex(WAVENUMBER), pressure, beta)
    direct = point_source(ends[0], ends[1], WAVENUMBER)
    # 0.3 dB of a field that is in deep shadow
    assert abs(there[1, 0] - there[0, 1]) < 0.03 * abs(direct + there[1, 0])


def test_a_resonance_inside_the_box_does_no_harm() -> None:
    """The inside of 35 x 40 x 60 cm rings at 711 Hz (c/2 sqrt(1/a2 + 1/b2 + 1/c2)); outside nothing does."""
    size = (0.35, 0.40, 0.60)
    elements = box_elements(box(size), 0.05)
    ringing = 171.5 * np.sqrt(sum(1.0 / length**2 for length in size))
    inner = np.random.default_rng(1).uniform(-0.4, 0.4, (12, 3)) * size
    source, ear = np.array([0.9, 0.1, 0.2]), np.array([[-0.9, 0.3, 0.1]])
    levels = []
    with one_blas_thread():
        for f in ringing + np.array([-40.0, -8.0, -3.0, 0.0, 3.0, 8.0, 40.0]):
            k = complex(2.0 * np.pi * f / 343.0)
            surface = Surface(elements, inner=inner)
            pressure = surface.pressure(k, point_source(source, surface.places, k)[:, None])
            total = sent(Sight(elements, ear), k, pressure)[0, 0] + point_source(source, ear, k)[0]
            levels.append(20.0 * np.log10(abs(total)))
    straight = np.interp(np.arange(7), [0, 6], [levels[0], levels[6]])
    assert np.abs(np.array(levels) - straight).max() < 0.4


def test_two_halves_are_the_whole_whatever_falls_on_them() -> None:
    """The same elements solved as one, with a floor, soft faces and points inside that count in both."""
    middle = mirror_at(np.array([0.6, 0.8, 0.0]), 0.5)
    angle = np.array([[0.6, -0.8, 0.0], [0.8, 0.6, 0.0], [0.0, 0.0, 1.0]])  # its first direction is square to the plane
    part = box_elements(box((0.3, 0.5, 0.2), (0.15, 0.0, 0.3)) @ angle.T + [0.3, 0.4, 0.0], 0.07)
    half = Elements(part.corners[part.face != 5], part.face[part.face != 5])  # the side that lies in the plane
    assert len(half) < len(part)
    assert (half.middles @ [0.6, 0.8, 0.0] > 0.5).all()
    inner = np.random.default_rng(4).uniform(0.1, 0.2, (4, 3)) * [1.0, 1.0, 0.0] @ angle.T + [0.3, 0.4, 0.3]
    floor = mirror_at(np.array([0.0, 0.0, 1.0]), 0.0)
    halves = Surface(half, [floor], inner, middle)
    whole = Surface(halves.elements, [floor], np.concatenate([inner, middle.image(inner)]))
    np.testing.assert_array_equal(halves.places, whole.places)
    beta = np.where(halves.elements.face == 1, 0.2 + 0.1j, 0.0)
    k, source = 15.0 - 0.3j, np.array([0.4, -0.7, 0.5])
    incident = point_source(source, whole.places, k)[:, None]
    with one_blas_thread():
        found, wanted = (each.pressure(k, incident, beta, [0.9])[:, 0] for each in (halves, whole))
    assert np.abs(found - wanted).max() < 1e-4 * np.abs(wanted).max()


def test_a_sheet_may_be_as_thin_as_one_likes() -> None:
    """From 5 mm down to a hundredth of one: nothing grows, nothing jumps, whatever the shape of the rim's elements."""
    source, ear = np.array([-0.3, 0.2, 0.35]), np.array([[0.7, -0.1, 0.3], [0.1, 0.05, -0.3]])
    k = 2.0 * np.pi * 500.0 / 343.0
    levels = []
    for thick in (5e-3, 1e-3, 1e-4, 1e-5):
        elements = box_elements(box((0.6, 0.9, thick), (0.0, 0.0, -0.5 * thick)), 0.075)
        surface = Surface(elements)
        with one_blas_thread():
            pressure = surface.pressure(complex(k), point_source(source, surface.places, k)[:, None])
            total = sent(Sight(elements, ear), complex(k), pressure)[:, 0] + point_source(source, ear, k)
        levels.append(20.0 * np.log10(np.abs(total)))
    assert np.abs(np.diff(levels, axis=0))[1:].max() < 0.05
    assert np.abs(np.diff(levels, axis=0)).max() < 0.25
