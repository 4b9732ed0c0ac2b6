from __future__ import annotations

import json
import struct
from pathlib import Path

import numpy as np
import pytest
import trimesh

from sim.errors import OutputError
from sim.showing.page import LEVEL_COLOURS
from sim.studies.sheets.model3d import hotspot_triangles, to_gltf, write_model3d
from tests.studies.report.report_cases import den


class Glb:
    """A GLB file read by hand as the standard tells it (Khronos Group, glTF 2.0, section 4)."""

    def __init__(self, path: Path) -> None:
        raw = path.read_bytes()
        magic, version, length = struct.unpack("<4sII", raw[:12])
        assert (magic, version, length) == (b"glTF", 2, len(raw))
        size, kind = struct.unpack("<I4s", raw[12:20])
        assert kind == b"JSON"
        self.tree = json.loads(raw[20 : 20 + size])
        rest = raw[20 + size :]
        size, kind = struct.unpack("<I4s", rest[:8])
        assert kind == b"BIN\0"
        self.binary = rest[8 : 8 + size]
        assert self.tree["asset"]["version"] == "2.0"

    def values(self, number: int) -> np.ndarray:
        accessor = self.tree["accessors"][number]
        view = self.tree["bufferViews"][accessor["bufferView"]]
        kind = {5126: "<f4", 5125: "<u4", 5123: "<u2", 5121: "<u1"}[accessor["componentType"]]
        wide = {"SCALAR": 1, "VEC3": 3, "VEC4": 4}[accessor["type"]]
        start = view.get("byteOffset", 0) + accessor.get("byteOffset", 0)
        flat = np.frombuffer(self.binary, kind, accessor["count"] * wide, start)
        return flat.reshape(-1, wide) if wide > 1 else flat

    def nodes(self) -> dict[str, dict]:
        return {node["name"]: node for node in self.tree["nodes"] if "mesh" in node}

    def primitive(self, name: str) -> dict:
        node = self.nodes()[name]
        moved = np.array(node.get("matrix", np.eye(4).ravel())).reshape(4, 4)
        np.testing.assert_allclose(moved, np.eye(4), atol=1e-12)
        return self.tree["meshes"][node["mesh"]]["primitives"][0]

    def places(self, name: str) -> np.ndarray:
        return self.values(self.primitive(name)["attributes"]["POSITION"])


@pytest.fixture(scope="module")
def path(tmp_path_factory: pytest.TempPathFactory) -> Path:
    made = tmp_path_factory.mktemp("model") / "model.glb"
    write_model3d(den(panels=True), made)
    return made


@pytest.fixture(scope="module")
def glb(path: Path) -> Glb:
    return Glb(path)


def test_every_body_is_a_node_of_its_own(glb: Glb) -> None:
    built = den(panels=True).built
    names = set(glb.nodes())
    wanted = {f"room: {facet.name}" for facet in built.room.facets if facet.owner == "room"}
    wanted |= {"furniture: desk", "furniture: tall cupboard", "loudspeaker: left", "seat: ear", "seat: guest"}
    wanted |= {"panel: right panel", "panel: left panel", "driver: left tweeter", "driver: left woofer"}
    assert wanted <= names
    assert {name for name in names if name.startswith("hotspots 1000 Hz: ")}


def test_axes_are_turned_and_not_mirrored() -> None:
    turn = to_gltf(np.eye(3)).T
    assert np.linalg.det(turn) == pytest.approx(1.0)
    # depth, across, up of 1, 2, 3 m: 2 m to the right, 3 m high, 1 m away from the front wall
    assert to_gltf(np.array([1.0, 2.0, 3.0])).tolist() == [2.0, 3.0, 1.0]


def test_left_stays_left_up_stays_up_and_metres_are_metres(glb: Glb) -> None:
    left, right, ear = (glb.places(name) for name in ("driver: left tweeter", "room: right wall", "seat: ear"))
    np.testing.assert_allclose(left.mean(axis=0), [0.88, 1.22, 0.42], atol=0.02)
    np.testing.assert_allclose(ear.mean(axis=0), [1.50, 1.20, 1.60], atol=1e-6)
    np.testing.assert_allclose(right[:, 0], 3.40, atol=1e-6)
    np.testing.assert_allclose(glb.places("room: floor")[:, 1], 0.0, atol=1e-6)
    np.testing.assert_allclose(glb.places("room: front wall")[:, 2], 0.0, atol=1e-6)
    whole = np.concatenate([glb.places(name) for name in glb.nodes() if name.startswith("room: ")])
    np.testing.assert_allclose(whole.max(axis=0) - whole.min(axis=0), [3.40, 2.40, 4.20], atol=1e-6)
    # The cupboard stands rear left: looking from the seat toward the front (-z), left is -x.
    cupboard = glb.places("furniture: tall cupboard").mean(axis=0)
    assert cupboard[0] < ear.mean(axis=0)[0]
    assert cupboard[2] > ear.mean(axis=0)[2]


def test_a_viewer_behind_the_seat_has_the_left_loudspeaker_at_the_left(glb: Glb) -> None:
    forward, up = np.array([0.0, 0.0, -1.0]), np.array([0.0, 1.0, 0.0])
    rightward = np.cross(forward, up)  # right-handed, as glTF says
    ear = glb.places("seat: ear").mean(axis=0)
    assert (glb.places("driver: left tweeter").mean(axis=0) - ear) @ rightward < -0.5
    right = next(name for name in glb.nodes() if name.startswith("driver: right "))
    assert (glb.places(right).mean(axis=0) - ear) @ rightward > 0.5


def test_faces_of_boxes_look_outward(glb: Glb) -> None:
    for name in ("furniture: desk", "loudspeaker: left", "panel: right panel", "panel: left panel", "seat: ear"):
        corners = glb.places(name)[glb.values(glb.primitive(name)["indices"]).reshape(-1, 3)].astype(float)
        normals = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
        volume = np.einsum("ij,ij->", corners.mean(axis=1), normals) / 6.0
        assert volume > 0.0, name
    corners = glb.places("room: floor")[glb.values(glb.primitive("room: floor")["indices"]).reshape(-1, 3)]
    assert np.cross(corners[0, 1] - corners[0, 0], corners[0, 2] - corners[0, 0])[1] > 0.0  # toward the air


def test_panels_hang_where_they_are_told(glb: Glb) -> None:
    panel = glb.places("panel: right panel")
    np.testing.assert_allclose(panel.min(axis=0), [3.30, 0.61, 0.70], atol=1e-6)
    np.testing.assert_allclose(panel.max(axis=0), [3.40, 1.81, 1.30], atol=1e-6)
    movable = glb.places("panel: left panel")  # 5 cm of air behind it
    np.testing.assert_allclose([movable[:, 0].min(), movable[:, 0].max()], [0.05, 0.15], atol=1e-6)


def test_materials_are_two_sided_dull_and_told_apart(glb: Glb) -> None:
    used = set()
    for name in glb.nodes():
        material = glb.tree["materials"][glb.primitive(name)["material"]]
        assert material["doubleSided"] is True
        assert material["pbrMetallicRoughness"]["metallicFactor"] == 0.0
        used.add(material["name"])
    assert {"room", "window", "furniture", "loudspeaker", "panel", "seat", "hotspots"} <= used


def test_hotspots_carry_the_colours_of_the_scale_and_lie_before_their_wall(glb: Glb) -> None:
    name = "hotspots 1000 Hz: right wall"
    colours = glb.values(glb.primitive(name)["attributes"]["COLOR_0"])
    assert len(colours) == len(glb.places(name))
    seen = {"#" + "".join(f"{part:02x}" for part in one[:3]) for one in colours.tolist()}
    assert seen <= set(LEVEL_COLOURS)
    assert len(seen) > 2
    np.testing.assert_allclose(glb.places(name)[:, 0], 3.40 - 0.004, atol=1e-6)


def test_hotspots_cover_the_loud_cells_and_stay_on_their_surface() -> None:
    results = den(panels=True)
    for surface_map in results.responses.maps:
        levels = surface_map.both_db[4]
        triangles, colours = hotspot_triangles(results, surface_map, levels)
        assert len(triangles) == len(colours)
        area = (
            0.5
            * np.linalg.norm(
                np.cross(triangles[:, 1] - triangles[:, 0], triangles[:, 2] - triangles[:, 0]), axis=1
            ).sum()
        )
        loud = int((levels >= -30.0).sum())
        assert area <= loud * surface_map.grid_m**2 * 1.0001
        assert area >= 0.75 * loud * surface_map.grid_m**2
        corners = results.built.room.facets[surface_map.facet].corners
        if len(triangles):
            flat = triangles.reshape(-1, 3)
            assert (flat >= corners.min(axis=0) - 0.0041).all()
            assert (flat <= corners.max(axis=0) + 0.0041).all()


def test_another_program_reads_the_same(path: Path, glb: Glb) -> None:
    scene = trimesh.load_scene(path)
    assert set(scene.graph.nodes_geometry) == set(glb.nodes())
    assert scene.bounds[1] - scene.bounds[0] == pytest.approx([3.40, 2.40, 4.20], abs=0.05)


def test_an_octave_that_was_not_calculated_is_refused(tmp_path: Path) -> None:
    with pytest.raises(ValueError, match="1234 Hz is not one of the octaves"):
        write_model3d(den(), tmp_path / "model.glb", band_hz=1234.0)
    assert list(tmp_path.iterdir()) == []


def test_a_folder_that_cannot_be_written_is_told_in_a_sentence(tmp_path: Path) -> None:
    with pytest.raises(OutputError, match="cannot be written"):
        write_model3d(den(), tmp_path / "no" / "model.glb")
