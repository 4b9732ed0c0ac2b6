"""One wave problem: a cluster's elements, what falls on them, and who listens, solved frequency by frequency.

Sources are points with a directivity, or discs in their own cabinets; those that walls mirror are points too.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sim.arrays import ComplexArray, FloatArray, IntArray
from sim.placement.solids import places_in
from sim.propagation.waves.cluster import ALIKE_M, Cluster
from sim.propagation.waves.drivers import Disc, harmonics
from sim.propagation.waves.mesher import CLOSED_M, mesh_solids
from sim.propagation.waves.reach import Wall
from sim.propagation.waves.surface import HERE, Mirror, Sight, Surface, after, mirror_at, sent

INNER_POINTS, MOST_INNER_POINTS, INNER_PER_CUBE, INNER_FROM = 10, 40, 12.0, 0.85
"""Points inside a body, and more for each cubic wavelength that it holds, for it has as many more ways to ring; from
`INNER_FROM` times the frequency at which its inside first rings."""

BEHIND_AND_ABOVE = np.array([1.0, 0.0, 0.74])


@dataclass(frozen=True, slots=True)
class PointSource:
    """A source, or its image, as a point with a directivity.

    Attributes
    ----------
    point
        (3,) metres.
    turn
        (3, 3): what a direction in the room, times this, is in the frame of the directivity.
    directivity
        Which of the directivities that come with each frequency.
    """

    point: FloatArray
    turn: FloatArray
    directivity: int


@dataclass(frozen=True, slots=True)
class DiscSource:
    """A disc of a radius in m in the face of a cabinet: middle (3,) in metres, axes (3, 3) forward, right and up."""

    middle: FloatArray
    axes: FloatArray
    radius_m: float


def kernel_mirrors(walls: Sequence[Wall]) -> tuple[tuple[Mirror, ...], list[tuple[int, ...]]]:
    """Images that walls square to each other make, without the point itself, and the walls of each."""
    images: list[tuple[Mirror, tuple[int, ...]]] = [(HERE, ())]
    for number, (normal, offset) in enumerate(walls):
        more = mirror_at(normal, offset)
        images += [(after(mirror, more), (*met, number)) for mirror, met in images]
    return tuple(mirror for mirror, _ in images[1:]), [met for _, met in images[1:]]


class Problem:
    """All that does not depend on frequency, for one size of elements.

    cluster; walls (normal, offset) in the kernel; sources; ears (m, 3), images included; largest_m: of an element;
    to_hz: highest frequency;
    half: a plane (normal, offset) about which solids and what they are made of are alike (`alike_about`).
    closed_m: gaps up to this are closed.
    """

    def __init__(
        self,
        cluster: Cluster,
        walls: Sequence[Wall],
        sources: Sequence[PointSource | DiscSource],
        ears: FloatArray,
        largest_m: float,
        to_hz: float,
        speed_m_s: float,
        half: Wall | None = None,
        closed_m: float = CLOSED_M,
    ) -> None:
        self.largest_m = largest_m
        points = _points_of(sources, half)
        elements = mesh_solids(list(cluster.solids), self.largest_m, list(walls), half, points, closed_m)
        mirrors, self.met = kernel_mirrors(walls)
        inner = inner_points(cluster.solids, walls, to_hz, speed_m_s, half)
        self.surface = Surface(elements, mirrors, inner, None if half is None else mirror_at(*half))
        self.elements = self.surface.elements
        self.ears = Sight(self.elements, ears)
        places = self.surface.places
        images = [mirror.image(places) for mirror in (HERE, *mirrors)]
        self.columns: list[Disc | tuple[FloatArray, NDArray[np.float32], int]] = []
        for source in sources:
            if isinstance(source, DiscSource):
                self.columns.append(Disc(source.middle, source.axes, source.radius_m, self.elements, images))
            else:
                away = places - source.point
                distance = np.linalg.norm(away, axis=1)
                ways = away / distance[:, None] @ source.turn.T
                shapes = harmonics(ways).astype(np.float32)
                self.columns.append((distance, shapes, source.directivity))

    def __len__(self) -> int:
        return len(self.elements)

    def scattered(
        self,
        wavenumber: complex,
        directivities: ComplexArray,
        face_admittance: ComplexArray,
        wall_factors: Sequence[complex],
    ) -> ComplexArray:
        """What the bodies send on from each source to each ear, (source, ear).

        directivities: coefficients (d, c) of harmonics; face_admittance: (6 b,) of the faces of solids;
        wall_factors: of the walls in the kernel.
        """
        factors = tuple(complex(np.prod([wall_factors[wall] for wall in met])) for met in self.met)
        incident = np.empty((len(self.surface.places), len(self.columns)), dtype=np.complex64, order="F")
        for number, column in enumerate(self.columns):
            if isinstance(column, Disc):
                incident[:, number] = column.falls(wavenumber, factors)
            else:
                distance, shapes, which = column
                wave = _wave(wavenumber, distance)
                way = directivities[which].astype(np.complex64).view(np.float32).reshape(-1, 2)  # real and imaginary
                incident[:, number] = wave * (shapes @ way).view(np.complex64)[:, 0]
        beta = face_admittance[self.elements.face]
        pressure = self.surface.pressure(wavenumber, incident, beta, factors)
        return np.asarray(sent(self.ears, wavenumber, pressure, beta).T, dtype=np.complex128)


def _points_of(sources: Sequence[PointSource | DiscSource], half: Wall | None) -> FloatArray:
    """Places (q, 3) of point sources, and their images beyond a plane about which all is alike."""
    points = np.array([one.point for one in sources if isinstance(one, PointSource)]).reshape(-1, 3)
    return points if half is None else np.concatenate([points, mirror_at(*half).image(points)])


def _wave(wavenumber: complex, distance: FloatArray) -> NDArray[np.complex64]:
    """e^{-jkr} / r (n,) in single precision, which is worked out several times as fast; whole turns go in double."""
    turns = (wavenumber.real / (2.0 * np.pi)) * distance
    phase = ((turns - np.rint(turns)) * (2.0 * np.pi)).astype(np.float32)
    away = distance.astype(np.float32)
    size = np.exp(np.float32(wavenumber.imag) * away) / away
    found = np.empty(len(phase), dtype=np.complex64)
    found.real, found.imag = size * np.cos(phase), -size * np.sin(phase)
    return found


def inner_points(
    solids: FloatArray, walls: Sequence[Wall], to_hz: float, speed_m_s: float, half: Wall | None = None
) -> FloatArray:
    """Points (q, 3) in the solids whose inside rings below a frequency, always the same ones; of a half, before it.

    A closed box rings first at c/2 sqrt(1/a2 + 1/b2 + 1/c2); what stands on a wall in the kernel goes on in its image.
    """
    found = []
    for solid in solids:
        sides = [solid[[1, 2, 5, 6]] - solid[[0, 3, 4, 7]], solid[[3, 2, 7, 6]] - solid[[0, 1, 4, 5]]]
        sides.append(solid[4:] - solid[:4])
        lengths = np.array([np.linalg.norm(side, axis=1).mean() for side in sides])
        cubes = float(lengths.prod()) * (to_hz / speed_m_s) ** 3
        count = min(INNER_POINTS + int(INNER_PER_CUBE * cubes), MOST_INNER_POINTS) // 2 * 2
        for normal, offset in walls:
            if (solid @ normal - offset).min() < 0.002:
                along = int(np.argmax([abs(float(side.mean(axis=0) @ normal)) for side in sides]))
                lengths[along] *= 2.0
        rings = 0.5 * speed_m_s * np.sqrt((1.0 / lengths**2).sum())
        if to_hz > INNER_FROM * rings:
            points = places_in(solid, _fractions(np.array([side.mean(axis=0) for side in sides]), count))
            if half is not None:  # both halves together have as many as the whole
                height = points @ half[0] - half[1]
                middle = float(solid.mean(axis=0) @ half[0]) - half[1]
                if abs(middle) < ALIKE_M:
                    points = (points - 2.0 * np.minimum(height, 0.0)[:, None] * half[0])[: count // 2]
                elif middle < 0.0:
                    continue
            found.append(points)
    return np.concatenate(found) if found else np.zeros((0, 3))


def _fractions(sides_m: FloatArray, count: int) -> FloatArray:
    """Where in a solid with sides (3, 3) the points lie, (count, 3), -1 .. 1 along each side.

    They do not depend on the order of its corners, and those of the solid seen in a mirror between left and right are
    the mirrored ones: the same to both ends of the side that runs most across, the others counted from their rear or
    lower end.
    """
    lengths = np.linalg.norm(sides_m, axis=1)
    across = max(range(3), key=lambda n: (round(abs(sides_m[n, 1]) / lengths[n], 6), lengths[n]))
    up, last = sorted({0, 1, 2} - {across}, key=lambda n: -abs(sides_m[n, 2]) / lengths[n])
    some = np.random.default_rng(1).uniform(-0.8, 0.8, (count // 2, 3))
    found = np.empty((count // 2, 3))
    found[:, across], found[:, up], found[:, last] = some.T
    for n in (up, last):
        found[:, n] *= np.sign(sides_m[n] @ BEHIND_AND_ABOVE) or 1.0
    there = found.copy()
    there[:, across] *= -1.0
    return np.concatenate([found, there])


def bands_of(sampled_hz: FloatArray, to_hz: float) -> list[tuple[float, IntArray]]:
    """Samples (g,) put together that share their elements: (highest frequency, numbers), low to high.

    Elements grow no finer above `to_hz`, but more bodies ring inside: the last band is what lies above it.
    """
    tops = [to_hz]
    while tops[-1] > 750.0:
        tops.append(tops[-1] / np.sqrt(2.0))
    tops = [*tops[::-1], max(to_hz, float(sampled_hz[-1]))]
    place = np.searchsorted(tops[:-1], sampled_hz - 1e-9)
    return [(top, np.flatnonzero(place == n)) for n, top in enumerate(tops) if (place == n).any()]
