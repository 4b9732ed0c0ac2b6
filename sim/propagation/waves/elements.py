"""The elements of a surface: flat quadrilaterals on which the pressure is taken as even, and their points for sums."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property, lru_cache

import numpy as np

from sim.acoustics.layered_reflection import surface_impedance
from sim.acoustics.materials import reflection_factor
from sim.arrays import ComplexArray, FloatArray, IntArray, frozen
from sim.placement.built_scene import BuiltScene

NEAR_DIAGONALS = 2.0
"""Nearer than this many diagonals of an element, its sums are corrected."""
SMALLEST_M2 = 1e-9


@dataclass(frozen=True)
class Elements:
    """Surface elements, all facing the air.

    Attributes
    ----------
    corners
        (n, 4, 3) in metres, counter-clockwise seen from the air; a triangle has its last corner twice.
    face
        (n,) number of the face each belongs to, as the caller counts faces: for materials and drivers.
    """

    corners: FloatArray
    face: IntArray

    def __len__(self) -> int:
        return len(self.corners)

    @cached_property
    def areas_m2(self) -> FloatArray:
        """(n,) areas."""
        return frozen(0.5 * np.linalg.norm(self._crossed, axis=1))

    @cached_property
    def normals(self) -> FloatArray:
        """(n, 3) unit normals toward the air."""
        return frozen(self._crossed / np.linalg.norm(self._crossed, axis=1, keepdims=True))

    @cached_property
    def middles(self) -> FloatArray:
        """(n, 3) centres of area: where the equation is held."""
        a, b, c, d = np.moveaxis(self.corners, 1, 0)
        one = np.linalg.norm(np.cross(b - a, c - a), axis=1, keepdims=True)
        other = np.linalg.norm(np.cross(c - a, d - a), axis=1, keepdims=True)
        return frozen((one * (a + b + c) + other * (a + c + d)) / (3.0 * (one + other)))

    @cached_property
    def reach_m(self) -> FloatArray:
        """(n,) distance from the middle within which sums need correcting."""
        first, second = (np.linalg.norm(self.corners[:, i] - self.corners[:, i + 2], axis=1) for i in (0, 1))
        return frozen(NEAR_DIAGONALS * np.maximum(first, second))

    @cached_property
    def shapes(self) -> FloatArray:
        """(n, 2, 3) how far its points lie from the middle: the two main axes, as long as the standard deviation, in m.

        Second moments by 2 x 2 points, which are exact for them.
        """
        points, weights = self.points(2)
        away = points - self.middles[:, None]
        moments = np.einsum("nq,nqa,nqb->nab", weights / self.areas_m2[:, None], away, away)
        squares, axes = np.linalg.eigh(moments)
        return frozen(np.sqrt(np.maximum(squares[:, 1:], 0.0))[..., None] * np.swapaxes(axes, 1, 2)[:, 1:])

    @property
    def _crossed(self) -> FloatArray:
        a, b, c, d = np.moveaxis(self.corners, 1, 0)
        return np.asarray(np.cross(c - a, d - b))

    def points(self, count: int) -> tuple[FloatArray, FloatArray]:
        """Points (n, count * count, 3) and weights in m2 (n, count * count) of Gauss-Legendre sums over each."""
        nodes, weights = np.polynomial.legendre.leggauss(count)
        u, v = (grid.ravel()[:, None] for grid in np.meshgrid(nodes, nodes, indexing="ij"))
        weight = np.outer(weights, weights).ravel()
        a, b, c, d = (corner[:, None, :] for corner in np.moveaxis(self.corners, 1, 0))
        points = 0.25 * ((1 - u) * (1 - v) * a + (1 + u) * (1 - v) * b + (1 + u) * (1 + v) * c + (1 - u) * (1 + v) * d)
        along = 0.25 * ((1 - v) * (b - a) + (1 + v) * (c - d))
        across = 0.25 * ((1 - u) * (d - a) + (1 + u) * (c - b))
        sizes = np.linalg.norm(np.cross(along, across), axis=2)
        return np.asarray(points), np.asarray(sizes * weight)

    def chosen(self, rows: IntArray) -> Elements:
        """Some of the elements."""
        return Elements(self.corners[rows], self.face[rows])


def joined_elements(parts: list[Elements]) -> Elements:
    """Elements of several surfaces one after the other; faces keep their numbers."""
    return Elements(np.concatenate([one.corners for one in parts]), np.concatenate([one.face for one in parts]))


def box_elements(corners: FloatArray, largest_m: float) -> Elements:
    """Elements of a solid of eight corners (8, 3) that stands free; faces are numbered as in `FACES`.

    Corners 0 to 3 go round one face, 4 to 7 round the opposite one, 4 next to 0.  Sides are cut evenly, so that no
    element is longer than `largest_m`.
    """
    made = []
    for number, quad in enumerate(outward_quads(corners)):
        cells = quad_cells(quad, largest_m)
        made.append(Elements(cells, np.full(len(cells), number, dtype=np.int64)))
    return joined_elements(made)


FACES: IntArray = np.array([[0, 3, 2, 1], [4, 5, 6, 7], [0, 1, 5, 4], [1, 2, 6, 5], [2, 3, 7, 6], [3, 0, 4, 7]])
"""Corners of the six faces of a solid, each counter-clockwise from outside where 0 to 3 do so from the side of 4."""


def outward_quads(corners: FloatArray) -> FloatArray:
    """Faces (6, 4, 3) of a solid (8, 3), counter-clockwise from outside, whichever way its corners run."""
    quads = corners[FACES]
    centre = corners.mean(axis=0)
    for number, quad in enumerate(quads):
        normal = np.cross(quad[2] - quad[0], quad[3] - quad[1])
        if normal @ (quad.mean(axis=0) - centre) < 0.0:
            quads[number] = quad[::-1]
    return np.asarray(quads)


def quad_cells(quad: FloatArray, largest_m: float) -> FloatArray:
    """Cut a flat quadrilateral (4, 3) into cells (n, 4, 3) no longer than `largest_m`, wound alike."""
    a, b, c, d = quad
    sides = np.linalg.norm([b - a, c - d, d - a, c - b], axis=1)
    along = max(1, int(np.ceil(max(sides[0], sides[1]) / largest_m - 1e-9)))
    across = max(1, int(np.ceil(max(sides[2], sides[3]) / largest_m - 1e-9)))
    u, v = np.linspace(0.0, 1.0, along + 1)[:, None, None], np.linspace(0.0, 1.0, across + 1)[None, :, None]
    grid = (1 - u) * (1 - v) * a + u * (1 - v) * b + u * v * c + (1 - u) * v * d
    cells = np.stack([grid[:-1, :-1], grid[1:, :-1], grid[1:, 1:], grid[:-1, 1:]], axis=2).reshape(-1, 4, 3)
    crossed = np.cross(cells[:, 2] - cells[:, 0], cells[:, 3] - cells[:, 1])
    return np.asarray(cells[0.5 * np.linalg.norm(crossed, axis=1) > SMALLEST_M2])


# How soft the faces of bodies are to waves: the admittance that a locally reacting surface of each material has.

LOWEST_HZ = 20.0
"""Absorbers in layers are worked out above this."""
STRAIGHT = np.array([1.0])
SAME_PLANE_M, SAME_DIRECTION = 2e-3, 0.999
FRAMED_FROM_M = 0.02
"""Panels less deep than this have no frame, as in `panel_frames`."""


def admittance_of_finish(built: BuiltScene, number: int, frequencies_hz: FloatArray) -> ComplexArray:
    """Rho c / Z (f,) of an absorber in layers, as it is where sound meets it straight on."""
    finish = built.finishes[number]
    impedance = surface_impedance(finish.build_up, np.maximum(frequencies_hz, LOWEST_HZ), STRAIGHT, built.air)[0]
    return np.asarray(built.air.density_kg_m3 * built.air.speed_of_sound_m_s / impedance, dtype=np.complex128)


def admittance_of_absorption(absorption: FloatArray, frequencies_hz: FloatArray) -> ComplexArray:
    """Real admittance (f,) of a surface known by its octave coefficients (8,) at random incidence.

    The one that takes as much of sound from all sides: alpha = 8 b (1 + b / (1 + b) ... ) below, for b = rho c / Z
    (Kuttruff, Room Acoustics, absorption of a locally reacting real wall in a diffuse field).  It takes 0.951 at most,
    which is held for what is said to take more.
    """
    taken = 1.0 - reflection_factor(absorption, frequencies_hz) ** 2
    admittances, fractions = _diffuse_table()
    return np.asarray(np.interp(taken, fractions, admittances), dtype=np.complex128)


@lru_cache(maxsize=1)
def _diffuse_table() -> tuple[FloatArray, FloatArray]:
    """Admittances b (n,) up to that of the most absorption, and what each takes of a diffuse field (n,).

    8 / z^2 * (1 + z - 1 / (1 + z) - 2 ln(1 + z)) with z = 1 / b.
    """
    b = np.concatenate([[0.0], np.geomspace(1e-5, 1.0 / 1.567, 2000)])
    z = 1.0 / np.maximum(b, 1e-9)
    taken = 8.0 / z**2 * (1.0 + z - 1.0 / (1.0 + z) - 2.0 * np.log1p(z))
    taken[0] = 0.0
    return frozen(b), frozen(taken)


def face_admittances(
    built: BuiltScene,
    bodies: tuple[str, ...],
    normals: FloatArray,
    points: FloatArray,
    frequencies_hz: FloatArray,
    panels: tuple[int, ...] = (),
) -> ComplexArray:
    """Admittance (n, f) of faces with unit normals (n, 3) through points (n, 3) of the bodies they belong to (n,).

    panels: (n,) number of the panel that a face is of, -1 for none.  The face of a panel is as soft as its build-up
    and its rims are rigid, but those of a mat, thin or lying on a top, which has no frame, as soft as its face.
    """
    found = np.zeros((len(bodies), len(frequencies_hz)), dtype=np.complex128)
    facets = built.room.facets
    for row, (body, normal, point) in enumerate(zip(bodies, normals, points, strict=True)):
        if panels and panels[row] >= 0:
            panel = built.panels[panels[row]]
            rims = panel.depth_m < FRAMED_FROM_M or panel.normal[2] > SAME_DIRECTION
            if float(panel.normal @ normal) > (-SAME_DIRECTION if rims else SAME_DIRECTION):
                found[row] = admittance_of_finish(built, panel.finish, frequencies_hz)
            continue
        for f, facet in enumerate(facets):
            if facet.owner != body or float(facet.normal @ normal) < SAME_DIRECTION:
                continue
            if abs(float(facet.normal @ point) - facet.offset_m) > SAME_PLANE_M:
                continue
            finish = int(built.finish_of_facet[f]) if built.finishes else -1
            if finish >= 0:
                found[row] = admittance_of_finish(built, finish, frequencies_hz)
            else:
                found[row] = admittance_of_absorption(built.absorption[f], frequencies_hz)
            break
    return found
