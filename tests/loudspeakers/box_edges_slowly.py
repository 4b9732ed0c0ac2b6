"""A driver on the front of a rigid box by its edges, as `sim.loudspeakers.box_kernels` does it, in plain arrays."""

from __future__ import annotations

from typing import Final

import numpy as np

from sim.arrays import ComplexArray, FloatArray
from sim.loudspeakers.box_solver import Disc, Size
from sim.loudspeakers.pistons import piston_directivity

OPENING: Final = 1.5
"""Outer angle of the wedge in units of 180 degrees."""
_BEHIND: Final = 1.5 * np.pi
_BACK_ENDS, _BACK_FADES = 0.4, 0.2
"""Cosine from the axis at which what the edges of the back send forward is dropped, and over how much it fades."""
_LEAST_SINE: Final = 0.05


def fresnel_parts(u: FloatArray) -> ComplexArray:
    """F + j g of the Fresnel integrals at u sqrt(2/pi) for u >= 0, within 0.002.

    Abramowitz & Stegun, Handbook of Mathematical Functions (1964), 7.3.32 and 7.3.33.
    """
    z = np.sqrt(2.0 / np.pi) * u
    parts = np.empty(z.shape, dtype=np.complex128)
    parts.real = (1.0 + 0.926 * z) / (2.0 + z * (1.792 + 3.104 * z))
    parts.imag = 1.0 / (2.0 + z * (4.142 + z * (3.492 + 6.670 * z)))
    return parts


def wedge(angle: FloatArray, sine: FloatArray, distance_m: FloatArray, wavenumbers: FloatArray) -> ComplexArray:
    """Coefficient of Kouyoumjian and Pathak for sound that grazes one face of a rigid 270 degree wedge, (m, f).

    `angle` (m,) from that face, `sine` (m,) of the angle between direction and edge, `distance_m` (m,) their L.
    """
    total = np.zeros((len(angle), len(wavenumbers)), dtype=np.complex128)
    for sign in (-1.0, 1.0):
        turns = np.where((sign > 0.0) & (angle > 0.5 * np.pi), 2.0 * np.pi * OPENING, 0.0)
        cosine = np.abs(np.cos(0.5 * (turns - angle)))  # a = 2 cosine^2
        half = (np.pi + sign * angle) / (2.0 * OPENING)
        # cot x sqrt(L a) has a limit where both cosine and tangent vanish
        near = np.abs(cosine) < 1e-6
        steep = np.cos(half) * cosine / np.where(near, 1.0, np.sin(half))
        # at the boundary of its shadow the lit side is meant
        steep = np.where(near, OPENING, steep) * np.sqrt(2.0 * distance_m)
        u = np.sqrt(2.0 * distance_m)[:, None] * cosine[:, None] * np.sqrt(wavenumbers)
        total += steep[:, None] * fresnel_parts(u)
    coefficient: ComplexArray = (-np.exp(-0.25j * np.pi) / (2.0 * OPENING * sine))[:, None] * total
    return coefficient


def stretch_weight(before: FloatArray, after: FloatArray) -> ComplexArray:
    """Weight of an edge between its two ends: 1 for long ones; sqrt of the phases (m, f), negative for ends passed."""
    weight: ComplexArray = _up_to(before) + _up_to(after) - 1.0
    return weight


def _up_to(u: FloatArray) -> ComplexArray:
    size = np.abs(u)
    parts = fresnel_parts(size)
    tail = (np.exp(0.25j * np.pi) / np.sqrt(2.0)) * (parts.imag - 1j * parts.real) * np.exp(-1j * size**2)
    return np.asarray(np.where(u < 0.0, tail, 1.0 - tail))


def by_edges_slowly(
    size_m: Size, disc: Disc, radius_m: FloatArray, directions: FloatArray, wavenumbers: FloatArray
) -> ComplexArray:
    """Far pressure (m, f) toward (forward, right, up) unit vectors (m, 3), a piston in a baffle being 1 on its axis.

    `radius_m` (f,) of the driver at each frequency.  The phase is that beside e^{-jkr} with r from the driver's middle.
    """
    forward = directions[:, 0]
    front = forward >= 0.0
    total = np.zeros((len(directions), len(wavenumbers)), dtype=np.complex128)
    turns = wavenumbers / (2.0 * np.pi)
    total[front] = piston_directivity(radius_m, turns, forward[front], 1.0)
    along_baffle = piston_directivity(radius_m, turns, [0.0], 1.0)[0]
    width, height, depth = size_m
    for column, place, across, other, length in (
        (1, disc.right_m, width, disc.up_m, height),
        (2, disc.up_m, height, disc.right_m, width),
    ):
        for side in (-1.0, 1.0):
            near_m = 0.5 * across - side * place
            outward, lengthwise = side * directions[:, column], directions[:, 3 - column]
            seen = np.flatnonzero((forward >= -1e-12) | (outward >= -1e-12))
            edge = _Edge(near_m, other, length, outward[seen], lengthwise[seen], forward[seen], wavenumbers)
            total[seen] += along_baffle * edge.front()
            seen = np.flatnonzero((forward < _BACK_ENDS) & ((forward <= 1e-12) | (outward >= -1e-12)))
            edge = _Edge(near_m, other, length, outward[seen], lengthwise[seen], forward[seen], wavenumbers)
            fading = np.minimum((_BACK_ENDS - forward[seen]) / _BACK_FADES, 1.0)[:, None]
            total[seen] += along_baffle * fading * edge.back(depth)
    return total


class _Edge:
    """One edge of the front with the edge of the back behind it."""

    def __init__(
        self,
        near_m: float,
        place_m: float,
        length_m: float,
        outward: FloatArray,
        lengthwise: FloatArray,
        forward: FloatArray,
        wavenumbers: FloatArray,
    ) -> None:
        self.near_m, self.place_m, self.half_m = near_m, place_m, 0.5 * length_m
        self.outward, self.lengthwise, self.forward, self.k = outward, lengthwise, forward, wavenumbers
        self.sine = np.maximum(np.sqrt(np.maximum(1.0 - lengthwise**2, 0.0)), _LEAST_SINE)

    def front(self) -> ComplexArray:
        angle = np.arctan2(self.forward, -self.outward) % (2.0 * np.pi)
        spread = self.near_m / self.sine
        sent = wedge(np.minimum(angle, _BEHIND), self.sine, spread * self.sine**2, self.k) / np.sqrt(spread)[:, None]
        late = self.near_m * (self.sine - self.outward)
        return np.asarray(sent * self._ends(self.near_m) * np.exp(-1j * late[:, None] * self.k))

    def back(self, depth_m: float) -> ComplexArray:
        angle = np.arctan2(self.outward, self.forward) % (2.0 * np.pi)
        near, far = self.near_m / self.sine, depth_m / self.sine
        first = wedge(np.full(len(angle), _BEHIND), self.sine, near * far / (near + far) * self.sine**2, self.k)
        second = wedge(np.minimum(angle, _BEHIND), self.sine, far * self.sine**2, self.k)
        sent = first * second / np.sqrt(near * far)[:, None] * self._ends(self.near_m + depth_m)
        late = (self.near_m + depth_m) * self.sine - self.near_m * self.outward + depth_m * self.forward
        return np.asarray(sent * np.exp(-1j * late[:, None] * self.k))

    def _ends(self, across_m: float) -> ComplexArray:
        """Weight of the stretch between the ends of the edge, for sound that went `across_m` at right angles to it."""
        leaves = self.place_m + across_m * self.lengthwise / self.sine
        least = np.sqrt(across_m**2 + (leaves - self.place_m) ** 2) - leaves * self.lengthwise
        roots = []
        for side in (-1.0, 1.0):
            end = side * self.half_m
            longer = np.sqrt(across_m**2 + (end - self.place_m) ** 2) - end * self.lengthwise - least
            sign = np.where(side * (end - leaves) >= 0.0, 1.0, -1.0)
            roots.append((sign * np.sqrt(np.maximum(longer, 0.0)))[:, None] * np.sqrt(self.k))
        return stretch_weight(*roots)
