"""What stands near: panels that lie on it, and meshes, which are left out and said."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from sim.blueprint.reader import parse_scene
from sim.pipeline import trace_scene
from sim.placement.built_scene import build_scene
from sim.placement.collisions import standing_solids
from sim.propagation.waves.cluster import find_cluster, mesh_note, meshes_near
from sim.propagation.waves.elements import face_admittances, outward_quads
from tests.geometry.mesh_writing import BOX_CORNERS, BOX_FACES

ROOM = """
[room]
box = { width = 5.0, depth = 5.0, height = 2.5 }
[listener]
ear = { from_front = 2.0, from_left = 2.5, up = 1.2 }
[[loudspeakers]]
name = "left"
model = "point"
acoustic_axis = { from_front = 0.6, from_left = 2.0, up = 1.2 }
"""
DESK = """
[[furniture]]
kind = "desk"
name = "desk"
from_front = [0.9, 1.5]
from_left = [1.5, 3.0]
top = 0.74
"""
MAT = """
[materials.foam]
layers = [{ porous = "DEPTH mm", flow_resistivity = 15000, divided = true }]
[[panels]]
name = "mat"
surface = "desk top"
from_front = [1.0, 1.5]
from_left = [1.6, 2.9]
material = "foam"
"""
LUMP = """
[[furniture]]
kind = "mesh"
name = "lump"
file = "lump.obj"
frame = { unit = "m" }
at = { from_front = FRONT, from_left = 2.0, up = 0.8 }
"""


@pytest.mark.parametrize("depth", [10, 40])
def test_a_mat_is_a_soft_body_on_the_desk_that_it_lies_on(depth: int) -> None:
    blueprint = parse_scene(ROOM + DESK + MAT.replace("DEPTH", str(depth)), Path("nowhere")).blueprint
    built = build_scene(blueprint, Path("nowhere"))
    cluster = find_cluster(built, standing_solids(blueprint, Path("nowhere")))
    assert cluster is not None
    assert cluster.bodies == ("desk", "desk")
    assert cluster.panels == (-1, 0)
    assert len(cluster.bare_solids) == 1
    mat = cluster.solids[1]
    assert mat.min(axis=0) == pytest.approx([1.0, 1.6, 0.74])
    assert mat.max(axis=0) == pytest.approx([1.5, 2.9, 0.74 + 0.001 * depth])
    quads = outward_quads(mat)
    normals = np.cross(quads[:, 2] - quads[:, 0], quads[:, 3] - quads[:, 1])
    normals /= np.linalg.norm(normals, axis=1, keepdims=True)
    beta = face_admittances(built, ("desk",) * 6, normals, quads.mean(axis=1), np.array([500.0, 1000.0]), (0,) * 6)
    under = normals[:, 2] < -0.9
    assert (beta[under] == 0.0).all()
    assert (beta[~under].real > 0.0).all()  # what lies on a top has no frame
    assert np.ptp(beta[~under], axis=0) == pytest.approx(0.0)


def test_a_framed_panel_upright_has_rigid_rims() -> None:
    on_side = MAT.replace("DEPTH", "40").replace("desk top", "cupboard listener side")
    on_side = on_side.replace("from_front = [1.0, 1.5]", "up = [0.3, 1.1]").replace("[1.6, 2.9]", "[1.6, 2.4]")
    cupboard = '[[furniture]]\nkind = "cupboard"\nfrom_front = [0.9, 1.2]\nfrom_left = [1.5, 2.5]\nup = [0.0, 1.2]\n'
    blueprint = parse_scene(ROOM.replace("up = 1.2", "up = 1.3") + cupboard + on_side, Path("nowhere")).blueprint
    built = build_scene(blueprint, Path("nowhere"))
    cluster = find_cluster(built, standing_solids(blueprint, Path("nowhere")))
    assert cluster is not None
    quads = outward_quads(cluster.solids[1])
    normals = np.cross(quads[:, 2] - quads[:, 0], quads[:, 3] - quads[:, 1])
    normals /= np.linalg.norm(normals, axis=1, keepdims=True)
    beta = face_admittances(built, ("cupboard",) * 6, normals, quads.mean(axis=1), np.array([500.0]), (0,) * 6)
    assert ((beta[:, 0] != 0.0) == (normals[:, 0] > 0.9)).all()


@pytest.mark.parametrize(("from_front", "near"), [(1.2, True), (3.5, False)])
def test_a_mesh_that_stands_near_is_left_out_and_said(tmp_path: Path, from_front: float, near: bool) -> None:
    lines = [f"v {x} {y} {z}" for x, y, z in BOX_CORNERS / [14.0, 7.0, 12.0]]
    lines += ["f " + " ".join(str(corner + 1) for corner in face) for face in BOX_FACES.tolist()]
    (tmp_path / "lump.obj").write_text("\n".join(lines), encoding="utf-8")
    scene = parse_scene(ROOM + LUMP.replace("FRONT", str(from_front)), tmp_path)
    built = build_scene(scene.blueprint, tmp_path)
    found = meshes_near(built, standing_solids(scene.blueprint, tmp_path))
    assert found == (("lump",) if near else ())
    notes = trace_scene(scene, order=1, maps=False, edges=False).built.notes
    assert notes == ((mesh_note(("lump",)),) if near else ())
    assert trace_scene(scene, order=1, maps=False, edges=False, waves_to_hz=0.0).built.notes == ()


def test_what_is_said_of_meshes() -> None:
    assert mesh_note(()) == ""
    assert mesh_note(("a chair",)).startswith("a chair stands near and is a mesh, whose inside sound waves do not know")
    assert "they act by mirrors and edges alone" in mesh_note(("a chair", "a bust"))
