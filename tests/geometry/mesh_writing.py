"""Small meshes as bytes, written after the descriptions of the formats and not with any reader of them."""

from __future__ import annotations

import json
import struct
from typing import Any

import numpy as np

BOX_CORNERS = np.array([[x, y, z] for x in (0.0, 4.2) for y in (0.0, 3.4) for z in (0.0, 2.4)])
BOX_SIDES = np.array([[0, 1, 3, 2], [4, 6, 7, 5], [0, 4, 5, 1], [2, 3, 7, 6], [0, 2, 6, 4], [1, 5, 7, 3]])
BOX_FACES = np.concatenate([BOX_SIDES[:, [0, 1, 2]], BOX_SIDES[:, [0, 2, 3]]])


def obj_bytes() -> bytes:
    lines = [f"v {x} {y} {z}" for x, y, z in BOX_CORNERS.tolist()]
    for number, side in enumerate(BOX_SIDES.tolist()):
        lines += [f"g side {number}", f"usemtl brick_{number % 2}", "f " + " ".join(str(corner + 1) for corner in side)]
    return "\n".join(lines).encode()


def ply_bytes(*, order: str = "<", quads: bool = False) -> bytes:
    """A box as PLY: order "<", ">" for bytes, "" for text."""
    faces = BOX_SIDES if quads else BOX_FACES
    way = {"<": "binary_little_endian", ">": "binary_big_endian", "": "ascii"}[order]
    head = (
        f"ply\nformat {way} 1.0\ncomment TextureFile ../../secret.png\nelement vertex {len(BOX_CORNERS)}\n"
        "property float x\nproperty float y\nproperty float z\nproperty uchar red\n"
        f"element face {len(faces)}\nproperty list uchar int vertex_indices\nend_header\n"
    ).encode()
    if not order:
        rows = [f"{x} {y} {z} 7" for x, y, z in BOX_CORNERS.tolist()]
        rows += [f"{len(face)} {' '.join(map(str, face))}" for face in faces.tolist()]
        return head + "\n".join(rows).encode()
    body = b"".join(struct.pack(f"{order}fffB", *corner, 7) for corner in BOX_CORNERS.tolist())
    return head + body + b"".join(struct.pack(f"{order}B{len(face)}i", len(face), *face) for face in faces.tolist())


def stl_bytes(*, text: bool = False) -> bytes:
    triangles = BOX_CORNERS[BOX_FACES]
    if text:
        rows = [
            "facet normal 0 0 0\nouter loop\n"
            + "\n".join(f"vertex {x} {y} {z}" for x, y, z in triangle.tolist())
            + "\nendloop\nendfacet"
            for triangle in triangles
        ]
        return "\n".join(["solid room", *rows, "endsolid room"]).encode()
    rows_of_bytes = [struct.pack("<12fH", 0, 0, 0, *triangle.ravel().tolist(), 0) for triangle in triangles]
    return b"room".ljust(80) + struct.pack("<I", len(triangles)) + b"".join(rows_of_bytes)


def glb_tree() -> dict[str, Any]:
    """What a GLB file of a box says of itself."""
    corners, faces = BOX_CORNERS.astype("<f4").tobytes(), BOX_FACES.astype("<u2").tobytes()
    return {
        "asset": {"version": "2.0"},
        "scene": 0,
        "scenes": [{"nodes": [0]}],
        "nodes": [{"name": "room", "children": [1]}, {"name": "shell", "mesh": 0, "translation": [0, 0, 0]}],
        "meshes": [{"primitives": [{"attributes": {"POSITION": 0}, "indices": 1, "material": 0}]}],
        "materials": [{"name": "brick"}],
        "accessors": [
            {"bufferView": 0, "componentType": 5126, "count": len(BOX_CORNERS), "type": "VEC3"},
            {"bufferView": 1, "componentType": 5123, "count": BOX_FACES.size, "type": "SCALAR"},
        ],
        "bufferViews": [
            {"buffer": 0, "byteOffset": 0, "byteLength": len(corners)},
            {"buffer": 0, "byteOffset": len(corners), "byteLength": len(faces)},
        ],
        "buffers": [{"byteLength": len(corners) + len(faces)}],
    }


def glb_bytes(tree: Any = None) -> bytes:
    """A GLB file of a box; `tree`, an object or bytes, in place of what it says of itself."""
    reported = glb_tree() if tree is None else tree
    head = reported if isinstance(reported, bytes) else json.dumps(reported).encode()
    head += b" " * (-len(head) % 4)
    rest = BOX_CORNERS.astype("<f4").tobytes() + BOX_FACES.astype("<u2").tobytes()
    rest += b"\0" * (-len(rest) % 4)
    whole = struct.pack("<4sIIII", b"glTF", 2, 28 + len(head) + len(rest), len(head), 0x4E4F534A) + head
    return whole + struct.pack("<II", len(rest), 0x004E4942) + rest
