"""Slow, obvious twins of the kernels: whole linear systems, plain loops, searches instead of closed forms."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise, product

import numpy as np

from sim.geometry.room import Room

SLACK = 1e-12


def hit(point: np.ndarray, direction: np.ndarray, triangle: np.ndarray) -> float:
    """t where point + t direction meets a triangle (3, 3), from the 3 by 3 system; infinity if it does not."""
    a, b, c = triangle
    system = np.column_stack([b - a, c - a, -direction])
    if np.linalg.det(system) == 0.0:
        return np.inf
    u, v, t = np.linalg.solve(system, point - a)
    return float(t) if u >= -SLACK and v >= -SLACK and u + v <= 1.0 + SLACK else np.inf


def hits(point: np.ndarray, direction: np.ndarray, triangles: np.ndarray) -> np.ndarray:
    """`hit` for every triangle (n, 3, 3) at once."""
    a, b, c = np.moveaxis(triangles, 1, 0)
    system = np.stack([b - a, c - a, np.broadcast_to(-direction, a.shape)], axis=2)
    parallel = np.abs(np.linalg.det(system)) == 0.0
    system[parallel] = np.eye(3)
    u, v, t = np.moveaxis(np.linalg.solve(system, (point - a)[..., None])[..., 0], 1, 0)
    inside = (u >= -SLACK) & (v >= -SLACK) & (u + v <= 1.0 + SLACK) & ~parallel
    return np.where(inside, t, np.inf)


def is_clear(p: np.ndarray, q: np.ndarray, triangles: np.ndarray, gap_m: float = 1e-6) -> bool:
    """Whether no triangle lies between two points; what is met within gap_m of either end does not count."""
    length = float(np.linalg.norm(q - p))
    t = hits(p, q - p, triangles)
    return not bool(((t > gap_m / length) & (t < 1.0 - gap_m / length)).any())


def least(function: Callable[[float], float], low: float = 0.0, high: float = 1.0) -> float:
    """Least value of a convex function of one number by cutting the interval in thirds."""
    for _ in range(100):
        a, b = low + (high - low) / 3.0, high - (high - low) / 3.0
        if function(a) < function(b):
            high = b
        else:
            low = a
    return function(0.5 * (low + high))


def point_to_segment(point: np.ndarray, a: np.ndarray, b: np.ndarray) -> float:
    """Least distance from a point to a segment, in any number of dimensions."""
    return least(lambda t: float(np.linalg.norm(a + t * (b - a) - point)))


def segment_to_segment(p: np.ndarray, q: np.ndarray, a: np.ndarray, b: np.ndarray) -> float:
    """Least distance between two segments: a search along one, point to segment along the other."""
    return least(lambda s: _to_line_piece(p + s * (q - p), a, b))


def _to_line_piece(point: np.ndarray, a: np.ndarray, b: np.ndarray) -> float:
    along = b - a
    t = min(1.0, max(0.0, float((point - a) @ along / (along @ along))))
    return float(np.linalg.norm(point - a - t * along))


def turns_about(x: float, y: float, border: np.ndarray) -> bool:
    """Whether a point lies inside closed borders (b, 4): the angles they are seen under add up to whole turns."""
    start, stop = border[:, :2] - [x, y], border[:, 2:] - [x, y]
    crossed = start[:, 0] * stop[:, 1] - start[:, 1] * stop[:, 0]
    angle = np.arctan2(crossed, (start * stop).sum(axis=1)).sum()
    return round(float(angle) / (2.0 * np.pi)) % 2 != 0


def border_distance(x: float, y: float, border: np.ndarray) -> float:
    """Least distance from a point to any side."""
    return min(point_to_segment(np.array([x, y]), side[:2], side[2:]) for side in border)


@dataclass
class Mirrored:
    """A path found the slow way: facet numbers and points from source to ear."""

    facets: tuple[int, ...]
    points: np.ndarray

    def length_m(self, source: np.ndarray, ear: np.ndarray) -> float:
        return float(np.linalg.norm(np.diff(np.vstack([source, self.points, ear]), axis=0), axis=1).sum())


def mirrored(point: np.ndarray, normal: np.ndarray, offset_m: float) -> np.ndarray:
    """Mirror image of a point in the plane normal . x = offset."""
    return point - 2.0 * (normal @ point - offset_m) * normal


def mirror_paths(room: Room, source: np.ndarray, ear: np.ndarray, order: int, own: int = -1) -> Iterator[Mirrored]:
    """Every path of 1 to `order` mirrors: all sequences of facets tried, each point and leg tested."""
    for many in range(1, order + 1):
        for sequence in product(range(len(room.facets)), repeat=many):
            points = _back_traced(room, source, ear, sequence)
            if points is not None and _legs_clear(room, source, ear, points, own):
                yield Mirrored(sequence, points)


def _back_traced(room: Room, source: np.ndarray, ear: np.ndarray, sequence: Sequence[int]) -> np.ndarray | None:
    images = [source]
    for f in sequence:
        facet = room.facets[f]
        if facet.normal @ images[-1] - facet.offset_m <= 1e-9:
            return None
        images.append(mirrored(images[-1], facet.normal, facet.offset_m))
    points: list[np.ndarray] = []
    at = ear
    for f, image in zip(reversed(sequence), reversed(images[1:]), strict=True):
        facet = room.facets[f]
        here, there = facet.normal @ at - facet.offset_m, facet.normal @ image - facet.offset_m
        if here <= 1e-9 or there >= 0.0:
            return None
        at = at + here / (here - there) * (image - at)
        x, y = facet.to_plane(at)
        if not turns_about(float(x), float(y), facet.border):
            return None
        points.insert(0, at)
    return np.array(points)


def _legs_clear(room: Room, source: np.ndarray, ear: np.ndarray, points: np.ndarray, own: int) -> bool:
    stations = [source, *points, ear]
    others = room.triangles[room.owner_of_triangle != own]
    return all(is_clear(p, q, others if leg == 0 else room.triangles) for leg, (p, q) in enumerate(pairwise(stations)))


def lattice(
    sizes: np.ndarray, source: np.ndarray, order: int
) -> Iterator[tuple[np.ndarray, tuple[int, int, int, int, int, int]]]:
    """Images of a box room up to `order`: their places and how often the six walls (low, high an axis) are hit.

    Allen & Berkley, J. Acoust. Soc. Am. 65 (1979) 943-950, with image coordinate (1 - 2q) x + 2 n L: the wall at 0
    is hit |n - q| times, the one at L |n| times.
    """
    single = [
        [
            ((1 - 2 * q) * source[axis] + 2.0 * n * sizes[axis], abs(n - q), abs(n))
            for q in (0, 1)
            for n in range(-order, order + 1)
            if abs(2 * n - q) <= order
        ]
        for axis in range(3)
    ]
    for x, y, z in product(*single):
        if sum(x[1:]) + sum(y[1:]) + sum(z[1:]) <= order:
            yield np.array([x[0], y[0], z[0]]), (x[1], x[2], y[1], y[2], z[1], z[2])


def spread_slowly(
    points: np.ndarray,
    ways: np.ndarray,
    cosines: np.ndarray,
    reach: np.ndarray,
    energy: np.ndarray,
    wavelengths: np.ndarray,
    places: np.ndarray,
) -> np.ndarray:
    """Surface map (band, g) at plane places (g, 2): every sample onto every place by the ellipse of its zone."""
    total = np.zeros((len(wavelengths), len(places)))
    for m, b, g in product(range(len(points)), range(len(wavelengths)), range(len(places))):
        across_half = np.sqrt(wavelengths[b] * reach[m])
        along_half = across_half / cosines[m]
        away = places[g] - points[m]
        u, v = away @ ways[m], away @ np.array([-ways[m][1], ways[m][0]])
        rho_squared = (u / along_half) ** 2 + (v / across_half) ** 2
        total[b, g] += energy[m, b] * max(0.0, 1.0 - rho_squared) ** 2
    return total


def plain_local_peaks(level: np.ndarray, rise_db: float) -> list[int]:
    """Places of maxima by looking for each at what is higher to its left and right, and for the dips between."""
    found = []
    inner = np.flatnonzero((level[1:-1] > level[:-2]) & (level[1:-1] >= level[2:])) + 1
    for place in inner:
        higher = np.flatnonzero(level > level[place])
        left, right = higher[higher < place], higher[higher > place]
        low = level[left[-1] if left.size else 0 : place + 1].min()
        high = level[place : (right[0] if right.size else len(level) - 1) + 1].min()
        if level[place] - max(low, high) >= rise_db:
            found.append(int(place))
    return found
