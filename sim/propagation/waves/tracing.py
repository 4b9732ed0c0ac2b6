"""Sound waves round what stands near, from every driver to every listener, walls of the room included.

Sound reaches what stands near from the driver and from its images in walls, and goes from there to the ear and its
images.  Walls before and after together are one fewer than the order of paths, since what stands near is met as well.
A driver whose cabinet stands there is a disc in its face: then direct sound, cabinet, desk and floor are one solution,
and walls mirror what the lone cabinet sends.  Other drivers are points with their directivity.

A gap of less than a millimetre is worked out open and closed (`thin_gaps`).

Neglected: sound that goes from what stands near to a wall that is not in the kernel, back to it and on; edges of other
bodies on the way; angles at walls in the kernel, whose factor is that of their absorption coefficient.
"""

from __future__ import annotations

from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from functools import partial

import numpy as np

from sim.acoustics.air import attenuation_db_per_m
from sim.acoustics.materials import reflection_factor
from sim.arrays import ComplexArray, FloatArray, IntArray, frozen
from sim.loudspeakers.loudspeaker import Loudspeaker, cabinet_corners
from sim.machine.processes import all_cores
from sim.placement.built_scene import BuiltScene
from sim.placement.in_air import Solids
from sim.progress import Report, say_nothing
from sim.propagation.mirrors.image_sources import trace_paths
from sim.propagation.paths import PathTable
from sim.propagation.surfaces.factors import path_gains
from sim.propagation.waves.cluster import Cluster, alike_about
from sim.propagation.waves.drivers import LoneCabinet, even_directions, fitted
from sim.propagation.waves.elements import face_admittances, outward_quads
from sim.propagation.waves.mesher import CLOSED_M
from sim.propagation.waves.problem import DiscSource, PointSource, Problem, bands_of, inner_points
from sim.propagation.waves.reach import DEFAULT_TO_HZ, Reach, within_reach
from sim.propagation.waves.table import FADE, WavePaths, between, sampled_hz, step_hz, unrolled, wavenumber_at
from sim.propagation.waves.thin_gaps import BLENDED_M, narrowest_gap_m
from sim.propagation.waves.wall_images import WallImages, images_by_walls, without_bodies

SAID_EVERY = 10
JUST_OVER_M = 1e-6


def trace_waves(
    built: BuiltScene,
    furniture: Sequence[Solids],
    order: int,
    frequencies_hz: FloatArray,
    to_hz: float = DEFAULT_TO_HZ,
    report: Report = say_nothing,
) -> WavePaths | None:
    """Work out waves up to `to_hz`, or None where nothing stands near or it is zero.

    frequencies_hz: (f,) even grid from 0 on, of which what lies below the end of the fade is used.
    """
    found = within_reach(built, furniture, to_hz) if to_hz > 0.0 else None
    if found is None:
        return None
    cluster, reach = found
    report("working out sound waves")
    some = frozen(frequencies_hz[frequencies_hz < FADE * reach.alone_hz])
    return _Tracing(built, cluster, order, some, reach, report).table(to_hz)


@dataclass(frozen=True, slots=True)
class _Ears:
    """Images of one listener, and where their rows begin among all."""

    images: WallImages
    begin: int


@dataclass(frozen=True, slots=True)
class _Row:
    """One row of the table, by loudspeaker, driver and listener; facets as the walls alone count them."""

    place: tuple[int, int, int]
    length_m: float
    facets: IntArray
    gain: ComplexArray


class _Tracing:
    def __init__(
        self, built: BuiltScene, cluster: Cluster, order: int, frequencies: FloatArray, reach: Reach, report: Report
    ) -> None:
        self.built, self.cluster, self.order, self.frequencies = built, cluster, order, frequencies
        self.reach, self.report = reach, report
        self.speed = built.air.speed_of_sound_m_s
        taken = built.absorption[list(cluster.walls)]
        self.sampled = sampled_hz(float(frequencies[-1]), step_hz(taken))
        names = frozenset(built.room.owners[1:])
        self.walls, self.wall_numbers = without_bodies(built, names)
        middle = cluster.middle
        self.in_kernel = cluster.walls
        # a wall in the kernel is one body with its images: it counts for no order, and is there before and after
        self.images_order = max(order - 1, 1 if self.in_kernel else 0)
        self.sources: list[PointSource | DiscSource] = []
        self.source_rows: list[tuple[int, int, WallImages, int, bool]] = []
        self.directivities: list[tuple[int, int]] = []
        for s, loudspeaker in enumerate(built.loudspeakers):
            for d, point in enumerate(np.array(loudspeaker.driver_points)):
                images = images_by_walls(self.walls, point, middle, self.images_order, frequencies, s)
                self._add_sources(s, d, images)
        self.ears: list[_Ears] = []
        begin = 0
        for ear in np.array(built.ears):
            images = images_by_walls(self.walls, ear, middle, self.images_order, frequencies)
            self.ears.append(_Ears(images, begin))
            begin += len(images)

    def _add_sources(self, s: int, d: int, images: WallImages) -> None:
        """Sources of one driver: itself, as a disc or a point, and its images as points."""
        loudspeaker = self.built.loudspeakers[s]
        which = len(self.directivities)
        self.directivities.append((s, d))
        disc = self.cluster.cabinets[s] >= 0
        if disc:
            held = np.array(
                [all(f < 0 or self.wall_numbers[f] in self.in_kernel for f in row) for row in images.facets]
            )
            held[0] = False
            images = images.chosen(np.flatnonzero(~held))
        self.source_rows.append((s, d, images, len(self.sources), disc))
        for number, (mirror, point) in enumerate(zip(images.mirrors, images.points, strict=True)):
            if number == 0 and disc:
                radius = loudspeaker.model.drivers[d].radius_m
                self.sources.append(DiscSource(point, np.array(loudspeaker.rotation), radius))
            else:
                self.sources.append(PointSource(point, loudspeaker.rotation.T @ mirror.turn.T, which))

    def table(self, asked_hz: float) -> WavePaths:
        """Solve everything and put it in a table."""
        lone = self._lone()
        scattered, elements = self._solve(lone)
        rows = [
            row
            for s, d, images, begin, disc in self.source_rows
            for place, ears in enumerate(self.ears)
            for row in self._rows(
                (s, d, place), images, ears.images, scattered[:, begin:, ears.begin :], lone[s][1][d] if disc else None
            )
        ]
        others, other_gains = self._others()
        facets = np.array([row.facets for row in rows])
        return WavePaths(
            cluster=self.cluster,
            to_hz=self.reach.limit_hz,
            alone_hz=self.reach.alone_hz,
            asked_hz=asked_hz,
            elements=elements,
            loudspeaker=frozen(np.array([row.place[0] for row in rows], dtype=np.int64)),
            driver=frozen(np.array([row.place[1] for row in rows], dtype=np.int64)),
            listener=frozen(np.array([row.place[2] for row in rows], dtype=np.int64)),
            length_m=frozen(np.array([row.length_m for row in rows])),
            facets=frozen(np.where(facets >= 0, self.wall_numbers[np.maximum(facets, 0)], -1)),
            frequencies_hz=self.frequencies,
            gains=frozen(np.array([row.gain for row in rows])),
            others=others,
            other_gains=frozen(other_gains),
        )

    def _rows(
        self,
        place: tuple[int, int, int],
        images: WallImages,
        ears: WallImages,
        scattered: ComplexArray,
        ahead: ComplexArray | None,
    ) -> list[_Row]:
        """All rows of one driver and listener.

        scattered: (g, image, ear image); ahead: (g,) what a disc in its lone cabinet sends ahead, None for points.
        """
        s, d, _ = place
        fractions = self.built.loudspeakers[s].model.fractions(self.frequencies)[d]
        pairs = self._pairs(images, ears)
        values = np.array([scattered[:, i, j] for i, j in pairs])
        lengths = np.array([self._shortest(images.points[i], ears.points[j]) for i, j in pairs])
        if ahead is not None:  # what the disc sends without its cabinet belongs to it
            wavenumbers = np.array([wavenumber_at(float(f), self.speed) for f in self.sampled])
            for row in [row for row, (i, _) in enumerate(pairs) if i == 0]:
                straight = float(np.linalg.norm(images.points[0] - ears.points[pairs[row][1]]))
                values[row] = (values[row] + np.exp(-1j * wavenumbers * straight) / straight) / ahead
                lengths[row] = straight
        delays = lengths / self.speed
        gains = between(unrolled(values, self.sampled, delays), self.sampled, self.frequencies)
        air_db = attenuation_db_per_m(self.frequencies, self.built.air) * lengths[:, None]
        gains *= fractions * 10.0 ** (-air_db / 20.0) * np.exp(-2j * np.pi * self.frequencies * delays[:, None])
        rows = []
        for (i, j), length, gain in zip(pairs, lengths.tolist(), gains, strict=True):
            facets = np.concatenate([images.facets[i], ears.facets[j][::-1]])
            rows.append(_Row(place, length, facets, gain * images.factors[i] * ears.factors[j]))
        return rows

    def _shortest(self, source: FloatArray, ear: FloatArray) -> float:
        """Least length in m of a way from a source to an ear by any corner of the solids, or straight where shorter."""
        corners = self.cluster.solids.reshape(-1, 3)
        ways = np.linalg.norm(corners - source, axis=1) + np.linalg.norm(corners - ear, axis=1)
        return float(max(ways.min() - 0.5, np.linalg.norm(source - ear)))

    def _lone(self) -> dict[int, tuple[ComplexArray, ComplexArray]]:
        """For each loudspeaker coefficients (g, driver, c) of what walls mirror, and what goes ahead (driver, g)."""
        directions = even_directions()
        found: dict[int, tuple[ComplexArray, ComplexArray]] = {}
        for s, loudspeaker in enumerate(self.built.loudspeakers):
            model = loudspeaker.model
            alike = [t for t in found if self.built.loudspeakers[t].model == model and self._disc(t) == self._disc(s)]
            if alike:
                found[s] = found[alike[0]]
                continue
            if self._disc(s):
                sent = self._sent_alone(model, directions)
                ahead = np.moveaxis(sent[:, :, -1], 0, 1)
                values = sent[:, :, :-1] / sent[:, :, -1:]
            else:
                grid = np.maximum(self.sampled, self.sampled[1])
                ways = directions.copy()
                if model.flush:  # nothing behind the wall is ever asked for
                    ways[:, 0] = np.abs(ways[:, 0])
                values = np.moveaxis(model.directivity(ways, grid, self.speed), 2, 0)
                ahead = np.ones((len(model.drivers), len(self.sampled)), dtype=np.complex128)
            coefficients = fitted(np.moveaxis(values, 2, 0).reshape(len(directions), -1), directions)
            shape = (coefficients.shape[0], *values.shape[:2])
            found[s] = np.moveaxis(coefficients.reshape(shape), 0, 2), ahead
        return found

    def _sent_alone(self, model: Loudspeaker, directions: FloatArray) -> ComplexArray:
        """What the drivers of a lone cabinet send toward directions (m, 3), and ahead: (g, driver, m + 1).

        Elements are as long as those of the cluster, so that what they miss is divided out.
        """
        sent: list[ComplexArray] = []
        with ThreadPoolExecutor(max_workers=all_cores()) as pool:
            for top, numbers in bands_of(self.sampled, self.reach.limit_hz):
                lone = LoneCabinet(model, self._longest(top), self._inner(model, top))
                wavenumbers = [wavenumber_at(float(f), self.speed) for f in self.sampled[numbers]]
                sent += pool.map(partial(lone.sends, directions=directions), wavenumbers)
        return np.array(sent)

    def _longest(self, top_hz: float) -> float:
        """Longest element in a band of samples."""
        return self.reach.longest_element_m(top_hz, self.speed)

    def _inner(self, model: Loudspeaker, top_hz: float) -> FloatArray:
        """Points inside a lone cabinet."""
        corners = cabinet_corners(model)
        return inner_points(np.array([] if corners is None else [corners]), (), top_hz, self.speed)

    def _disc(self, s: int) -> bool:
        return self.cluster.cabinets[s] >= 0

    def _solve(self, lone: dict[int, tuple[ComplexArray, ComplexArray]]) -> tuple[ComplexArray, int]:
        """What is sent on from every source to every image of an ear, (g, source, ear), and the most elements."""
        planes = self.cluster.planes(self.built)
        factors = reflection_factor(self.built.absorption[list(self.in_kernel)], self.sampled)
        ears = np.concatenate([ear.images.points for ear in self.ears])
        quads = np.concatenate([outward_quads(solid) for solid in self.cluster.solids])
        crossed = np.cross(quads[:, 2] - quads[:, 0], quads[:, 3] - quads[:, 1])
        normals = crossed / np.maximum(np.linalg.norm(crossed, axis=1, keepdims=True), 1e-12)
        owners = tuple(body for body in self.cluster.bodies for _ in range(6))
        panels = tuple(number for number in self.cluster.panels for _ in range(6))
        beta = face_admittances(self.built, owners, normals, quads.mean(axis=1), self.sampled, panels)
        alike = alike_about(self.cluster.solids, planes)
        half = alike[0] if alike is not None and np.allclose(beta, beta[alike[1]], rtol=1e-9, atol=0.0) else None
        gap = narrowest_gap_m(list(self.cluster.solids), planes)
        closings = (CLOSED_M,) if gap is None else (CLOSED_M, gap + JUST_OVER_M)
        scattered = np.zeros((len(self.sampled), len(self.sources), len(ears)), dtype=np.complex128)
        elements = done = 0
        with ThreadPoolExecutor(max_workers=all_cores()) as pool:
            for top, numbers in bands_of(self.sampled, self.reach.limit_hz):
                each = self._longest(top), top, self.speed, half
                problems = [Problem(self.cluster, planes, self.sources, ears, *each, closed) for closed in closings]
                elements = len(problems[0])

                def solve(n: int, problems: list[Problem] = problems) -> ComplexArray:
                    directivities = np.array([lone[s][0][n, d] for s, d in self.directivities])
                    wavenumber = wavenumber_at(float(self.sampled[n]), self.speed)
                    walls = [complex(factor) for factor in factors[:, n]]
                    found = [problem.scattered(wavenumber, directivities, beta[:, n], walls) for problem in problems]
                    return found[0] if gap is None else found[1] + gap / BLENDED_M * (found[0] - found[1])

                for n, values in zip(numbers.tolist(), pool.map(solve, numbers.tolist()), strict=True):
                    scattered[n] = values
                    done += 1
                    if done % SAID_EVERY == 0:
                        self.report(f"working out sound waves: {done} of {len(self.sampled)} frequencies")
        return scattered, elements

    def _counted(self, facets: IntArray) -> IntArray:
        """How many walls that are not in the kernel stand in each row (n, K) of facets of the whole room."""
        return np.asarray(((facets >= 0) & ~np.isin(facets, self.in_kernel)).sum(axis=1))

    def _pairs(self, images: WallImages, ears: WallImages) -> list[tuple[int, int]]:
        """Which image of a source goes with which of an ear: all that together meet few enough walls."""
        before, behind = (
            self._counted(np.where(some.facets >= 0, self.wall_numbers[np.maximum(some.facets, 0)], -1))
            for some in (images, ears)
        )
        return [
            (i, j)
            for i, walls in enumerate(before.tolist())
            for j, more in enumerate(behind.tolist())
            if walls + more < self.order
        ]

    def _others(self) -> tuple[PathTable, ComplexArray]:
        """Paths of the room without what stands near that are not in the table yet."""
        bare, kept = without_bodies(self.built, self.cluster.names)
        paths = trace_paths(bare, self.order)
        room = bare.room.owners[0]
        by_walls = np.array([all(f < 0 or bare.room.facets[f].owner == room for f in row) for row in paths.facets])
        discs = np.array([self._disc(s) for s in paths.loudspeaker.tolist()], dtype=np.bool_)
        facets = np.where(paths.facets >= 0, kept[np.maximum(paths.facets, 0)], -1)
        few = (self._counted(facets) < self.order) & (paths.order <= self.images_order)
        keep = np.flatnonzero(~(by_walls & discs & few))
        paths, facets = paths.chosen(keep), facets[keep]
        gains = path_gains(bare, paths, self.frequencies)
        return replace(paths, facets=frozen(facets)), gains
