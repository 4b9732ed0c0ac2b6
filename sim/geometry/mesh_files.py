"""Mesh files as they are written: triangles in the file's own unit and axes, with the names the file gives.

OBJ is read here, because the names of its groups matter and polygons may have many corners; PLY, STL and GLB
are read through trimesh.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from ..arrays import FloatArray, IntArray
from ..errors import MeshError
from .facets import plane_frame
from .seams import ear_faces

KNOWN_ENDINGS = (".obj", ".ply", ".stl", ".glb")
_NO_GROUP = ("", "default", "off", "(null)")
"""Names that exporters write when there is no group."""


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
    pieces = _obj_pieces(path, where) if ending == ".obj" else _pieces_by_trimesh(path, where)
    pieces = [piece for piece in pieces if len(piece[2])]
    if not pieces:
        raise MeshError(
            where, "the file holds no triangles, or is cut short", "export it again, as faces and not as lines"
        )
    triangles = np.concatenate([piece[2] for piece in pieces])
    broken = ~np.isfinite(triangles).all(axis=(1, 2))
    if broken.any():
        raise MeshError(
            where,
            f"{int(broken.sum())} of {len(triangles)} triangles have corners that are not finite numbers, "
            f"the first is number {int(np.argmax(broken)) + 1}",
            "export the mesh again",
        )
    groups, group_names = _numbered([(piece[0], len(piece[2])) for piece in pieces])
    materials, material_names = _numbered([(piece[1], len(piece[2])) for piece in pieces])
    return MeshFile(triangles, groups, group_names, materials, material_names)


_Piece = tuple[str, str, FloatArray]
"""Group name, material name, triangles (n, 3, 3)."""


def _numbered(runs: list[tuple[str, int]]) -> tuple[IntArray, tuple[str, ...]]:
    names = tuple(dict.fromkeys(name for name, _ in runs))
    return np.concatenate([np.full(count, names.index(name), dtype=np.int64) for name, count in runs]), names


def _obj_pieces(path: Path, where: str) -> list[_Piece]:
    """Read the v, f, o, g and usemtl statements of an OBJ file; the latest o or g names the faces after it."""
    text = path.read_text(encoding="utf-8", errors="replace").replace("\\\n", " ")
    corners: list[list[float]] = []
    pieces: dict[tuple[str, str], list[FloatArray]] = {}
    body = group = material = ""
    for number, line in enumerate(text.splitlines(), start=1):
        keyword, _, rest = line.split("#", 1)[0].strip().partition(" ")
        rest = rest.strip()
        try:
            if keyword == "v":
                corners.append([float(word) for word in rest.split()[:3]])
                if len(corners[-1]) != 3:
                    raise ValueError("a corner needs three numbers")
            elif keyword == "f":
                chosen = [_corner_number(word, len(corners)) for word in rest.split()]
                outline = np.array([corners[index] for index in chosen], dtype=np.float64)
                name = body if group.lower() in _NO_GROUP else group
                pieces.setdefault((name, material), []).append(polygon_triangles(outline))
            elif keyword == "o":
                body, group = rest, ""
            elif keyword == "g":
                group = rest
            elif keyword == "usemtl":
                material = rest
        except (ValueError, IndexError) as fault:
            raise MeshError(
                f"{where}, line {number}",
                f'"{line.strip()[:60]}" cannot be read ({fault})',
                "export the mesh again",
            ) from fault
    return [(*key, np.concatenate(found)) for key, found in pieces.items()]


def _corner_number(word: str, count: int) -> int:
    number = int(word.split("/")[0])
    index = number - 1 if number > 0 else count + number
    if number == 0 or not 0 <= index < count:
        raise IndexError(f"there is no corner {number}")
    return index


def polygon_triangles(outline: FloatArray) -> FloatArray:
    """Cut a polygon (k, 3) into triangles (n, 3, 3) wound like it; hollow corners are allowed.

    Corners in the middle of a straight side may be left out; `seams.split_at_corners` brings them back where a
    neighbour needs them.  Raises ValueError for fewer than three corners.
    """
    if len(outline) < 3:
        raise ValueError("a face needs at least three corners")
    following = np.roll(outline, -1, axis=0)
    # Newell's normal, which hollow corners and slightly bent polygons do not upset (Ericson, Real-Time
    # Collision Detection, 2005, 12.4.2).
    normal = np.cross(outline - outline[0], following - outline[0]).sum(axis=0)
    size = float(np.linalg.norm(normal))
    if len(outline) == 3 or not np.isfinite(size) or size == 0.0:
        return np.stack([outline[[0, k, k + 1]] for k in range(1, len(outline) - 1)])
    frame = plane_frame(normal / size, outline[0])
    return np.asarray(outline[ear_faces([(outline - outline[0]) @ frame[1:].T])], dtype=np.float64)


def _pieces_by_trimesh(path: Path, where: str) -> list[_Piece]:
    import trimesh  # only a mesh room or mesh furniture needs it

    try:
        scene = trimesh.load_scene(path, process=False)
        return [_placed(scene, node) for node in scene.graph.nodes_geometry if _is_surface(scene, node)]
    except Exception as fault:  # the readers raise whatever their parsing stumbled over
        raise MeshError(
            where, f"the file cannot be read ({type(fault).__name__}: {fault})", "export the mesh again"
        ) from fault


def _is_surface(scene: Any, node: str) -> bool:
    return hasattr(scene.geometry[scene.graph[node][1]], "faces")


def _placed(scene: Any, node: str) -> _Piece:
    """Triangles of one node with its transform applied; a mirroring transform turns the winding around."""
    transform, geometry_name = scene.graph[node]
    mesh = scene.geometry[geometry_name]
    corners = np.asarray(mesh.vertices, dtype=np.float64) @ transform[:3, :3].T + transform[:3, 3]
    triangles = corners[np.asarray(mesh.faces, dtype=np.int64)]
    if np.linalg.det(transform[:3, :3]) < 0.0:
        triangles = triangles[:, ::-1]
    material = getattr(getattr(mesh.visual, "material", None), "name", None)
    if mesh.metadata.get("from_gltf_primitive"):
        # A node of several materials is read as several nodes with random names below the one that a person named.
        node = scene.graph.transforms.parents.get(node, node)
    return str(node), str(material or ""), np.ascontiguousarray(triangles)
