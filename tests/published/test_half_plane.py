"""Edges against exact solutions of the rigid half-plane and the rigid wedge."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.special import hankel2e, jve

from sim.propagation.edges.edge_kernels import edge_pressure

THIN, BOX = 2.0 * np.pi, 1.5 * np.pi
FAR = 3000.0
Place = tuple[float, float, float]
"""Distance from the edge, angle from face 0 in degrees, place along the edge."""


def at(place: Place) -> np.ndarray:
    r, degrees, z = place
    return np.array([r * np.cos(np.radians(degrees)), r * np.sin(np.radians(degrees)), z])


def diffracted(
    source: Place, ear: Place, angle: float, k: np.ndarray, low: float = -FAR, high: float = FAR
) -> np.ndarray:
    wedge = (np.array([0.0, 0.0, low]), *np.eye(3)[[2, 0, 1]].copy(), high - low, angle)
    return edge_pressure(at(source), at(ear), wedge, 0.0, high - low, k, np.zeros((0, len(k)), complex))


def plain(source: Place, ear: Place, angle: float, k: np.ndarray) -> np.ndarray:
    """Direct and mirrored sound in the zones where they exist."""
    ours, theirs = np.radians(source[1]), np.radians(ear[1])
    ways = [
        ours - theirs if abs(ours - theirs) < np.pi else None,
        ours + theirs if ours + theirs < np.pi else None,
        2.0 * angle - ours - theirs if 2.0 * angle - ours - theirs < np.pi else None,
    ]
    total = np.zeros(len(k), complex)
    for turn in ways:
        if turn is not None:
            r = np.sqrt(
                source[0] ** 2 + ear[0] ** 2 + (source[2] - ear[2]) ** 2 - 2.0 * source[0] * ear[0] * np.cos(turn)
            )
            total += np.exp(-1j * k * r) / r
    return total


def exact(source: Place, ear: Place, angle: float, k: float) -> complex:
    """Rigid wedge, point source e^{-jkR}/R: eigenfunctions across the wedge, Fourier integral along it.

    Bowman, Senior & Uslenghi, Electromagnetic and Acoustic Scattering by Simple Shapes (1969), chapter 6, turned to
    e^{+j omega t}: e^{-jkR}/R = 1/(2j) * integral of H0(kappa rho) e^{-jhz} dh, and between two faces H0 becomes
    2 nu * sum of e_n/2 ... J H cos cos; the path of h passes above +k and below -k.
    """
    nu, most = np.pi / angle, max(4.0, 25.0 / (k * abs(source[0] - ear[0])))
    t = np.linspace(-most, most, 8001)
    bow = 0.3 * 2.0 * t / (1.0 + t**2)
    h = k * (t + 1j * bow)
    slope = k * (1.0 + 1j * 0.6 * (1.0 - t**2) / (1.0 + t**2) ** 2)
    kappa = np.sqrt(k - h) * np.sqrt(k + h)
    near, far = sorted((source[0], ear[0]))
    scale = np.exp(np.abs((kappa * near).imag) - 1j * kappa * far)
    total = np.zeros_like(kappa)
    for n in range(90):
        fraction = (
            (1.0 if n == 0 else 2.0) * np.cos(nu * n * np.radians(source[1])) * np.cos(nu * n * np.radians(ear[1]))
        )
        total += fraction * jve(nu * n, kappa * near) * hankel2e(nu * n, kappa * far)
    wave = np.nan_to_num(total * scale) * np.exp(-1j * h * (source[2] - ear[2])) * slope
    return complex(2.0 * nu / 2j * np.trapezoid(wave, t))


@pytest.mark.parametrize("angle", [THIN, BOX])
@pytest.mark.parametrize(
    ("source", "ear"),
    [
        ((1.0, 60.0, 0.0), (1.6, 200.0, 0.4)),
        ((1.0, 45.0, 0.0), (2.0, 250.0, 0.0)),
        ((0.7, 30.0, 0.0), (2.0, 100.0, -0.8)),
        ((0.8, 80.0, 0.2), (1.5, 99.0, 0.6)),
    ],
)
@pytest.mark.parametrize("k", [2.0, 10.0])
def test_half_plane_and_wedge_exactly(source: Place, ear: Place, angle: float, k: float) -> None:
    found = (plain(source, ear, angle, np.array([k])) + diffracted(source, ear, angle, np.array([k])))[0]
    assert found == pytest.approx(exact(source, ear, angle, k), abs=2e-4)


def hobson(source: Place, ear: Place) -> float:
    """Static rigid half-plane (Hobson, Trans. Cambridge Phil. Soc. 18 (1900) 277-291)."""
    cosh = (source[0] ** 2 + ear[0] ** 2 + (source[2] - ear[2]) ** 2) / (2.0 * source[0] * ear[0])
    total = 0.0
    for turn in np.radians([source[1] - ear[1], source[1] + ear[1]]):
        r = np.sqrt(2.0 * source[0] * ear[0] * (cosh - np.cos(turn)))
        total += (0.5 + np.arcsin(np.cos(0.5 * turn) / np.sqrt(0.5 * (cosh + 1.0))) / np.pi) / r
    return total


@pytest.mark.parametrize(
    ("source", "ear", "total"),
    [
        ((1.0, 60.0, 0.0), (1.3, 290.0, 0.4), 0.309031),
        ((1.0, 60.0, 0.0), (1.3, 200.0, 0.4), 0.432770),
        ((0.7, 30.0, 0.0), (2.0, 100.0, -0.8), 0.596935),
    ],
)
def test_static_half_plane(source: Place, ear: Place, total: float) -> None:
    k = np.zeros(1)
    found = (plain(source, ear, THIN, k) + diffracted(source, ear, THIN, k))[0]
    assert found.real == pytest.approx(total, abs=2e-6)
    assert hobson(source, ear) == pytest.approx(total, abs=2e-6)


@pytest.mark.parametrize(
    ("source", "ear", "total"),
    [((1.0, 45.0, 0.0), (1.0, 250.0, 0.0), 0.545844), ((1.0, 60.0, 0.0), (1.3, 200.0, 0.4), 0.454465 + 0.090662)],
)
def test_static_wedge_of_a_box(source: Place, ear: Place, total: float) -> None:
    """Macdonald's integral for the rigid wedge of 270 degrees of air (Proc. London Math. Soc. 14 (1915) 410-427)."""
    k = np.zeros(1)
    assert (plain(source, ear, BOX, k) + diffracted(source, ear, BOX, k))[0].real == pytest.approx(total, abs=3e-6)


@pytest.mark.parametrize("angle", [np.pi, np.pi / 2.0, np.pi / 3.0])
def test_angles_that_mirrors_fill_do_not_bend(angle: float) -> None:
    ends = (0.8, 0.3 * np.degrees(angle), 0.0), (1.1, 0.6 * np.degrees(angle), 0.3)
    assert np.abs(diffracted(*ends, angle, np.array([0.0, 5.0]))).max() < 1e-12


@pytest.mark.parametrize(
    ("source", "ear", "angle", "levels"),
    [
        ((1.0, 45.0, 0.0), (1.0, 250.0, 0.0), THIN, (0.26326, 0.26072, 0.22621, 0.15769, 0.13209)),
        ((1.0, 45.0, 0.0), (1.0, 250.0, 0.0), BOX, (0.37270, 0.36892, 0.31746, 0.21348, 0.17733)),
        ((1.0, 45.0, 0.0), (1.0, 90.0, 0.0), THIN, (0.21807, 0.21567, 0.18269, 0.11357, 0.09274)),
        ((1.0, 45.0, 0.0), (1.0, 90.0, 0.0), BOX, (0.17904, 0.17714, 0.15105, 0.09673, 0.07822)),
    ],
)
def test_a_metre_of_edge(source: Place, ear: Place, angle: float, levels: tuple[float, ...]) -> None:
    """Magnitudes at 0, 125, 500, 1000, 2000 Hz by fine quadrature of Svensson, Fred & Vanderkooy (1999)."""
    k = 2.0 * np.pi * np.array([0.0, 125.0, 500.0, 1000.0, 2000.0]) / 343.2
    assert np.abs(diffracted(source, ear, angle, k, -0.5, 0.5)) == pytest.approx(levels, abs=2e-5)


@pytest.mark.parametrize(
    ("angle", "values"),
    [
        (THIN, (0.248798, 0.024602 + 0.203878j, 0.133665 + 0.034070j, -0.069754 + 0.019024j)),
        (BOX, (0.337916, 0.040415 + 0.270682j, 0.174500 + 0.037899j, -0.087963 + 0.024722j)),
    ],
)
def test_a_lopsided_edge(angle: float, values: tuple[complex, ...]) -> None:
    """0, 250, 1000 and 4000 Hz, edge from -0.75 to 0.75 m; same quadrature."""
    k = 2.0 * np.pi * np.array([0.0, 250.0, 1000.0, 4000.0]) / 343.2
    found = diffracted((0.8, 30.0, 0.1), (1.5, 240.0, 0.6), angle, k, -0.75, 0.75)
    assert found == pytest.approx(np.array(values), abs=2e-5)
