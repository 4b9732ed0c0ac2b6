"""A room that is not its own mirror image, and writers that put it into mesh files of any frame and unit.

3.00 m wide, 4.00 m deep, 2.40 m high; a window niche 0.15 m deep in the left wall, a door niche 0.08 m deep in the
right wall that reaches the floor, and a rack that stands free near the front on the left.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
import trimesh

Span = tuple[float, float]
WIDTH, DEPTH, HEIGHT = 3.0, 4.0, 2.4
WINDOW = ((1.0, 2.0), (0.9, 2.0), 0.15)
DOOR = ((2.5, 3.4), (0.0, 2.0), 0.08)
RACK = ((0.4, 0.9), (0.3, 0.8), (0.0, 1.1))
VOLUME = WIDTH * DEPTH * HEIGHT + 1.0 * 1.1 * 0.15 + 0.9 * 2.0 * 0.08 - 0.5 * 0.5 * 1.1
UNIT_M = {"m": 1.0, "cm": 0.01, "mm": 0.001, "in": 0.0254, "ft": 0.3048}


@dataclass
class Quads:
    """Named four-cornered faces in the room's own frame."""

    names: list[str]
    corners: list[np.ndarray]

    def add(self, name: str, low: tuple[float, ...], high: tuple[float, ...], toward: tuple[float, ...]) -> None:
        """Add the axis-parallel rectangle between two corners, seen from the side `toward`."""
        start, end = np.array(low, dtype=float), np.array(high, dtype=float)
        first, second = np.flatnonzero(start != end)
        ring = np.stack([start] * 4)
        ring[1:3, first] = end[first]
        ring[2:4, second] = end[second]
        if np.cross(ring[1] - ring[0], ring[2] - ring[0]) @ np.array(toward) < 0.0:
            ring = ring[::-1]
        self.names.append(name)
        self.corners.append(ring)


def asymmetric_room() -> Quads:
    quads = Quads([], [])
    quads.add("floor", (0, 0, 0), (DEPTH, WIDTH, 0), (0, 0, 1))
    quads.add("ceiling", (0, 0, HEIGHT), (DEPTH, WIDTH, HEIGHT), (0, 0, -1))
    quads.add("front wall", (0, 0, 0), (0, WIDTH, HEIGHT), (1, 0, 0))
    quads.add("rear wall", (DEPTH, 0, 0), (DEPTH, WIDTH, HEIGHT), (-1, 0, 0))
    _side(quads, "left wall", "window", 0.0, -1.0, WINDOW)
    _side(quads, "right wall", "door", WIDTH, 1.0, DOOR)
    (x0, x1), (y0, y1), (z0, z1) = RACK
    for y, way in ((y0, -1), (y1, 1)):
        quads.add("rack", (x0, y, z0), (x1, y, z1), (0, way, 0))
    for x, way in ((x0, -1), (x1, 1)):
        quads.add("rack", (x, y0, z0), (x, y1, z1), (way, 0, 0))
    for z, way in ((z0, -1), (z1, 1)):
        quads.add("rack", (x0, y0, z), (x1, y1, z), (0, 0, way))
    return quads


def _side(quads: Quads, wall: str, niche: str, y: float, outward: float, sizes: tuple[Span, Span, float]) -> None:
    (x0, x1), (z0, z1), recess = sizes
    xs, zs = (0.0, x0, x1, DEPTH), (0.0, z0, z1, HEIGHT)
    for i in range(3):
        for k in range(3):
            if (i, k) != (1, 1) and zs[k] < zs[k + 1]:
                quads.add(wall, (xs[i], y, zs[k]), (xs[i + 1], y, zs[k + 1]), (0, -outward, 0))
    back = y + outward * recess
    low, high = min(y, back), max(y, back)
    quads.add(niche, (x0, back, z0), (x1, back, z1), (0, -outward, 0))
    quads.add(niche, (x0, low, z0), (x0, high, z1), (1, 0, 0))
    quads.add(niche, (x1, low, z0), (x1, high, z1), (-1, 0, 0))
    quads.add(niche, (x0, low, z0), (x1, high, z0), (0, 0, 1))
    quads.add(niche, (x0, low, z1), (x1, high, z1), (0, 0, -1))


def in_file(points: np.ndarray, frame: dict[str, str], shift: tuple[float, ...] = (0.0, 0.0, 0.0)) -> np.ndarray:
    """Points (..., 3) of the room in the axes and unit of a file, moved by `shift` metres first."""
    rows = np.zeros((3, 3))
    for row, key in zip(rows, ("depth", "across", "up"), strict=True):
        row["xyz".index(frame[key][1])] = 1.0 if frame[key][0] == "+" else -1.0
    return (np.asarray(points) + np.array(shift)) @ rows / UNIT_M[frame["unit"]]


def write(path: Path, names: list[str], corners: list[np.ndarray], material: dict[str, str] | None = None) -> None:
    """Write polygons (k, 3), already in file coordinates, as OBJ, PLY, STL or GLB after the ending of the path."""
    if path.suffix == ".obj":
        lines, count, before = ["# a room"], 0, ""
        for name, ring in zip(names, corners, strict=True):
            lines += [f"v {x!r} {y!r} {z!r}" for x, y, z in ring.tolist()]
            if name != before:
                lines += [f"g {name}"] + ([f"usemtl {material[name]}"] if material and name in material else [])
                before = name
            lines.append("f " + " ".join(f"{count + k + 1}//1" for k in range(len(ring))))
            count += len(ring)
        path.write_text("\n".join(lines) + "\n", encoding="utf-8")
        return
    meshes = {name: [ring for each, ring in zip(names, corners, strict=True) if each == name] for name in names}
    if path.suffix == ".glb":
        scene = trimesh.Scene()
        for name, rings in meshes.items():
            # A turned node whose transform must be applied on reading.
            turn = trimesh.transformations.rotation_matrix(0.5, (0, 0, 1), (0.3, 0.1, 0.0))
            mesh = soup(rings)
            mesh.apply_transform(np.linalg.inv(turn))
            scene.add_geometry(mesh, node_name=name, geom_name=f"mesh of {name}", transform=turn)
        scene.export(path)
    else:
        soup(corners).export(path)


def soup(rings: list[np.ndarray]) -> trimesh.Trimesh:
    triangles = [ring[[0, k, k + 1]] for ring in rings for k in range(1, len(ring) - 1)]
    points = np.concatenate(triangles)
    return trimesh.Trimesh(points, np.arange(len(points)).reshape(-1, 3), process=False)
