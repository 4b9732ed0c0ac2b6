"""Mesh files that claim, point or nest more than they have: refused in a sentence, at once; nothing else is opened."""

from __future__ import annotations

import struct
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from sim.errors import MeshError
from sim.geometry import mesh_pieces
from sim.geometry.mesh_files import read_mesh
from tests.geometry.mesh_writing import BOX_CORNERS, glb_bytes, glb_tree, obj_bytes, ply_bytes, stl_bytes

SECONDS = 5.0


def volume(triangles: np.ndarray) -> float:
    """By the divergence theorem; negative when faces look inward."""
    return float(np.einsum("ij,ij->i", triangles[:, 0], np.cross(triangles[:, 1], triangles[:, 2])).sum() / 6.0)


@pytest.mark.parametrize(
    ("name", "content"),
    [
        ("a.obj", obj_bytes()),
        ("a.ply", ply_bytes()),
        ("a.ply", ply_bytes(order=">")),
        ("a.ply", ply_bytes(order="")),
        ("a.ply", ply_bytes(quads=True)),
        ("a.ply", ply_bytes(order="", quads=True)),
        ("a.stl", stl_bytes()),
        ("a.stl", stl_bytes(text=True)),
        ("a.glb", glb_bytes()),
    ],
)
def test_the_same_box_whatever_the_kind_of_file(name: str, content: bytes, tmp_path: Path) -> None:
    (tmp_path / name).write_bytes(content)
    triangles = read_mesh(tmp_path / name, "here").triangles
    assert len(triangles) == 12
    assert abs(volume(triangles)) == pytest.approx(4.2 * 3.4 * 2.4, rel=1e-6)
    assert triangles.reshape(-1, 3).max(axis=0) == pytest.approx(BOX_CORNERS.max(axis=0))


def test_faces_of_three_and_four_corners_beside_each_other(tmp_path: Path) -> None:
    """Rows of different length, which no table of equal rows holds (Turk 1994)."""
    head = (
        b"ply\nformat binary_little_endian 1.0\nelement vertex 4\nproperty float x\nproperty float y\n"
        b"property float z\nelement face 2\nproperty uchar flags\nproperty list uchar uint vertex_index\n"
        b"property list uchar float more\nend_header\n"
    )
    body = struct.pack("<12f", 0, 0, 0, 1, 0, 0, 1, 1, 0, 0, 1, 0)
    body += struct.pack("<BB4IBf", 9, 4, 0, 1, 2, 3, 1, 0.5) + struct.pack("<BB3IB", 9, 3, 0, 1, 2, 0)
    (tmp_path / "a.ply").write_bytes(head + body)
    triangles = read_mesh(tmp_path / "a.ply", "here").triangles
    assert np.cross(triangles[:, 1] - triangles[:, 0], triangles[:, 2] - triangles[:, 0])[:, 2].sum() == 3.0


@pytest.mark.parametrize(("mode", "numbers"), [(4, [0, 1, 2, 2, 1, 3]), (5, [0, 1, 2, 3]), (6, [1, 3, 2, 0])])
def test_strips_and_fans(mode: int, numbers: list[int], tmp_path: Path) -> None:
    """The same square in three ways (glTF 2.0, section 3.7.2.1), seen from the same side."""
    tree = glb_tree()
    tree["accessors"][1]["count"] = len(numbers)
    tree["meshes"][0]["primitives"][0]["mode"] = mode
    content = bytearray(glb_bytes(tree))
    at = bytes(content).index(b"BIN\0") + 4
    corners = np.array([[0, 0, 0], [1, 0, 0], [0, 1, 0], [1, 1, 0]], dtype="<f4").tobytes()
    content[at : at + len(corners)] = corners
    at += BOX_CORNERS.size * 4
    content[at : at + 2 * len(numbers)] = struct.pack(f"<{len(numbers)}H", *numbers)
    (tmp_path / "a.glb").write_bytes(bytes(content))
    triangles = read_mesh(tmp_path / "a.glb", "here").triangles
    area = np.cross(triangles[:, 1] - triangles[:, 0], triangles[:, 2] - triangles[:, 0])
    assert area[:, 2].tolist() == [1.0, 1.0]


def test_transforms_of_nodes_within_nodes(tmp_path: Path) -> None:
    """Scale, then rotation, then translation, the outer node's last (glTF 2.0, section 3.5.3)."""
    tree = glb_tree()
    half = np.sqrt(0.5)
    tree["nodes"][0] |= {"translation": [10, 0, 0]}
    tree["nodes"][1] |= {"rotation": [0, 0, half, half], "scale": [2, 1, 1], "translation": [0, 5, 0]}
    (tmp_path / "a.glb").write_bytes(glb_bytes(tree))
    corners = read_mesh(tmp_path / "a.glb", "here").triangles.reshape(-1, 3)
    # a quarter turn to the left about z sends (x, y) to (-y, x)
    expected = np.column_stack([10 - BOX_CORNERS[:, 1], 5 + 2 * BOX_CORNERS[:, 0], BOX_CORNERS[:, 2]])
    assert corners.min(axis=0) == pytest.approx(expected.min(axis=0))
    assert corners.max(axis=0) == pytest.approx(expected.max(axis=0))


def changed(change: Callable[[dict[str, Any]], Any]) -> bytes:
    tree = glb_tree()
    change(tree)
    return glb_bytes(tree)


def ply_text(rows: str) -> bytes:
    """A PLY file of one corner and one face, whose list is counted by a whole number that may be negative."""
    corner = "element vertex 1\nproperty float x\nproperty float y\nproperty float z\n"
    face = "element face 1\nproperty list int int vertex_indices\nend_header\n"
    return f"ply\nformat ascii 1.0\n{corner}{face}{rows}".encode()


HOSTILE: dict[str, tuple[str, bytes, str]] = {
    "nothing": ("a.ply", b"", "no PLY file"),
    "nothing, GLB": ("a.glb", b"", "no GLB file"),
    "nothing, OBJ": ("a.obj", b"", "no triangles"),
    "nothing, STL": ("a.stl", b"", "no triangles"),
    "zeros": ("a.obj", b"\0" * 5000, "no triangles"),
    "noise": ("a.stl", bytes(range(256)) * 40, "no triangles"),
    "claimed corners": (
        "a.ply",
        ply_bytes().replace(b"vertex 8", b"vertex 99999999999"),
        "claims 99,999,999,999 of 'vertex'",
    ),
    "claimed faces": ("a.ply", ply_bytes().replace(b"face 12", b"face 4000000000"), "claims 4,000,000,000 of 'face'"),
    "claimed faces of a text": (
        "a.ply",
        ply_bytes(order="").replace(b"face 12", b"face 4000000000"),
        "claims 4,000,000,000 of 'face'",
    ),
    "claimed list": (
        "a.ply",
        ply_text("0 0 0\n2000000000 1"),
        "a list in it has 2e+09 entries",
    ),
    "negative list": (
        "a.ply",
        ply_text("0 0 0\n-1 1"),
        "a list in it has -1 entries",
    ),
    "negative corner": ("a.ply", ply_bytes(order="").replace(b"\n3 0 1 3", b"\n3 0 -1 3"), "names corner -1"),
    "corner beyond": ("a.ply", ply_bytes(order="").replace(b"\n3 0 1 3", b"\n3 0 8 3"), "names corner 8"),
    "not a number": ("a.ply", ply_bytes(order="").replace(b"4.2 3.4 2.4", b"nan 3.4 2.4"), "not finite numbers"),
    "head without end": ("a.ply", b"ply\nformat ascii 1.0\n" + b"comment x\n" * 100_000, "has no end"),
    "cut short": ("a.ply", ply_bytes()[:-5], "cut short"),
    "claimed triangles": (
        "a.stl",
        stl_bytes()[:80] + struct.pack("<I", 4_000_000_000) + stl_bytes()[84:],
        "no triangles",
    ),
    "corner zero": ("a.obj", b"v 0 0 0\nf 0 1 1\n", "there is no corner 0"),
    "corner far back": ("a.obj", b"v 0 0 0\nf -9 1 1\n", "there is no corner -9"),
    "infinite": ("a.obj", b"v 0 0 0\nv 1e999 0 0\nv 0 1 0\nf 1 2 3\n", "not finite numbers"),
    "escape": ("a.obj", b"v 0 \x1b[2J 0\n", "cannot be read"),
    "another file": ("a.glb", changed(lambda t: t["buffers"][0].update(uri="../../etc/secret.bin")), "another file"),
    "ring": ("a.glb", changed(lambda t: t["nodes"][1].update(children=[0])), "form a ring"),
    "own child": ("a.glb", changed(lambda t: t["nodes"][0].update(children=[0])), "form a ring"),
    "deep": (
        "a.glb",
        changed(lambda t: t.update(nodes=[{"children": [number + 1]} for number in range(5000)] + [{"mesh": 0}])),
        "lie too deep",
    ),
    "claimed numbers": ("a.glb", changed(lambda t: t["accessors"][0].update(count=2**35)), "claims 34,359,738,368"),
    "negative start": ("a.glb", changed(lambda t: t["accessors"][0].update(byteOffset=-4)), "no whole number"),
    "beyond the bytes": (
        "a.glb",
        changed(lambda t: t["bufferViews"][1].update(byteLength=10**9, byteOffset=10**6)),
        "claims",
    ),
    "corner beyond, GLB": ("a.glb", changed(lambda t: t["accessors"][0].update(count=3)), "names corner"),
    "no such node": ("a.glb", changed(lambda t: t["scenes"][0].update(nodes=[77])), "do not fit together"),
    "no numbers": ("a.glb", changed(lambda t: t["nodes"][1].update(translation=["x", {}, []])), "cannot be read"),
    "infinite matrix": ("a.glb", changed(lambda t: t["nodes"][1].update(matrix=[1e308] * 16)), "not finite"),
    "packed": ("a.glb", changed(lambda t: t.update(extensionsRequired=["KHR_draco_mesh_compression"])), "KHR_draco"),
    "list for a table": ("a.glb", glb_bytes([1]), "says nothing"),
    "deep text": ("a.glb", glb_bytes(b"[" * 100_000), "cannot be read"),
    "one mesh, a million times": (
        "a.glb",
        changed(lambda t: t.update(nodes=[{"mesh": 0}] * 60_000, scenes=[{"nodes": list(range(60_000))}])),
        "60000 nodes",
    ),
}


@pytest.mark.parametrize("kind", HOSTILE)
def test_refused_in_a_sentence_and_at_once(kind: str, tmp_path: Path) -> None:
    name, content, words = HOSTILE[kind]
    (tmp_path / name).write_bytes(content)
    begin = time.perf_counter()
    with pytest.raises(MeshError) as fault:
        read_mesh(tmp_path / name, "here")
    assert time.perf_counter() - begin < SECONDS
    assert words in str(fault.value)
    assert str(fault.value).isprintable()


def test_no_file_but_the_mesh_is_opened(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Material libraries, pictures and buffers that a file names stay where they are."""
    opened: list[str] = []
    usual = Path.read_bytes
    monkeypatch.setattr(Path, "read_bytes", lambda path: (opened.append(path.name), usual(path))[1])
    monkeypatch.setattr("builtins.open", lambda name, *_, **__: pytest.fail(f"opened {name}"))
    pictured = changed(
        lambda t: t.update(images=[{"uri": "../secret.png"}], textures=[{"source": 0}], boundaries=[{"joints": [9]}])
    )
    for name, content in (
        ("a.obj", b"mtllib /etc/hostname\n" + obj_bytes()),
        ("a.ply", ply_bytes()),
        ("a.glb", pictured),
        ("a.stl", stl_bytes()),
    ):
        (tmp_path / name).write_bytes(content)
        read_mesh(tmp_path / name, "here")
        assert opened.pop() == name
    assert not opened


def test_names_are_made_fit_for_tables(tmp_path: Path) -> None:
    text = obj_bytes().replace(b"g side 0", b"g \x1b[31mred" + b"x" * 300).replace(b"g side 1", b"g a\tb")
    (tmp_path / "a.obj").write_bytes(text)
    names = read_mesh(tmp_path / "a.obj", "here").group_names
    assert names[0].startswith("\\x1b[31mred")
    assert names[1] == "a b"
    assert all(name.isprintable() and len(name) <= 80 for name in names)


@pytest.mark.parametrize("name, content", [("a.obj", obj_bytes()), ("a.ply", ply_bytes()), ("a.stl", stl_bytes())])
def test_more_triangles_than_are_read(
    name: str, content: bytes, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / name).write_bytes(content)
    for module in ("sim.geometry.mesh_pieces", "sim.geometry.obj_files"):
        monkeypatch.setattr(f"{module}.MOST_TRIANGLES", 5)
    with pytest.raises(MeshError, match="triangles, the most that are read are 5"):
        read_mesh(tmp_path / name, "here")


def test_larger_files_are_not_even_opened(tmp_path: Path) -> None:
    with (tmp_path / "a.obj").open("wb") as file:
        file.truncate(mesh_pieces.LARGEST_FILE_BYTES + 1)
    with pytest.raises(MeshError, match="the file has 100,000,001 bytes"):
        read_mesh(tmp_path / "a.obj", "here")


def test_a_broken_text_stl_leaves_the_screen_alone(tmp_path: Path) -> None:
    """The library that reads STL tells of damage by a traceback, where nobody has asked for its messages."""
    (tmp_path / "a.stl").write_bytes(stl_bytes(text=True).replace(b"facet normal 0 0 0", b"facet normal 0 x 0", 1))
    code = (
        "import sys; from pathlib import Path; from sim.geometry.mesh_files import read_mesh\n"
        "try: read_mesh(Path(sys.argv[1]), 'here')\nexcept Exception: pass"
    )
    command = [sys.executable, "-W", "error", "-c", code, str(tmp_path / "a.stl")]
    assert subprocess.run(command, capture_output=True, text=True, check=True).stderr == ""
