from __future__ import annotations

import os
from pathlib import Path

import pytest

from sim.blueprint.named_files import MESH_SUFFIXES, named_files
from sim.blueprint.reader import parse_scene
from sim.errors import MeshError, SceneError
from tests.blueprint.scene_texts import TEN_LINES, with_mesh

CHAIR = """
[[furniture]]
kind = "mesh"
name = "chair"
file = "chair.obj"
frame = { unit = "m" }
at = { from_front = 1, from_left = 1, up = 0 }
"""


def sentence(name: str, folder: Path) -> str:
    with pytest.raises(SceneError) as fault:
        parse_scene(with_mesh(name), folder)
    return str(fault.value)


def test_a_missing_mesh_is_told_with_those_that_are_there(tmp_path: Path) -> None:
    assert sentence("attic.obj", tmp_path) == (
        f'scene.toml, line 2, room.mesh: there is no file "attic.obj" beside the scene; copy it to {tmp_path}.'
    )
    (tmp_path / "Attic.OBJ").write_text("")
    assert sentence("attic.ply", tmp_path) == (
        'scene.toml, line 2, room.mesh: there is no file "attic.ply" beside the scene;'
        ' the mesh files there are "Attic.OBJ".'
    )


def test_a_missing_mesh_of_furniture_is_told(tmp_path: Path) -> None:
    with pytest.raises(MeshError, match=r'line 15, furniture\[0\].file: there is no file "chair.obj"'):
        parse_scene(TEN_LINES + CHAIR, tmp_path)


@pytest.mark.parametrize("name", ["/etc/room.obj", "C:\\\\room.obj", "\\\\\\\\host\\\\share\\\\room.obj"])
def test_an_absolute_path_is_refused(name: str, tmp_path: Path) -> None:
    assert "is an absolute path; put the file into the scene's folder and write its name only." in sentence(
        name, tmp_path
    )


@pytest.mark.parametrize("name", ["../room.obj", "meshes/../../room.obj", ".."])
def test_a_path_that_leaves_the_folder_is_refused_even_when_the_file_is_there(name: str, tmp_path: Path) -> None:
    home = tmp_path / "scene"
    home.mkdir()
    (tmp_path / "room.obj").write_text("")
    assert sentence(name, home) == (
        f'scene.toml, line 2, room.mesh: "{name}" leads out of the scene\'s folder;'
        " put the file into that folder, beside the scene."
    )


def test_a_link_that_leaves_the_folder_is_refused(tmp_path: Path) -> None:
    home = tmp_path / "scene"
    home.mkdir()
    (tmp_path / "secret.obj").write_text("")
    (home / "room.obj").symlink_to(tmp_path / "secret.obj")
    assert "leads out of the scene's folder" in sentence("room.obj", home)


def test_a_folder_that_is_itself_reached_through_a_link_is_fine(tmp_path: Path) -> None:
    home = tmp_path / "scene"
    (home / "meshes").mkdir(parents=True)
    (home / "meshes" / "room.obj").write_text("")
    (tmp_path / "link").symlink_to(home)
    scene = parse_scene(with_mesh("meshes/room.obj"), tmp_path / "link")
    assert named_files(scene.blueprint, scene.folder) == [tmp_path / "link" / "meshes" / "room.obj"]


def test_another_kind_of_file_is_refused(tmp_path: Path) -> None:
    (tmp_path / "room.dwg").write_text("")
    assert sentence("room.dwg", tmp_path) == (
        'scene.toml, line 2, room.mesh: "room.dwg" is not a kind of mesh that can be read;'
        f" export it as one of {', '.join(MESH_SUFFIXES)}."
    )


def test_a_folder_with_the_name_of_a_mesh_is_no_mesh(tmp_path: Path) -> None:
    (tmp_path / "room.obj").mkdir()
    assert '"room.obj" is a folder' in sentence("room.obj", tmp_path)


def test_a_pipe_a_device_and_links_that_lead_to_each_other_are_refused(tmp_path: Path) -> None:
    """A pipe would be waited for, and a device has no end."""
    os.mkfifo(tmp_path / "room.obj")
    assert '"room.obj" is a pipe or a device' in sentence("room.obj", tmp_path)
    (tmp_path / "loop.obj").symlink_to(tmp_path / "loop.obj")
    assert sentence("loop.obj", tmp_path)
    (tmp_path / "zero.obj").symlink_to("/dev/zero")
    assert "leads out of the scene's folder" in sentence("zero.obj", tmp_path)


@pytest.mark.parametrize("name", ["x" * 300 + ".obj", "a/" * 200 + "x.obj"])
def test_a_name_longer_than_systems_take(name: str, tmp_path: Path) -> None:
    assert sentence(name, tmp_path)
    assert len(sentence(name, tmp_path)) < 1000


@pytest.mark.parametrize("name", ["C:\\\\rooms\\\\a.obj", "C:a.obj", "\\\\\\\\server\\\\a.obj", "/a.obj", "//a.obj"])
def test_paths_of_any_system_that_lead_elsewhere(name: str, tmp_path: Path) -> None:
    assert "is an absolute path" in sentence(name, tmp_path)
