"""Measured directivity on two orbits or the whole sphere, and what lies between its directions."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Final, Literal

import numpy as np
from numpy.typing import ArrayLike

from sim.answers import printable
from sim.arrays import ComplexArray, FloatArray, IntArray

if TYPE_CHECKING:
    from scipy.spatial import cKDTree

NEAR: Final = 8
"""Triangles whose middles are nearest are looked at first; nearly always one of them is met."""
OUTSIDE: Final = -1e-9
SLIVER: Final = 1e-9
_AT_ONCE: Final = 2_000_000


@dataclass(frozen=True, eq=False)
class SphereTriangles:
    """Triangles of the convex hull of directions.

    `corners` (t, 3) are numbers of directions, `inverses` (t, 3, 3) undo the matrices of corner vectors, so that what
    they give of a direction are its weights at the corners, up to their sum; `middles` finds triangles near by.
    """

    corners: IntArray
    inverses: FloatArray
    middles: cKDTree

    @classmethod
    def between(cls, directions: FloatArray) -> SphereTriangles:
        """Span triangles between unit vectors (p, 3) that reach all round."""
        from scipy.spatial import ConvexHull, cKDTree

        corners = np.asarray(ConvexHull(directions).simplices, dtype=np.int64)
        vectors = directions[corners].transpose(0, 2, 1)
        whole = np.abs(np.linalg.det(vectors)) > SLIVER  # some have all corners on one great circle
        middles = vectors[whole].sum(axis=2)
        middles /= np.linalg.norm(middles, axis=1, keepdims=True)
        return cls(corners[whole], np.linalg.inv(vectors[whole]), cKDTree(middles))

    def around(self, directions: FloatArray) -> tuple[IntArray, FloatArray]:
        """Corner numbers (m, 3) and weights (m, 3) of the triangle that each unit vector (m, 3) meets."""
        near = self.middles.query(directions, k=min(NEAR, len(self.corners)))[1].reshape(len(directions), -1)
        weights = np.einsum("mnij,mj->mni", self.inverses[near], directions)
        best = np.argmax(weights.min(axis=2), axis=1)
        rows = np.arange(len(directions))
        met, chosen = near[rows, best], weights[rows, best]
        missed = np.flatnonzero(chosen.min(axis=1) < OUTSIDE)
        step = max(1, _AT_ONCE // (3 * len(self.corners)))
        for some in (missed[at : at + step] for at in range(0, len(missed), step)):
            all_weights = np.einsum("tij,mj->mti", self.inverses, directions[some])
            met[some] = np.argmax(all_weights.min(axis=2), axis=1)
            chosen[some] = all_weights[np.arange(len(some)), met[some]]
        chosen = np.maximum(chosen, 0.0)
        return self.corners[met], chosen / chosen.sum(axis=1, keepdims=True)


# Measured directivity: pressure relative to the axis, on two orbits or all over the sphere, and what lies between.
#
# Directions are in the loudspeaker's frame (forward, right, up); angles on orbits run from the axis, positive to the
# right (horizontal orbit) and up (vertical orbit) as seen by someone who faces the loudspeaker.
#
# Between two frequencies, and then between directions, magnitude and phase are interpolated apart, so that neighbours
# out of step do not cancel into dips that nobody measured.  On the sphere: linear inside each triangle of the convex
# hull of the directions.  From two orbits: the squared magnitude is cos^2(phi) |H|^2 + sin^2(phi) |V|^2, with phi the
# angle round the axis from right to up; the point (H cos phi, V sin phi) runs round an ellipse, and the mean energy
# over phi is that of both orbits, as ANSI/CTA-2034-A weighs them.  Between frequencies: linear over the logarithm of
# frequency; below the first and above the last the data are held.

Layout = Literal["two orbits", "sphere"]
FILL_STEP_DEG: Final = 10.0
LARGEST_GAP_DEG: Final = 30.0
"""Where nothing was measured this near, the nearest measured direction is held."""
_DIRECTIONS_AT_ONCE: Final = 200_000
"""Numbers worked on at once, to bound the memory."""


@printable
@dataclass(frozen=True, eq=False)
class DirectivityData:
    """What was measured of one loudspeaker or driver, normalised to its axis.

    Attributes
    ----------
    layout
        "two orbits" (all directions lie in the horizontal or vertical plane) or "sphere".
    directions
        (p, 3) unit vectors; with two orbits, the horizontal ones come first.
    horizontal
        (p,) whether a direction belongs to the horizontal orbit; only looked at with two orbits.
    frequencies_hz
        (f,) rising.
    values
        (p, f) complex pressure re the axis.
    has_phase
        Whether the phase was measured; without it all phases are zero.
    source, notes
        File it came from, and what was assumed.
    """

    layout: Layout
    directions: FloatArray
    horizontal: FloatArray
    frequencies_hz: FloatArray
    values: ComplexArray
    has_phase: bool
    source: str = ""
    notes: tuple[str, ...] = ()

    def pressure(self, directions: ArrayLike, frequencies_hz: ArrayLike) -> ComplexArray:
        """Pressure re the axis toward unit vectors (m, 3), complex, shape (m, f)."""
        ways = np.asarray(directions, dtype=np.float64).reshape(-1, 3)
        frequencies = np.atleast_1d(np.asarray(frequencies_hz, dtype=np.float64))
        rows = max(1, _DIRECTIONS_AT_ONCE // max(len(frequencies), 1))
        parts = [self._some(ways[at : at + rows], frequencies) for at in range(0, len(ways), rows)]
        return np.concatenate(parts) if parts else np.zeros((0, len(frequencies)), dtype=np.complex128)

    def _some(self, ways: FloatArray, frequencies: FloatArray) -> ComplexArray:
        if self.layout == "two orbits":
            return self._between_orbits(ways, frequencies)
        corners, weights = self._triangles.around(ways)
        used, numbers = np.unique(corners, return_inverse=True)
        size, phasor = _between_frequencies(self._filled[1][used], self.frequencies_hz, frequencies)
        numbers = numbers.reshape(corners.shape)
        magnitude, turned = 0.0 * size[numbers[:, 0]], 0.0 * phasor[numbers[:, 0]]
        for corner in range(3):
            magnitude += weights[:, corner, None] * size[numbers[:, corner]]
            turned += weights[:, corner, None] * phasor[numbers[:, corner]]
        return np.asarray(magnitude * unit_phasors(turned))

    def _between_orbits(self, ways: FloatArray, frequencies: FloatArray) -> ComplexArray:
        off = np.arctan2(np.hypot(ways[:, 1], ways[:, 2]), ways[:, 0])
        about = np.arctan2(ways[:, 2], ways[:, 1])
        fraction = np.cos(about) ** 2
        energy = np.zeros((len(ways), len(frequencies)))
        turned = np.zeros(energy.shape, dtype=np.complex128)
        for orbit, (side, weight) in enumerate(((ways[:, 1], fraction), (ways[:, 2], 1.0 - fraction))):
            angles, values = self._orbits[orbit]
            size, phasor = _between_frequencies(values, self.frequencies_hz, frequencies)
            signed = np.where(side < 0.0, -off, off)
            upper = np.clip(np.searchsorted(angles, signed, side="right"), 1, len(angles) - 1)
            step = ((signed - angles[upper - 1]) / (angles[upper] - angles[upper - 1]))[:, None]
            energy += weight[:, None] * (size[upper - 1] * (1.0 - step) + size[upper] * step) ** 2
            turned += weight[:, None] * unit_phasors(phasor[upper - 1] * (1.0 - step) + phasor[upper] * step)
        return np.asarray(np.sqrt(energy) * unit_phasors(turned))

    @cached_property
    def _orbits(self) -> tuple[tuple[FloatArray, ComplexArray], tuple[FloatArray, ComplexArray]]:
        """Both orbits as rising angles (a,) in radians from -pi to pi and their values (a, f)."""
        found = []
        for axis, mine in ((1, self.horizontal > 0.5), (2, self.horizontal <= 0.5)):
            ways = self.directions[mine]
            angles = np.arctan2(ways[:, axis], ways[:, 0])
            order = np.argsort(angles)
            angles, values = angles[order], self.values[mine][order]
            # closed at the back, where -180 and 180 degrees are one; a gap there is bridged from its two ends
            closed = np.concatenate([[angles[-1] - 2.0 * np.pi], angles, [angles[0] + 2.0 * np.pi]])
            found.append((closed, np.concatenate([values[-1:], values, values[:1]])))
        return found[0], found[1]

    @cached_property
    def _filled(self) -> tuple[FloatArray, ComplexArray]:
        """Directions and values all over the sphere, gaps filled with the nearest measured direction."""
        from scipy.spatial import cKDTree

        grid = rings(FILL_STEP_DEG)
        reach, nearest = cKDTree(self.directions).query(grid)
        bare = reach > 2.0 * np.sin(0.5 * np.radians(LARGEST_GAP_DEG))
        held = self.values[np.asarray(nearest)[bare]]
        return np.concatenate([self.directions, grid[bare]]), np.concatenate([self.values, held])

    @cached_property
    def _triangles(self) -> SphereTriangles:
        return SphereTriangles.between(self._filled[0])


def rings(step_deg: float) -> FloatArray:
    """Unit vectors (m, 3) on rings round the axis, a step apart, and both poles."""
    around = np.radians(np.arange(0.0, 360.0, step_deg))
    off, turn = (
        angle.ravel() for angle in np.meshgrid(np.radians(np.arange(step_deg, 180.0, step_deg)), around, indexing="ij")
    )
    grid = np.column_stack([np.cos(off), np.sin(off) * np.cos(turn), np.sin(off) * np.sin(turn)])
    return np.concatenate([grid, [[1.0, 0.0, 0.0], [-1.0, 0.0, 0.0]]])


def unit_phasors(values: ComplexArray) -> ComplexArray:
    """Phases as unit phasors; 1 where there is nothing."""
    size = np.abs(values)
    return np.where(size > 1e-300, values / np.maximum(size, 1e-300), 1.0 + 0j)


def _between_frequencies(
    values: ComplexArray, known_hz: FloatArray, wanted_hz: FloatArray
) -> tuple[FloatArray, ComplexArray]:
    """Magnitude and phasor (p, f) of values (p, k) at other frequencies, held beyond both ends."""
    magnitude, phasor = np.abs(values), unit_phasors(values)
    if len(known_hz) == 1:
        return np.repeat(magnitude, len(wanted_hz), axis=1), np.repeat(phasor, len(wanted_hz), axis=1)
    at = np.log(np.clip(wanted_hz, known_hz[0], known_hz[-1]))
    logs = np.log(known_hz)
    upper = np.clip(np.searchsorted(logs, at, side="right"), 1, len(logs) - 1)
    step = (at - logs[upper - 1]) / (logs[upper] - logs[upper - 1])
    size = magnitude[:, upper - 1] * (1.0 - step) + magnitude[:, upper] * step
    return size, unit_phasors(phasor[:, upper - 1] * (1.0 - step) + phasor[:, upper] * step)
