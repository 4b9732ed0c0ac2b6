"""The pressure on surfaces that sound falls on, and what they send on from there: boundary elements.

On a smooth surface the pressure p obeys p/2 = p_in + integral of p (dG/dn - j k beta G) over the surface, with
G = e^{-jkr} / (4 pi r), n out of the body, and beta = rho c / Z its admittance (direct Kirchhoff-Helmholtz, locally
reacting: Kirkup, The Boundary Element Method in Acoustics; Pierce, Acoustics, section 4-6).  The pressure is even over
each element and the equation is held at their middles.  A flat wall that everything stands near goes into G as mirror
images of the targets, times the wall's reflection factor.

Where both sides of a plane are alike, a problem falls into two of half the size: of pressures that are even about the
plane, and of those that are odd.  What falls on the surface need not be alike.

At frequencies of the body's inside (a rigid box of 18 x 29 x 23 cm: 1347 Hz) the equation has more than one answer;
points inside at which the pressure must vanish pick the right one (Schenck, J. Acoust. Soc. Am. 44 (1968) 41-58).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import factorial
from typing import Any, TypeAlias

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import lapack

from sim.arrays import ComplexArray, FloatArray, IntArray
from sim.propagation.waves.elements import Elements, joined_elements

SingleComplexArray: TypeAlias = NDArray[np.complex64]
MANY = 4
"""Points along each side of an element, close by."""
CLOSEST = 0.25
"""The one point that stands for an element far away is no nearer than this part of where it is corrected."""
LENIENT = 2.0
"""How much the pressure at points inside may be off 0.  Held to 0, what elements miss there, some per cent beside a
driver, is spread over all of them (0.3 dB, 1 dB in dips); with this half of it is.  At a resonance of the inside the
answer that does not belong there grows without bound, and is found out all the same."""


@dataclass(frozen=True, slots=True)
class Mirror:
    """A flat wall near a body, or several in turn, that goes into the kernel.

    Attributes
    ----------
    turn, shift
        (3, 3) and (3,): an image of x is turn @ x + shift, in metres.
    """

    turn: FloatArray
    shift: FloatArray

    def image(self, points: FloatArray) -> FloatArray:
        """Images (..., 3) of points (..., 3)."""
        return np.asarray(points @ self.turn.T + self.shift)


HERE = Mirror(np.eye(3), np.zeros(3))
"""No mirror at all."""


def mirror_at(normal: FloatArray, offset_m: float) -> Mirror:
    """The mirror in the plane normal . x = offset."""
    return Mirror(np.eye(3) - 2.0 * np.outer(normal, normal), 2.0 * offset_m * normal)


def after(first: Mirror, second: Mirror) -> Mirror:
    """Both mirrors in turn."""
    return Mirror(second.turn @ first.turn, second.turn @ first.shift + second.shift)


def mirrored_elements(elements: Elements, mirror: Mirror) -> Elements:
    """The images of elements, facing the air as these do."""
    return Elements(mirror.image(elements.corners)[:, [2, 1, 0, 3]], elements.face)


class Sight:
    """Elements as seen from fixed targets: all that does not depend on frequency, made once.

    elements; targets (m, 3) in metres; own: whether they are the middles of those very elements.
    """

    def __init__(self, elements: Elements, targets: FloatArray, *, own: bool = False) -> None:
        from sim.propagation.waves.near_kernels import POWERS, close_pairs, count_close

        self.count = len(targets)
        centre = elements.middles.mean(axis=0)
        many, many_weights = elements.points(MANY)
        shapes = np.array(elements.shapes)
        sizes = np.stack([elements.areas_m2 / (4.0 * np.pi), (CLOSEST * elements.reach_m) ** 2], axis=1)
        here = np.array(targets, dtype=np.float64)
        middles, reach = np.array(elements.middles), np.array(elements.reach_m)
        close = int(count_close(middles, reach, here))
        self.pairs: IntArray = np.zeros((close, 2), dtype=np.int64)
        self.series: FloatArray = np.zeros((close, 2, POWERS + 1))
        corners, normals = np.array(elements.corners), np.array(elements.normals)
        weights = many_weights / (4.0 * np.pi)
        close_pairs(corners, normals, many, weights, middles, shapes, sizes, reach, here, own, self.pairs, self.series)
        self.targets = np.ascontiguousarray((here - centre).T, dtype=np.float32)
        self.middles = np.ascontiguousarray(middles - centre, dtype=np.float32)
        self.shapes = np.ascontiguousarray(shapes, dtype=np.float32)
        self.sizes = np.ascontiguousarray(sizes, dtype=np.float32)
        self.normals = np.ascontiguousarray(normals, dtype=np.float32)

    def add(
        self,
        wavenumber: complex,
        admittance: ComplexArray,
        factor: complex,
        matrix: SingleComplexArray,
        *,
        dipoles: bool = True,
    ) -> None:
        """Add `factor` times what each element (n) sends to each target (m) to a matrix (n, m).

        wavenumber: k in 1/m, its imaginary part negative or zero.  admittance: beta (n,).  dipoles: whether dG/dn is
        in it, or nothing but - j k beta G.
        """
        from sim.propagation.waves.near_kernels import POWERS, add_corrections, add_layers

        drive = np.asarray(-1j * wavenumber * admittance, dtype=np.complex128)
        parts = np.ascontiguousarray(np.stack([drive.real, drive.imag], axis=1), dtype=np.float32)
        k, damping = np.float32(wavenumber.real), np.float32(-wavenumber.imag)
        add_layers(
            self.targets,
            self.middles,
            self.shapes,
            self.sizes,
            self.normals if dipoles else np.zeros_like(self.normals),
            parts,
            k,
            damping,
            np.complex64(factor),
            matrix,
        )
        powers = [(-1j * wavenumber) ** n / factorial(n) for n in range(POWERS + 1)]
        first = np.array([dipoles * power * (1 - n) for n, power in enumerate(powers)], dtype=np.complex128)
        add_corrections(
            self.pairs, self.series, first, np.array(powers, dtype=np.complex128), drive, complex(factor), matrix
        )


class Surface:
    """A surface whose pressure is asked for, at as many frequencies as one likes.

    elements; mirrors: images of the targets that the walls in the kernel make, without `HERE`; inner: (q, 3) points
    inside bodies at which the pressure has to vanish, none below the first resonance of their inside.  across: the
    plane of which elements and points are one half; walls are square to it.

    Attributes
    ----------
    elements
        Those of the whole: where there is a plane, the given ones and then their images.
    """

    def __init__(
        self,
        elements: Elements,
        mirrors: Sequence[Mirror] = (),
        inner: FloatArray | None = None,
        across: Mirror | None = None,
    ) -> None:
        self._half, self._across = elements, across
        self.elements = elements if across is None else joined_elements([elements, mirrored_elements(elements, across)])
        self.mirrors = tuple(mirrors)
        self.inner = np.zeros((0, 3)) if inner is None else inner
        sides = [self.mirrors_of(HERE)] + ([] if across is None else [self.mirrors_of(across)])
        self._own = [
            [Sight(elements, mirror.image(elements.middles), own=mirror is HERE) for mirror in side] for side in sides
        ]
        self._inside = [[Sight(elements, mirror.image(self.inner)) for mirror in side] for side in sides]

    def mirrors_of(self, side: Mirror) -> list[Mirror]:
        """A mirror, and it together with each of the walls."""
        return [side, *(wall if side is HERE else after(wall, side) for wall in self.mirrors)]

    @property
    def places(self) -> FloatArray:
        """(n + q, 3) where the incident pressure has to be given: middles of elements, then points inside."""
        there = [] if self._across is None else [self._across.image(self.inner)]
        return np.concatenate([self.elements.middles, self.inner, *there])

    def pressure(
        self,
        wavenumber: complex,
        incident: NDArray[Any],
        admittance: ComplexArray | None = None,
        factors: Sequence[complex] = (),
    ) -> SingleComplexArray:
        """Pressure on the elements, (n, s), from what falls on `places`, (n + q, s) complex.

        wavenumber: k in 1/m, real or with a negative imaginary part.  admittance: rho c / Z of each element (n,), rigid
        if left out.  factors: reflection factor of each of the mirrors.

        Raises
        ------
        ArithmeticError
            If the equations have no answer, such as where two elements are one.
        """
        n, q = len(self._half), len(self.inner)
        beta = np.zeros(n, dtype=np.complex128) if admittance is None else admittance[:n]
        sides = [
            self._sent_to(own, inside, wavenumber, beta, (1.0, *factors))
            for own, inside in zip(self._own, self._inside, strict=True)
        ]
        square, _ = sides[0]
        square[np.arange(n), np.arange(n)] += np.complex64(0.5)
        right = np.asarray(incident, dtype=np.complex64)
        size = sum((np.abs(points) ** 2).sum(axis=0) for _, points in sides)
        if self._across is None:
            return _solved(*sides[0], size, right)
        here = np.concatenate([right[:n], right[2 * n : 2 * n + q]])
        there = np.concatenate([right[n : 2 * n], right[2 * n + q :]])
        (square, points), (beyond, points_beyond) = sides
        odd = _solved(square - beyond, points - points_beyond, size, here - there)
        square += beyond
        even = _solved(square, points + points_beyond, size, here + there)
        return np.concatenate([even + odd, even - odd]) * np.complex64(0.5)

    def _sent_to(
        self,
        own: list[Sight],
        inside: list[Sight],
        wavenumber: complex,
        beta: ComplexArray,
        factors: tuple[complex, ...],
    ) -> tuple[SingleComplexArray, SingleComplexArray]:
        """What elements send to elements (n, n) and to points inside (n, q), sender first; with a minus sign."""
        n, q = len(self._half), len(self.inner)
        square, points = np.zeros((n, n), dtype=np.complex64), np.zeros((n, q), dtype=np.complex64)
        for sight, inner, factor in zip(own, inside, factors, strict=True):
            sight.add(wavenumber, beta, -factor, square)
            if q:
                inner.add(wavenumber, beta, -factor, points)
        return square, points


def _solved(
    square: SingleComplexArray, inside: SingleComplexArray, size: NDArray[Any], incident: SingleComplexArray
) -> SingleComplexArray:
    """Pressure (n, s) from matrices (n, n) and (n, q), sender first, and what falls on both (n + q, s).

    size: (q,) sum of squares of what all elements send to each point inside.
    """
    n, q = inside.shape
    matrix = square
    if q:
        matrix = np.zeros((n + q, n + q), dtype=np.complex64)
        matrix[:n, :n], matrix[:n, n:], matrix[n:, :n] = square, inside, inside.conj().T
        matrix[np.arange(n, n + q), np.arange(n, n + q)] = -LENIENT * size
    right = np.array(incident, dtype=np.complex64, order="F")
    # in two steps, of which the long one lets other threads work: in one step (gesv) the library holds Python's lock
    factors, pivots, info = lapack.cgetrf(matrix.T, overwrite_a=True)
    if info != 0:
        raise ArithmeticError("the pressure on the surfaces has no single answer")
    found, _ = lapack.cgetrs(factors, pivots, right, overwrite_b=True)
    return np.ascontiguousarray(found[:n])


def sent(
    sight: Sight, wavenumber: complex, pressure: SingleComplexArray, admittance: ComplexArray | None = None
) -> SingleComplexArray:
    """What surfaces of pressure (n, s) send to the targets of a sight: (m, s), without what falls there directly."""
    n = len(pressure)
    beta = np.zeros(n, dtype=np.complex128) if admittance is None else admittance
    rows = np.zeros((n, sight.count), dtype=np.complex64)
    sight.add(wavenumber, beta, 1.0, rows)
    return np.asarray(rows.T @ pressure)
