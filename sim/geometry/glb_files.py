"""GLB files, the binary form of glTF 2.0 (ISO/IEC 12113:2022): nodes, their transforms, and the triangles they show.

Only geometry is read.  Pictures, animations and data in other files are never looked at, so that a file that somebody
sent can lead nowhere; accessors are held against the bytes there are, and nodes must form trees (section 3.5.2 there).
"""

from __future__ import annotations

import json
import struct
from collections.abc import Mapping
from typing import Any, Final

import numpy as np

from sim.arrays import FloatArray, IntArray
from sim.geometry.mesh_pieces import Piece, chosen_corners, refuse_crowds

_JSON: Final = 0x4E4F534A
_BYTES: Final = 0x004E4942
_KINDS: Final = {5120: "i1", 5121: "u1", 5122: "<i2", 5123: "<u2", 5125: "<u4", 5126: "<f4"}
_WIDTHS: Final = {"SCALAR": 1, "VEC3": 3}
_LARGEST: Final = {"i1": 127.0, "u1": 255.0, "<i2": 32767.0, "<u2": 65535.0}
DEEPEST: Final = 64
MOST_NODES: Final = 20_000


def glb_pieces(content: bytes) -> list[Piece]:
    """Read the triangles of all nodes of a GLB file's scene, transforms applied; each node is a group.

    Raises ValueError with what was found.
    """
    try:
        return _Model(content).pieces()
    except (KeyError, TypeError, AttributeError, IndexError, OverflowError) as fault:
        raise ValueError(f"its parts do not fit together ({type(fault).__name__} at {str(fault)[:60]})") from None


class _Model:
    def __init__(self, content: bytes) -> None:
        self.tree, self.bytes = _chunks(content)
        needed = _listed(self.tree, "extensionsRequired")
        if needed and set(map(str, needed)) - {"KHR_mesh_quantization", "KHR_texture_transform", "KHR_materials_unlit"}:
            raise ValueError(f"it needs the extension {str(needed[0])[:60]}")
        self.nodes = _listed(self.tree, "nodes")
        self.triangles = 0

    def pieces(self) -> list[Piece]:
        """Triangles of every node that the scene shows."""
        if len(self.nodes) > MOST_NODES:
            raise ValueError(f"it has {len(self.nodes)} nodes")
        found: list[Piece] = []
        seen: set[int] = set()
        waiting = [(number, np.eye(4), 0) for number in reversed(self._roots())]
        while waiting:
            number, above, depth = waiting.pop()
            if number in seen or depth > DEEPEST:
                raise ValueError("its nodes form a ring, or lie too deep in each other")
            seen.add(number)
            node = _item(self.nodes, number)
            with np.errstate(over="ignore", invalid="ignore"):
                placed = above @ _transform(node)
            if "mesh" in node:
                found += self._shown(node, placed)
            waiting += [(child, placed, depth + 1) for child in reversed(_listed(node, "children"))]
        return found

    def _roots(self) -> list[int]:
        scenes = _listed(self.tree, "scenes")
        if scenes:
            return _listed(_item(scenes, self.tree.get("scene", 0)), "nodes")
        below = {child for node in self.nodes for child in _listed(node, "children")}
        return [number for number in range(len(self.nodes)) if number not in below]

    def _shown(self, node: Mapping[str, Any], placed: FloatArray) -> list[Piece]:
        mesh = _item(_listed(self.tree, "meshes"), node["mesh"])
        name = str(node.get("name") or mesh.get("name") or "")
        found = []
        for primitive in _listed(mesh, "primitives"):
            if primitive.get("mode", 4) not in (4, 5, 6):
                continue  # points and lines
            triangles = self._primitive(primitive)
            self.triangles += len(triangles)
            refuse_crowds(self.triangles)
            with np.errstate(over="ignore", invalid="ignore"):
                triangles = triangles @ placed[:3, :3].T + placed[:3, 3]
                mirrored = np.linalg.det(placed[:3, :3]) < 0.0
            material = ""
            if "material" in primitive:
                material = str(_item(_listed(self.tree, "materials"), primitive["material"]).get("name", ""))
            found.append(Piece(name, material, np.ascontiguousarray(triangles[:, ::-1] if mirrored else triangles)))
        return found

    def _primitive(self, primitive: Mapping[str, Any]) -> FloatArray:
        corners = self._values(primitive["attributes"]["POSITION"], "VEC3").astype(np.float64)
        if "indices" in primitive:
            stored = self._values(primitive["indices"], "SCALAR")
            if stored.dtype.kind != "u":
                raise ValueError("its faces name corners by what are no whole numbers")
            numbers = stored.ravel().astype(np.int64)
        else:
            numbers = np.arange(len(corners))
        return chosen_corners(corners, _threes(numbers, primitive.get("mode", 4)))

    def _values(self, number: Any, kind: str) -> np.ndarray[Any, Any]:
        """Rows of an accessor (section 3.6.2 of the format)."""
        accessor = _item(_listed(self.tree, "accessors"), number)
        if accessor["type"] != kind or "sparse" in accessor or "bufferView" not in accessor:
            raise ValueError("some of its numbers are stored in a way that is not read here (sparse)")
        view = _item(_listed(self.tree, "bufferViews"), accessor["bufferView"])
        buffer = _item(_listed(self.tree, "buffers"), view["buffer"])
        if "uri" in buffer or view["buffer"] != 0:
            raise ValueError("its numbers lie in another file; export it with all data in one file")
        stored, width = np.dtype(_KINDS[accessor["componentType"]]), _WIDTHS[kind]
        count = _size(accessor["count"])
        start = _size(view.get("byteOffset", 0)) + _size(accessor.get("byteOffset", 0))
        stride = _size(view.get("byteStride", 0)) or stored.itemsize * width
        end = _size(view.get("byteOffset", 0)) + _size(view["byteLength"])
        if count == 0:
            return np.zeros((0, width), dtype=stored)
        if stride < stored.itemsize * width or start + stride * (count - 1) + stored.itemsize * width > min(
            end, len(self.bytes)
        ):
            raise ValueError(f"it claims {count:,} numbers where it has fewer")
        rows = np.ndarray((count, width), stored, self.bytes, start, (stride, stored.itemsize))
        if accessor.get("normalized") is True and stored.kind in "iu":
            return rows / _LARGEST[_KINDS[accessor["componentType"]]]
        return rows


def _chunks(content: bytes) -> tuple[Mapping[str, Any], bytes]:
    """What the file says of itself, and its bytes (section 4.4 of the format)."""
    if len(content) < 20 or content[:4] != b"glTF":
        raise ValueError("it is no GLB file, or cut short")
    version, whole, length, kind = struct.unpack_from("<IIII", content, 4)
    if version != 2 or kind != _JSON or whole > len(content) or 20 + length > whole:
        raise ValueError("it is no GLB file of version 2, or cut short")
    try:
        given = json.loads(content[20 : 20 + length])
    except (ValueError, RecursionError):
        raise ValueError("what it says of itself cannot be read") from None
    if not isinstance(given, dict):
        raise ValueError("it says nothing of itself")
    place = 20 + length
    if place + 8 > whole:
        return given, b""
    length, kind = struct.unpack_from("<II", content, place)
    if kind != _BYTES or place + 8 + length > whole:
        raise ValueError("it is cut short")
    return given, content[place + 8 : place + 8 + length]


def _listed(table: Any, key: str) -> list[Any]:
    found = table.get(key, [])
    if not isinstance(found, list):
        raise TypeError(key)
    return found


def _item(entries: list[Any], number: Any) -> dict[str, Any]:
    if not isinstance(number, int) or isinstance(number, bool) or not 0 <= number < len(entries):
        raise IndexError(number)
    found = entries[number]
    if not isinstance(found, dict):
        raise TypeError(number)
    return found


def _size(value: Any) -> int:
    if not isinstance(value, int) or not 0 <= value < 2**40:
        raise ValueError("a size in it is no whole number")
    return value


def _transform(node: Mapping[str, Any]) -> FloatArray:
    """Matrix (4, 4) of a node: given as such by columns, or as scale, then rotation, then translation (3.5.3)."""
    if "matrix" in node:
        return np.array(node["matrix"], dtype=np.float64).reshape(4, 4).T
    moved, scaled = (np.array(node.get(key, usual), dtype=np.float64).reshape(3) for key, usual in _USUAL)
    x, y, z, w = np.array(node.get("rotation", (0.0, 0.0, 0.0, 1.0)), dtype=np.float64).reshape(4).tolist()
    turned = np.array(
        [
            [1.0 - 2.0 * (y * y + z * z), 2.0 * (x * y - z * w), 2.0 * (x * z + y * w)],
            [2.0 * (x * y + z * w), 1.0 - 2.0 * (x * x + z * z), 2.0 * (y * z - x * w)],
            [2.0 * (x * z - y * w), 2.0 * (y * z + x * w), 1.0 - 2.0 * (x * x + y * y)],
        ]
    )
    whole = np.eye(4)
    whole[:3, :3] = turned * scaled
    whole[:3, 3] = moved
    return whole


_USUAL: Final = (("translation", (0.0, 0.0, 0.0)), ("scale", (1.0, 1.0, 1.0)))


def _threes(numbers: IntArray, mode: int) -> IntArray:
    """Corner numbers (n, 3) of separate triangles, a strip or a fan (section 3.7.2.1)."""
    if mode == 4:
        return numbers[: len(numbers) // 3 * 3].reshape(-1, 3)
    if len(numbers) < 3:
        return np.zeros((0, 3), dtype=np.int64)
    if mode == 6:
        return np.column_stack([np.broadcast_to(numbers[0], len(numbers) - 2), numbers[1:-1], numbers[2:]])
    strip = np.column_stack([numbers[:-2], numbers[1:-1], numbers[2:]])
    strip[1::2] = strip[1::2][:, [0, 2, 1]]
    return strip
