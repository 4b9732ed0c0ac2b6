"""Meshes and furniture with awkward edges, traced to the end: a clear sentence, or no edge too many and no nan."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest
import trimesh

from sim.errors import MeshError
from sim.placement.built_scene import BuiltScene, build_scene
from sim.propagation.edges.bare import bare_edges, bare_stretches, both
from sim.propagation.edges.single import edge_gains, free_bodies
from sim.propagation.edges.tracing import trace_edges
from sim.propagation.mirrors.image_sources import trace_paths
from sim.responses.frequency import ear_response
from tests.built_scenes import block, blueprint_of, box, built_scene_of, desk

SOURCE, EAR = (1.0, 1.2, 1.2), (2.6, 1.9, 1.15)
FREQUENCIES = np.geomspace(100.0, 8000.0, 40)
ROOM = box(4.0, 3.4, 2.4)


def with_mesh(folder: Path, mesh: trimesh.Trimesh, at: tuple[float, float, float], **more: Any) -> BuiltScene:
    """A room with one piece of furniture, a mesh in metres whose lowest corner stands at a point."""
    text = [f"v {x} {y} {z}" for x, y, z in mesh.vertices]
    text += ["f " + " ".join(str(k + 1) for k in face) for face in mesh.faces]
    (folder / "piece.obj").write_text("\n".join(text) + "\n", encoding="utf-8")
    piece = {
        "kind": "mesh",
        "name": "piece",
        "file": "piece.obj",
        "frame": {"unit": "m"},
        "material": "hard",
        "at": dict(zip(("from_front", "from_left", "up"), at, strict=True)),
        **more,
    }
    return build_scene(blueprint_of(ROOM, [SOURCE], EAR, furniture=[piece]), folder)


def boxes(*spans: tuple[list[float], list[float]]) -> trimesh.Trimesh:
    return trimesh.util.concatenate([trimesh.creation.box(bounds=np.array(span)) for span in spans])


def lines_of(built: BuiltScene) -> list[tuple[tuple[float, ...], ...]]:
    """Ends of all bare edges, rounded, in no sense."""
    ends = built.room.edges.ends[bare_edges(built.room)]
    return sorted(tuple(sorted(tuple((np.round(point, 4) + 0.0).tolist()) for point in pair)) for pair in ends)


def edges_alone(built: BuiltScene) -> np.ndarray:
    return edge_gains(built.room, np.array(SOURCE), np.array(EAR), -2, FREQUENCIES, 343.0).gains.sum(axis=0)


def finite_total(built: BuiltScene) -> np.ndarray:
    response = ear_response(built, trace_paths(built, 2), trace_edges(built, 2))
    assert np.isfinite(response.total).all()
    return response.total


def test_an_edge_of_no_length_is_refused_or_dropped(tmp_path: Path) -> None:
    """Two corners of one place: the triangle between them has no area."""
    mesh = trimesh.creation.box(bounds=[[0, 0, 0], [0.5, 1.0, 0.1]])
    twin = len(mesh.vertices)
    corners = np.vstack([mesh.vertices, mesh.vertices[0]])
    faces = np.vstack([mesh.faces, [0, twin, int(mesh.faces[0][1])]])
    spoiled = trimesh.Trimesh(corners, faces, process=False)
    with pytest.raises(MeshError, match=r"1 of 13 triangles have no area, .*repair = true"):
        with_mesh(tmp_path, spoiled, (1.4, 1.2, 0.7))
    repaired = with_mesh(tmp_path, spoiled, (1.4, 1.2, 0.7), repair=True)
    assert len(bare_edges(repaired.room)) == 12
    assert lines_of(repaired) == lines_of(with_mesh(tmp_path, mesh, (1.4, 1.2, 0.7)))
    finite_total(repaired)


def test_an_edge_of_three_facets_is_refused(tmp_path: Path) -> None:
    """A fin on the edge of a box: nobody can tell where the air is."""
    mesh = trimesh.creation.box(bounds=[[0, 0, 0], [0.5, 1.0, 0.1]])
    a, b = (int(np.argmin(np.abs(mesh.vertices - corner).sum(axis=1))) for corner in ([0, 0, 0.1], [0, 1.0, 0.1]))
    corners = np.vstack([mesh.vertices, [0.0, 0.5, 0.6]])
    finned = trimesh.Trimesh(corners, np.vstack([mesh.faces, [a, b, len(mesh.vertices)]]), process=False)
    with pytest.raises(MeshError, match=r"the mesh is not closed: \d edges belong to an odd number of faces"):
        with_mesh(tmp_path, finned, (1.4, 1.2, 0.7))


def test_two_boxes_of_one_mesh_that_touch_along_a_line_have_no_edge_there(tmp_path: Path) -> None:
    """Four facets in one line; each quarter of air is a corner, not an edge."""
    mesh = boxes(([0, 0, 0], [0.4, 0.4, 0.4]), ([0.4, 0, 0.4], [0.8, 0.4, 0.8]))
    built = with_mesh(tmp_path, mesh, (1.4, 1.2, 0.5))
    touching = ((1.8, 1.2, 0.9), (1.8, 1.6, 0.9))
    assert touching not in lines_of(built)
    assert len(lines_of(built)) == 22
    assert free_bodies(built.room) == {}
    finite_total(built)


def test_plates_of_one_mesh_that_continue_each_other_are_one_plate(tmp_path: Path) -> None:
    halves = with_mesh(tmp_path, boxes(([0, 0, 0], [0.5, 0.6, 0.05]), ([0, 0.6, 0], [0.5, 1.2, 0.05])), (1.4, 1.2, 0.7))
    whole = with_mesh(tmp_path, boxes(([0, 0, 0], [0.5, 1.2, 0.05])), (1.4, 1.2, 0.7))
    across = [line for line in lines_of(halves) if all(abs(point[1] - 1.8) < 1e-3 for point in line)]
    assert across == []
    assert edges_alone(halves) == pytest.approx(edges_alone(whole), abs=2e-4)
    finite_total(halves)


def test_two_desks_side_by_side_are_one_desk() -> None:
    left, right = desk((1.5, 2.2), (0.6, 1.5), 0.74, name="one"), desk((1.5, 2.2), (1.5, 2.4), 0.74, name="two")
    pair = built_scene_of(ROOM, [SOURCE], EAR, furniture=[left, right])
    whole = built_scene_of(ROOM, [SOURCE], EAR, furniture=[desk((1.5, 2.2), (0.6, 2.4), 0.74)])
    assert len(bare_edges(pair.room)) == 16  # eight on each, none where they touch
    assert edges_alone(pair) == pytest.approx(edges_alone(whole), abs=2e-4)
    # half a millimetre apart is together, a centimetre is not
    for gap, count in ((5e-4, 16), (1e-2, 24)):
        moved = desk((1.5, 2.2), (1.5 + gap, 2.4 + gap), 0.74, name="two")
        assert len(bare_edges(built_scene_of(ROOM, [SOURCE], EAR, furniture=[left, moved]).room)) == count
    finite_total(pair)


def test_a_lower_desk_beside_keeps_the_rims_apart() -> None:
    left, right = desk((1.5, 2.2), (0.6, 1.5), 0.74, name="one"), desk((1.5, 2.2), (1.5, 2.4), 0.65, name="two")
    built = built_scene_of(ROOM, [SOURCE], EAR, furniture=[left, right])
    assert len(bare_edges(built.room)) == 24  # both plates are 30 mm thick: 90 mm apart in height they only pass
    tall = block((1.5, 2.2), (1.5, 2.4), (0.0, 1.3), name="two")
    built = built_scene_of(ROOM, [SOURCE], EAR, furniture=[left, tall])
    by_owner = [built.room.facets[built.room.edges.facets[e, 0]].owner for e in bare_edges(built.room)]
    assert by_owner.count("one") == 8


def test_a_desk_flush_with_the_wall_has_no_edge_there() -> None:
    built = built_scene_of(ROOM, [SOURCE], EAR, furniture=[desk((0.0, 0.8), (0.6, 2.4), 0.74)])
    lines = lines_of(built)
    assert len(lines) == 8
    assert not any(all(point[0] < 1e-3 for point in line) for line in lines)
    corner = built_scene_of(ROOM, [SOURCE], EAR, furniture=[desk((0.0, 0.8), (0.0, 2.4), 0.74)])
    assert len(lines_of(corner)) == 5
    finite_total(corner)


def test_an_edge_is_bare_where_nothing_stands_flush_with_it() -> None:
    """A bridge flush with the far edge of a desk over its middle third: that part goes on as one upright face."""
    low, high = desk((1.5, 2.2), (0.9, 2.1), 0.74), block((1.5, 1.7), (1.3, 1.7), (0.74, 0.9), name="bridge")
    built = built_scene_of(ROOM, [SOURCE], EAR, furniture=[low, high])
    stretches = bare_stretches(built.room)
    ends = built.room.edges.ends
    (far,) = [
        e
        for e in stretches
        if np.abs(ends[e] @ [1, 0, 1] - (1.5 + 0.74)).max() < 1e-6 and abs(np.ptp(ends[e][:, 1]) - 1.2) < 1e-6
    ]
    assert stretches[far] == pytest.approx(np.array([[0.0, 1.0 / 3.0], [2.0 / 3.0, 1.0]]), abs=2e-3)
    edge_paths = trace_edges(built, 1)
    assert np.isfinite(edge_paths.gains).all()
    assert not any(
        abs(point[1] - 1.5) < 0.19 for point in edge_paths.points[edge_paths.edge == far, 1]
    )  # no way bends where the bridge stands


def test_thin_plates_keep_their_edges(tmp_path: Path) -> None:
    """0.8 mm of sheet: thinner than what counts as touching between two bodies."""
    thin = with_mesh(tmp_path, boxes(([0, 0, 0], [0.5, 1.2, 0.0008])), (1.4, 1.2, 0.7))
    assert len(bare_edges(thin.room)) >= 8
    finite_total(thin)


def test_what_stretches_have_in_common() -> None:
    one, other = np.array([[0.0, 0.4], [0.6, 1.0]]), np.array([[0.1, 0.7], [0.9, 1.0]])
    assert both(one, other) == pytest.approx(np.array([[0.1, 0.4], [0.6, 0.7], [0.9, 1.0]]))
    assert both(one, np.zeros((0, 2))).shape == (0, 2)
