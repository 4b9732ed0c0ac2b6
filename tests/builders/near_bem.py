"""A boundary-element solver for what stands near a loudspeaker: boxes of any turn, touching or not, rigid or soft.

It shares nothing with what it is held against.  Total pressure, time e^{+j omega t}, G = e^{-jkr}/(4 pi r), normals
into the air, beta the specific admittance of a locally reacting surface (Wu, Boundary Element Acoustics, 2000,
chapter 2):

    p(x)/2 = p_in(x) + integral of p(y) (dG/dn_y - jk beta G) dS,   p(x) = p_in(x) + the same integral in the air.

- Panels are flat pieces of constant pressure, collocated at their middles, finer toward edges (`plate_bem`).
- Near panels take the exact solid angle (Van Oosterom & Strackee, IEEE Trans. Biomed. Eng. 30 (1983) 125-126) and the
  exact integral of 1/r (Wilton et al., IEEE Trans. Antennas Propag. 32 (1984) 276-281), also of the part of dG/dn that
  grows with it, which is what makes thin plates right; Gauss points take the rest.
- Rigid planes (a floor, a wall) are images in G.  What stands on one has no face there.
- Bodies that touch have no faces where they touch: panels of the lower one are cut along the footprint.
- Points inside each body, at which the total has to vanish, remove the inside's resonances (Schenck, J. Acoust. Soc.
  Am. 44 (1968) 41-58).  They are added softly, and only near and above the first resonance of a body.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from itertools import pairwise, product

import numba as nb
import numpy as np
from scipy.linalg import lu_factor, lu_solve

from tests.builders.plate_bem import SPEED_M_S, corner_angle, graded, panel_points

Admittance = Callable[[float], complex]
"""Specific admittance at a frequency in Hz."""


@dataclass(frozen=True)
class Box:
    """A box by its middle, sizes (3,) and axes (3, 3), one a row, the third being up; metres.

    soft: admittance by face, `axis * 2 + (1 for the high end)`.  flat: a sheet on a rigid plane, only its high third
    face.
    """

    middle: np.ndarray
    size: np.ndarray
    axes: np.ndarray = field(default_factory=lambda: np.eye(3))
    soft: dict[int, Admittance] = field(default_factory=dict)
    flat: bool = False

    def local(self, points: np.ndarray) -> np.ndarray:
        """Points (..., 3) in the box's own axes."""
        return np.asarray((points - self.middle) @ self.axes.T)

    def contains(self, points: np.ndarray, margin: float = 0.0) -> np.ndarray:
        """Which points (..., 3) lie inside."""
        return np.asarray((np.abs(self.local(points)) < 0.5 * self.size - margin).all(axis=-1))

    def first_resonance_hz(self, planes: Sequence[tuple[int, float]]) -> float:
        """Lowest frequency of its inside with p = 0 on the surface, and none on a rigid plane it stands on."""
        sizes = self.size.copy()
        for axis, place in planes:
            if abs(self.middle[axis] - 0.5 * self.size[axis] - place) < 1e-9:
                sizes[axis] *= 2.0
        return float(0.5 * SPEED_M_S * np.sqrt((1.0 / sizes**2).sum()))


def spread(length: float, step: float, cuts: Sequence[float]) -> np.ndarray:
    """Places from -length / 2 to length / 2, with the cuts among them, at most a step apart, finer toward each end."""
    ends = [-0.5 * length, *sorted(c for c in cuts if abs(c) < 0.5 * length - 1e-9), 0.5 * length]
    places = [np.array([-0.5 * length])]
    for low, high in pairwise(ends):
        half = 0.5 * (high - low)
        if 2.0 * half <= 0.75 * step:
            places.append(np.array([high]))
            continue
        side = graded(half, step)
        places.append(np.concatenate([low + half - side[-2:0:-1], [low + half], low + half + side[1:]]))
    return np.concatenate(places)


def outside(polygon: np.ndarray, footprint: np.ndarray) -> list[np.ndarray]:
    """What of a convex polygon (n, 2) lies outside a convex counter-clockwise footprint (m, 2): convex pieces."""
    pieces, rest = [], polygon
    for a, b in zip(footprint, np.roll(footprint, -1, axis=0), strict=True):
        normal = np.array([b[1] - a[1], a[0] - b[0]]) / np.linalg.norm(b - a)
        for keep, sign in ((True, 1.0), (False, -1.0)):
            heights = sign * (rest - a) @ normal
            corners = []
            for i in range(len(rest)):
                j = (i + 1) % len(rest)
                if heights[i] >= -1e-9:
                    corners.append(rest[i])
                if (heights[i] > 1e-9 and heights[j] < -1e-9) or (heights[i] < -1e-9 and heights[j] > 1e-9):
                    corners.append(rest[i] + heights[i] / (heights[i] - heights[j]) * (rest[j] - rest[i]))
            part = np.array(corners).reshape(-1, 2)
            x, y = part.T
            area = 0.5 * abs(x @ np.roll(y, -1) - y @ np.roll(x, -1)) if len(part) > 2 else 0.0
            if keep and area > 1e-8:
                pieces.append(part)
            elif not keep:
                rest = part if area > 1e-8 else np.empty((0, 2))
        if not len(rest):
            break
    return pieces


def faces(bodies: Sequence[Box], step: float, planes: Sequence[tuple[int, float]]) -> tuple[np.ndarray, np.ndarray]:
    """Panels (n, 4, 3) of all bodies and, for each, 6 * body + face."""
    panels, owners = [], []
    for number, body in enumerate(bodies):
        standing = [o for o in bodies if o is not body and _stands(o, body)]
        cuts: list[list[float]] = [[], [], []]
        for other in bodies:
            if other is not body and np.allclose(np.abs(other.axes @ body.axes.T).max(axis=0), 1.0):
                corners = body.local(_corners(other))
                near = (np.abs(corners).min(axis=0) < 0.5 * body.size + 0.1).all()
                for axis in range(3) if near else ():
                    cuts[axis] += [float(corners[:, axis].min()), float(corners[:, axis].max())]
        cuts[2] = []
        places = [spread(float(body.size[i]), step, cuts[i]) for i in range(3)]
        for axis, end in product(range(3), (0, 1)):
            if body.flat and (axis, end) != (2, 1):
                continue
            high = (1.0 if end else -1.0) * 0.5 * body.size[axis]
            face_middle = body.middle + high * body.axes[axis]
            on_plane = any(abs(face_middle[a] - p) < 1e-9 and abs(body.axes[axis][a]) > 1 - 1e-9 for a, p in planes)
            carried = axis == 2 and end == 0 and any(_stands(body, o) for o in bodies if o is not body)
            if (on_plane and not body.flat) or carried:
                continue
            a, b = (axis + 1) % 3, (axis + 2) % 3
            for i, j in product(range(len(places[a]) - 1), range(len(places[b]) - 1)):
                u, v = places[a][[i, i + 1, i + 1, i]], places[b][[j, j, j + 1, j + 1]]
                pieces = [np.stack([u, v], axis=1)]
                if axis == 2 and end == 1:
                    for other in standing:
                        print_ = body.local(_corners(other)[:4])[:, :2]
                        pieces = [q for piece in pieces for q in outside(piece, print_)]
                for piece in pieces:
                    for quad in _quads(piece):
                        corners = np.zeros((4, 3))
                        corners[:, axis], corners[:, a], corners[:, b] = high, quad[:, 0], quad[:, 1]
                        corners = body.middle + corners @ body.axes
                        if np.linalg.norm(np.cross(corners[2] - corners[0], corners[3] - corners[1])) < 1e-9:
                            continue  # between two cuts of neighbours that end at the same place
                        panels.append(corners if end else _turned(corners))
                        owners.append(6 * number + 2 * axis + end)
    return np.array(panels), np.array(owners)


def _turned(corners: np.ndarray) -> np.ndarray:
    return corners[[0, 2, 1, 1]] if np.allclose(corners[2], corners[3]) else corners[[0, 3, 2, 1]]


def _corners(box: Box) -> np.ndarray:
    """Corners (8, 3), the lower four first, counter-clockwise from above."""
    half = 0.5 * box.size
    flat = np.array([[-1.0, -1.0], [1.0, -1.0], [1.0, 1.0], [-1.0, 1.0]])
    local = np.concatenate([np.column_stack([flat, np.full(4, z)]) for z in (-1.0, 1.0)]) * half
    return np.asarray(box.middle + local @ box.axes)


def _stands(upper: Box, lower: Box) -> bool:
    """Whether the whole underside of one lies on the top of the other."""
    local = lower.local(_corners(upper)[:4])
    return bool((np.abs(local[:, 2] - 0.5 * lower.size[2]) < 1e-9).all() and _inside(local, lower))


def _inside(local: np.ndarray, box: Box) -> bool:
    return bool((np.abs(local[:, :2]) <= 0.5 * box.size[:2] + 1e-9).all())


def _quads(polygon: np.ndarray) -> list[np.ndarray]:
    """A convex polygon as four-sided pieces, triangles with their last corner doubled."""
    if len(polygon) == 4:
        return [polygon]
    return [polygon[[0, i, i + 1, i + 1]] for i in range(1, len(polygon) - 1)]


@nb.njit
def edge_term(p, q, normal, height):
    """What one edge adds to the integral of 1/r over a flat piece, seen from the origin."""
    along = q - p
    length = np.sqrt(np.dot(along, along))
    if length < 1e-12:
        return 0.0
    along = along / length
    outward = np.cross(along, normal)
    t0, l1, l2 = np.dot(p, outward), np.dot(p, along), np.dot(q, along)
    if abs(t0) < 1e-12:
        return 0.0
    r1, r2 = np.sqrt(np.dot(p, p)), np.sqrt(np.dot(q, q))
    ratio = (r2 + l2) / (r1 + l1) if l1 > 0.0 or l2 > 0.0 else (r1 - l1) / (r2 - l2)
    h = abs(height)
    low = t0 * t0 + h * h
    return t0 * np.log(ratio) - h * (np.arctan2(t0 * l2, low + h * r2) - np.arctan2(t0 * l1, low + h * r1))


@nb.njit
def influence(targets, panels, normals, points, weights, k, soft, scales, shifts):
    """Integral of dG/dn_y - jk beta G over each panel, seen from each target and its images: (targets, panels).

    soft: jk beta of each panel; scales, shifts (images, 3): the image of x is scale * x + shift.
    """
    result = np.zeros((len(targets), len(panels)), np.complex64)
    over = 1.0 / (4.0 * np.pi)
    for e in range(len(panels)):
        normal = normals[e]
        corner = panels[e]
        one, two = corner[2] - corner[0], corner[3] - corner[1]
        reach = 9.0 * max(np.dot(one, one), np.dot(two, two))
        middle = points[e, 0] * 0.25 + points[e, 1] * 0.25 + points[e, 2] * 0.25 + points[e, 3] * 0.25
        hard = soft[e] == 0.0
        for i in range(len(targets)):
            total = 0.0j
            for m in range(len(scales)):
                x0 = scales[m, 0] * targets[i, 0] + shifts[m, 0]
                x1 = scales[m, 1] * targets[i, 1] + shifts[m, 1]
                x2 = scales[m, 2] * targets[i, 2] + shifts[m, 2]
                height = (
                    (corner[0, 0] - x0) * normal[0] + (corner[0, 1] - x1) * normal[1] + (corner[0, 2] - x2) * normal[2]
                )
                flat = abs(height) < 1e-9
                if flat and hard:
                    continue
                d2 = (middle[0] - x0) ** 2 + (middle[1] - x1) ** 2 + (middle[2] - x2) ** 2
                near = d2 < reach
                if near:
                    x = np.array([x0, x1, x2])
                    a, b, c, d = corner[0] - x, corner[1] - x, corner[2] - x, corner[3] - x
                    if not flat:
                        total -= (corner_angle(a, b, c) + corner_angle(a, c, d)) * over
                    static = edge_term(a, b, normal, height) + edge_term(b, c, normal, height)
                    static += edge_term(c, d, normal, height) + edge_term(d, a, normal, height)
                    total -= (soft[e] + 0.5 * k * k * height) * static * over
                for g in range(4):
                    w0, w1, w2 = points[e, g, 0] - x0, points[e, g, 1] - x1, points[e, g, 2] - x2
                    r = np.sqrt(w0 * w0 + w1 * w1 + w2 * w2)
                    if r < 1e-9:
                        total += soft[e] * 1j * k * weights[e, g] * over
                        continue
                    turn = complex(np.cos(k * r), -np.sin(k * r))
                    slope = -height / (r * r * r) * (1.0 + 1j * k * r) * turn
                    plain = turn / r
                    if near:
                        slope += height / (r * r * r) + 0.5 * k * k * height / r
                        plain -= 1.0 / r
                    if flat:
                        slope = 0.0j
                    total += weights[e, g] * over * (slope - soft[e] * plain)
            result[i, e] = total
    return result


def images(planes: Sequence[tuple[int, float]]) -> tuple[np.ndarray, np.ndarray]:
    """Scales and shifts (images, 3) of the space itself and its images in rigid planes (axis, place)."""
    scales, shifts = [np.ones(3)], [np.zeros(3)]
    for axis, place in planes:
        for scale, shift in list(zip(scales, shifts, strict=True)):
            mirrored, moved = scale.copy(), shift.copy()
            mirrored[axis], moved[axis] = -1.0, 2.0 * place
            scales.append(mirrored)
            shifts.append(moved)
    return np.array(scales), np.array(shifts)


def radiated(sources: np.ndarray, points: np.ndarray, k: float, mirrors: tuple[np.ndarray, np.ndarray]) -> np.ndarray:
    """Free field e^{-jkr}/r of sources (s, 3) and their images at points (n, 3): (n, s)."""
    found = np.zeros((len(points), len(sources)), dtype=complex)
    for scale, shift in zip(*mirrors, strict=True):
        r = np.linalg.norm(points[:, None] - (scale * sources + shift)[None], axis=2)
        found += np.exp(-1j * k * r) / r
    return found


def solve(
    bodies: Sequence[Box],
    planes: Sequence[tuple[int, float]],
    incident: Callable[[np.ndarray, float], np.ndarray],
    ears: np.ndarray,
    frequency_hz: float,
    step: float,
) -> tuple[np.ndarray, int]:
    """Total pressure (ears, sources) round bodies and rigid planes, and how many panels there were.

    incident: points (n, 3) and wave number to (n, sources), images in the planes included.  At an ear in a rigid face
    it is half the pressure that is there.
    """
    k = 2.0 * np.pi * frequency_hz / SPEED_M_S
    panels, owners = faces(bodies, step, planes)
    middles, normals, points, weights = panel_points(panels)
    beta = np.array([bodies[o // 6].soft.get(o % 6, _rigid)(frequency_hz) for o in owners])
    flat = np.array([bodies[o // 6].flat for o in owners])
    parts = (np.ascontiguousarray(panels), normals, points, weights, k, 1j * k * beta)
    scales, shifts = images(planes)
    matrix = -influence(middles, *parts, scales, shifts)
    matrix[np.diag_indices_from(matrix)] += np.where(flat, 1.0, 0.5)
    right = incident(middles, k)
    inner = _inner_points(bodies, planes, frequency_hz)
    if len(inner):
        rows, given = -influence(inner, *parts, scales, shifts), incident(inner, k)
        size = np.linalg.norm(rows, axis=1, keepdims=True)
        rows, given = rows / size, given / size
        matrix += 0.5 * rows.conj().T @ rows
        right = right + 0.5 * rows.conj().T @ given
    factors = lu_factor(matrix, overwrite_a=True, check_finite=False)
    surface = lu_solve(factors, right.astype(np.complex64), check_finite=False)
    return incident(ears, k) + influence(ears, *parts, scales, shifts) @ surface, len(panels)


def _rigid(_frequency_hz: float) -> complex:
    return 0.0


def _inner_points(bodies: Sequence[Box], planes: Sequence[tuple[int, float]], frequency_hz: float) -> np.ndarray:
    found = []
    for body in bodies:
        if not body.flat and frequency_hz > 0.85 * body.first_resonance_hz(planes):
            volume = float(np.prod(body.size)) * (frequency_hz / SPEED_M_S) ** 3
            shares = np.random.default_rng(7).uniform(-0.42, 0.42, (16 + int(12.0 * volume), 3))
            found.append(body.middle + (shares * body.size) @ body.axes)
    return np.concatenate(found) if found else np.empty((0, 3))
