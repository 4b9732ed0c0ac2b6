"""Slow, obvious twins of the tracer: one octave at a time, every triangle asked, plain sums."""

from __future__ import annotations

from typing import Any

import numpy as np

from sim.placement.built_scene import BuiltScene
from sim.propagation.energy.boundaries import boundaries_of, boundary_of_points
from sim.propagation.energy.image_energy import air_per_m, octave_energy
from tests.naive import hits
from tests.propagation.energy.test_random_kernels import philox_written_out

NEAR_M = 1e-7


def fraction(word: int) -> float:
    return (word + 0.5) / 2.0**32


def about(normal: np.ndarray, cosine: float, turn: float) -> np.ndarray:
    """A direction at an angle to the normal, turned about it from the first direction that the kernels choose."""
    sign = np.copysign(1.0, normal[2])
    c = -1.0 / (sign + normal[2])
    first = np.array([1.0 + sign * normal[0] ** 2 * c, sign * normal[0] * normal[1] * c, -sign * normal[0]])
    second = np.array([normal[0] * normal[1] * c, sign + normal[1] ** 2 * c, -normal[1]])
    across = np.sqrt(1.0 - cosine**2)
    return across * np.cos(turn) * first + across * np.sin(turn) * second + cosine * normal


def slow_energy(
    built: BuiltScene,
    s: int,
    band: int,
    rays: range,
    *,
    seed: int,
    order: int,
    bin_s: float,
    length_s: float,
    radius_m: float,
    threshold: float = 1e-7,
) -> tuple[np.ndarray, float, float]:
    """Energy (listener, bin) that rays bring in one octave, summed over them; what surfaces and air took."""
    room, one = built.room, built.loudspeakers[s]
    boundaries, speed, air = boundaries_of(built), built.air.speed_of_sound_m_s, air_per_m(built)[band]
    bins = int(np.ceil(length_s / bin_s - 1e-9))
    found = np.zeros((len(built.ears), bins))
    own = room.owner_number(one.body)
    taken = lost_in_air = 0.0
    key = [seed & 0xFFFFFFFF, seed >> 32]
    for ray in rays:
        words = philox_written_out([ray, 0, 0, s], key)
        z, turn = 1.0 - 2.0 * fraction(words[0]), 2.0 * np.pi * fraction(words[1])
        way = np.array([np.sqrt(1.0 - z * z) * np.cos(turn), np.sqrt(1.0 - z * z) * np.sin(turn), z])
        began = 4.0 * np.pi * octave_energy(one.model, one.to_box(way[None]), speed)[0, band]
        energy, point, length, mirrors = began, one.axis_point.copy(), 0.0, 0
        scattered_before = from_mirror = False
        plane = -1
        for bounce in range(1, 10_000):
            t = hits(point, way, room.triangles)
            t[(room.plane_of_triangle == plane) | (t < -1e-9)] = np.inf
            if bounce == 1:
                t[room.owner_of_triangle == own] = np.inf
            facing = room.arrays.normal[room.facet_of_triangle] @ way < 0.0
            t[~facing] = np.inf  # in closed bodies nothing is met from behind
            k = int(np.argmin(t))
            leg = max(t[k], 0.0)
            if from_mirror and (scattered_before or mirrors > order):
                for ear, place in enumerate(built.ears):
                    along = (place - point) @ way
                    half = np.sqrt(max(radius_m**2 - (place - point) @ (place - point) + along**2, 0.0))
                    begin, end = max(along - half, 0.0), min(along + half, leg)
                    index = int((length + 0.5 * (begin + end)) / speed / bin_s)
                    if half > 0.0 and end > begin and index < bins:
                        volume = 4.0 / 3.0 * np.pi * radius_m**3
                        found[ear, index] += energy * np.exp(-air * 0.5 * (begin + end)) * (end - begin) / volume
            point, length, plane = point + leg * way, length + leg, int(room.plane_of_triangle[k])
            facet = int(room.facet_of_triangle[k])
            normal = room.arrays.normal[facet]
            boundary = int(boundary_of_points(built, boundaries, np.array([facet]), point[None])[0])
            arriving = energy * np.exp(-air * leg)
            lost_in_air += energy - arriving
            energy = arriving * boundaries.kept[boundary, band]
            taken += arriving - energy
            if energy < threshold * began or length >= speed * length_s:
                break
            words = philox_written_out([ray, 0, bounce, s], key)
            from_mirror = boundaries.scattering[boundary, band] <= fraction(words[0])
            if from_mirror:
                way, mirrors = way - 2.0 * (way @ normal) * normal, mirrors + 1
                continue
            for ear, place in enumerate(built.ears):
                toward = place - point
                far = float(np.linalg.norm(toward))
                index = int((length + far) / speed / bin_s)
                between = hits(point, toward, room.triangles)
                between[room.plane_of_triangle == plane] = np.inf
                hidden = np.any((between > NEAR_M / far) & (between < 1.0 - NEAR_M / far))
                if toward @ normal > 0.0 and not hidden and index < bins:
                    found[ear, index] += energy * np.exp(-air * far) * (toward @ normal) / (np.pi * far**3)
            way = about(normal, np.sqrt(1.0 - fraction(words[1])), 2.0 * np.pi * fraction(words[2]))
            scattered_before = True
    return found, taken, lost_in_air


def box_by_spheres_alone(
    size: np.ndarray,
    source: np.ndarray,
    ear: np.ndarray,
    *,
    kept: float,
    scattering: float,
    rays: int,
    radius_m: float,
    bounces: int,
    seed: int,
) -> np.ndarray:
    """Whole energy that each ray brings (ray,), direct sound included, in a box: spheres only, no rain, no images."""
    draw: Any = np.random.default_rng(seed)
    way = draw.normal(size=(rays, 3))
    way /= np.linalg.norm(way, axis=1, keepdims=True)
    point, energy, found = np.tile(source, (rays, 1)), np.full(rays, 4.0 * np.pi), np.zeros(rays)
    for _ in range(bounces):
        with np.errstate(divide="ignore"):
            reach = np.where(way > 0.0, (size - point) / way, -point / way)
        axis = np.argmin(reach, axis=1)
        leg = np.take_along_axis(reach, axis[:, None], 1)[:, 0]
        along = ((ear - point) * way).sum(axis=1)
        half = np.sqrt(np.maximum(radius_m**2 - ((ear - point) ** 2).sum(axis=1) + along**2, 0.0))
        chord = np.minimum(along + half, leg) - np.maximum(along - half, 0.0)
        found += np.where((half > 0.0) & (chord > 0.0), energy * chord / (4.0 / 3.0 * np.pi * radius_m**3), 0.0)
        point = np.clip(point + leg[:, None] * way, 0.0, size)
        energy *= kept
        rows = np.arange(rays)
        normal = np.zeros((rays, 3))
        normal[rows, axis] = -np.sign(way[rows, axis])
        mirrored = way.copy()
        mirrored[rows, axis] *= -1.0
        lambert = draw.normal(size=(rays, 3))  # a unit vector added to the normal gives Lambert's law
        lambert = normal + lambert / np.linalg.norm(lambert, axis=1, keepdims=True)
        lambert /= np.linalg.norm(lambert, axis=1, keepdims=True)
        way = np.where((draw.random(rays) < scattering)[:, None], lambert, mirrored)
    return found


def slow_bounces(
    built: BuiltScene, s: int, rays: range, *, seed: int, longest_m: float, radius_m: float
) -> tuple[np.ndarray, ...]:
    """Every arrival at the first ear, one ray after another: energies (n, 8), lengths, bounces, facets, places."""
    room, one, ear = built.room, built.loudspeakers[s], built.ears[0]
    boundaries, air = boundaries_of(built), air_per_m(built)
    own = room.owner_number(one.body)
    key = [seed & 0xFFFFFFFF, seed >> 32]
    rows: list[tuple[np.ndarray, float, int, list[int], list[np.ndarray]]] = []
    for ray in rays:
        words = philox_written_out([ray, 0, 0, s], key)
        z, turn = 1.0 - 2.0 * fraction(words[0]), 2.0 * np.pi * fraction(words[1])
        way = np.array([np.sqrt(1.0 - z * z) * np.cos(turn), np.sqrt(1.0 - z * z) * np.sin(turn), z])
        energy = 4.0 * np.pi * octave_energy(one.model, one.to_box(way[None]), built.air.speed_of_sound_m_s)[0]
        point, length, plane, from_mirror = one.axis_point.copy(), 0.0, -1, False
        facets: list[int] = []
        places: list[np.ndarray] = []
        while length < longest_m:
            t = hits(point, way, room.triangles)
            t[(room.plane_of_triangle == plane) | (t < -1e-9)] = np.inf
            if not facets:
                t[room.owner_of_triangle == own] = np.inf
            t[room.arrays.normal[room.facet_of_triangle] @ way >= 0.0] = np.inf
            k = int(np.argmin(t))
            along = (ear - point) @ way
            half = np.sqrt(max(radius_m**2 - (ear - point) @ (ear - point) + along**2, 0.0))
            begin, end = max(along - half, 0.0), min(along + half, t[k])
            reached = length + 0.5 * (begin + end)
            if from_mirror and half > 0.0 and end > begin and reached < longest_m:
                weight = np.exp(-air * reached) * (end - begin) / (4.0 / 3.0 * np.pi * radius_m**3)
                rows.append((energy * weight, reached, len(facets), list(facets), list(places)))
            point, length, plane = point + t[k] * way, length + t[k], int(room.plane_of_triangle[k])
            facet = int(room.facet_of_triangle[k])
            facets.append(facet)
            places.append(point)
            normal = room.arrays.normal[facet]
            boundary = int(boundary_of_points(built, boundaries, np.array([facet]), point[None])[0])
            energy, rough = energy * boundaries.kept[boundary], boundaries.scattering[boundary]
            chance = rough.mean()
            words = philox_written_out([ray, 0, len(facets), s], key)
            from_mirror = bool(fraction(words[0]) >= chance)
            if from_mirror:
                energy, way = energy * (1.0 - rough) / (1.0 - chance), way - 2.0 * (way @ normal) * normal
                continue
            energy = energy * rough / chance
            far = float(np.linalg.norm(ear - point))
            between = hits(point, ear - point, room.triangles)
            between[room.plane_of_triangle == plane] = np.inf
            hidden = np.any((between > NEAR_M / far) & (between < 1.0 - NEAR_M / far))
            lift = (ear - point) @ normal
            if lift > 0.0 and not hidden and length + far < longest_m:
                weight = np.exp(-air * (length + far)) * lift / (np.pi * far**3)
                rows.append((energy * weight, length + far, len(facets), list(facets), list(places)))
            way = about(normal, np.sqrt(1.0 - fraction(words[1])), 2.0 * np.pi * fraction(words[2]))
    firsts = np.full((len(rows), 3), -1)
    spots = np.full((len(rows), 3, 3), np.nan)
    for row, (_, _, _, met, where) in enumerate(rows):
        firsts[row, : len(met)] = met[:3]
        spots[row, : len(met)] = where[:3]
    columns = (np.array([row[n] for row in rows]) for n in range(3))
    return (*columns, firsts, spots)
