"""What a sweep says of its best layout costs at most two full traces, and none of what was traced before."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

from sim.blueprint.reader import SceneFile, parse_scene, read_scene
from sim.blueprint.schema import Blueprint
from sim.layouts.plan import SweepTask
from sim.machine.kernel_cache import kernel_folder
from sim.pipeline import trace
from sim.placement.built_scene import BuiltScene, build_scene
from sim.responses.measure import changes_between, measure_of
from sim.showing.archive import kept_traces
from sim.showing.archive.kept_traces import FRESH, trace_kept
from sim.studies.sweep.run import run_sweep, write_findings
from tests.studies.sweep.sweep_scenes import TABLE, planned

PLAIN = f"{TABLE}\n[method]\norder = 1\nwaves_to_hz = 0\n"
"""What counts here is how often a scene is traced: without sound waves and second mirrors it takes a second."""


def table() -> SceneFile:
    return parse_scene(PLAIN, Path("nowhere"))


@pytest.fixture
def traced(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> list[Blueprint]:
    """What is traced in full from now on; the folder of kept traces is new and keeps quick ones too."""
    kernel_folder()  # kernels stay where they are
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    monkeypatch.delenv(FRESH, raising=False)
    monkeypatch.setattr(kept_traces, "SLOW_S", 0.0)
    monkeypatch.setattr(sys, "platform", "linux")
    seen: list[Blueprint] = []

    def counted(blueprint: Blueprint, folder: Path) -> BuiltScene:
        seen.append(blueprint)
        return build_scene(blueprint, folder)

    monkeypatch.setattr(
        "sim.pipeline.build_scene", counted
    )  # once a trace, whoever asks for it; layouts have their own
    return seen


def said(task: SweepTask, folder: Path) -> tuple[list[str], int]:
    """Lines on a sweep that has just been run, and the number of its best layout."""
    run_sweep(task, folder, processes=1)
    lines, found = write_findings(task, folder)
    return lines, found.best


def test_a_best_layout_is_traced_once_and_read_back_afterwards(traced: list[Blueprint], tmp_path: Path) -> None:
    task = planned(table(), {"desk.height": "60cm:66cm:1cm"})
    lines, best = said(task, tmp_path / "out")
    there = task.blueprint_at(task.plan.values(best))
    assert there != task.blueprint
    assert traced == [task.blueprint, there]
    assert write_findings(task, tmp_path / "out")[0] == lines
    assert len(traced) == 2
    trace_kept(read_scene(there))  # `bounceplan trace` of what the sweep found
    assert len(traced) == 2


def test_the_scene_as_it_stands_is_not_traced_again_as_the_best(traced: list[Blueprint], tmp_path: Path) -> None:
    task = planned(table(), {"desk.height": [0.7]})
    lines, best = said(task, tmp_path / "out")
    assert task.blueprint_at(task.plan.values(best)) == task.blueprint
    assert traced == [task.blueprint]
    assert any(line.endswith("the same as the scene as it stands") for line in lines)


def test_a_scene_that_was_traced_before_is_read_back(traced: list[Blueprint], tmp_path: Path) -> None:
    task = planned(table(), {"desk.height": [0.7]})
    trace_kept(table())
    assert len(traced) == 1
    said(task, tmp_path / "out")
    assert len(traced) == 1


@pytest.mark.parametrize("values", [2, 30])
def test_more_layouts_are_not_more_traces(traced: list[Blueprint], tmp_path: Path, values: int) -> None:
    task = planned(table(), {"desk.height": [0.5 + 0.005 * n for n in range(values)]})
    said(task, tmp_path / "out")
    assert len(traced) == 2


def test_kept_traces_say_what_fresh_ones_say(traced: list[Blueprint], tmp_path: Path) -> None:
    task = planned(table(), {"desk.height": "60cm:66cm:1cm"})
    lines, best = said(task, tmp_path / "out")
    places = [place for field in task.fields for place in field.places]
    scenes = [read_scene(one) for one in (task.blueprint, task.blueprint_at(task.plan.values(best)))]
    fresh = [measure_of(trace(one), places) for one in scenes]
    kept = [measure_of(trace_kept(one), places) for one in scenes]
    for one, other in zip(fresh, kept, strict=True):
        assert other.total_db == pytest.approx(one.total_db, abs=1e-9)
        assert dict(other.components) == pytest.approx(dict(one.components), abs=1e-9)
    changes = changes_between(*fresh)
    assert lines[-len(changes) :] == [f"  {one.words}: {one.verdict}" for one in changes]
