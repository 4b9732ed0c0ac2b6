"""How loud a driver is in each direction: a piston in a wall, or a cap on a sphere that stands in for its box.

Every driver is 1 on its own axis, as the maker equalises it, and turns about that axis without change.

A driver flush in a wall is a rigid circular piston in an infinite baffle, 2 J1(x)/x with x = k a sin(theta)
(Beranek & Mellow, Acoustics, 2012; Kinsler et al., Fundamentals of Acoustics).  Where it faces elsewhere than its wall,
what leaves more than 90 degrees off its axis and before the wall has the level of 90 degrees (common practice, no
source); behind the wall there is nothing, which `Loudspeaker` sees to.  A driver in a box
is a rigid cap on a rigid sphere (`sim.loudspeakers.cap`), all round.  A cap bulges where a driver is flat: where its
height over its rim, R (1 - cos alpha), comes near a wavelength, its middle and its rim would cancel on the axis and all
else would seem loud beside it.  From k R (1 - cos alpha) = 2 on, where the axis has lost 1.5 dB, the cap therefore
shrinks with frequency, as cones do.  Drivers within their bands are far from that; a wide one that plays alone is not.

A waveguide or horn is an approximation: an effective radius at each frequency.  As long as the mouth is small against
the wavelength it radiates like a piston as large as the mouth; above, the radius shrinks so that the level is -6 dB at
half the coverage angle, k a sin(coverage/2) = 2.215, down to the radius of the driver itself.  Its phase, its ripple
and what happens outside the coverage angle are not modelled.

What this leaves out.  Edges of the box are not heard one by one.  A cone that bends or a grille is not modelled.  Far
above its crossover a driver beams with the deep nulls of a piston, which a real cone fills in.
"""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from sim.arrays import ComplexArray, FloatArray
from sim.loudspeakers.cap import cap_directivity

HALF_AMPLITUDE_X: Final = 2.21509
"""k a sin(theta) at which 2 J1(x)/x is one half."""

DEEPEST_CAP: Final = 2.0
"""Wavenumber times the height of a cap over its own rim; a higher one is taken smaller."""


def driver_directivity(
    radius_m: ArrayLike,
    cos_angle: ArrayLike,
    frequencies_hz: ArrayLike,
    speed_of_sound_m_s: float,
    *,
    sphere_radius_m: float | None,
) -> ComplexArray:
    """Pressure relative to the driver's own axis, as seen from its middle, complex, shape (m, f), all round.

    `radius_m` is one number or (f,), `cos_angle` (m,) the cosine between the direction and the axis.
    `sphere_radius_m` is that of the sphere that stands in for the box, in metres; None means flush in a large wall,
    where directions behind it mean nothing.  A radius of zero stands for a driver too small to beam by itself.

    Raises ValueError when a driver is wider than its sphere.
    """
    cosines = np.atleast_1d(np.asarray(cos_angle, dtype=np.float64))
    frequencies = np.atleast_1d(np.asarray(frequencies_hz, dtype=np.float64))
    radii = np.asarray(radius_m, dtype=np.float64)
    if sphere_radius_m is None:
        piston = piston_directivity(radii, frequencies, np.maximum(cosines, 0.0), speed_of_sound_m_s)
        return piston.astype(np.complex128)
    if (radii > sphere_radius_m * (1.0 + 1e-9)).any():
        raise ValueError(
            f"a driver of radius {float(radii.max()):.3f} m does not fit on a sphere of radius {sphere_radius_m:.3f} m"
        )
    kr = 2.0 * np.pi * sphere_radius_m / speed_of_sound_m_s * frequencies
    shallow = np.arccos(np.maximum(1.0 - DEEPEST_CAP / np.maximum(kr, 1e-9), -1.0))
    half_angle = np.minimum(np.arcsin(np.minimum(radii / sphere_radius_m, 1.0)), shallow)
    return cap_directivity(half_angle, cosines, kr)


def piston_directivity(
    radius_m: ArrayLike, frequencies_hz: ArrayLike, cos_angle: ArrayLike, speed_of_sound_m_s: float
) -> FloatArray:
    """2 J1(x)/x with x = k a sin(theta), (m, f), for the front half; 1 on the axis, negative in side lobes.

    The sign of the cosine is not looked at: call it for directions in front of the baffle only.
    """
    from scipy.special import j1  # a fifth of a second to import, so only when a driver is asked

    cosines = np.atleast_1d(np.asarray(cos_angle, dtype=np.float64))
    frequencies = np.atleast_1d(np.asarray(frequencies_hz, dtype=np.float64))
    sines = np.sqrt(np.maximum(1.0 - cosines**2, 0.0))
    x = np.multiply.outer(sines, 2.0 * np.pi / speed_of_sound_m_s * np.asarray(radius_m) * frequencies)
    # Below this 2 J1(x)/x = 1 - x^2/8 differs from 1 by less than rounding.
    x = np.maximum(x, 1e-9)
    directivity: FloatArray = 2.0 * j1(x) / x
    return directivity


def waveguide_radius(
    radius_m: float, mouth_radius_m: float, coverage_deg: float, frequencies_hz: ArrayLike, speed_of_sound_m_s: float
) -> FloatArray:
    """Effective radius (f,) in metres of a driver in a waveguide; see the head of this module.

    `coverage_deg` is the whole angle between the directions at -6 dB.
    """
    frequencies = np.maximum(np.atleast_1d(np.asarray(frequencies_hz, dtype=np.float64)), 1.0)
    holding = HALF_AMPLITUDE_X * speed_of_sound_m_s / (2.0 * np.pi * frequencies * np.sin(np.radians(coverage_deg) / 2))
    return np.asarray(np.clip(holding, radius_m, max(mouth_radius_m, radius_m)))


def waveguide_note(name: str, driver: str) -> str:
    """Say as what a waveguide is taken."""
    return f"{name}: the waveguide of its {driver} is approximated by an effective radius at each frequency"


def sphere_radius_of(box_size_m: tuple[float, float, float], largest_driver_m: float) -> float:
    """Radius in metres of the sphere of a box's volume (width, height, depth), no less than its largest driver's."""
    width, height, depth = box_size_m
    return max(float(np.cbrt(0.75 * width * height * depth / np.pi)), largest_driver_m)
