"""One room for two clients: a folder with several scenes is listed, and those of one floor plan are compared."""

from __future__ import annotations

from pathlib import Path

import pytest

from sim.blueprint.reader import read_scene
from sim.blueprint.scene_folders import listed, of_one_plan, same_floor_plan, scenes_in
from sim.cli import run
from sim.errors import OutputError, SceneError
from tests.room_texts import room_text

EAR, LEFT = (1.6, 1.7, 1.2), {"left": (0.6, 1.0, 1.2)}


@pytest.fixture
def clients(tmp_path: Path) -> Path:
    """Two scenes of one plan, one of them an outline, a third of another plan in a folder of its own, and no scene."""
    first = room_text(
        (3.4, 4.2, 2.4), EAR, LEFT, head='title = "client A"', more="[method]\norder = 1\nwaves_to_hz = 0\n"
    )
    (tmp_path / "a.toml").write_text(first, encoding="utf-8")
    corners = "[{ from_front = 0, from_left = 3.4 }, { from_front = 0, from_left = 0 },"
    corners += " { from_front = 4.2, from_left = 0 }, { from_front = 4.2, from_left = 3.4 }]"
    lines = [f"outline = {corners}\nheight = 2.6" if line.startswith("box") else line for line in first.splitlines()]
    text = "\n".join(lines).replace("client A", "client B")
    (tmp_path / "b.toml").write_text(text, encoding="utf-8")
    (tmp_path / "other").mkdir()
    (tmp_path / "other" / "scene.toml").write_text(first.replace("3.4", "3.5"), encoding="utf-8")
    (tmp_path / "prices.toml").write_text("[panel]\nprice = 80\n", encoding="utf-8")
    return tmp_path


def test_scenes_are_found_and_other_files_are_not(clients: Path) -> None:
    assert [file.relative_to(clients).as_posix() for file in scenes_in(clients)] == [
        "a.toml",
        "b.toml",
        "other/scene.toml",
    ]


def test_an_outline_and_a_box_may_be_one_plan_and_heights_may_differ(clients: Path) -> None:
    a, b, other = (read_scene(file) for file in scenes_in(clients))
    assert same_floor_plan(a, b) and same_floor_plan(b, a)
    assert not same_floor_plan(a, other)
    same, left_out = of_one_plan(clients)
    assert [file.name for file in same] == ["a.toml", "b.toml"] and [file.name for file in left_out] == ["scene.toml"]


def test_check_lists_a_folder_of_scenes(clients: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["check", str(clients)]) == 0
    said = capsys.readouterr().out
    assert "a.toml: client A (left)\n" in said
    assert "b.toml: client B (left); same floor plan\n" in said
    assert "scene.toml: client A (left); another floor plan" in said


def test_a_broken_scene_is_listed_with_its_fault(clients: Path) -> None:
    (clients / "c.toml").write_text("[room]\nbox = { width = 3", encoding="utf-8")
    (line,) = [each for each in listed(clients) if "c.toml: " in each]
    assert "line 2" in line
    with pytest.raises(SceneError, match=r"c\.toml"):
        of_one_plan(clients)


def test_compare_takes_a_folder(clients: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out = tmp_path / "out"
    assert run(["compare", str(clients), "-o", str(out), "--no-pictures"]) == 0
    said = capsys.readouterr().out
    assert "comparing 2 scenes of one floor plan: a.toml, b.toml" in said
    assert "left out, another floor plan: other" in said
    assert "client B" in (out / "comparison.txt").read_text(encoding="utf-8")


def test_too_few_scenes_are_told(clients: Path) -> None:
    (clients / "b.toml").unlink()
    with pytest.raises(OutputError, match="1 of its 2 scenes share a floor plan"):
        run(["compare", str(clients), "-o", str(clients / "out")])
    with pytest.raises(OutputError, match="takes 2 or more scenes and was given 1"):
        run(["compare", str(clients / "a.toml"), "-o", str(clients / "out")])
    with pytest.raises(SceneError, match=r"holds no scene\.toml; name one of a\.toml, prices\.toml"):
        read_scene(clients)
