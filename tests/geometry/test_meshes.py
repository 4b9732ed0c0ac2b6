"""Mesh rooms and furniture: what is refused and in which words, what is repaired, how materials are found."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest
import trimesh

from sim.blueprint.furniture.mesh import MeshFurniture
from sim.blueprint.schema import Blueprint
from sim.errors import MeshError, SceneError
from sim.geometry.enclosures import Enclosure, room_patches
from sim.geometry.mesh_checks import signed_volume
from sim.geometry.meshes import furniture_patches
from tests.rooms.asymmetric import Quads, asymmetric_room, soup, write

FRAME = {"unit": "m"}
DEPTH_TAPE = [{"along": "depth", "distance": 4.0}]


def box(depth: float = 4.0, width: float = 3.0, height: float = 2.4) -> Quads:
    quads = Quads([], [])
    quads.add("floor", (0, 0, 0), (depth, width, 0), (0, 0, 1))
    quads.add("ceiling", (0, 0, height), (depth, width, height), (0, 0, -1))
    quads.add("front wall", (0, 0, 0), (0, width, height), (1, 0, 0))
    quads.add("rear wall", (depth, 0, 0), (depth, width, height), (-1, 0, 0))
    quads.add("left wall", (0, 0, 0), (depth, 0, height), (0, 1, 0))
    quads.add("right wall", (0, width, 0), (depth, width, height), (0, -1, 0))
    return quads


def room(folder: Path, quads: Quads, ending: str = "obj", **changes: Any) -> Enclosure:
    write(folder / f"room.{ending}", quads.names, quads.corners)
    return opened(folder, f"room.{ending}", **changes)


def opened(folder: Path, mesh: str, **changes: Any) -> Enclosure:
    record = {"mesh": mesh, "frame": FRAME, "tape": DEPTH_TAPE} | changes
    speaker = {"name": "left", "acoustic_axis": {"from_front": 0.7, "from_left": 1.0, "up": 1.2}}
    ear = {"from_front": 2.0, "from_left": 1.7, "up": 1.2}
    scene = {"room": record, "loudspeakers": [speaker], "listener": {"ear": ear}}
    return room_patches(Blueprint.model_validate(scene), folder)


def volume(enclosure: Enclosure) -> float:
    return signed_volume(np.concatenate([patch.triangles for patch in enclosure.patches]))


def names(enclosure: Enclosure) -> set[str]:
    return {patch.name for patch in enclosure.patches}


def test_a_room_that_looks_outward_is_turned_and_said(tmp_path: Path) -> None:
    quads = box()
    quads.corners = [ring[::-1] for ring in quads.corners]
    enclosure = room(tmp_path, quads)
    assert volume(enclosure) == pytest.approx(-28.8)
    assert any("turned inward" in note for note in enclosure.notes)
    assert not any("turned inward" in note for note in room(tmp_path, box()).notes)


def test_an_open_mesh_is_refused_unless_allowed(tmp_path: Path) -> None:
    quads = box()
    del quads.names[0], quads.corners[0]
    sentence = r"not closed: 4 edges .* the first from from_front .* up 0.000 m to .*allow_open = true"
    with pytest.raises(MeshError, match=sentence):
        room(tmp_path, quads)
    enclosure = room(tmp_path, quads, allow_open=True)
    assert "floor" not in names(enclosure)
    assert any("not closed: 4 edges" in note for note in enclosure.notes)
    walls = {patch.name: patch for patch in enclosure.patches}
    first, second = np.diff(walls["ceiling"].triangles[0], axis=0)
    assert np.cross(first, second)[2] < 0.0


def test_an_open_mesh_that_looks_outward_is_turned_too(tmp_path: Path) -> None:
    quads = box()
    del quads.names[3], quads.corners[3]
    quads.corners = [ring[::-1] for ring in quads.corners]
    enclosure = room(tmp_path, quads, allow_open=True)
    (floor,) = [patch for patch in enclosure.patches if patch.name == "floor"]
    assert np.cross(*np.diff(floor.triangles[0], axis=0))[2] > 0.0


def test_flipped_faces_are_counted_and_repaired(tmp_path: Path) -> None:
    quads = box()
    quads.corners[4] = quads.corners[4][::-1]
    with pytest.raises(MeshError, match=r"2 of 12 faces are flipped .* from_left 0.000, .*repair = true"):
        room(tmp_path, quads)
    enclosure = room(tmp_path, quads, repair=True)
    assert volume(enclosure) == pytest.approx(-28.8)
    assert "2 flipped faces were turned" in enclosure.notes


def test_a_surface_with_one_side_only_is_refused(tmp_path: Path) -> None:
    """A strip with half a twist has no inside; closed off by nothing, it is open too, so holes are allowed here."""
    around = np.linspace(0.0, 2.0 * np.pi, 24, endpoint=False)
    middle = np.column_stack([2 * np.cos(around) + 2, 2 * np.sin(around) + 2, np.full(24, 1.2)])
    out = np.column_stack(
        [np.cos(around) * np.cos(around / 2), np.sin(around) * np.cos(around / 2), np.sin(around / 2)]
    )
    inner, outer = middle - 0.6 * out, middle + 0.6 * out
    rings = [np.stack([inner[k], outer[k], outer[k + 1], inner[k + 1]]) for k in range(23)]
    rings.append(np.stack([inner[23], outer[23], inner[0], outer[0]]))
    quads = Quads([str(k) for k in range(24)], rings)
    depth = float(np.ptp(np.concatenate(rings)[:, 0]))
    with pytest.raises(MeshError, match="no winding"):
        room(tmp_path, quads, allow_open=True, repair=True, tape=[{"along": "depth", "distance": depth}])


def test_triangles_without_area_are_refused_or_dropped(tmp_path: Path) -> None:
    quads = box()
    # A sliver between the floor's edge and a corner in its middle, as clumsy cutting leaves them.
    quads.names[:1] = ["floor", "floor"]
    quads.corners[:1] = [
        np.array([[0, 0, 0], [4, 0, 0], [4, 3, 0], [0, 3, 0]], dtype=float),
        np.array([[0, 0, 0], [2, 0, 0], [4, 0, 0]], dtype=float),
    ]
    with pytest.raises(MeshError, match=r"1 of 13 triangles have no area, the first at from_front 2.000, .*repair"):
        room(tmp_path, quads)
    enclosure = room(tmp_path, quads, repair=True)
    assert "1 triangles without area were dropped" in enclosure.notes
    assert volume(enclosure) == pytest.approx(-28.8)


def test_a_corner_in_the_middle_of_a_neighbours_edge_is_no_hole(tmp_path: Path) -> None:
    quads = box()
    quads.names[0:1] = ["floor", "carpet"]
    quads.corners[0:1] = [
        np.array([[0, 0, 0], [1.3, 0, 0], [1.3, 3, 0], [0, 3, 0]]),
        np.array([[1.3, 0, 0], [4, 0, 0], [4, 3, 0], [1.3, 3, 0]]),
    ]
    enclosure = room(tmp_path, quads)
    assert volume(enclosure) == pytest.approx(-28.8)
    assert any("were added where a corner met" in note for note in enclosure.notes)


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ("", "holds no triangles"),
        ("v 0 0 0\nv 1 0 0\nv 0 1 0\n", "holds no triangles"),
        ("v 0 0 nan\nv 1 0 0\nv 0 1 0\nf 1 2 3\n", "1 of 1 triangles have corners that are not finite"),
        ("v 0 0 0\nv 1 0 0\nf 1 2 3\n", 'line 3: "f 1 2 3" cannot be read .*no corner 3'),
        ("v 0 zero 0\n", 'line 1: "v 0 zero 0" cannot be read'),
        ("v 0 0 0\nv 1 0 0\nf 1 2\n", "at least three corners"),
    ],
)
def test_broken_obj_files(tmp_path: Path, text: str, sentence: str) -> None:
    (tmp_path / "room.obj").write_text(text)
    with pytest.raises(MeshError, match=sentence):
        opened(tmp_path, "room.obj")


@pytest.mark.parametrize("ending", ["ply", "stl", "glb"])
def test_broken_binary_files(tmp_path: Path, ending: str) -> None:
    path = tmp_path / f"room.{ending}"
    path.write_bytes(b"")
    with pytest.raises(MeshError, match=r"holds no triangles|cannot be read"):
        opened(tmp_path, path.name)
    quads = box()
    write(path, quads.names, quads.corners)
    path.write_bytes(path.read_bytes()[:-150])
    with pytest.raises(MeshError, match=r"cannot be read|cut short"):
        opened(tmp_path, path.name)


def test_missing_file_and_unknown_kind(tmp_path: Path) -> None:
    with pytest.raises(MeshError, match=r'room.mesh "gone.obj": there is no such file'):
        opened(tmp_path, "gone.obj")
    with pytest.raises(MeshError, match=r'files ending in ".step" are not read; use OBJ, PLY, STL or GLB'):
        opened(tmp_path, "room.step")


def test_nan_in_a_binary_file(tmp_path: Path) -> None:
    mesh = soup(box().corners)
    mesh.vertices[4, 2] = np.nan
    mesh.export(tmp_path / "room.stl")
    with pytest.raises(MeshError, match=r"triangles have corners that are not finite numbers"):
        opened(tmp_path, "room.stl")


@pytest.mark.parametrize(
    ("frame", "sentence"),
    [
        ({"unit": "m", "depth": "+x", "across": "-x"}, r'same axis .*depth = "\+x", across = "-x"'),
        (
            {"unit": "m", "depth": "+y", "across": "+x"},
            r'left-handed .*across = "-x" makes it right-handed.*depth = "-y"',
        ),
        ({"unit": "mm"}, r'is 0.004 by 0.003 by 0.0024 m .*; unit = "m" would fit'),
    ],
)
def test_frames_that_cannot_be(tmp_path: Path, frame: dict[str, str], sentence: str) -> None:
    with pytest.raises(MeshError, match=sentence):
        room(tmp_path, box(), frame=frame)


def test_a_room_in_millimetres_read_as_metres_names_the_unit(tmp_path: Path) -> None:
    quads = box(4000.0, 3000.0, 2400.0)
    with pytest.raises(MeshError, match=r'is 4000 by 3000 by 2400 m .*; unit = "mm" would fit'):
        room(tmp_path, quads)


@pytest.mark.parametrize(
    ("changes", "sentence"),
    [
        ({"frame": {"unit": "ft"}, "tape": [{"along": "depth", "distance": 13.1}]}, "outside 1 to 60 m"),
        (
            {"tape": [{"along": "depth", "distance": 1.22, "tolerance": 0.01}]},
            r'measures 4.000 m along depth and the tape 1.220 m, 3.279 times as much; unit = "ft" would fit',
        ),
        (
            {"tape": [{"along": "width", "distance": 4.0}]},
            r"the depth of the mesh fits the tape, so check depth, across",
        ),
        ({"tape": [{"along": "depth", "distance": 3.7}]}, r"1.081 times as much; no unit makes it fit"),
        ({"tape": [{"between": ["front wall", "left wall"], "distance": 3.0}]}, r"90.0 degrees from parallel"),
        (
            {"tape": [{"between": ["front wall", "back wall"], "distance": 3.0}]},
            r'no surface is called "back wall".*"rear wall"',
        ),
        (
            {"tape": [{"between": ["front wall", "rear wall"], "distance": 3.9}]},
            r'4.000 m between "front wall" and "rear wall"',
        ),
        ({"tape": [{"distance": 3.9}]}, r"does not say what was measured"),
    ],
)
def test_tape_distances_that_do_not_fit(tmp_path: Path, changes: dict[str, Any], sentence: str) -> None:
    with pytest.raises(MeshError, match=sentence):
        room(tmp_path, box(1.0, 1.0, 1.0) if "outside" in sentence else box(), **changes)


def test_a_tape_that_fits_reports_its_error(tmp_path: Path) -> None:
    enclosure = room(tmp_path, box(), tape=[{"along": "depth", "distance": 4.02}])
    assert "the mesh fits the tape within 20 mm (1 distances)" in enclosure.notes
    assert any("side_check" in note for note in enclosure.notes)


def test_a_mirrored_mesh_fails_the_side_check(tmp_path: Path) -> None:
    quads = asymmetric_room()
    check = {"surface": "window", "side": "left"}
    room(tmp_path, quads, side_check=check)
    quads.corners = [(ring * [1.0, -1.0, 1.0])[::-1] for ring in quads.corners]
    with pytest.raises(MeshError, match=r'"window" should be on the left .*swapped; across = "-y" with depth = "-x"'):
        room(tmp_path, quads, side_check=check)
    with pytest.raises(MeshError, match=r'side_check.surface: no surface is called "windo"'):
        room(tmp_path, quads, side_check=check | {"surface": "windo"})


def test_turning_the_room_around_swaps_sides_and_the_advice_undoes_it(tmp_path: Path) -> None:
    quads = asymmetric_room()
    quads.corners = [ring * [-1.0, -1.0, 1.0] for ring in quads.corners]
    check = {"surface": "window", "side": "left"}
    with pytest.raises(MeshError, match="seem to be swapped"):
        room(tmp_path, quads, side_check=check)
    enclosure = room(tmp_path, quads, side_check=check, frame={"unit": "m", "depth": "-x", "across": "-y"})
    (front,) = [patch for patch in enclosure.patches if patch.name == "front wall"]
    assert front.triangles[..., 0] == pytest.approx(0.0)


def test_a_second_body_outside_and_a_second_skin_are_refused(tmp_path: Path) -> None:
    quads, other = box(), box(1.0, 1.0, 1.0)
    quads.names += ["shed"] * 6
    quads.corners += [ring + np.array([4.5, 0.0, 0.0]) for ring in other.corners]
    with pytest.raises(MeshError, match=r"separate body lies outside the room, at from_front 5.000"):
        room(tmp_path, quads, tape=[{"along": "depth", "distance": 5.5}])
    quads, other = box(), box(4.4, 3.4, 2.8)
    quads.names += ["outside"] * 6
    quads.corners += [ring - 0.2 for ring in other.corners]
    with pytest.raises(MeshError, match=r"outer and an inner skin"):
        room(tmp_path, quads, tape=[{"along": "depth", "distance": 4.4}])


def test_bodies_in_the_room_face_outward_whichever_way_they_were_wound(tmp_path: Path) -> None:
    quads = asymmetric_room()
    quads.corners = [r[::-1] if n == "rack" else r for n, r in zip(quads.names, quads.corners, strict=True)]
    enclosure = room(tmp_path, quads)
    (rack,) = [patch for patch in enclosure.patches if patch.name == "rack"]
    assert signed_volume(rack.triangles) == pytest.approx(0.5 * 0.5 * 1.1)
    assert "1 closed bodies inside the room were kept as obstacles" in enclosure.notes


def test_names_by_direction_number_the_smaller_pieces(tmp_path: Path) -> None:
    enclosure = room(tmp_path, asymmetric_room(), "stl")
    found = names(enclosure)
    assert {"left wall", "left wall 2", "right wall", "right wall 2", "floor", "floor 2", "ceiling 2"} <= found
    left = {patch.name: patch.triangles[..., 1].max() for patch in enclosure.patches}
    assert left["left wall"] == pytest.approx(0.15) and left["left wall 2"] == pytest.approx(0.0)


def test_slopes_are_named_by_their_side(tmp_path: Path) -> None:
    section = np.array([[0, 0], [0, 1.0], [1.4, 2.4], [3, 2.4], [3, 0]])  # across, up
    rings = []
    for (y0, z0), (y1, z1) in zip(section, np.roll(section, -1, axis=0), strict=True):
        rings.append(np.array([[0, y0, z0], [0, y1, z1], [4, y1, z1], [4, y0, z0]]))
    ends = [np.column_stack([np.full(5, x), section]) for x in (0.0, 4.0)]
    rings += [ends[0][::-1], ends[1]]
    quads = Quads(["all"] * len(rings), rings)
    enclosure = room(tmp_path, quads, "ply", repair=True)
    assert names(enclosure) == {"floor", "ceiling", "left wall", "right wall", "front wall", "rear wall", "left slope"}
    assert abs(volume(enclosure)) == pytest.approx((3 * 2.4 - 0.5 * 1.4**2) * 4.0)


@pytest.mark.parametrize(
    ("surfaces", "sentence"),
    [
        (
            [{"name": "w", "at": {"from_front": 1.5, "from_left": 1.0, "up": 1.5}}],
            r"0.723 m from the nearest surface .block 1 right side.",
        ),
        (
            [
                {"name": "w", "at": {"from_front": 1.5, "from_left": 0.02, "up": 1.5}},
                {"name": "v", "at": {"from_front": 1.6, "from_left": 0.0, "up": 1.6}},
            ],
            r'already named "w"',
        ),
        (
            [{"name": "floor", "at": {"from_front": 1.5, "from_left": 0.02, "up": 1.5}}],
            r'another surface than "left wall 2" has this name',
        ),
    ],
)
def test_named_points_that_name_nothing(tmp_path: Path, surfaces: list[dict[str, Any]], sentence: str) -> None:
    with pytest.raises(SceneError, match=sentence):
        room(tmp_path, asymmetric_room(), "stl", surfaces=surfaces)


def test_names_may_be_exchanged_by_points(tmp_path: Path) -> None:
    at = {"from_front": 2.0, "up": 1.0}
    surfaces = [
        {"name": "right wall", "at": at | {"from_left": 0.0}},
        {"name": "left wall", "at": at | {"from_left": 3.0}, "material": "brick"},
    ]
    patches = {patch.name: patch for patch in room(tmp_path, box(), surfaces=surfaces).patches}
    assert patches["left wall"].triangles[..., 1] == pytest.approx(3.0)
    assert patches["left wall"].material == "brick"


def test_file_materials_count_when_they_are_known(tmp_path: Path) -> None:
    quads = box()
    materials = {name: f"paint {name}" for name in quads.names} | {"left wall": "Window_Glass", "rear wall": "concrete"}
    write(tmp_path / "room.obj", quads.names, quads.corners, materials)
    assigned = {"paint front wall": "concrete block", "ceiling": "plaster on lath", "all": "plaster on brick"}
    assigned |= {"rear wall": "rigid"}
    found = {patch.name: patch.material for patch in opened(tmp_path, "room.obj", materials=assigned).patches}
    assert found == {
        "floor": "plaster on brick",
        "ceiling": "plaster on lath",
        "front wall": "concrete block",
        "rear wall": "rigid",
        "left wall": "window glass",
        "right wall": "plaster on brick",
    }
    with pytest.raises(SceneError, match=r'room.materials."paint rear".*"paint rear wall"|"front wall"'):
        opened(tmp_path, "room.obj", materials={"paint rear": "brick"})


def test_one_group_of_two_kinds_is_split_by_material(tmp_path: Path) -> None:
    quads = box()
    quads.names = ["shell" if name in ("floor", "left wall", "front wall") else "rest" for name in quads.names]
    patches = {patch.name: patch for patch in room(tmp_path, quads).patches}
    assert patches["shell"].material == "plasterboard on studs"
    assert patches["shell (wood floor)"].triangles[..., 2] == pytest.approx(0.0)
    assert names(room(tmp_path, quads, materials={"shell": "brick"})) == {"shell", "rest"}


def furniture(folder: Path, mesh: trimesh.Trimesh, **changes: Any) -> MeshFurniture:
    mesh.export(folder / "desk.ply")
    values = {"kind": "mesh", "name": "console", "file": "desk.ply", "frame": {"unit": "mm"}}
    at = {"from_front": 1.0, "from_left": 0.5, "up": 0.7}
    return MeshFurniture.model_validate(values | {"at": at} | changes)


def test_mesh_furniture_stands_with_its_corner_at_the_point(tmp_path: Path) -> None:
    item = furniture(tmp_path, trimesh.creation.box((800.0, 1600.0, 100.0)))
    patches = furniture_patches(item, tmp_path)
    triangles = np.concatenate([patch.triangles for patch in patches])
    assert signed_volume(triangles) == pytest.approx(0.8 * 1.6 * 0.1)
    assert triangles.min(axis=(0, 1)) == pytest.approx(np.array([1.0, 0.5, 0.7]))
    sides = {patch.name: patch.triangles for patch in patches}
    assert sides["console left side"][..., 1] == pytest.approx(0.5)
    assert sides["console listener side"][..., 0] == pytest.approx(1.8)
    assert sides["console top"][..., 2] == pytest.approx(0.8)
    assert {patch.owner for patch in patches} == {"console"}


def test_mesh_furniture_that_looks_inward_is_turned_and_open_is_refused(tmp_path: Path) -> None:
    mesh = trimesh.creation.box((800.0, 1600.0, 100.0))
    mesh.invert()
    patches = furniture_patches(furniture(tmp_path, mesh), tmp_path)
    assert signed_volume(np.concatenate([patch.triangles for patch in patches])) == pytest.approx(0.128)
    mesh.update_faces(np.arange(len(mesh.faces)) > 0)
    with pytest.raises(MeshError, match=r'furniture "console", mesh "desk.ply": the mesh is not closed: 3 edges'):
        furniture_patches(furniture(tmp_path, mesh), tmp_path)


def test_mesh_furniture_of_the_wrong_unit(tmp_path: Path) -> None:
    item = furniture(tmp_path, trimesh.creation.box((800.0, 1600.0, 100.0)), frame={"unit": "m"})
    with pytest.raises(MeshError, match=r'with unit = "m" it is 1.6e\+03 m long; unit = cm or mm or in would fit'):
        furniture_patches(item, tmp_path)


def test_mesh_furniture_as_given_keeps_its_zero_point(tmp_path: Path) -> None:
    frame = {"unit": "mm", "origin": "as given"}
    patches = furniture_patches(
        furniture(tmp_path, trimesh.creation.box((800.0, 1600.0, 100.0)), frame=frame), tmp_path
    )
    triangles = np.concatenate([patch.triangles for patch in patches])
    assert triangles.min(axis=(0, 1)) == pytest.approx(np.array([0.6, -0.3, 0.65]))
