"""Slow, obvious twins of what builds facets and edges: unions of triangles, loops over planes and pairs of sides."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely

from sim.arrays import FloatArray, IntArray
from sim.geometry.edges import CLOSED_RAD, TOUCH_M
from sim.geometry.facets import SAME_DIRECTION, SAME_PLANE_M, Facet, _Flat, plane_frame, triangle_planes
from sim.geometry.seams import near_pairs
from sim.geometry.unions import SNAP_M
from sim.rays.shape_kernels import inside_polygon


def plane_numbers(normal: FloatArray, offset: FloatArray) -> list[int]:
    """Number of the first facet before each that looks and lies alike, every one of them asked."""
    numbers: list[int] = []
    first: list[int] = []
    for f in range(len(offset)):
        for number, g in enumerate(first):
            if normal[g] @ normal[f] >= SAME_DIRECTION and abs(offset[g] - offset[f]) <= SAME_PLANE_M:
                numbers.append(number)
                break
        else:
            first.append(f)
            numbers.append(len(first) - 1)
    return numbers


def split_slowly(triangles: FloatArray) -> list[IntArray]:
    """Group triangles (n, 3, 3) that lie in one plane and face one way; largest triangles decide the planes."""
    normals, areas = triangle_planes(triangles)
    left = np.argsort(-areas, kind="stable")
    groups: list[IntArray] = []
    while left.size:
        normal = normals[left[0]]
        offset = float(normal @ triangles[left[0]].mean(axis=0))
        away = np.abs(triangles[left] @ normal - offset).max(axis=1)
        same = (normals[left] @ normal >= SAME_DIRECTION) & (away <= SAME_PLANE_M)
        same[0] = True
        groups.append(np.sort(left[same]))
        left = left[~same]
    return groups


def union(flat: FloatArray) -> shapely.geometry.base.BaseGeometry:
    """Union of triangles (n, 3, 2), slits of a micrometre closed."""
    united = shapely.union_all(shapely.polygons(flat), grid_size=SNAP_M)
    wider = shapely.buffer(united, 2.0 * SNAP_M, join_style="mitre", mitre_limit=50.0)
    closed = shapely.buffer(wider, -2.0 * SNAP_M, join_style="mitre", mitre_limit=50.0)
    return shapely.set_precision(closed, SNAP_M)


def sides_of(polygon: object) -> FloatArray:
    """Sides (b, 4) of a polygon or several, ring by ring."""
    parts = getattr(polygon, "geoms", [polygon])
    loops = [loop for part in parts if part.geom_type == "Polygon" for loop in (part.exterior, *part.interiors)]
    rings = [np.asarray(loop.coords)[:, :2] for loop in loops]
    return np.concatenate([np.hstack([ring[:-1], ring[1:]]) for ring in rings]) if rings else np.zeros((0, 4))


def flat_groups(triangles: FloatArray) -> tuple[_Flat, ...]:
    """Flat groups of a patch's triangles (n, 3, 3), one after the other."""
    sound = triangles[triangle_planes(triangles)[1] > 1e-12]
    groups = []
    for group in split_slowly(sound):
        members = sound[group]
        normals, areas = triangle_planes(members)
        normal = (normals * areas[:, None]).sum(axis=0)
        normal = normal / np.linalg.norm(normal)
        offset = float(np.average((members @ normal).mean(axis=1), weights=areas))
        frame = plane_frame(normal, normal * offset)
        polygon = union((members - frame[0]) @ frame[1:].T)
        sides = sides_of(polygon)
        groups.append(_Flat((members), (normal), offset, (frame), (sides), float(polygon.area)))
    return tuple(groups)


def air_angle(first: Facet, second: Facet, a: FloatArray, b: FloatArray) -> float:
    """Angle of air in radians between two facets along their common edge a-b.

    Measured about the edge from the face of `first`, through the air in front of it, to the face of `second`.
    """
    along = (b - a) / np.linalg.norm(b - a)
    into = [_into_facet(facet, a, b, along) for facet in (first, second)]
    angle = float(np.arctan2(into[1] @ first.normal, into[1] @ into[0]) % (2.0 * np.pi))
    return angle if angle > CLOSED_RAD else 2.0 * np.pi  # back to back, the two sides of a sheet


def _into_facet(facet: Facet, a: FloatArray, b: FloatArray, along: FloatArray) -> FloatArray:
    """Unit vector in the facet's plane, square to the edge, pointing into the facet."""
    sideways = np.cross(facet.normal, along)
    x, y = facet.to_plane(0.5 * (a + b) + 1.0e-4 * sideways)
    return sideways if inside_polygon(x, y, facet.border) else -sideways


def body_edges(facets: Sequence[Facet]) -> tuple[FloatArray, IntArray, IntArray, FloatArray]:
    """Edges of one body: ends (e, 2, 3), facets (e, 2) and sides (e, 2) by their numbers in it, angles of air (e,)."""
    starts = np.concatenate([facet.from_plane(facet.border[:, :2]) for facet in facets])
    stops = np.concatenate([facet.from_plane(facet.border[:, 2:]) for facet in facets])
    owner_of = np.concatenate([np.full(len(facet.border), i) for i, facet in enumerate(facets)])
    ends: list[FloatArray] = []
    pairs: list[tuple[int, int]] = []
    sides: list[tuple[int, int]] = []
    angles: list[float] = []
    for i, j in candidates(starts, stops):
        first, second = facets[owner_of[i]], facets[owner_of[j]]
        if first.plane == second.plane:
            continue
        shared = overlap(starts[i], stops[i], starts[j], stops[j])
        if shared is None:
            continue
        ends.append(np.stack(shared))
        pairs.append((int(owner_of[i]), int(owner_of[j])))
        sides.append((i, j))
        angles.append(air_angle(first, second, *shared))
    return (
        (np.array(ends, dtype=np.float64).reshape(-1, 2, 3)),
        (np.array(pairs, dtype=np.int64).reshape(-1, 2)),
        (np.array(sides, dtype=np.int64).reshape(-1, 2)),
        (np.array(angles, dtype=np.float64)),
    )


def overlap(a: FloatArray, b: FloatArray, c: FloatArray, d: FloatArray) -> tuple[FloatArray, FloatArray] | None:
    """Return the stretch that segments ab and cd have in common, if they lie on one line."""
    length = float(np.linalg.norm(b - a))
    if length <= 10.0 * TOUCH_M:
        return None
    along = (b - a) / length
    places = np.array([(c - a) @ along, (d - a) @ along])
    away = [np.linalg.norm(p - a - place * along) for p, place in zip((c, d), places, strict=True)]
    if max(away) > TOUCH_M:
        return None
    low, high = max(0.0, float(places.min())), min(length, float(places.max()))
    return (a + low * along, a + high * along) if high - low > 10.0 * TOUCH_M else None


def candidates(starts: FloatArray, stops: FloatArray) -> list[tuple[int, int]]:
    """Pairs of sides that lie on one straight line, found by hashing the line they lie on."""
    along = stops - starts
    length = np.linalg.norm(along, axis=1)
    along = along / np.maximum(length, 1e-12)[:, None]
    # the first of the large components decides the sense: on a 45 degree slope two are equal but for rounding
    lead = (np.abs(along) > 0.5).argmax(axis=1)
    along = along * np.sign(along[np.arange(len(along)), lead])[:, None]
    foot = starts - (starts * along).sum(axis=1)[:, None] * along
    lines = np.hstack([along * 2.0, foot])  # 1 mm per 0.5 mrad: generous, the overlap test is the judge
    pairs = near_pairs(lines, 2.0e-3)
    return [(int(i), int(j)) for i, j in np.sort(pairs, axis=1)[np.lexsort((pairs[:, 1], pairs[:, 0]))]]
