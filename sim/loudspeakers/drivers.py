"""How loud a driver is in each direction: a piston, weakened to the side and behind by the shape of its box.

A driver flush in a wall is a rigid circular piston in an infinite baffle, 2 J1(x)/x with x = k a sin(theta)
(Beranek & Mellow, Acoustics, 2012; Kinsler et al., Fundamentals of Acoustics), and nothing behind.

A driver in a box is that piston, held at its 90-degree value behind, times the pressure magnitude of a small
source on a rigid sphere as wide as the box, relative to straight ahead (Morse & Ingard, Theoretical Acoustics,
1968).  The product stands in for a rigid cap on that sphere: up to k a = 2.5, which is where a crossover hands
over, it is within 0.6 dB of the exact cap to 75 degrees, 1.5 dB at 90 and 3.5 dB at 120.  It is 1 on the axis,
as the maker equalises it; it is even all round at low frequencies, and it has no step at 90 degrees.

A sphere focuses what creeps round it into a bright spot straight behind; a box is not round and its drivers sit
off centre, so waves round its four sides do not arrive in step.  Therefore the energy of the sphere is averaged
over 20 degrees to either side (common practice, no source), which dulls the spot above 1 kHz or so and leaves
low frequencies as they are.

What this leaves out.  Edges of the box are not heard one by one, its height and depth do not count, and the
shadow has no phase beside that of the distance.  A cone that bends, a waveguide or a grille is not modelled.
Far above its crossover a driver beams with the deep nulls of a piston, which a real cone fills in.
"""

from __future__ import annotations

from functools import lru_cache
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from sim.arrays import ComplexArray, FloatArray, frozen

LARGEST_KR: Final = 130.0
"""Where the table of the sphere ends: a box 0.7 m wide at 20 kHz.  Above, its last column is held."""

SMALLEST_KR: Final = 0.02
"""Where it begins: 7 Hz for a box 0.3 m wide; below, a sphere radiates evenly to a hundredth of a decibel."""

BRIGHT_SPOT_SPREAD_DEG: Final = 20.0
"""The energy of the sphere is averaged over this many degrees to either side."""

_STEP_DEG: Final = 0.5
_LINEAR_FROM_KR: Final = 4.0
_LINEAR_STEP_KR: Final = 0.25


def driver_directivity(
    radius_m: float,
    cos_angle: ArrayLike,
    frequencies_hz: ArrayLike,
    speed_of_sound_m_s: float,
    *,
    sphere_radius_m: float | None,
) -> FloatArray:
    """Pressure relative to the driver's own axis, real, shape (m, f), all round.

    `cos_angle` (m,) is the cosine between the direction and the axis.  `sphere_radius_m` is half the width of
    the box, in metres; None means flush in a large wall, where nothing is radiated behind.  A radius of zero
    stands for a driver too small to beam by itself.
    """
    cosines = np.atleast_1d(np.asarray(cos_angle, dtype=np.float64))
    frequencies = np.atleast_1d(np.asarray(frequencies_hz, dtype=np.float64))
    piston = piston_directivity(radius_m, frequencies, np.maximum(cosines, 0.0), speed_of_sound_m_s)
    if sphere_radius_m is None:
        piston[cosines < 0.0] = 0.0
        return piston
    kr = 2.0 * np.pi * frequencies * sphere_radius_m / speed_of_sound_m_s
    return piston * box_directivity(cosines, kr)


def piston_directivity(
    radius_m: float, frequencies_hz: ArrayLike, cos_angle: ArrayLike, speed_of_sound_m_s: float
) -> FloatArray:
    """2 J1(x)/x with x = k a sin(theta), (m, f), for the front half; 1 on the axis, negative in side lobes.

    The sign of the cosine is not looked at: call it for directions in front of the baffle only.
    """
    from scipy.special import j1  # a fifth of a second to import, so only when a driver is asked

    cosines = np.atleast_1d(np.asarray(cos_angle, dtype=np.float64))
    frequencies = np.atleast_1d(np.asarray(frequencies_hz, dtype=np.float64))
    sines = np.sqrt(np.maximum(1.0 - cosines**2, 0.0))
    x = np.multiply.outer(sines, 2.0 * np.pi / speed_of_sound_m_s * radius_m * frequencies)
    # Below this 2 J1(x)/x = 1 - x^2/8 differs from 1 by less than rounding.
    x = np.maximum(x, 1e-9)
    directivity: FloatArray = 2.0 * j1(x) / x
    return directivity


def box_directivity(cos_angle: ArrayLike, kr: ArrayLike) -> FloatArray:
    """Pressure magnitude round a box relative to straight ahead, for a small source on it; shape (m, kr).

    `cos_angle` (m,) from 1 to -1, `kr` (f,) wavenumber times half the width of the box; both read from a table,
    linearly between its points.
    """
    table, kr_points = _sphere_table()
    cosines = np.atleast_1d(np.asarray(cos_angle, dtype=np.float64))
    kr_asked = np.clip(np.atleast_1d(np.asarray(kr, dtype=np.float64)), kr_points[0], kr_points[-1])
    row = np.degrees(np.arccos(np.clip(cosines, -1.0, 1.0))) / _STEP_DEG
    row_below = np.minimum(row.astype(np.int64), len(table) - 2)
    row_share = (row - row_below)[:, None]
    by_angle = table[row_below] * (1.0 - row_share) + table[row_below + 1] * row_share

    column = np.clip(np.searchsorted(kr_points, kr_asked, side="right") - 1, 0, len(kr_points) - 2)
    share = (kr_asked - kr_points[column]) / (kr_points[column + 1] - kr_points[column])
    directivity: FloatArray = by_angle[:, column] * (1.0 - share) + by_angle[:, column + 1] * share
    return directivity


@lru_cache(maxsize=1)
def _sphere_table() -> tuple[FloatArray, FloatArray]:
    """Averaged magnitude round the sphere on half-degree steps from 0 to 180, (angle, kr), and its kr points.

    It depends on angle and kr alone, so one table serves every box.  Steps of a quarter in kr follow the beat
    between waves that creep round opposite sides, whose period is 1 or more.
    """
    slow = np.geomspace(SMALLEST_KR, _LINEAR_FROM_KR, 100, endpoint=False)
    fast = np.arange(_LINEAR_FROM_KR, LARGEST_KR + 0.5 * _LINEAR_STEP_KR, _LINEAR_STEP_KR)
    kr_points = np.concatenate([slow, fast])
    angles = np.radians(np.arange(0.0, 180.0 + 0.5 * _STEP_DEG, _STEP_DEG))
    energy = np.abs(small_source_on_sphere(np.cos(angles), kr_points)) ** 2
    rings = np.sin(angles)[:, None]  # solid angle of each half-degree ring
    spread = round(BRIGHT_SPOT_SPREAD_DEG / _STEP_DEG)
    averaged = _running_sum(energy * rings, spread) / _running_sum(rings, spread)
    return frozen(np.sqrt(averaged / averaged[0])), frozen(kr_points)


def _running_sum(rows: FloatArray, reach: int) -> FloatArray:
    """Sum of each row and `reach` rows to either side, mirrored at both poles."""
    mirrored = np.pad(rows, ((reach, reach), (0, 0)), mode="reflect")
    summed = np.concatenate([np.zeros_like(mirrored[:1]), np.cumsum(mirrored, axis=0)])
    window = 2 * reach + 1
    total: FloatArray = summed[window:] - summed[:-window]
    return total


def small_source_on_sphere(cos_angle: ArrayLike, kr: ArrayLike) -> ComplexArray:
    """Far pressure of a small source on a rigid sphere, shape (m, kr), up to a factor that depends on kr alone.

    Sum over n of j^n (2n + 1) P_n(cos theta)/h_n'(kr), h_n the spherical Hankel function of the second kind
    (Morse & Ingard 1968, the cap of vanishing size).  Only ratios h_n/h_(n-1) are formed, by the recursion
    h_(n+1) = (2n+1)/x h_n - h_(n-1), so nothing overflows; the terms left out are below rounding.
    """
    cosines = np.atleast_1d(np.asarray(cos_angle, dtype=np.float64))
    x = np.atleast_1d(np.asarray(kr, dtype=np.float64))
    largest = float(x.max())
    terms = int(largest + 6.0 * np.cbrt(largest) + 20.0)
    ratio = 1.0 / x + 1j  # h_1/h_0
    inverse = np.ones(len(x), dtype=np.complex128)  # h_0/h_(n-1), here for n = 1
    # The term n = 0, with h_0' = -h_1; each coefficient is taken relative to 1/h_0.
    coefficients = [-1.0 / ratio]
    polynomials = [np.ones_like(cosines), cosines]
    phase: complex = 1.0
    for n in range(1, terms + 1):
        phase *= 1j
        slope = 1.0 - (n + 1) / x * ratio  # h_n'/h_(n-1), as h_n' = h_(n-1) - (n+1)/x h_n
        coefficients.append(phase * (2 * n + 1) * inverse / slope)
        inverse = inverse / ratio
        ratio = (2 * n + 1) / x - 1.0 / ratio
        polynomials.append(((2 * n + 1) * cosines * polynomials[n] - n * polynomials[n - 1]) / (n + 1))
    legendre = np.stack(polynomials[: terms + 1], axis=1).astype(np.complex128)
    pressure: ComplexArray = legendre @ np.stack(coefficients)
    return pressure
