from __future__ import annotations

import argparse

import pytest

from sim.blueprint.reader import read_scene
from sim.errors import SceneError
from sim.pipeline import build
from sim.studies import treat as treating
from sim.studies.treat.plan import plan_treatment
from sim.studies.treat.text import WIDTH, panel_edges, plan_lines, write_plan, write_treated_scene
from tests.studies.treat.planned import SCENES, quick_trace


@pytest.fixture(scope="module")
def attic():
    return plan_treatment(read_scene(SCENES / "attic-facing-gable"), quick_trace, lambda _: None, panels=3)


def test_lines_are_narrow_and_hold_every_panel(attic) -> None:
    lines = plan_lines(attic)
    assert max(len(line) for line in lines) <= WIDTH
    text = "\n".join(lines)
    for one in attic.panels:
        assert f"{one.step}. {one.panel.name} on the {one.panel.surface}" in text
        assert panel_edges(one.panel, "m").split(",")[0] in " ".join(text.split())
    for heading in ("Treatment plan:", "What does not, and why", "Decay in seconds", "Mind this", "nothing is judged"):
        assert heading in text
    assert attic.stopped.split(".")[0] in " ".join(text.split())


def test_edges_are_told_in_the_unit_of_the_scene(attic) -> None:
    panel = attic.panels[0].panel.model_copy(update={"from_front": (0.6096, 1.2192), "from_left": None, "up": None})
    assert panel_edges(panel, "m") == "from the front 0.610 to 1.219 m"
    assert panel_edges(panel, "in") == "from the front 24 to 48 in"
    assert panel_edges(panel, "ft") == "from the front 2 ft 0 in to 4 ft 0 in"


def test_a_treated_scene_with_a_mesh_can_be_checked_where_it_is_written(attic, tmp_path) -> None:
    write_plan(attic, tmp_path / "plan.txt")
    write_treated_scene(attic, tmp_path / "treated.toml")
    _, built = build(tmp_path / "treated.toml")
    assert [panel.name for panel in built.panels] == [one.panel.name for one in attic.panels]
    assert (tmp_path / "plan.txt").read_text(encoding="utf-8").startswith("Treatment plan: Attic")


def chosen(*words: str) -> argparse.Namespace:
    command = argparse.ArgumentParser()
    treating.treat_arguments(command)
    return command.parse_args(list(words))


def test_the_command_writes_plan_scene_and_results_of_each_layout(tmp_path, monkeypatch, capsys) -> None:
    monkeypatch.setattr("sim.studies.treat.plan.trace_kept", lambda scene, *_: quick_trace(scene))
    out = tmp_path / "treated"
    asked = chosen(str(SCENES / "bedroom-on-stands"), "-o", str(out), "--no-pictures", "--panels", "2")
    assert treating.treat_command(asked) == 0
    for name in ("plan.txt", "treated.toml", "before/results.h5", "working/arrivals.csv", "before/README.txt"):
        assert (out / name).is_file()
    assert (out / "parked").is_dir() == any("movable" in line for line in (out / "plan.txt").read_text().splitlines())
    assert "Treatment plan: Bedroom" in capsys.readouterr().out


def test_bad_wishes_leave_no_folder(tmp_path) -> None:
    out = tmp_path / "treated"
    for words in (("--panels", "0"), ("--budget", "100")):
        with pytest.raises(SceneError):
            treating.treat_command(chosen(str(SCENES / "bedroom-on-stands"), "-o", str(out), "--no-pictures", *words))
        assert not out.exists()
