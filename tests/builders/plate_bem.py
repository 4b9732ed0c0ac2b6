"""A small boundary-element solver for a rigid plate, and the reference values it made for the edge tests.

    python tests/builders/plate_bem.py        # rewrites tests/builders/data/plate_bem.json (some minutes)

Total pressure outside a rigid body, time e^{+j omega t}, G = e^{-jkr}/(4 pi r), normals into the air
(Helmholtz-Kirchhoff; Wu, Boundary Element Acoustics, 2000, chapter 2):

    p(x)/2 = p_inc(x) + integral of p(y) dG/dn_y dS on the surface,   p(x) = p_inc(x) + the same integral in the air.

- Panels are flat four-sided pieces of constant pressure, collocated at their middles, finer toward the edges.
- The static part of every panel integral is its solid angle, exact however near the panel (Van Oosterom &
  Strackee, IEEE Trans. Biomed. Eng. 30 (1983) 125-126); what is left is bounded and takes Gauss points.  That is
  what makes thin plates work.
- A plate is its own mirror image in three planes.  The field is split into eight parts, even or odd in each, and each
  is solved on one eighth of the surface.
- The equation fails at the frequencies of the inside with p = 0 on the surface; the lowest of a plate lies above
  c/(2 thickness), and `solve` refuses to go there.
"""

from __future__ import annotations

import json
import sys
from dataclasses import dataclass
from itertools import product
from pathlib import Path

import numba as nb
import numpy as np

SAVED = Path(__file__).parent / "data" / "plate_bem.json"
SPEED_M_S = 343.2
SIGNS = np.array(list(product((1.0, -1.0), repeat=3)))
"""(8, 3): the mirrorings of one eighth into all, and the even and odd parts."""
GAUSS = np.array([-1.0, 1.0]) / np.sqrt(3.0)


def graded(length: float, step: float) -> np.ndarray:
    """Places 0 .. length with steps of at most `step`, shrinking toward `length`, where the pressure has a kink."""
    count = max(2, int(np.ceil(length / step)))
    while True:
        steps = np.minimum(1.0, 0.25 + 0.25 * np.arange(count)[::-1])
        if length / steps.sum() <= step:
            return np.concatenate([[0.0], np.cumsum(steps)]) * length / steps.sum()
        count += 1


def plate_eighth(size: tuple[float, float, float], step: float) -> np.ndarray:
    """Panels (n, 4, 3) of one eighth of a box (depth, width, thickness) around the origin, seen from the air."""
    half = 0.5 * np.array(size)
    places = [graded(float(h), min(step, float(h) / 2.0 if axis == 2 else step)) for axis, h in enumerate(half)]
    panels = []
    for axis in range(3):
        a, b = (axis + 1) % 3, (axis + 2) % 3
        for i, j in product(range(len(places[a]) - 1), range(len(places[b]) - 1)):
            corners = np.zeros((4, 3))
            corners[:, axis] = half[axis]
            corners[:, a] = places[a][[i, i + 1, i + 1, i]]
            corners[:, b] = places[b][[j, j, j + 1, j + 1]]
            panels.append(corners)
    return np.array(panels)


def sphere_eighth(radius: float, count: int) -> np.ndarray:
    """Panels of one eighth of a sphere: triangles, the last corner doubled."""

    def corner(i: int, j: int) -> np.ndarray:
        point = np.array([i, j, count - i - j], dtype=float)
        return radius * point / np.linalg.norm(point)

    panels = []
    for i, j in product(range(count), range(count)):
        if i + j < count:
            panels.append([corner(i, j), corner(i + 1, j), corner(i, j + 1), corner(i, j + 1)])
        if i + j < count - 1:
            panels.append([corner(i + 1, j), corner(i + 1, j + 1), corner(i, j + 1), corner(i, j + 1)])
    return np.array(panels)


def panel_points(panels: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Middles (n, 3), normals (n, 3), Gauss points (n, 4, 3) and their areas (n, 4)."""
    crossed = np.cross(panels[:, 2] - panels[:, 0], panels[:, 3] - panels[:, 1])
    flat = np.linalg.norm(panels[:, 3] - panels[:, 2], axis=1) < 1e-12
    crossed[flat] = np.cross(panels[flat, 1] - panels[flat, 0], panels[flat, 2] - panels[flat, 0])
    normals = crossed / np.linalg.norm(crossed, axis=1)[:, None]
    places, areas = [], []
    for u, v in product(GAUSS, GAUSS):
        shape = 0.25 * np.array([(1 - u) * (1 - v), (1 + u) * (1 - v), (1 + u) * (1 + v), (1 - u) * (1 + v)])
        du = 0.25 * np.array([-(1 - v), 1 - v, 1 + v, -(1 + v)])
        dv = 0.25 * np.array([-(1 - u), -(1 + u), 1 + u, 1 - u])
        places.append(np.einsum("k,nkx->nx", shape, panels))
        tangents = np.cross(np.einsum("k,nkx->nx", du, panels), np.einsum("k,nkx->nx", dv, panels))
        areas.append(np.linalg.norm(tangents, axis=1))
    points, weights = np.stack(places, axis=1), np.stack(areas, axis=1)
    middles = (points * weights[..., None]).sum(axis=1) / weights.sum(axis=1)[:, None]
    return middles, normals, points, weights


@nb.njit
def corner_angle(a, b, c):
    """Signed solid angle of a triangle with corners a, b, c seen from the origin."""
    na, nb_, nc = np.sqrt(np.dot(a, a)), np.sqrt(np.dot(b, b)), np.sqrt(np.dot(c, c))
    triple = (
        a[0] * (b[1] * c[2] - b[2] * c[1]) + a[1] * (b[2] * c[0] - b[0] * c[2]) + a[2] * (b[0] * c[1] - b[1] * c[0])
    )
    below = na * nb_ * nc + np.dot(a, b) * nc + np.dot(a, c) * nb_ + np.dot(b, c) * na
    return 2.0 * np.arctan2(triple, below)


@nb.njit
def layer(targets, panels, normals, points, weights, k, on_surface):
    """Integral of dG/dn_y over each panel seen from each target: (targets, panels)."""
    result = np.zeros((len(targets), len(panels)), np.complex128)
    for i in range(len(targets)):
        x = targets[i]
        for e in range(len(panels)):
            height = np.dot(panels[e, 0] - x, normals[e])
            if on_surface and abs(height) < 1e-9:
                continue
            a, b, c, d = panels[e, 0] - x, panels[e, 1] - x, panels[e, 2] - x, panels[e, 3] - x
            total = complex(-(corner_angle(a, b, c) + corner_angle(a, c, d)) / (4.0 * np.pi))
            for g in range(4):
                way = points[e, g] - x
                r = np.sqrt(np.dot(way, way))
                turn = 1.0 - (1.0 + 1j * k * r) * np.exp(-1j * k * r)
                total += weights[e, g] * np.dot(way, normals[e]) / (4.0 * np.pi * r**3) * turn
            result[i, e] = total
    return result


def wave(sources: np.ndarray, points: np.ndarray, k: float) -> np.ndarray:
    """Free field e^{-jkr}/r of sources (s, 3) at points (n, 3): (n, s)."""
    r = np.linalg.norm(points[:, None] - sources[None], axis=2)
    return np.asarray(np.exp(-1j * k * r) / r)


def solve(panels: np.ndarray, sources: np.ndarray, ears: np.ndarray, k: float) -> np.ndarray:
    """Total pressure over direct pressure (s,) for pairs of sources and ears outside a body of three mirror planes."""
    middles, normals, points, weights = panel_points(panels)
    parity = np.array([[np.prod(np.where(g < 0, s, 1.0)) for g in SIGNS] for s in SIGNS])
    turned = [np.prod(g) for g in SIGNS]
    blocks, fields = [], []
    for g, odd in zip(SIGNS, turned, strict=True):
        corners = panels * g if odd > 0 else (panels * g)[:, [0, 3, 2, 1]]
        if odd < 0 and np.allclose(panels[:, 2], panels[:, 3]):
            corners = (panels * g)[:, [0, 2, 1, 1]]
        shape = (np.ascontiguousarray(corners), normals * g, np.ascontiguousarray(points * g), weights, k)
        blocks.append(layer(middles, *shape, True))
        fields.append(layer(ears, *shape, False))
    incident = np.array([wave(sources, middles * g, k) for g in SIGNS])
    total = np.einsum("ss->s", wave(sources, ears, k)).copy()
    direct = total.copy()
    for signs in parity:
        matrix = 0.5 * np.eye(len(middles)) - sum(s * b for s, b in zip(signs, blocks, strict=True))
        surface = np.linalg.solve(matrix, np.einsum("g,gns->ns", signs, incident) / 8.0)
        total += np.einsum("sn,ns->s", sum(s * f for s, f in zip(signs, fields, strict=True)), surface)
    return total / direct


def tilted(point: tuple[float, float, float], degrees: float) -> list[float]:
    """A point seen from a plate that is tilted about its width: front (toward the ear) edge down."""
    c, s = np.cos(np.radians(degrees)), np.sin(np.radians(degrees))
    return [c * point[0] - s * point[2], point[1], s * point[0] + c * point[2]]


EAR = (0.65, 0.10, 0.45)
LOW = tuple(np.geomspace(200.0, 2000.0, 15))
PLATES: dict[str, dict] = {
    "desk": {
        "size_m": (1.6, 0.75, 0.03),
        "frequencies_hz": LOW,
        "step_m": (0.020, 0.0135),
        "pairs": {
            "on it": ((-0.20, -0.55, 0.30), EAR),
            "on it, low": ((-0.15, 0.50, 0.12), EAR),
            "behind it": ((-0.75, -0.60, 0.45), EAR),
            "behind, below its level": ((-1.20, 0.40, -0.10), EAR),
            "below, ear in shadow": ((-0.80, 0.50, -0.30), EAR),
            "under it, ear deep in shadow": ((-0.30, 0.20, -0.40), EAR),
            "tilted 12 degrees": (tilted((-0.25, -0.50, 0.32), 12.0), tilted(EAR, 12.0)),
            "tilted -8 degrees": (tilted((-0.75, 0.60, 0.30), -8.0), tilted(EAR, -8.0)),
            **{
                f"mirror point {1000 * (x - 1.317) * 0.379:+.0f} mm from the front edge": (
                    (-0.20, -0.30, 0.25),
                    (x, 0.10, 0.40),
                )
                for x in (1.00, 1.20, 1.30, 1.34, 1.45, 1.70)
            },
        },
    },
    "shelf": {
        "size_m": (1.2, 0.60, 0.02),
        "frequencies_hz": (*LOW[::2], 2800.0, 4000.0),
        "step_m": (0.017, 0.0115),
        "pairs": {
            "on it": ((-0.10, 0.45, 0.25), (0.75, 0.0, 0.50)),
            "behind it": ((-0.60, -0.40, 0.20), (0.60, 0.05, 0.35)),
            "below, ear in shadow": ((-0.70, 0.30, -0.35), (0.75, 0.0, 0.50)),
            "both below": ((-0.45, 0.35, -0.30), (0.80, -0.20, -0.50)),
        },
    },
    "thick": {
        "size_m": (1.0, 0.70, 0.05),
        "frequencies_hz": (*LOW[::2], 2500.0, 3200.0),
        "step_m": (0.020, 0.0135),
        "pairs": {
            "on it": ((-0.15, 0.35, 0.30), (0.80, -0.05, 0.45)),
            "behind it": ((-0.70, -0.30, 0.25), (0.80, -0.05, 0.45)),
            "below, ear in shadow": ((-0.75, 0.25, -0.30), (0.80, -0.05, 0.45)),
            "beside it": ((0.10, 0.90, 0.15), (0.70, -0.10, 0.40)),
        },
    },
    "long": {
        "size_m": (2.0, 0.90, 0.012),
        "frequencies_hz": LOW[::2],
        "step_m": (0.019, 0.0135),
        "pairs": {
            "on it": ((-0.30, -0.60, 0.35), (0.80, 0.0, 0.42)),
            "behind it": ((-0.90, 0.70, 0.50), (0.80, 0.0, 0.42)),
            "below, ear in shadow": ((-0.85, -0.50, -0.25), (0.80, 0.0, 0.42)),
        },
    },
    "small": {
        "size_m": (0.6, 0.50, 0.018),
        "frequencies_hz": (1000.0, 2000.0, 2800.0, 4000.0, 5600.0, 8000.0),
        "step_m": (0.0082, 0.0058),
        "pairs": {
            "on it": ((-0.10, 0.15, 0.20), (0.60, 0.0, 0.40)),
            "behind it": ((-0.50, -0.25, 0.25), (0.60, 0.0, 0.40)),
            "below, ear in shadow": ((-0.50, 0.15, -0.30), (0.60, 0.0, 0.40)),
            "near its mirror border": ((-0.10, 0.05, 0.20), (0.95, 0.02, 0.40)),
        },
    },
}
"""Plates (width, depth, thickness), level, their middle at the origin; columns depth, width, thickness.  Steps: panel
size of the coarse and of the fine mesh; pairs: source and ear."""


@dataclass(frozen=True)
class Reference:
    """Saved total over direct (f,) of one pair of source and ear, on both meshes and extrapolated."""

    plate: str
    label: str
    size_m: tuple[float, float, float]
    source: np.ndarray
    ear: np.ndarray
    frequencies_hz: np.ndarray
    coarse: np.ndarray
    fine: np.ndarray
    total: np.ndarray


def references() -> list[Reference]:
    """Read all saved values; total: the error falls with the square of the panels, as on the sphere."""
    saved, found = json.loads(SAVED.read_text()), []
    for name in PLATES:
        plate = saved[name]
        gain = (plate["step_m"][1] / plate["step_m"][0]) ** 2
        for label, pair in plate["pairs"].items():
            coarse, fine = (np.array(pair[mesh]) @ np.array([1.0, 1.0j]) for mesh in ("coarse", "fine"))
            places = (np.array(pair[end]) for end in ("source", "ear"))
            frequencies = np.array(plate["frequencies_hz"])
            total = (fine - gain * coarse) / (1.0 - gain)
            found.append(Reference(name, label, tuple(plate["size_m"]), *places, frequencies, coarse, fine, total))
    return found


def make(names: list[str]) -> None:
    """Solve the named plates on both meshes and save the totals."""
    saved = json.loads(SAVED.read_text()) if SAVED.exists() else {}
    for name in names:
        plate = PLATES[name]
        width, depth, thickness = plate["size_m"]
        sources, ears = (np.array([pair[i] for pair in plate["pairs"].values()]) for i in (0, 1))
        totals = []
        for step in plate["step_m"]:
            panels = plate_eighth((depth, width, thickness), step)
            sys.stdout.write(f"{name}: {8 * len(panels)} panels of {1000 * step:.1f} mm\n")
            sys.stdout.flush()
            rows = []
            for f in plate["frequencies_hz"]:
                if f > SPEED_M_S / (2.0 * thickness):
                    raise ValueError(f"{f} Hz: the inside of a plate of {thickness} m resonates")
                rows.append(solve(panels, sources, ears, 2.0 * np.pi * f / SPEED_M_S))
            totals.append(np.array(rows))
        off = 20.0 * np.log10(np.abs(totals[0] / totals[1]))
        sys.stdout.write(
            f"  coarse against fine: {np.sqrt((off**2).mean()):.3f} dB rms, {np.abs(off).max():.3f} at most\n"
        )
        sys.stdout.flush()
        saved[name] = {
            "size_m": plate["size_m"],
            "speed_of_sound_m_s": SPEED_M_S,
            "step_m": plate["step_m"],
            "frequencies_hz": [round(f, 6) for f in plate["frequencies_hz"]],
            "pairs": {
                label: {
                    "source": [round(float(c), 9) for c in pair[0]],
                    "ear": [round(float(c), 9) for c in pair[1]],
                    **{
                        mesh: [[round(v.real, 6), round(v.imag, 6)] for v in totals[m][:, i]]
                        for m, mesh in enumerate(("coarse", "fine"))
                    },
                }
                for i, (label, pair) in enumerate(plate["pairs"].items())
            },
        }
        SAVED.write_text(json.dumps(saved, indent=1).replace("\n     ", " ").replace("\n    ]", "]") + "\n")


if __name__ == "__main__":
    make(sys.argv[1:] or list(PLATES))
