"""Drivers as discs in the face of their own cabinet: what falls on the elements, and what the cabinet alone sends out.

A disc that moves as one is a layer of even strength, whose sound without the cabinet is the mean of e^{-jkr}/r over
it; the cabinet adds the rest.  What a driver sends straight ahead of its cabinet, standing free, is taken as 1 at 1 m,
as the maker equalises it, so all is divided by that.  What the lone cabinet sends to all sides is what walls mirror.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property

import numpy as np

from sim.arrays import ComplexArray, FloatArray, frozen
from sim.loudspeakers.loudspeaker import Loudspeaker, cabinet_corners
from sim.propagation.waves.elements import Elements, box_elements
from sim.propagation.waves.surface import Sight, Surface

SECTORS = 16
SMALLEST_RADIUS_M = 0.01
"""A driver told as a point is a disc of this size."""
AVERAGED_RADII, PARTS = 4.0, 4
"""Elements within so many radii of a driver get the mean of what falls on so many by so many points."""
DEGREE = 7
DIRECTIONS = 160


def disc_elements(middle: FloatArray, first: FloatArray, second: FloatArray, radius_m: float) -> Elements:
    """A disc as triangles of its area; first and second are unit vectors (3,) in its plane."""
    angles = np.arange(SECTORS + 1) * 2.0 * np.pi / SECTORS
    reach = radius_m * np.sqrt(2.0 * np.pi / (SECTORS * np.sin(2.0 * np.pi / SECTORS)))
    rim = middle + reach * (np.cos(angles)[:, None] * first + np.sin(angles)[:, None] * second)
    centre = np.broadcast_to(middle, (SECTORS, 3))
    return Elements(np.stack([rim[:-1], rim[1:], centre, centre], axis=1), np.zeros(SECTORS, dtype=np.int64))


class Disc:
    """A disc in the face of a cabinet, and how it falls on given places.

    middle: (3,) in metres; axes: (3, 3) columns forward, right, up; elements: those averaged over where they are near;
    places: where it falls, (n, 3), the elements' middles first, and images of all of them by walls in the kernel.
    """

    def __init__(
        self, middle: FloatArray, axes: FloatArray, radius_m: float, elements: Elements, places: list[FloatArray]
    ) -> None:
        self.disc = disc_elements(middle, axes[:, 1], axes[:, 2], max(radius_m, SMALLEST_RADIUS_M))
        self.area_m2 = float(self.disc.areas_m2.sum())
        away = np.linalg.norm(elements.middles - middle, axis=1) - 0.5 * elements.reach_m
        self.near = np.flatnonzero(away < AVERAGED_RADII * max(radius_m, SMALLEST_RADIUS_M))
        points, weights = elements.chosen(self.near).points(PARTS)
        self.weights = weights / weights.sum(axis=1, keepdims=True)
        self.sights = [Sight(self.disc, image) for image in places]
        self.beside = Sight(self.disc, points.reshape(-1, 3))

    def falls(self, wavenumber: complex, factors: tuple[complex, ...]) -> ComplexArray:
        """Pressure (n,) at the places, of a disc that sends e^{-jkr}/r far away, with its images of given factors."""
        total = np.zeros(self.sights[0].count, dtype=np.complex128)
        for number, (sight, factor) in enumerate(zip(self.sights, (1.0, *factors), strict=True)):
            field = self._field(sight, wavenumber)
            if number == 0 and len(self.near):
                fine = self._field(self.beside, wavenumber).reshape(self.weights.shape)
                field[self.near] = (fine * self.weights).sum(axis=1)
            total += factor * field
        return total

    def _field(self, sight: Sight, wavenumber: complex) -> ComplexArray:
        """Mean of e^{-jkr}/r over the disc."""
        n = len(self.disc)
        strength = np.full(n, 1.0 / (-1j * wavenumber), dtype=np.complex128)  # so that the drive is 1
        rows = np.zeros((n, sight.count), dtype=np.complex64)
        sight.add(wavenumber, strength, 1.0, rows, dipoles=False)
        return np.asarray(rows.sum(axis=0, dtype=np.complex128) * (4.0 * np.pi / self.area_m2))


@dataclass(frozen=True)
class LoneCabinet:
    """A cabinet that stands free, in its own frame (forward, right, up from the acoustic axis point).

    Attributes
    ----------
    model
        The loudspeaker.
    largest_m
        Longest element.
    inner
        (q, 3) points inside at which the pressure has to vanish.
    """

    model: Loudspeaker
    largest_m: float
    inner: FloatArray = field(default_factory=lambda: np.zeros((0, 3)))

    @cached_property
    def _parts(self) -> tuple[Surface, list[Disc]]:
        corners = cabinet_corners(self.model)
        if corners is None:
            raise ValueError("a cabinet is needed")
        elements = box_elements(corners, self.largest_m)
        surface = Surface(elements, inner=self.inner)
        discs = [
            Disc(np.array([0.0, *driver.offset_m[1:]]), np.eye(3), driver.radius_m, elements, [surface.places])
            for driver in self.model.drivers
        ]
        return surface, discs

    def sends(self, wavenumber: complex, directions: FloatArray) -> ComplexArray:
        """What each driver sends far away toward unit vectors (m, 3), and straight ahead: (driver, m + 1).

        For a disc that sends e^{-jkr}/r without the cabinet, with r counted from the driver.
        """
        surface, discs = self._parts
        elements = surface.elements
        incident = np.stack([disc.falls(wavenumber, ()) for disc in discs], axis=1)
        pressure = surface.pressure(wavenumber, incident)
        ways = np.concatenate([directions, [[1.0, 0.0, 0.0]]])
        points, weights = elements.points(2)
        turned = np.exp(1j * wavenumber * (points.reshape(-1, 3) @ ways.T)).reshape(*weights.shape, -1)
        sums = np.einsum("nq,nqm->nm", weights, turned) * (elements.normals @ ways.T)
        cabinet = 1j * wavenumber / (4.0 * np.pi) * (pressure.T.astype(np.complex128) @ sums)
        found = []
        for driver, disc, sent in zip(self.model.drivers, discs, cabinet, strict=True):
            spots, sizes = disc.disc.points(2)
            own = np.exp(1j * wavenumber * (spots.reshape(-1, 3) @ ways.T))
            whole = sizes.ravel() @ own / disc.area_m2 + sent
            place = np.array(driver.offset_m)
            found.append(whole * np.exp(-1j * wavenumber * (ways @ place)))
        return np.array(found)


def even_directions() -> FloatArray:
    """Unit vectors (n, 3) spread evenly over all sides (Fibonacci spiral), half of them the others seen in a mirror."""
    half = DIRECTIONS // 2
    n = np.arange(half) + 0.5
    up, turn = 1.0 - 2.0 * n / half, np.pi * (1.0 + np.sqrt(5.0)) * n
    level = np.sqrt(1.0 - up**2)
    across = np.sin(turn) * level
    return frozen(np.concatenate([np.stack([np.cos(turn) * level, side * across, up], axis=1) for side in (1.0, -1.0)]))


def harmonics(directions: FloatArray) -> FloatArray:
    """Real spherical harmonics (m, (DEGREE + 1)^2) toward unit vectors (m, 3)."""
    up = np.clip(directions[:, 2], -1.0, 1.0)
    level = np.sqrt(1.0 - up**2)
    flat = directions[:, 0] + 1j * directions[:, 1]
    around = flat / np.maximum(np.abs(flat), 1e-12)
    columns = []
    start, turned = np.ones(len(up)), np.ones(len(up), dtype=np.complex128)
    for m in range(DEGREE + 1):
        before, here = np.zeros(len(up)), start
        for n in range(m, DEGREE + 1):
            columns.append(here * turned.real)
            if m:
                columns.append(here * turned.imag)
            # as Legendre functions of degree n and order m, less a factor that keeps them of like size
            ahead = ((2 * n + 1) * up * here - np.sqrt(max(n * n - m * m, 0)) * before) / np.sqrt((n + 1) ** 2 - m * m)
            before, here = here, ahead
        start, turned = start * level * np.sqrt((2 * m + 1) / (2 * m + 2)), turned * around
    return np.array(columns).T


def fitted(values: ComplexArray, directions: FloatArray) -> ComplexArray:
    """Coefficients ((DEGREE + 1)^2, ...) of harmonics that fit values (m, ...) toward unit vectors (m, 3)."""
    return np.asarray(np.linalg.lstsq(harmonics(directions), values, rcond=None)[0], dtype=np.complex128)
