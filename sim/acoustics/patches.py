"""A panel on a wall: how much of a mirrored path it governs.

R_eff = R_w + (R_p - R_w) F.  F is the Kirchhoff-Fresnel integral over the panel divided by that over the whole
wall, with the length of the path expanded to second order about the reflection point (Born & Wolf, Principles of
Optics,
Fresnel diffraction; for rectangles the product of Rindel, Applied Acoustics 19 (1986)).  F is 1 for a large panel,
1/2 on its edge, 0 far outside, and ripples between, so nothing switches as a panel slides off the reflection point.

Neglected: third and higher orders of the path length (within 0.5 dB of the full Kirchhoff integral at normal
incidence and distances above the panel's size, up to 2 dB at 53 degrees as near as 0.6 m), the panel's thickness and
the scattering at its rim.
"""

from __future__ import annotations

from functools import lru_cache
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from sim.arrays import ComplexArray, FloatArray, frozen

NEAR: Final = 5.0
"""Where an edge is split: inside, the integrand is smooth and slow; outside, its tail has a path without ripples."""
NEAR_NODES: Final = 48
TAIL_NODES: Final = 32


def first_zone_half_axes_m(
    frequencies_hz: ArrayLike, distance_in_m: float, distance_out_m: float, cos_angle: float, speed_m_s: float
) -> tuple[FloatArray, FloatArray]:
    """Half-axes in m of the first Fresnel zone on the wall: along the plane of incidence, and across; each (f,).

    sqrt(lambda d1 d2/(d1 + d2)), divided by cos t along the plane of incidence (extra path of half a wavelength,
    second order).  Raises ValueError for a value that is not above zero.
    """
    _check(distance_in_m, distance_out_m, cos_angle, speed_m_s)
    wavelength = speed_m_s / np.atleast_1d(np.asarray(frequencies_hz, dtype=np.float64))
    across = np.sqrt(wavelength * distance_in_m * distance_out_m / (distance_in_m + distance_out_m))
    return across / cos_angle, across


def panel_on_wall_axes(
    corners_m: ArrayLike, mirror_point_m: ArrayLike, arriving: ArrayLike, normal: ArrayLike
) -> tuple[FloatArray, float]:
    """Corners (n, 3) as rows (n, 2) about the reflection point, along and across the plane of incidence; and cos t.

    `arriving` (3,) points along the ray that meets the wall, `normal` (3,) out of the wall on either side; neither
    needs unit length.  At normal incidence, where there is no plane of incidence, any two axes serve.  Raises
    ValueError when either has no length or the ray only grazes the wall.
    """
    out = np.asarray(normal, dtype=np.float64)
    ray = np.asarray(arriving, dtype=np.float64)
    if not (np.linalg.norm(out) > 0.0 and np.linalg.norm(ray) > 0.0):
        raise ValueError("the normal of the wall or the direction of the ray has no length; give a direction")
    out, ray = out / np.linalg.norm(out), ray / np.linalg.norm(ray)
    cos_angle = abs(float(out @ ray))
    if not cos_angle > 1e-9:
        raise ValueError("the ray runs along the wall; a panel on it has no reflection point")
    along = ray - (ray @ out) * out
    if np.linalg.norm(along) < 1e-9:
        along = np.eye(3)[int(np.argmin(np.abs(out)))]
        along = along - (along @ out) * out
    along = along / np.linalg.norm(along)
    across = np.cross(out, along)
    relative = np.asarray(corners_m, dtype=np.float64) - np.asarray(mirror_point_m, dtype=np.float64)
    return np.column_stack([relative @ along, relative @ across]), min(cos_angle, 1.0)


def fraction_of_panel(
    corners_m: ArrayLike,
    distance_in_m: float,
    distance_out_m: float,
    cos_angle: float,
    frequencies_hz: ArrayLike,
    speed_m_s: float,
) -> ComplexArray:
    """F of a flat panel, complex, shape (f,).

    Parameters
    ----------
    corners_m
        (n, 2) corners in order, either way round, from the reflection point: along and across the plane of incidence.
        Any simple polygon; a hole is a panel whose share is taken away.
    distance_in_m, distance_out_m
        Length of the whole path before and after the reflection point.
    cos_angle
        Cosine of the angle between ray and normal.

    Scaled by sqrt(k/2 (1/d1 + 1/d2)), along also by cos t, the phase is r^2 and by Green's theorem
    F = 1/(2 pi) times the sum over the edges of h integral (1 - e^{-j r^2})/r^2 ds, r^2 = h^2 + s^2, h the distance of
    the edge's line.  Raises ValueError for fewer than three corners or a value that is not above zero.
    """
    corners = np.asarray(corners_m, dtype=np.float64)
    if corners.ndim != 2 or corners.shape[1] != 2 or len(corners) < 3:
        raise ValueError(f"the corners of a panel have the shape {corners.shape}; give three or more rows of two")
    _check(distance_in_m, distance_out_m, cos_angle, speed_m_s)
    wavenumber = 2.0 * np.pi * np.atleast_1d(np.asarray(frequencies_hz, dtype=np.float64)) / speed_m_s
    scale = np.sqrt(0.5 * wavenumber * (1.0 / distance_in_m + 1.0 / distance_out_m))
    flat = corners * np.array([cos_angle, 1.0])
    ahead = np.roll(flat, -1, axis=0)
    twice_area = float(np.sum(flat[:, 0] * ahead[:, 1] - flat[:, 1] * ahead[:, 0]))
    lengths = np.linalg.norm(ahead - flat, axis=1)
    edges = lengths > 0.0
    if twice_area == 0.0 or not edges.any():
        return np.zeros(len(scale), dtype=np.complex128)
    start, direction = flat[edges], (ahead - flat)[edges] / lengths[edges][:, None]
    distance = start[:, 0] * direction[:, 1] - start[:, 1] * direction[:, 0]
    begin = np.sum(start * direction, axis=1)
    whole = _edge_integral(
        scale[:, None] * distance, scale[:, None] * begin, scale[:, None] * (begin + lengths[edges])
    ).sum(axis=1)
    fraction: ComplexArray = np.sign(twice_area) * whole / (2.0 * np.pi)
    return fraction


def patch_share(wall: ArrayLike, panel: ArrayLike, fraction: ArrayLike, coupling: ArrayLike) -> ComplexArray:
    """Share F of a panel in a reflection, R = R_w + (R_p - R_w) F, from fraction f and coupling zeta; broadcast.

    F = f ((1 + R_w) + zeta (1 - R_w)) / ((1 + R_p) + zeta (1 - R_p)).  In a rigid wall this is the variational patch
    R = 1 + beta b0/(1 + beta Z) of Levine and Schwinger (Phys. Rev. 74 (1948) 958) with b0 = -2 f/cos t,
    Z = zeta/cos t and beta = cos t (1 - R_p)/(1 + R_p).  In any other wall, of admittance beta_w, it is the first order
    about that wall's own reflection with Z/(1 + beta_w Z) for Z, our own, right for infinite and for small panels.
    Neither f nor zeta knows the panel's material.
    """
    bare, own, back = (np.asarray(each, dtype=np.complex128) for each in (wall, panel, coupling))
    below = (1.0 + own) + back * (1.0 - own)
    below = np.where(np.abs(below) < 1e-9, 1e-9, below)
    share: ComplexArray = np.asarray(fraction) * ((1.0 + bare) + back * (1.0 - bare)) / below
    return share


def effective_reflection(wall: ArrayLike, *panels: tuple[ArrayLike, ArrayLike]) -> ComplexArray:
    """R_w + sum of (R_p - R_w) F over panels given as (reflection factor, share); all broadcast against each other.

    Panels must not overlap.  At single frequencies the magnitude may pass 1 a little where the rim of a panel focuses,
    as a hard panel in an absorbing wall does.
    """
    bare = np.asarray(wall, dtype=np.complex128)
    total: ComplexArray = bare
    for factor, fraction in panels:
        total = total + (np.asarray(factor) - bare) * np.asarray(fraction)
    return total


def _edge_integral(distance: FloatArray, begin: FloatArray, end: FloatArray) -> ComplexArray:
    """Distance h times the integral of (1 - e^{-j r^2})/r^2 ds, r^2 = h^2 + s^2, from begin up to end; (f, edge).

    Near the foot of the mirror point Gauss-Legendre; beyond `NEAR` the angle seen from the mirror point in closed
    form, less the tail.
    """
    first, last = np.clip(begin, -NEAR, NEAR), np.clip(end, -NEAR, NEAR)
    nodes, weights = _near_rule()
    half = 0.5 * (last - first)
    along = (0.5 * (first + last))[..., None] + half[..., None] * nodes
    square = distance[..., None] ** 2 + along**2
    small = square < 1e-8
    safe = np.where(small, 1.0, square)
    smooth = np.where(small, 1j + 0.5 * square, (1.0 - np.exp(-1j * square)) / safe)
    near = half * (smooth @ weights)
    beyond = _outside(distance, np.maximum(begin, NEAR), np.maximum(end, NEAR))
    before = _outside(distance, np.maximum(-end, NEAR), np.maximum(-begin, NEAR))
    total: ComplexArray = distance * near + beyond + before
    return total


def _outside(distance: FloatArray, begin: FloatArray, end: FloatArray) -> ComplexArray:
    """The same integral from begin to end, both at `NEAR` or beyond."""
    angle = np.arctan2(distance * (end - begin), distance**2 + begin * end)
    ripple: ComplexArray = distance * (_tail(distance, begin) - _tail(distance, end))
    return angle - ripple


def _tail(distance: FloatArray, begin: FloatArray) -> ComplexArray:
    """Integral of e^{-j r^2}/r^2 from begin to infinity along s = sqrt(begin^2 - j w), where e^{-j s^2} only fades."""
    nodes, weights = _tail_rule()
    square = (begin**2)[..., None] - 1j * nodes
    fading = (-0.5j / (np.sqrt(square) * (distance[..., None] ** 2 + square))) @ weights
    tail: ComplexArray = np.exp(-1j * (distance**2 + begin**2)) * fading
    return tail


@lru_cache(maxsize=1)
def _near_rule() -> tuple[FloatArray, FloatArray]:
    nodes, weights = np.polynomial.legendre.leggauss(NEAR_NODES)
    return frozen(nodes), frozen(weights)


@lru_cache(maxsize=1)
def _tail_rule() -> tuple[FloatArray, FloatArray]:
    nodes, weights = np.polynomial.laguerre.laggauss(TAIL_NODES)
    return frozen(nodes), frozen(weights)


def _check(*values: float) -> None:
    if not all(value > 0.0 for value in values):
        raise ValueError("a distance, a cosine or a speed of sound is zero or below; all must be above zero")
