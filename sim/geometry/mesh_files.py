"""Mesh files as they are written: triangles in the file's own unit and axes, with the names the file gives.

OBJ, PLY and GLB are read in modules of their own, STL through trimesh.  No file that a mesh file names is ever opened:
material libraries, pictures, buffers.
"""

from __future__ import annotations

import hashlib
import logging
import time
from collections.abc import Callable
from dataclasses import dataclass
from io import BytesIO
from pathlib import Path
from typing import Any, Final, TypeAlias

import numpy as np

from sim.arrays import FloatArray, IntArray
from sim.errors import MeshError
from sim.geometry.glb_files import glb_pieces
from sim.geometry.mesh_pieces import LARGEST_FILE_BYTES, Piece, refuse_crowds
from sim.geometry.obj_files import obj_pieces
from sim.geometry.ply_files import ply_pieces

KNOWN_ENDINGS = (".obj", ".ply", ".stl", ".glb")

FARTHEST: Final = 1.0e12
"""No corner of a room lies so far from zero, in whatever unit; sums and products of such numbers stay numbers."""


FileState: TypeAlias = tuple[str, int, int, int, bytes]
SETTLED_NS: Final = 2_000_000_000
"""A file that was written less long ago is told apart by its content too: clocks of file systems are coarse."""


def file_state(path: Path) -> FileState:
    """What tells a file from itself before it was written again: place, time, size, number, and content if new."""
    try:
        found = path.stat()
        fresh = abs(time.time_ns() - found.st_mtime_ns) < SETTLED_NS
        content = hashlib.sha256(path.read_bytes()).digest() if fresh else b""
    except OSError:
        return (str(path), -1, -1, -1, b"")
    return (str(path.absolute()), found.st_mtime_ns, found.st_size, found.st_ino, content)


@dataclass(frozen=True, slots=True)
class MeshFile:
    """Triangles of a file.

    Attributes
    ----------
    triangles
        (n, 3, 3) corners in the file's unit and axes.
    groups, materials
        (n,) numbers into the names below.
    group_names, material_names
        As written in the file; an empty text stands for "none".
    """

    triangles: FloatArray
    groups: IntArray
    group_names: tuple[str, ...]
    materials: IntArray
    material_names: tuple[str, ...]


def read_mesh(path: Path, where: str) -> MeshFile:
    """Read an OBJ, PLY, STL or GLB file; GLB node transforms are applied, its axes stay its own (+y up).

    Raises
    ------
    MeshError
        If the file is missing, of another kind, unreadable, without triangles, or holds numbers not finite.
    """
    ending = path.suffix.lower()
    if ending not in KNOWN_ENDINGS:
        raise MeshError(where, f'files ending in "{path.suffix}" are not read', "use OBJ, PLY, STL or GLB")
    if not path.is_file():
        raise MeshError(where, "there is no such file in the folder of the scene", "put it there or correct its name")
    size = path.stat().st_size
    if size > LARGEST_FILE_BYTES:
        raise MeshError(where, f"the file has {size:,} bytes", "simplify the mesh before it is exported")
    try:
        pieces = [piece for piece in _PIECES[ending](path.read_bytes(), where) if len(piece.triangles)]
        refuse_crowds(sum(len(piece.triangles) for piece in pieces))
    except ValueError as fault:
        raise MeshError(where, f"the file cannot be read: {fault}", "export the mesh again") from None
    except OSError as fault:
        raise MeshError(where, f"it cannot be read ({fault.strerror})", "check who may read the file") from None
    if not pieces:
        raise MeshError(
            where, "the file holds no triangles, or is cut short", "export it again, as faces and not as lines"
        )
    triangles = np.concatenate([piece.triangles for piece in pieces])
    broken = ~(np.isfinite(triangles) & (np.abs(triangles) < FARTHEST)).all(axis=(1, 2))
    if broken.any():
        raise MeshError(
            where,
            f"{int(broken.sum())} of {len(triangles)} triangles have corners that are not finite numbers or absurd, "
            f"the first is number {int(np.argmax(broken)) + 1}",
            "export the mesh again",
        )
    groups, group_names = _numbered([(piece.group, len(piece.triangles)) for piece in pieces])
    materials, material_names = _numbered([(piece.material, len(piece.triangles)) for piece in pieces])
    return MeshFile(triangles, groups, group_names, materials, material_names)


def _numbered(runs: list[tuple[str, int]]) -> tuple[IntArray, tuple[str, ...]]:
    names = tuple(dict.fromkeys(name for name, _ in runs))
    return np.concatenate([np.full(count, names.index(name), dtype=np.int64) for name, count in runs]), names


_QUIET: Final = logging.NullHandler()


def _stl_pieces(content: bytes, _: str) -> list[Piece]:
    import trimesh  # only a mesh room or mesh furniture needs it

    logging.getLogger("trimesh").addHandler(_QUIET)  # it tells of damage by a traceback on the screen
    try:
        scene = trimesh.load_scene(BytesIO(content), file_type="stl", process=False)
        return [_solid(scene, node) for node in scene.graph.nodes_geometry]
    except Exception as fault:  # the reader raises whatever its parsing stumbled over
        raise ValueError(f"{type(fault).__name__} {str(fault)[:60]}") from None


def _solid(scene: Any, node: str) -> Piece:
    mesh = scene.geometry[scene.graph[node][1]]
    corners = np.asarray(mesh.vertices, dtype=np.float64)
    return Piece(str(node), "", corners[np.asarray(mesh.faces, dtype=np.int64)])


_PIECES: Final[dict[str, Callable[[bytes, str], list[Piece]]]] = {
    ".obj": obj_pieces,
    ".ply": lambda content, _: ply_pieces(content),
    ".stl": _stl_pieces,
    ".glb": lambda content, _: glb_pieces(content),
}
