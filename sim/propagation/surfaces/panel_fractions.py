"""How much of many mirrored paths a panel governs, at many frequencies at once.

The same share F as `sim.acoustics.patches.fraction_of_panel`, in another form.  Every edge, from b to e along its line
and h beside the reflection point, gives H(h, e) - H(h, b) with, for kappa = k/2 (1/d1 + 1/d2) and r^2 = h^2 + x^2,

    H(h, x) = sgn(h x) [pi/2 - atan(|h|/|x|) - pi/2 erfc(sqrt(j kappa) |h|)
                        + |h| times the integral of e^{-j kappa (h^2 + s^2)}/(h^2 + s^2) ds from |x| to infinity]

The sum over the edges over 2 pi is F (the Fresnel integral over an area turned into one along its rim; Born & Wolf,
Principles of Optics).  The third term turns as e^{-j kappa h^2}, the last as e^{-j kappa r^2}; what is left of both is
smooth over the logarithm of frequency.  So the turning is worked out at every frequency, and the rest at a few knots
and interpolated.  No panel is left out for being far: F fades by itself.
"""

from __future__ import annotations

from functools import lru_cache
from typing import Final

import numpy as np

from sim.arrays import ComplexArray, FloatArray, IntArray

KNOTS: Final = 64
"""Frequencies at which the smooth parts are worked out; F is within 1e-3 of the integral."""
NODE_STEP: Final = 0.4
"""Step of the trapezoidal rule in the logarithm; with poles pi/4 off it is right within e^{-pi^2/(2 step)}."""
LARGEST_NODE: Final = 5.0
SNAP_M: Final = 1e-9
"""Nearer to an edge or a corner than this is on it; there H is zero, and it is smooth through zero."""
SMALLEST: Final = 1e-4
LARGEST: Final = 1e2
PER_DECADE: Final = 32
"""Scaled lengths in the table of the one slow integral."""
USED_FROM: Final = 1e-3
"""Its splines are within 1e-4 from here on; near their ends they are not."""
LOWEST_HZ: Final = 1.0
"""Below this, shares and layers are taken as there."""


def fractions_of_polygons(corners: FloatArray, stretch: FloatArray, wavenumber: FloatArray) -> ComplexArray:
    """Share F (m, f) of polygons (m, n, 2) about their mirror points; kappa = `stretch` (m,) times `wavenumber` (f,).

    Corners in metres, either way round, along the plane of incidence already shortened by the cosine.
    """
    from scipy.special import wofz  # a fifth of a second to import, so only where a panel is asked

    from sim.propagation.surfaces.kernels import add_turned

    ahead = np.roll(corners, -1, axis=1)
    sense = np.sign(np.sum(corners[..., 0] * ahead[..., 1] - corners[..., 1] * ahead[..., 0], axis=1))
    lengths = np.linalg.norm(ahead - corners, axis=2)
    along = (ahead - corners) / np.where(lengths > 0.0, lengths, 1.0)[..., None]
    beside = corners[..., 0] * along[..., 1] - corners[..., 1] * along[..., 0]
    begin = np.sum(corners * along, axis=2)
    ends = np.stack([begin, begin + lengths], axis=2)  # (m, n, 2)
    beside[np.abs(beside) < SNAP_M], ends[np.abs(ends) < SNAP_M] = 0.0, 0.0
    sign = np.sign(beside)[..., None] * np.sign(ends) * np.array([-1.0, 1.0])
    constant = (sign * (0.5 * np.pi - np.arctan2(np.abs(beside)[..., None], np.abs(ends)))).sum(axis=(1, 2))

    knots = _knots(wavenumber)
    kappa = np.sqrt(stretch[:, None] * knots)[:, None, :]  # (m, 1, knot)
    heights = np.abs(beside)[..., None] * kappa  # (m, n, knot)
    foot = -0.5 * np.pi * sign.sum(axis=2)[..., None] * wofz(np.exp(0.75j * np.pi) * heights)
    rims = sign[..., None] * _faded(heights[:, :, None, :], np.abs(ends)[..., None] * kappa[:, :, None, :])
    rims = rims[:, :, 0] + np.roll(rims[:, :, 1], 1, axis=1)  # the end of an edge is the begin of the next

    total = np.broadcast_to(constant[:, None], (len(corners), len(wavenumber))).astype(np.complex128)
    below, part = _between(wavenumber, knots)
    steps = np.diff(wavenumber)[1:]
    even = bool(steps.size and np.ptp(steps) < 1e-9 * wavenumber[-1])
    delay = stretch[:, None] * np.stack([beside**2, np.sum(corners**2, axis=2)])
    for smooth, far in ((foot, delay[0]), (rims, delay[1])):
        add_turned(total, np.ascontiguousarray(smooth), far, wavenumber, below, part, even)
    fraction: ComplexArray = total * (sense / (2.0 * np.pi))[:, None]
    return fraction


def _faded(height: FloatArray, along: FloatArray) -> ComplexArray:
    """What `fading` gives, from a table over the logarithms of both lengths; outside it, by `fading` itself."""
    from sim.propagation.surfaces.kernels import spline_between

    real, imaginary = _table()
    shape = np.broadcast_shapes(height.shape, along.shape)
    pair = [np.broadcast_to(each, shape).ravel() for each in (height, along)]
    rest = np.flatnonzero((np.minimum(*pair) < USED_FROM) | (np.maximum(*pair) > LARGEST))
    values = np.empty(len(pair[0]), dtype=np.complex128)
    places = [PER_DECADE * np.log10(np.clip(each, SMALLEST, LARGEST) / SMALLEST) for each in pair]
    spline_between(real, imaginary, *places, values)
    if rest.size:
        values[rest] = fading(pair[0][rest], pair[1][rest])
    return values.reshape(shape)


@lru_cache(maxsize=1)
def _table() -> tuple[FloatArray, FloatArray]:
    """Spline coefficients of `fading`, real and imaginary part, over both scaled lengths."""
    from scipy.ndimage import spline_filter

    decades = round(float(np.log10(LARGEST / SMALLEST)))
    scale = np.geomspace(SMALLEST, LARGEST, PER_DECADE * decades + 1)
    values = fading(scale[:, None], scale[None, :])
    return spline_filter(values.real, order=3, mode="nearest"), spline_filter(values.imag, order=3, mode="nearest")


def fading(height: FloatArray, along: FloatArray) -> ComplexArray:
    """|h| e^{j r^2} times the integral of e^{-j (h^2 + s^2)}/(h^2 + s^2) from x to infinity, for scaled h and x >= 0.

    Along s^2 = x^2 - j t^2 nothing turns: -j h times the integral of 2 t e^{-t^2}/(2 sqrt(x^2 - j t^2) (r^2 - j t^2)),
    taken in the logarithm of t, where one rule serves for all sizes.
    """
    square, across = along**2, height**2 + along**2
    least = np.sqrt(across[across > 0.0]).min(initial=1.0)
    nodes = np.exp(np.arange(np.log(1e-5 * max(least, 1e-9)), np.log(LARGEST_NODE), NODE_STEP))
    total = np.zeros(np.broadcast_shapes(height.shape, along.shape), dtype=np.complex128)
    for node in nodes:
        turned = -1j * node**2
        total += (node**2 * np.exp(-(node**2))) / (np.sqrt(square + turned) * (across + turned))
    faded: ComplexArray = -1j * NODE_STEP * height * total
    return faded


def _knots(wavenumber: FloatArray) -> FloatArray:
    """The wavenumbers themselves when they are few, else `KNOTS` of them evenly spread over the logarithm."""
    if len(wavenumber) <= KNOTS:
        return wavenumber
    return np.geomspace(wavenumber.min(), wavenumber.max(), KNOTS)


def _between(wavenumber: FloatArray, knots: FloatArray) -> tuple[IntArray, FloatArray]:
    """Knot below each wavenumber, and how far on toward the next."""
    if len(knots) == len(wavenumber):
        return np.arange(len(knots)), np.zeros(len(knots))
    place = np.interp(np.log(wavenumber), np.log(knots), np.arange(len(knots), dtype=np.float64))
    below = np.minimum(place.astype(np.int64), len(knots) - 2)
    return below, place - below
