"""The slow, obvious twin of chains of two edges where source and ear may both graze the face between them.

Panels of Gauss points get finer about every peak and every end of either edge by factors of two, down to `FINEST_M`.
"""

from __future__ import annotations

import numpy as np

from sim.propagation.edges.convex import ConvexBody
from tests.propagation.slow_edges import about

FINEST_M, LONGEST_M = 3.0e-5, 0.02
GAUSS_X, GAUSS_W = np.polynomial.legendre.leggauss(8)


def beta(nu: float, eta: np.ndarray, theta_s: float, theta_r: float) -> np.ndarray:
    """Svensson, Fred & Vanderkooy (1999), by half angles: sin a / (cosh b - cos a) cancels near a peak."""
    total = np.zeros_like(eta)
    for first in (1.0, -1.0):
        for second in (1.0, -1.0):
            half = 0.5 * nu * (np.pi + first * theta_s + second * theta_r)
            total += np.sin(half) * np.cos(half) / (np.sinh(0.5 * nu * eta) ** 2 + np.sin(half) ** 2)
    return total


def panels(length_m: float, centres: list[float]) -> tuple[np.ndarray, np.ndarray]:
    """Places and weights along an edge."""
    steps = FINEST_M * 2.0 ** np.arange(int(np.log2(4.0 * length_m / FINEST_M)) + 2)
    marks = [np.linspace(0.0, length_m, int(length_m / LONGEST_M) + 2)]
    for centre in centres:
        marks += [centre + steps, centre - steps, np.array([centre])]
    ends = np.unique(np.concatenate(marks))
    ends = ends[(ends >= 0.0) & (ends <= length_m)]
    ends = ends[np.append(True, np.diff(ends) > 1e-13)]
    middle, half = 0.5 * (ends[1:] + ends[:-1]), 0.5 * np.diff(ends)
    return (middle[:, None] + half[:, None] * GAUSS_X).ravel(), (half[:, None] * GAUSS_W).ravel()


def crossing(start: np.ndarray, stop: np.ndarray, edge: tuple, normal: np.ndarray) -> list[float]:
    """Where, along an edge, a straight line in the plane of a face crosses the edge's line."""
    out = np.cross(normal, edge[1])
    rate = (stop - start) @ out
    return (
        []
        if abs(rate) < 1e-12
        else [float((start + (edge[0] - start) @ out / rate * (stop - start) - edge[0]) @ edge[1])]
    )


def chains_over_two_edges(body: ConvexBody, source: np.ndarray, ear: np.ndarray, k: np.ndarray) -> np.ndarray:
    """Complex (f,): all chains of two edges that share a face, at wavenumbers (f,)."""
    total = np.zeros(len(k), complex)
    for first, last, near, far in body.edge_legs:
        one, other = (tuple(part[e] for part in body.wedges) for e in (first, last))
        (r_s, angle_s, z_s), (r_e, angle_e, z_e) = about(source, one), about(ear, other)
        if angle_s > one[5] or angle_e > other[5]:
            continue
        nu, nu_last = np.pi / one[5], np.pi / other[5]
        normal = body.normals[body.faces_of_edge[first, near]]
        start, stop = (p - ((p - one[0]) @ normal) * normal for p in (source, ear))
        corners = [one[0], one[0] + one[4] * one[1]]
        centres = [0.0, other[4], *crossing(start, stop, other, normal)]
        centres += [c for corner in corners for c in crossing(start, corner, other, normal)]
        for z, weight in zip(*panels(other[4], centres), strict=True):
            node = other[0] + z * other[1]
            r, _, z_node = about(node, one)
            apex = (z_s * r + z_node * r_s) / (r + r_s)
            places, steps = panels(one[4], [0.0, one[4], apex, z_node, *crossing(stop, node, one, normal)])
            m, leg, on = np.hypot(r_s, places - z_s), np.hypot(r, places - z_node), np.hypot(r_e, z - z_e)
            eta = np.arcsinh((places - z_s) / r_s) + np.arcsinh((places - z_node) / r)
            came = -nu / (4 * np.pi) * beta(nu, eta, angle_s, one[5] * near) / (m * leg) * 0.5
            ways = one[0] + places[:, None] * one[1] - other[0]
            along, beside = ways @ other[1], np.hypot(ways @ other[2], ways @ other[3])
            eta = np.arcsinh((z - along) / beside) + np.arcsinh((z - z_e) / r_e)
            went = -nu_last / (4 * np.pi) * beta(nu_last, eta, angle_e, other[5] * far) / on
            total += (weight * steps * came * went * np.exp(-1j * k[:, None] * (m + leg + on))).sum(axis=1)
    return total
