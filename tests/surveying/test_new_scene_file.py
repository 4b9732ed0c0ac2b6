"""Scenes of new rooms go into new or empty folders, and over no other."""

from __future__ import annotations

from pathlib import Path

import pytest

from sim.errors import OutputError
from sim.surveying.new_scene_file import place_of_scene, write_scene_file


def test_a_folder_is_made_and_its_scene_never_written_over(tmp_path: Path) -> None:
    path = place_of_scene(tmp_path / "homes" / "attic")
    assert path == tmp_path / "homes" / "attic" / "scene.toml" and not path.parent.exists()
    assert write_scene_file(path, "title = 'attic'\n").read_text("utf-8") == "title = 'attic'\n"
    with pytest.raises(OutputError, match=r"scene\.toml is there already; choose another folder, or edit that file"):
        place_of_scene(path.parent)


def test_what_is_no_folder_is_refused(tmp_path: Path) -> None:
    (tmp_path / "attic").write_text("no folder", encoding="utf-8")
    with pytest.raises(OutputError, match=r"scene\.toml cannot be written \(.+\); choose another folder"):
        write_scene_file(tmp_path / "attic" / "scene.toml", "")
    assert (tmp_path / "attic").read_text("utf-8") == "no folder"
