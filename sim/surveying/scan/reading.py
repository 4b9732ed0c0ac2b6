"""Scans as phones export them: OBJ, PLY (faces or points) and GLB, read and spread into points of equal area.

No file that a scan names is opened.  A scan is no clean mesh: faces may be loose, doubled and open, and nothing here
minds.  What cannot be a scan is refused with one sentence.
"""

from __future__ import annotations

import logging
from dataclasses import dataclass
from io import BytesIO
from pathlib import Path
from typing import Any, Final

import numpy as np

from sim.answers import printable
from sim.arrays import FloatArray
from sim.errors import MeshError

ENDINGS: Final = (".obj", ".ply", ".glb")
LARGEST_SCAN_BYTES: Final = 400_000_000
MOST_TRIANGLES: Final = 3_000_000
MOST_POINTS: Final = 20_000_000
FEWEST: Final = 300
"""Triangles or points below which nothing is a scan; a drawn model has fewer and is read as a mesh."""
SAMPLES: Final = 300_000
"""Points on the surface: one for each square centimetre or two of a room."""
FARTHEST: Final = 1.0e7
_SEED: Final = 18
_QUIET: Final = logging.NullHandler()


@printable
@dataclass(frozen=True, slots=True)
class ScanPoints:
    """A scan as points.

    Attributes
    ----------
    points
        (n, 3) in the file's unit and axes; of a mesh each stands for the same area.
    count
        Triangles or points of the file.
    faces
        Whether the file holds triangles.
    outward
        Of triangles: fraction of the area that looks away from the middle of the scan; nan for points.
    y_up
        Whether the format says that +y is up (GLB).
    """

    points: FloatArray
    count: int
    faces: bool
    outward: float
    y_up: bool


def read_scan(path: Path) -> ScanPoints:
    """Read a scan.

    Raises
    ------
    MeshError
        If the file is missing, of another kind, unreadable, empty, too large, or holds what are no numbers.
    """
    where, ending = path.name, path.suffix.lower()
    if ending not in ENDINGS:
        raise MeshError(where, f'files ending in "{path.suffix}" are not read as scans', "export OBJ, PLY or GLB")
    try:
        if not path.is_file():
            raise MeshError(where, "there is no such file", "correct its name")
        size = path.stat().st_size
        if size > LARGEST_SCAN_BYTES:
            raise MeshError(
                where, f"the file has {size:,} bytes", "export a coarser scan, of up to 1 000 000 triangles"
            )
        content = path.read_bytes()
    except OSError as fault:
        raise MeshError(where, f"it cannot be read ({fault.strerror})", "check who may read the file") from None
    triangles, points = _contents(content, ending[1:], where)
    if not len(triangles) and not len(points):
        raise MeshError(where, "the scan is empty: it holds no triangles and no points", "export it again")
    _refuse_no_numbers(triangles.reshape(-1, 3) if len(triangles) else points, where)
    if len(triangles):
        return _of_triangles(triangles, where, ending == ".glb")
    if len(points) < FEWEST:
        raise MeshError(where, f"it has {len(points)} points, too few for a room", "export it with more detail")
    if len(points) > 2 * SAMPLES:
        points = points[np.sort(np.random.default_rng(_SEED).choice(len(points), 2 * SAMPLES, replace=False))]
    return ScanPoints(points, len(points), False, float("nan"), ending == ".glb")


def _contents(content: bytes, kind: str, where: str) -> tuple[FloatArray, FloatArray]:
    """Triangles (n, 3, 3), and points (m, 3) of what has none."""
    import trimesh  # only scans and meshes need it

    logging.getLogger("trimesh").addHandler(_QUIET)  # it tells of damage by a traceback on the screen
    triangles, points = [np.zeros((0, 3, 3))], [np.zeros((0, 3))]
    try:
        scene = trimesh.load_scene(BytesIO(content), file_type=kind, process=False, skip_materials=True)
        for node in scene.graph.nodes_geometry:
            placed, name = scene.graph[node]
            shape: Any = scene.geometry[name]
            with np.errstate(all="ignore"):
                corners = np.asarray(shape.vertices, dtype=np.float64) @ placed[:3, :3].T + placed[:3, 3]
            faces = np.asarray(getattr(shape, "faces", np.zeros((0, 3))), dtype=np.int64)
            if len(faces):
                triangles.append(corners[faces])
            else:
                points.append(corners)
    except MemoryError:
        raise MeshError(where, "it claims more than the memory holds", "export a coarser scan") from None
    except Exception as fault:  # the reader raises whatever its parsing stumbled over
        found = f"the file cannot be read ({type(fault).__name__} {str(fault)[:60]})"
        raise MeshError(where, found, "export the scan again") from None
    count, loose = sum(map(len, triangles)), sum(map(len, points))
    if count > MOST_TRIANGLES or loose > MOST_POINTS:
        found = f"it has {max(count, loose):,} triangles or points"
        raise MeshError(where, found, f"export a coarser scan, of up to {MOST_TRIANGLES:,} triangles")
    return np.concatenate(triangles), np.concatenate(points)


def _refuse_no_numbers(corners: FloatArray, where: str) -> None:
    broken = ~(np.isfinite(corners) & (np.abs(corners) < FARTHEST)).all(axis=1)
    if broken.any():
        raise MeshError(
            where,
            f"{int(broken.sum()):,} of {len(corners):,} corners are not finite numbers, or absurd; the first is number "
            f"{int(np.argmax(broken)) + 1}",
            "export the scan again",
        )


def _of_triangles(triangles: FloatArray, where: str, y_up: bool) -> ScanPoints:
    """Spread points over triangles by area, the same ones in every run."""
    if len(triangles) < FEWEST:
        raise MeshError(
            where,
            f"it has {len(triangles)} triangles: a drawn model, no scan",
            'use it as it is, with mesh = "..." in the scene (how-to "Use a mesh as a room")',
        )
    first = triangles[:, 0]
    crossed = np.cross(triangles[:, 1] - first, triangles[:, 2] - first)
    doubled = np.linalg.norm(crossed, axis=1)
    total = float(doubled.sum())
    if total <= 0.0:
        raise MeshError(where, "none of its triangles has an area", "export the scan again")
    middle = (doubled[:, None] * triangles.mean(axis=1)).sum(axis=0) / total
    away = ((triangles.mean(axis=1) - middle) * crossed).sum(axis=1) > 0.0
    rng = np.random.default_rng(_SEED)
    count = int(np.clip(4 * len(triangles), SAMPLES // 4, SAMPLES))
    steps = (np.arange(count) + 0.5) * (total / count)
    chosen = np.minimum(np.searchsorted(np.cumsum(doubled), steps), len(triangles) - 1)
    mixed = rng.random((count, 2))
    over = mixed.sum(axis=1) > 1.0
    mixed[over] = 1.0 - mixed[over]
    parts = np.column_stack([1.0 - mixed.sum(axis=1), mixed])
    points = np.einsum("nk,nkc->nc", parts, triangles[chosen])
    return ScanPoints(points, len(triangles), True, float(doubled[away].sum()) / total, y_up)
