"""Which pictures a sweep gets, and drawing them in a process of its own."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from sim.blueprint.reader import read_scene
from sim.layouts.plan import plan_sweep
from sim.showing.folder import CONTENTS
from sim.studies.sweep import draw_sweep
from sim.studies.sweep.line_picture import draw_sweep_pictures
from sim.studies.sweep.run import run_sweep
from tests.studies.sweep.sweep_scenes import TABLE
from tests.studies.sweep.swept_table import one_field, side_by_side, three_fields

ANIMATION = {"hotspots.gif", "hotspots_first_last.png"}


def silent(_: str) -> None:
    return None


@pytest.mark.parametrize(
    ("sweeps", "names"),
    [
        (one_field, {"sweep_line.png"}),
        (side_by_side, {"sweep_line.png"}),
        (
            three_fields,
            {"sweep_map.png", "sweep_line_ear_up.png", "sweep_line_left_height.png", "sweep_line_desk_depth.png"},
        ),
    ],
)
def test_each_kind_of_sweep_has_its_pictures(sweeps, names, tmp_path):
    sweep, task, findings = sweeps()
    made = draw_sweep_pictures(sweep, task, findings, tmp_path, silent)
    assert {path.name for path in made} == {path.name for path in tmp_path.iterdir()} == names | ANIMATION
    assert draw_sweep_pictures(sweep, task, replace(findings, best=-1), tmp_path / "none", silent) == ()


def test_a_child_draws_a_folder_and_notes_what_it_made(tmp_path: Path) -> None:
    (tmp_path / "scene.toml").write_text(TABLE, encoding="utf-8")
    scene, folder = read_scene(tmp_path), tmp_path / "swept"
    run_sweep(plan_sweep(scene, {"desk.depth": [0.5, 0.7, 0.9]}), folder, processes=1)
    said: list[str] = []
    assert draw_sweep(folder, tmp_path, folder, said.append) == ""
    assert "drawing lines" in said
    noted = (folder / CONTENTS).read_text(encoding="utf-8").splitlines()
    for name in ("sweep_line.png", *ANIMATION):
        assert (folder / name).is_file() and name in noted


def test_a_scene_that_has_changed_since_is_not_drawn(tmp_path: Path) -> None:
    (tmp_path / "scene.toml").write_text(TABLE, encoding="utf-8")
    run_sweep(plan_sweep(read_scene(tmp_path), {"desk.depth": [0.5, 0.9]}), tmp_path / "swept", processes=1)
    (tmp_path / "scene.toml").write_text(TABLE.replace("top = 0.7", "top = 0.71"), encoding="utf-8")
    trouble = draw_sweep(tmp_path / "swept", tmp_path, tmp_path / "swept", silent)
    assert "has changed since" in trouble and "sweep it again" in trouble and "Traceback" not in trouble
    assert not (tmp_path / "swept" / "sweep_line.png").exists()
