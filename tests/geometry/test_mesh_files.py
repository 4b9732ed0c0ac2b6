"""What the OBJ reader makes of polygons, groups and numbers that count backwards."""

from __future__ import annotations

import json
import struct
from pathlib import Path

import numpy as np
import pytest
import trimesh

from sim.errors import MeshError
from sim.geometry.mesh_files import read_mesh
from sim.geometry.mesh_pieces import polygon_triangles
from sim.geometry.ply_files import _whole

HOLLOW = np.array([[0.0, 0.0], [4.0, 0.0], [4.0, 3.0], [2.0, 1.0], [0.0, 3.0]])


def on_plane(flat: np.ndarray) -> np.ndarray:
    """Lift plan corners into a plane that leans on all three axes."""
    return np.array([1.0, 2.0, 3.0]) + flat @ np.array([[0.6, 0.8, 0.0], [-0.48, 0.36, 0.8]])


def area_vector(triangles: np.ndarray) -> np.ndarray:
    return 0.5 * np.cross(triangles[:, 1] - triangles[:, 0], triangles[:, 2] - triangles[:, 0]).sum(axis=0)


@pytest.mark.parametrize("backwards", [False, True])
@pytest.mark.parametrize("start", range(5))
def test_a_hollow_polygon_is_not_filled(start: int, backwards: bool) -> None:
    outline = on_plane(np.roll(HOLLOW, start, axis=0))
    triangles = polygon_triangles(outline[::-1] if backwards else outline)
    normal = np.cross([0.6, 0.8, 0.0], [-0.48, 0.36, 0.8])
    each = 0.5 * np.cross(triangles[:, 1] - triangles[:, 0], triangles[:, 2] - triangles[:, 0]) @ normal
    assert each.sum() == pytest.approx(-8.0 if backwards else 8.0)
    assert np.abs(each).sum() == pytest.approx(8.0)


def test_obj_names_numbers_and_continued_lines(tmp_path: Path) -> None:
    text = """# a room
mtllib room.mtl
o shell
v 0 0 0
v 1 0 0 1.0
v 1 1 0
v 0 1 0
vn 0 0 1
usemtl wood
f 1//1 2//1 \\
  3//1 4//1
g big window
v 0 0 1
v 1 0 1
v 1 1 1
f -3/7/1 -2/7/1 -1/7/1   # counted from the end
g
f 1 2 3
o other
f 1 2 3
"""
    (tmp_path / "room.obj").write_text(text)
    file = read_mesh(tmp_path / "room.obj", "here")
    assert [file.group_names[number] for number in file.groups] == ["shell", "shell", "shell", "big window", "other"]
    assert file.material_names == ("wood",)
    (window,) = file.triangles[[file.group_names[number] == "big window" for number in file.groups]]
    assert window.tolist() == [[0, 0, 1], [1, 0, 1], [1, 1, 1]]
    assert area_vector(file.triangles[:3]) == pytest.approx(np.array([0.0, 0.0, 1.5]))


def test_a_mirroring_node_keeps_the_surface_facing_outward(tmp_path: Path) -> None:
    """Where a node's transform mirrors, the winding turns around with it (glTF 2.0, section 3.7.4)."""
    scene = trimesh.Scene()
    scene.add_geometry(trimesh.creation.box((1, 2, 3)), node_name="mirrored", transform=np.diag([-1.0, 1.0, 1.0, 1.0]))
    scene.export(tmp_path / "box.glb")
    triangles = read_mesh(tmp_path / "box.glb", "here").triangles
    outward = np.cross(triangles[:, 1] - triangles[:, 0], triangles[:, 2] - triangles[:, 0])
    assert (np.einsum("ij,ij->i", outward, triangles.mean(axis=1)) > 0.0).all()


def test_a_node_of_several_materials_keeps_its_name(tmp_path: Path) -> None:
    """One node whose mesh has two primitives, as modellers write an object with two materials."""
    scene = trimesh.Scene()
    for name, height in (("wood", 0.0), ("glass", 2.0)):
        box = trimesh.creation.box((1, 1, 1)).apply_translation((0, 0, height))
        box.visual = trimesh.visual.TextureVisuals(material=trimesh.visual.material.PBRMaterial(name=name))
        scene.add_geometry(box, node_name=name)
    content = scene.export(file_type="glb")
    size = struct.unpack_from("<I", content, 12)[0]
    tree, rest = json.loads(content[20 : 20 + size]), content[20 + size :]
    tree["meshes"] = [{"name": "both", "primitives": [mesh["primitives"][0] for mesh in tree["meshes"]]}]
    tree["nodes"], tree["scenes"] = [{"name": "shelf", "mesh": 0}], [{"nodes": [0]}]
    head = json.dumps(tree).encode()
    head += b" " * (-len(head) % 4)
    whole = struct.pack("<4sIIII", b"glTF", 2, 20 + len(head) + len(rest), len(head), 0x4E4F534A) + head + rest
    (tmp_path / "shelf.glb").write_bytes(whole)
    file = read_mesh(tmp_path / "shelf.glb", "here")
    assert file.group_names == ("shelf",)
    assert set(file.material_names) == {"wood", "glass"}
    assert file.triangles[..., 2].max() == pytest.approx(2.5)


def test_solids_of_a_text_stl_are_groups(tmp_path: Path) -> None:
    facet = "facet normal 0 0 1\nouter loop\nvertex 0 0 0\nvertex 1 0 0\nvertex 0 1 0\nendloop\nendfacet\n"
    text = "".join(f"solid {name}\n{facet}endsolid {name}\n" for name in ("floor", "left wall"))
    (tmp_path / "room.stl").write_text(text)
    assert set(read_mesh(tmp_path / "room.stl", "here").group_names) == {"floor", "left wall"}


@pytest.mark.parametrize("corner", [1e300, -1e300, np.nan])
def test_corners_named_by_what_is_no_number_are_refused(corner: float) -> None:
    with pytest.raises(ValueError, match="what are no numbers"):
        _whole(np.array([0.0, corner]))
    assert _whole(np.array([0.0, 2.0])).tolist() == [0, 2]


@pytest.mark.parametrize("corner", ["1e308 -1e308 0", "1e13 0 0", "nan 0 0"])
def test_corners_beyond_all_measure_are_refused(tmp_path: Path, corner: str) -> None:
    """Their differences would be no numbers any more."""
    text = f"v {corner}\nv 1 0 0\nv 0 1 0\nv 0 0 1\nf 1 2 3\nf 1 2 4\n"
    (tmp_path / "far.obj").write_text(text, encoding="utf-8")
    with pytest.raises(MeshError, match="2 of 2 triangles have corners that are not finite numbers or absurd"):
        read_mesh(tmp_path / "far.obj", "room.mesh")


@pytest.mark.parametrize(
    "odd",
    ["f 1 2 3 # three", "f 1/1 2/1 3/1", "f -3 -2 -1", "f 1 2 3 4", "v 0 0 0 1 1 1", "vn 0 0 1", "g other", "f 1 3 2"],
)
@pytest.mark.parametrize("place", [0, 7, 19])
def test_runs_of_an_obj_are_read_as_their_lines_are(
    odd: str, place: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    rng = np.random.default_rng(3)
    lines = ["v {:.6f} {:.6f} {:.6f}".format(*corner) for corner in rng.uniform(-2.0, 2.0, (20, 3))]
    lines += ["f {} {} {}".format(*rng.choice(20, 3, replace=False) + 1) for _ in range(20)]
    lines.insert((0 if odd.startswith("v") else 20) + place, odd)
    (tmp_path / "a.obj").write_text("\n".join(lines))
    at_once = read_mesh(tmp_path / "a.obj", "here")
    monkeypatch.setattr("sim.geometry.obj_files.SHORT_RUN", 1000)
    by_line = read_mesh(tmp_path / "a.obj", "here")
    np.testing.assert_array_equal(at_once.triangles, by_line.triangles)
    np.testing.assert_array_equal(at_once.groups, by_line.groups)
    assert at_once.group_names == by_line.group_names


@pytest.mark.parametrize(
    "wrong", ["f 1 2 99", "f 1 2 0", "f 1 2 x", "f 1 2 3/#", "f 1 2", "f 1/ 2", "v 1/1 2 3", "v 1 2"]
)
def test_a_wrong_line_in_a_run_of_an_obj_is_named(wrong: str, tmp_path: Path) -> None:
    lines = [f"v {n} {n * n} 0" for n in range(12)] + ["f 1 2 3"] * 12
    place = 5 if wrong.startswith("v") else 17
    lines.insert(place, wrong)
    (tmp_path / "a.obj").write_text("\n".join(lines))
    if wrong == "f 1 2 3/#":  # what follows the number of a corner is not looked at
        assert len(read_mesh(tmp_path / "a.obj", "here").triangles) == 13
        return
    with pytest.raises(MeshError, match=f"line {place + 1}"):
        read_mesh(tmp_path / "a.obj", "here")
