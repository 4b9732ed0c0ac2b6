"""Build the attic of the demo scenes as an OBJ file, surface by surface.

Run `python tests/builders/attic_mesh.py` from the project's folder to write it anew into both attic scenes.

The file's frame differs from that of the scenes on purpose: x to the right and y toward the front gable, both
from the middle of the floor, z up.  Every surface is cut at the depths where the dormer begins and ends, so
that neighbouring faces share whole edges and the mesh is closed.  Faces run counter-clockwise seen from inside.
"""

from __future__ import annotations

from itertools import pairwise
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

WIDTH, DEPTH, RIDGE, KNEE = 4.60, 5.40, 2.60, 1.05
STRIP = (1.55, 3.05)
DORMER_DEPTH = (1.00, 2.40)
DORMER_START, DORMER_CEILING, WINDOW_TOP = 3.40, 2.25, 2.15

Point = tuple[float, float, float]
"""Across from the left, depth from the front gable, up."""
Face = list[Point]

MATERIALS = {"floor": "boards", "dormer window": "glass"}
SCENES = Path(__file__).resolve().parents[2] / "scenes"
ATTICS = ("attic-facing-gable", "attic-lying", "attic-turned")


def surfaces() -> dict[str, list[Face]]:
    """Return the faces of each surface, convex, counter-clockwise seen from inside."""
    front, rear = 0.0, DEPTH
    stations = [front, *DORMER_DEPTH, rear]
    bays = list(pairwise(stations))
    section = [
        (0.0, 0.0),
        (WIDTH, 0.0),
        (WIDTH, KNEE),
        (DORMER_START, DORMER_CEILING),
        (STRIP[1], RIDGE),
        (STRIP[0], RIDGE),
        (0.0, KNEE),
    ]
    inside = (0.5 * WIDTH, 0.5 * DEPTH, 1.0)

    def strips(low: tuple[float, float], high: tuple[float, float], where: list[tuple[float, float]]) -> list[Face]:
        """Quads between two (across, up) lines along the depth, one for each bay."""
        (a, za), (b, zb) = low, high
        return [[(a, y0, za), (b, y0, zb), (b, y1, zb), (a, y1, za)] for y0, y1 in where]

    outer = [bays[0], bays[2]]
    d0, d1 = DORMER_DEPTH
    result: dict[str, list[Face]] = {
        "front gable": [[(x, front, z) for x, z in section]],
        "rear gable": [[(x, rear, z) for x, z in section]],
        "left knee wall": strips((0.0, 0.0), (0.0, KNEE), bays),
        "right knee wall": strips((WIDTH, 0.0), (WIDTH, KNEE), bays),
        "left slope": strips((0.0, KNEE), (STRIP[0], RIDGE), bays),
        "right slope": strips((STRIP[1], RIDGE), (DORMER_START, DORMER_CEILING), bays)
        + strips((DORMER_START, DORMER_CEILING), (WIDTH, KNEE), outer),
        "flat ceiling": strips((STRIP[0], RIDGE), (STRIP[1], RIDGE), bays),
        "floor": strips((0.0, 0.0), (WIDTH, 0.0), bays),
        "dormer ceiling": strips((DORMER_START, DORMER_CEILING), (WIDTH, DORMER_CEILING), [(d0, d1)]),
        "dormer window": strips((WIDTH, KNEE), (WIDTH, WINDOW_TOP), [(d0, d1)]),
        "dormer lintel": strips((WIDTH, WINDOW_TOP), (WIDTH, DORMER_CEILING), [(d0, d1)]),
        "dormer front cheek": [_cheek(d0)],
        "dormer rear cheek": [_cheek(d1)],
    }
    in_dormer = (WIDTH - 0.2, 0.5 * (d0 + d1), WINDOW_TOP - 0.05)
    return {
        name: [_facing(face, in_dormer if name.startswith("dormer") else inside) for face in faces]
        for name, faces in result.items()
    }


def _cheek(depth: float) -> Face:
    return [
        (DORMER_START, depth, DORMER_CEILING),
        (WIDTH, depth, KNEE),
        (WIDTH, depth, WINDOW_TOP),
        (WIDTH, depth, DORMER_CEILING),
    ]


def _facing(face: Face, inside: Point) -> Face:
    """Turn the face so that it runs counter-clockwise seen from a point in the air in front of it."""
    corners = in_file_frame(face)
    seen = in_file_frame([inside])[0]
    area = np.sum(np.cross(corners[1:-1] - corners[0], corners[2:] - corners[0]), axis=0)
    return face if float(area @ (seen - corners[0])) > 0.0 else [face[0], *face[:0:-1]]


def in_file_frame(points: list[Point]) -> NDArray[np.float64]:
    """Points (n, 3) as the file has them: x right, y toward the front gable, from the middle of the floor."""
    across, depth, up = np.array(points).T
    return np.column_stack([across - 0.5 * WIDTH, 0.5 * DEPTH - depth, up])


def obj_text() -> str:
    """Return the OBJ file: `g` names the surface, `usemtl` its material; corners are shared."""
    numbers: dict[tuple[float, ...], int] = {}
    body: list[str] = []
    for name, faces in surfaces().items():
        body += [f"g {name}", f"usemtl {MATERIALS.get(name, 'plasterboard')}"]
        for face in faces:
            rounded = [tuple(float(value) for value in row + 0.0) for row in np.round(in_file_frame(face), 4)]
            corners = [numbers.setdefault(point, len(numbers) + 1) for point in rounded]
            # A fan from the first corner, which never lies on one line with two neighbours in turn.
            body += [f"f {corners[0]} {b} {c}" for b, c in pairwise(corners[1:])]
    head = [
        "# Attic of the bounceplan demo scenes (invented), in metres.",
        "# x to the right, y toward the front gable, z up; faces look into the room.",
        *(f"v {x:.4f} {y:.4f} {z:.4f}" for x, y, z in numbers),
    ]
    return "\n".join([*head, *body]) + "\n"


def main() -> None:
    """Write the file into all attic scenes."""
    for scene in ATTICS:
        (SCENES / scene / "attic.obj").write_text(obj_text(), encoding="utf-8", newline="\n")


if __name__ == "__main__":
    main()
