"""What drivers on the front of a rigid box radiate, by boundary elements and reciprocity, at one frequency.

By reciprocity a driver sends in a direction what its disc receives of a plane wave from there: the mean pressure over
the disc.  On the surface of a rigid body, with e^{+j omega t} and G = e^{-jkr}/(4 pi r), p/2 = p_in + integral of
p dG/dn over the surface (direct Kirchhoff-Helmholtz equation; Schenck, J. Acoust. Soc. Am. 44 (1968) 41-58), and all of
the front lies in one plane, where dG/dn is zero: so the mean over a disc is 2 p_in, which is the piston in a
baffle, and twice the integral over the other faces.

A box has three planes of symmetry: eight problems of an eighth of the size, one for each way of being even or odd.
Those that no driver hears are left out.  Elements are rectangles of constant pressure, finer toward the edges, where it
has a kink.  The static part of each integral is the solid angle, exactly; over a far element the phase of the wave is
straight, and near ones take 2 x 2 points.  Inside the box the same integral has to give -p_in (Schenck's points); these
join the equations softly, so that resonances of the inside do no harm and no single point has to be met at the cost of
the surface.  The transposed problem is solved, one right-hand side for each driver, whatever the number of directions.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import product
from typing import Final

import numpy as np
from numpy.typing import NDArray

from sim.arrays import ComplexArray, FloatArray, IntArray
from sim.loudspeakers.pistons import piston_directivity

Size = tuple[float, float, float]
SingleArray = NDArray[np.float32]
SingleComplexArray = NDArray[np.complex64]
ELEMENTS_PER_WAVELENGTH: Final = 8.0
LARGEST_ELEMENT: Final = 1.0 / 12.0
"""No element is longer than this fraction of the cube root of the box's volume, however long the wave is."""
TOWARD_EDGES: Final = 0.5
"""How much finer elements are toward the edges: 0 even, 1 as cosine."""
INNER_POINTS: Final = 14
"""Points in an eighth of the inside at which the total has to vanish."""
NEAR: Final = 8.0
"""Elements nearer than this many of their half lengths are taken by 2 x 2 points."""
SOFTNESS: Final = 0.1
"""How far what is left inside may differ from nothing, in units of the strength that mends it."""
_GAUSS: Final = 0.5 / np.sqrt(3.0)
_DISC_RINGS, _DISC_SPOKES = 3, 8


@dataclass(frozen=True, slots=True)
class Disc:
    """A driver on the front: (right, up) of its middle from the middle of the front, and its radius, in metres."""

    right_m: float
    up_m: float
    radius_m: float


@dataclass(frozen=True, slots=True)
class Eighth:
    """Elements (n,) of the eighth of a box at positive forward, right and up from its middle.

    `middles` and `halves` (n, 3) in metres, half lengths being zero across the element; `axis` (n,) 0 to 2 of its
    normal, which is positive.  Elements of one axis are the rows and columns
    of its two `places`, the middles (i,) along forward, right and up, in that order.
    """

    middles: FloatArray
    halves: FloatArray
    axis: IntArray
    places: tuple[FloatArray, FloatArray, FloatArray]


def eighth_of(size_m: Size, longest_m: float) -> Eighth:
    """Cut an eighth of a box (width, height, depth) into elements no longer than about `longest_m`."""
    half = 0.5 * np.array([size_m[2], size_m[0], size_m[1]])
    cuts = []
    for length in half:
        even = np.linspace(0.0, 1.0, max(2, int(np.ceil(length / longest_m))) + 1)
        cuts.append(length * ((1.0 - TOWARD_EDGES) * even + TOWARD_EDGES * np.sin(0.5 * np.pi * even)))
    middles, halves, axes = [], [], []
    for axis in range(3):
        a, b = (axis + 1) % 3, (axis + 2) % 3
        at_a, at_b = (0.5 * (cuts[i][1:] + cuts[i][:-1]) for i in (a, b))
        half_a, half_b = (0.5 * np.diff(cuts[i]) for i in (a, b))
        count = len(at_a) * len(at_b)
        middle, extent = np.empty((count, 3)), np.zeros((count, 3))
        middle[:, axis] = half[axis]
        middle[:, a], middle[:, b] = (each.ravel() for each in np.meshgrid(at_a, at_b, indexing="ij"))
        extent[:, a], extent[:, b] = (each.ravel() for each in np.meshgrid(half_a, half_b, indexing="ij"))
        middles.append(middle)
        halves.append(extent)
        axes.append(np.full(count, axis))
    forward, right, up = (0.5 * (cut[1:] + cut[:-1]) for cut in cuts)
    return Eighth(np.concatenate(middles), np.concatenate(halves), np.concatenate(axes), (forward, right, up))


def elements_of(size_m: Size, wavenumber: float) -> Eighth:
    """Elements fine enough for a wavenumber in rad/m."""
    longest = 2.0 * np.pi / max(wavenumber, 1e-9) / ELEMENTS_PER_WAVELENGTH
    return eighth_of(size_m, min(longest, LARGEST_ELEMENT * float(np.cbrt(np.prod(size_m)))))


def layer(points: FloatArray, elements: Eighth, signs: FloatArray, wavenumber: float) -> SingleComplexArray:
    """Integral of dG/dn over each element, seen from points (m, 3): complex (m, n) in single precision.

    `signs` (3,) of +-1 put the elements into another eighth of the box.
    """
    found = np.zeros((len(points), len(elements.middles)), dtype=np.complex64)
    for axis in range(3):
        mine = elements.axis == axis
        a, b = (axis + 1) % 3, (axis + 2) % 3
        middles, halves = elements.middles[mine] * signs, elements.halves[mine].astype(np.float32)
        apart = (middles[:1, axis] - points[:, axis]).astype(np.float32)
        rows = np.flatnonzero(np.abs(apart) > 1e-6)  # in its own plane an element sends nothing
        height = apart[rows, None]
        at_a = (middles[:, a] - points[rows, None, a]).astype(np.float32)
        at_b = (middles[:, b] - points[rows, None, b]).astype(np.float32)
        half_a, half_b = halves[:, a], halves[:, b]
        angle = _solid_angle(height, at_a, at_b, half_a, half_b)
        k = np.float32(wavenumber)
        squared = at_a * at_a + at_b * at_b + height * height
        kr = k * np.sqrt(squared)
        # the phase over a far element is straight: sin(x)/x to the second order along each side
        bent = 1.0 - (k * k / np.float32(6.0)) * ((at_a * half_a) ** 2 + (at_b * half_b) ** 2) / squared
        sent = np.empty(angle.shape, dtype=np.complex64)
        cosine, sine = np.cos(kr), np.sin(kr)
        angle_bent = angle * bent
        sent.real = angle_bent * (cosine + kr * sine)
        sent.imag = angle_bent * (kr * cosine - sine)
        reach = np.float32(NEAR) * np.maximum(half_a, half_b)
        row, column = np.nonzero(squared < reach * reach)
        near = (height[row, 0], at_a[row, column], at_b[row, column], half_a[column], half_b[column])
        sent[row, column] = angle[row, column] + _wave_part(*near, k)
        found[np.ix_(rows, np.flatnonzero(mine))] = np.float32(-signs[axis] / (4.0 * np.pi)) * sent
    return found


def _solid_angle(
    height: SingleArray, at_a: SingleArray, at_b: SingleArray, half_a: SingleArray, half_b: SingleArray
) -> SingleArray:
    """Solid angle of rectangles, with the sign of their height, by the arc tangent of each corner."""
    total = np.zeros(at_a.shape, dtype=np.float32)
    for sign_a, sign_b in product((-1.0, 1.0), repeat=2):
        corner_a, corner_b = at_a + np.float32(sign_a) * half_a, at_b + np.float32(sign_b) * half_b
        away = np.sqrt(corner_a * corner_a + corner_b * corner_b + height * height)
        total += np.float32(sign_a * sign_b) * np.arctan(corner_a * corner_b / (height * away))
    return total


def _wave_part(
    height: SingleArray, at_a: SingleArray, at_b: SingleArray, half_a: SingleArray, half_b: SingleArray, k: np.float32
) -> SingleComplexArray:
    """What the wave adds to the solid angle of near elements, by 2 x 2 points."""
    total = np.zeros(at_a.shape, dtype=np.complex64)
    for sign_a, sign_b in product((-_GAUSS, _GAUSS), repeat=2):
        there_a, there_b = at_a + np.float32(2.0 * sign_a) * half_a, at_b + np.float32(2.0 * sign_b) * half_b
        squared = there_a * there_a + there_b * there_b + height * height
        kr = k * np.sqrt(squared)
        total += ((1.0 + 1j * kr) * np.exp(-1j * kr) - 1.0) / (squared * np.sqrt(squared))
    return height * half_a * half_b * total


def inner_points(size_m: Size) -> FloatArray:
    """Points (m, 3) in the eighth of the inside, the same for every box but for its size."""
    half = 0.5 * np.array([size_m[2], size_m[0], size_m[1]])
    # low-discrepancy points of the plastic number, which lie in no regular pattern (Roberts 2018, from memory)
    steps = np.array([0.8191725134, 0.6710436067, 0.5497004779])
    points: FloatArray = half * (0.08 + 0.76 * ((0.5 + np.arange(1, INNER_POINTS + 1)[:, None] * steps) % 1.0))
    return points


def disc_points(disc: Disc) -> tuple[FloatArray, FloatArray]:
    """Points (m, 2) right and up, and weights (m,) with the sum 1, of a disc: Gauss over the squared radius."""
    nodes, weights = np.polynomial.legendre.leggauss(_DISC_RINGS)
    radius = disc.radius_m * np.sqrt(0.5 * (nodes + 1.0))
    turn = 2.0 * np.pi * (np.arange(_DISC_SPOKES) + 0.5) / _DISC_SPOKES
    right = disc.right_m + radius[:, None] * np.cos(turn)
    up = disc.up_m + radius[:, None] * np.sin(turn)
    each = np.repeat(0.5 * weights / _DISC_SPOKES, _DISC_SPOKES)
    return np.column_stack([right.ravel(), up.ravel()]), each


def radiated(size_m: Size, discs: Sequence[Disc], directions: FloatArray, wavenumber: float) -> ComplexArray:
    """What discs on the front of a box (width, height, depth) send toward unit vectors (m, 3): complex (disc, m).

    Directions are (forward, right, up).  The scale is that of a piston in an infinite baffle being 2 on its axis, which
    is also twice a point in the open; the phase that beside e^{-jkr} with r from the middle of the disc.
    """
    elements = elements_of(size_m, wavenumber)
    front_m = 0.5 * size_m[2]
    inner = inner_points(size_m)
    mirrors = np.array(list(product((1.0, -1.0), repeat=3)))  # the eighths, (8, 3)
    hearing = []
    for disc in discs:
        places, weights = disc_points(disc)
        points = np.column_stack([np.full(len(places), front_m), places])
        hearing.append([2.0 * (weights @ layer(points, elements, signs, wavenumber)) for signs in mirrors])
    heard = np.array(hearing)  # (disc, eighth, n)
    surface = [layer(elements.middles, elements, signs, wavenumber) for signs in mirrors]
    inside = [layer(inner, elements, signs, wavenumber) for signs in mirrors]
    count = len(elements.middles)
    sources = np.zeros((len(discs), 8, count), dtype=np.complex128)  # strengths of what falls on each element
    points = np.zeros((len(discs), 8, len(inner)), dtype=np.complex128)  # and on each point inside
    for parity in product((0, 1), repeat=3):
        even = np.prod(np.where(np.array(parity) == 1, mirrors, 1.0), axis=1).astype(np.float32)  # +-1 of each eighth
        asked = np.einsum("e,den->dn", even, heard)
        if np.abs(asked).max() <= 1e-9 * np.abs(heard).max():
            continue
        matrix = np.empty((count + len(inner), count + len(inner)), dtype=np.complex64)
        matrix[:count, :count] = -sum(sign * each for sign, each in zip(even, surface, strict=True))
        matrix[count:, :count] = -sum(sign * each for sign, each in zip(even, inside, strict=True))
        matrix[:count, count:] = matrix[count:, :count].conj().T
        matrix[count:, count:] = 0.0
        matrix[np.diag_indices(len(matrix))] += np.where(np.arange(len(matrix)) < count, 0.5, -SOFTNESS)
        answer = np.linalg.solve(matrix.T, np.pad(asked.T, ((0, len(inner)), (0, 0))).astype(np.complex64)).T
        sources += even[None, :, None] * answer[:, None, :count] / 8.0
        points += even[None, :, None] * answer[:, None, count:] / 8.0
    sent = np.empty((len(discs), len(directions)), dtype=np.complex128)
    waves = [np.exp(1j * wavenumber * np.multiply.outer(directions[:, i], elements.places[i])) for i in range(3)]
    faces = [np.exp(0.5j * wavenumber * directions[:, i] * size_m[i - 1]) for i in range(3)]
    waves_inside = [np.exp(1j * wavenumber * (inner * signs) @ directions.T) for signs in mirrors]
    for row, disc in enumerate(discs):
        middle = np.array([front_m, disc.right_m, disc.up_m])
        total = np.zeros(len(directions), dtype=np.complex128)
        for e, signs in enumerate(mirrors):
            total += points[row, e] @ waves_inside[e] + _gathered(sources[row, e], elements, signs, waves, faces)
        from_middle = total * np.exp(-1j * wavenumber * directions @ middle)
        k_a = np.array([disc.radius_m]), np.array([wavenumber / (2.0 * np.pi)])
        sent[row] = 2.0 * piston_directivity(*k_a, directions[:, 0], 1.0)[:, 0] + from_middle
    return sent


def _gathered(
    sources: ComplexArray, elements: Eighth, signs: FloatArray, waves: list[ComplexArray], faces: list[ComplexArray]
) -> ComplexArray:
    """Sum (m,) of sources (n,) of one eighth times the wave at each; a wave is the product of three, one an axis."""
    total = np.zeros(len(faces[0]), dtype=np.complex128)
    there = [wave if sign > 0.0 else wave.conj() for wave, sign in zip(waves, signs, strict=True)]
    for axis in range(3):
        a, b = (axis + 1) % 3, (axis + 2) % 3
        grid = sources[elements.axis == axis].reshape(len(elements.places[a]), len(elements.places[b]))
        face = faces[axis] if signs[axis] > 0.0 else faces[axis].conj()
        total += face * ((there[a] @ grid) * there[b]).sum(axis=1)
    return total
