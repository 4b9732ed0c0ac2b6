"""What drivers in boxes really radiate: boundary-element values that the sphere models are measured against.

    python tests/builders/box_bem.py        # rewrites tests/builders/data/box_bem.json (about ten minutes)

By reciprocity: a plane wave falls on the rigid box, and its mean pressure over the driver's disc is what the driver,
moving as a piston, sends in the direction the wave came from.  The surface pressure solves the equation of
`plate_bem`, with points inside the box at which the total has to vanish, so that its resonances do no harm (Schenck,
J. Acoust. Soc. Am. 44 (1968) 41-58).
"""

from __future__ import annotations

import json
import sys
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from tests.builders.plate_bem import SPEED_M_S, layer, panel_points

SAVED = Path(__file__).parent / "data" / "box_bem.json"
FREQUENCIES_HZ = (125.0, 250.0, 500.0, 1000.0, 1414.0, 2000.0, 2828.0, 4000.0)
ANGLES_DEG = tuple(range(0, 181, 10))
ORBITS = {"right": (0.0, 1.0, 0.0), "up": (0.0, 0.0, 1.0), "down": (0.0, 0.0, -1.0)}


@dataclass(frozen=True)
class Box:
    """Outer sizes (width, height, depth) and discs on the front: (name, radius, height above its middle), metres."""

    size_m: tuple[float, float, float]
    discs: tuple[tuple[str, float, float], ...]


BOXES = {
    "5-inch two-way": Box((0.18, 0.29, 0.23), (("woofer", 0.0525, -0.075), ("tweeter", 0.0125, 0.075))),
    "8-inch two-way": Box((0.25, 0.39, 0.33), (("woofer", 0.0825, -0.080), ("tweeter", 0.0125, 0.110))),
    "coaxial": Box((0.25, 0.35, 0.30), (("woofer", 0.0825, 0.0),)),
}


def box_panels(size: tuple[float, float, float], step: float) -> np.ndarray:
    """Panels (n, 4, 3) of a box (width, height, depth) in (forward, right, up), its front at forward = 0."""
    width, height, depth = size
    low = np.array([-depth, -0.5 * width, -0.5 * height])
    high = np.array([0.0, 0.5 * width, 0.5 * height])
    places = []
    for axis in range(3):
        count = 2 * int(np.ceil(0.5 * (high[axis] - low[axis]) / step))
        # finer toward the edges, where the pressure has a kink
        fraction = 0.5 * (1.0 - np.cos(np.pi * np.linspace(0.0, 1.0, count + 1)))
        places.append(low[axis] + (high - low)[axis] * (0.5 * fraction + 0.5 * np.linspace(0.0, 1.0, count + 1)))
    panels = []
    for axis in range(3):
        a, b = (axis + 1) % 3, (axis + 2) % 3
        for end in (0, -1):
            for i in range(len(places[a]) - 1):
                for j in range(len(places[b]) - 1):
                    corners = np.zeros((4, 3))
                    corners[:, axis] = places[axis][end]
                    corners[:, a] = places[a][[i, i + 1, i + 1, i]]
                    corners[:, b] = places[b][[j, j, j + 1, j + 1]]
                    panels.append(corners if end == -1 else corners[[0, 3, 2, 1]])
    return np.array(panels)


def directions() -> np.ndarray:
    """Unit vectors (orbit * angle, 3)."""
    angles = np.radians(ANGLES_DEG)
    ahead = np.array([1.0, 0.0, 0.0])
    return np.concatenate([np.cos(angles)[:, None] * ahead + np.sin(angles)[:, None] * s for s in ORBITS.values()])


def disc_fractions(panels: np.ndarray, radius: float, up: float) -> np.ndarray:
    """How much of a disc on the front each panel holds (n,), together 1, by counting points."""
    grid = (np.arange(12) + 0.5) / 12.0
    u, v = np.meshgrid(grid, grid)
    points = panels[:, None, None, 0] + u[..., None] * (panels[:, 1] - panels[:, 0])[:, None, None]
    points = points + v[..., None] * (panels[:, 3] - panels[:, 0])[:, None, None]
    inside = (points[..., 0] > -1e-9) & (np.hypot(points[..., 1], points[..., 2] - up) < radius)
    inside &= (np.abs(panels[:, :, 0]).max(axis=1) < 1e-9)[:, None, None]
    area = np.linalg.norm(np.cross(panels[:, 1] - panels[:, 0], panels[:, 3] - panels[:, 0]), axis=1)
    fractions = inside.mean(axis=(1, 2)) * area
    return np.asarray(fractions / fractions.sum())


def received(panels: np.ndarray, ways: np.ndarray, fractions: np.ndarray, inner: np.ndarray, k: float) -> np.ndarray:
    """Mean pressure over discs (disc, way) of plane waves that come from `ways` (way, 3)."""
    middles, normals, points, weights = panel_points(panels)
    parts = (np.ascontiguousarray(panels), normals, points, weights, k)
    matrix = 0.5 * np.eye(len(middles)) - layer(middles, *parts, True)
    inside = -layer(inner, *parts, False)
    falling, falling_inside = (np.exp(1j * k * where @ ways.T) for where in (middles, inner))
    rows = np.block([[matrix, inside.conj().T], [inside, np.zeros((len(inner), len(inner)))]])
    surface = np.linalg.solve(rows, np.concatenate([falling, falling_inside]))[: len(middles)]
    return np.asarray(fractions @ surface)


def make() -> None:
    """Solve all boxes and save pressures re straight ahead, with the phase as seen from the disc's middle."""
    saved = {}
    ways = directions()
    generator = np.random.default_rng(7)
    for name, box in BOXES.items():
        width, height, depth = box.size_m
        inner = generator.uniform(-0.42, 0.42, (24, 3)) * [depth, width, height] - [0.5 * depth, 0.0, 0.0]
        rows = []
        for frequency in FREQUENCIES_HZ:
            panels = box_panels(box.size_m, min(0.022, SPEED_M_S / frequency / 7.0))
            sys.stdout.write(f"{name}, {frequency:g} Hz: {len(panels)} panels\n")
            sys.stdout.flush()
            k = 2.0 * np.pi * frequency / SPEED_M_S
            fractions = np.array([disc_fractions(panels, radius, up) for _, radius, up in box.discs])
            got = received(panels, ways, fractions, inner, k)
            for row, (_, _, up) in enumerate(box.discs):
                got[row] *= np.exp(-1j * k * ways[:, 2] * up)
            rows.append(got / got[:, :1])
        values = np.array(rows)
        saved[name] = {
            part: [[[round(v.real, 5), round(v.imag, 5)] for v in line] for line in values[:, row]]
            for row, (part, _, _) in enumerate(box.discs)
        }
    SAVED.write_text(json.dumps(saved).replace("]], [[", "]],\n[[") + "\n", encoding="utf-8")


def reference(box: str, part: str) -> np.ndarray:
    """Complex pressure re straight ahead, (frequency, orbit, angle)."""
    values = np.array(json.loads(SAVED.read_text(encoding="utf-8"))[box][part]) @ np.array([1.0, 1.0j])
    return np.asarray(values.reshape(len(FREQUENCIES_HZ), len(ORBITS), len(ANGLES_DEG)))


if __name__ == "__main__":
    make()
