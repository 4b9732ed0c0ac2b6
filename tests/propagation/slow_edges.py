"""Slow, obvious twins of the edge kernels: the printed formula under adaptive quadrature, and dense double sums."""

from __future__ import annotations

import numpy as np
from scipy.integrate import quad

from sim.propagation.edges.convex import ConvexBody


def about(point: np.ndarray, wedge: tuple) -> tuple[float, float, float]:
    """Distance from the edge, angle from face 0 through the air, place along the edge."""
    start, along, face, normal = wedge[:4]
    way = point - start
    return np.hypot(way @ face, way @ normal), np.arctan2(way @ normal, way @ face) % (2 * np.pi), way @ along


def beta(nu: float, eta: np.ndarray, theta_s: np.ndarray, theta_r: np.ndarray) -> np.ndarray:
    total = 0.0
    for first in (1.0, -1.0):
        for second in (1.0, -1.0):
            phi = np.pi + first * theta_s + second * theta_r
            total = total + np.sin(nu * phi) / (np.cosh(nu * eta) - np.cos(nu * phi))
    return total


def edge_by_quadrature(source: np.ndarray, ear: np.ndarray, wedge: tuple, k: float) -> complex:
    """Svensson, Fred & Vanderkooy (1999) as printed, with arcosh, by SciPy's adaptive quadrature."""
    nu = np.pi / wedge[5]
    (r_s, t_s, z_s), (r_e, t_e, z_e) = about(source, wedge), about(ear, wedge)

    def value(z: float) -> complex:
        m, far = np.hypot(r_s, z - z_s), np.hypot(r_e, z - z_e)
        eta = np.arccosh(max((m * far + (z - z_s) * (z - z_e)) / (r_s * r_e), 1.0))
        return -nu / (4 * np.pi) * beta(nu, eta, t_s, t_e) * np.exp(-1j * k * (m + far)) / (m * far)

    apex = float(np.clip((z_s * r_e + z_e * r_s) / (r_s + r_e), 0.0, wedge[4]))
    parts = [
        quad(lambda z, part=part: getattr(value(z), part), a, b, limit=400, epsabs=1e-9, epsrel=1e-9)[0]
        for part in ("real", "imag")
        for a, b in ((0.0, apex), (apex, wedge[4]))
        if b - a > 1e-12
    ]
    half = len(parts) // 2
    return complex(sum(parts[:half]), sum(parts[half:]))


def chains_by_dense_sums(body: ConvexBody, source: np.ndarray, ear: np.ndarray, k: float, n: int) -> tuple:
    """Chains of two and of three edges by n Gauss points on every edge, crowded toward its ends, in full matrices."""
    x, w = np.polynomial.legendre.leggauss(n)
    u = 0.5 * (x + 1.0)
    crowded, fractions = 3 * u**2 - 2 * u**3, 3 * u * (1 - u) * w
    wedges = list(zip(*body.wedges, strict=True))
    points = np.concatenate([wd[0] + wd[4] * crowded[:, None] * wd[1] for wd in wedges])
    weights = np.concatenate([wd[4] * fractions for wd in wedges])
    edge = np.repeat(np.arange(len(wedges)), n)
    size = len(points)
    shared = np.full((size, size), -1)
    for start, stop, mine, _ in body.edge_legs:
        shared[np.ix_(edge == start, edge == stop)] = body.faces_of_edge[start, mine]
    nu, air = np.pi / body.wedges[5][edge], body.wedges[5][edge]
    ends = {name: [about(p, wedges[e]) for e in range(len(wedges))] for name, p in (("s", source), ("e", ear))}
    away = np.linalg.norm(points[:, None] - points[None], axis=2)
    edge_leg = np.where(shared >= 0, 0.5 * np.exp(-1j * k * away) / np.where(away > 0, away, 1.0), 0.0)

    def cosh_eta(j: int, a: tuple, b: tuple) -> float:
        z = (points[j] - wedges[edge[j]][0]) @ wedges[edge[j]][1]
        m, far = np.hypot(a[0], z - a[2]), np.hypot(b[0], z - b[2])
        return (m * far + (z - a[2]) * (z - b[2])) / (a[0] * b[0])

    def bend(j: int, a: tuple, b: tuple) -> float:
        return -nu[j] / (4 * np.pi) * beta(nu[j], np.arccosh(max(cosh_eta(j, a, b), 1.0)), a[1], b[1])

    def neighbour(j: int, i: int) -> tuple:
        r, _, z = about(points[i], wedges[edge[j]])
        return r, 0.0 if body.faces_of_edge[edge[j], 0] == shared[j, i] else air[j], z

    start, stop = np.zeros((size, size), complex), np.zeros((size, size), complex)
    for i in range(size):
        for j in np.flatnonzero(shared[i] >= 0):
            for name, table, end in (("s", start, source), ("e", stop, ear)):
                seen = ends[name][edge[i]]
                if seen[1] <= air[i]:
                    m = np.linalg.norm(points[i] - end)
                    table[i, j] = bend(i, seen, neighbour(i, j)) * np.exp(-1j * k * m) / m
    second = np.einsum("i,j,ij,ij,ji->", weights, weights, start, edge_leg, stop)
    third = 0.0
    for j in range(size):
        near = np.flatnonzero(shared[j] >= 0)
        sides = [neighbour(j, i) for i in near]
        come = weights[near] * start[near, j] * edge_leg[near, j]
        leave = weights[near] * stop[near, j] * edge_leg[near, j]
        r, theta, z = (np.array(column) for column in zip(*sides, strict=True))
        place = (points[j] - wedges[edge[j]][0]) @ wedges[edge[j]][1]
        m = np.hypot(r, place - z)
        cosh = (m[:, None] * m + (place - z)[:, None] * (place - z)) / (r[:, None] * r)
        diffracted = -nu[j] / (4 * np.pi) * beta(nu[j], np.arccosh(np.maximum(cosh, 1.0)), theta[:, None], theta)
        third += weights[j] * (come @ diffracted @ leave)
    return second, third


def edge_beside_soft_faces(
    source: np.ndarray, ear: np.ndarray, wedge: tuple, k: float, first: complex, last: complex
) -> complex:
    """Luebbers' (1984) weights on the four terms as printed: 1, 1, R of face 0, R of face n; plain trapezoids."""
    nu = np.pi / wedge[5]
    (r_s, t_s, z_s), (r_e, t_e, z_e) = about(source, wedge), about(ear, wedge)
    apex = (z_s * r_e + z_e * r_s) / (r_s + r_e)
    low, high = np.arcsinh((np.array([0.0, wedge[4]]) - apex) * 1e4)
    z = apex + 1e-4 * np.sinh(np.linspace(low, high, 40_001))
    m, far = np.hypot(r_s, z - z_s), np.hypot(r_e, z - z_e)
    eta = np.arccosh(np.maximum((m * far + (z - z_s) * (z - z_e)) / (r_s * r_e), 1.0))
    total = 0.0
    for phi, weight in (
        (np.pi + t_s - t_e, 1.0),
        (np.pi - t_s + t_e, 1.0),
        (np.pi - t_s - t_e, first),
        (np.pi + t_s + t_e, last),
    ):
        total = total + weight * np.sin(nu * phi) / (np.cosh(nu * eta) - np.cos(nu * phi))
    value = -nu / (4 * np.pi) * total * np.exp(-1j * k * (m + far)) / (m * far)
    return complex(np.trapezoid(value, z))
