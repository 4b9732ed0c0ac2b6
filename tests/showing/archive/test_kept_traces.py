"""A scene that was traced before is read back, and only when nothing that a trace depends on has changed."""

from __future__ import annotations

import os
import shutil
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from sim.blueprint.reader import SceneFile, parse_scene, read_scene
from sim.machine.kernel_cache import kernel_folder
from sim.pipeline import trace
from sim.showing.archive import kept_traces
from sim.showing.archive.kept_traces import FRESH, key_of, trace_kept

SCENES = Path(__file__).resolve().parents[3] / "scenes"
SCENE = """
title = "demo cell"
units = "m"
room = { box = { width = 2.5, depth = 3.1, height = 2.4 } }
listener = { ear = { from_front = 1.6, from_left = 1.25, up = 1.2 } }
method = { order = 1, waves_to_hz = 0 }
[[loudspeakers]]
name = "left"
model = "point"
acoustic_axis = { from_front = 0.6, from_left = 0.7, up = 1.2 }
"""


@pytest.fixture
def place(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Path]:
    """The folder of kept traces, new and empty, in which quick ones are kept too."""
    kernel_folder()  # kernels stay where they are
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    monkeypatch.delenv(FRESH, raising=False)
    monkeypatch.setattr(kept_traces, "SLOW_S", 0.0)
    monkeypatch.setattr(sys, "platform", "linux")
    yield tmp_path / "cache" / "bounceplan" / "traces"


def counted(monkeypatch: pytest.MonkeyPatch) -> list[SceneFile]:
    """What is traced from now on."""
    seen: list[SceneFile] = []

    def tracing(scene: SceneFile, *more: Any, **options: Any) -> Any:
        seen.append(scene)
        return trace(scene, *more, **options)

    monkeypatch.setattr(kept_traces, "trace", tracing)
    return seen


def test_what_was_traced_before_is_read_and_is_the_same(place: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    seen = counted(monkeypatch)
    first = trace_kept(parse_scene(SCENE, Path("here")))
    second = trace_kept(parse_scene(SCENE, Path("there")))
    assert len(seen) == 1 and len(list(place.iterdir())) == 1
    assert second.scene.folder == Path("there")
    assert [one.via for one in second.responses.arrivals] == [one.via for one in first.responses.arrivals]
    for one, other in zip(first.responses.arrivals, second.responses.arrivals, strict=True):
        np.testing.assert_array_equal(one.level_db, other.level_db)
    np.testing.assert_array_equal(first.responses.response.total, second.responses.response.total)


def test_what_differs_is_traced(place: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    seen = counted(monkeypatch)
    trace_kept(parse_scene(SCENE, Path()))
    trace_kept(parse_scene(SCENE.replace("up = 1.2", "up = 1.201"), Path()))
    trace_kept(parse_scene(SCENE, Path()), order=2)
    trace_kept(parse_scene(SCENE, Path()), waves_to_hz=300.0)
    assert len(seen) == len(list(place.iterdir())) == 4


def test_the_name_goes_by_files_and_by_the_program(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    meshed = next(one for one in sorted(SCENES.iterdir()) if one.is_dir() and any(one.glob("*.obj")))
    copy = tmp_path / "copy"
    shutil.copytree(meshed, copy)
    scene = read_scene(copy)
    before = key_of(scene, None, None)
    assert before == key_of(read_scene(meshed), None, None)
    (mesh, *_) = sorted(copy.glob("*.obj"))
    mesh.write_bytes(mesh.read_bytes() + b"# another line\n")
    assert key_of(scene, None, None) != before
    after = key_of(scene, None, None)
    monkeypatch.setattr(kept_traces, "program", lambda: "another version")
    assert key_of(scene, None, None) != after


def test_a_damaged_file_is_no_trouble(place: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    seen = counted(monkeypatch)
    trace_kept(parse_scene(SCENE, Path()))
    (kept,) = place.iterdir()
    content = kept.read_bytes()
    kept.write_bytes(content[:-100] + bytes(100))
    trace_kept(parse_scene(SCENE, Path()))
    assert len(seen) == 2
    trace_kept(parse_scene(SCENE, Path()))
    assert len(seen) == 2, "it was written anew"


def test_nothing_is_kept_where_others_write_or_nobody_may_or_one_says_so(
    place: Path, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    place.mkdir(parents=True)
    place.chmod(0o777)
    seen = counted(monkeypatch)
    trace_kept(parse_scene(SCENE, Path()))
    place.chmod(0o700)
    monkeypatch.setenv(FRESH, "1")
    trace_kept(parse_scene(SCENE, Path()))
    monkeypatch.delenv(FRESH)
    file = tmp_path / "file"
    file.write_text("")
    monkeypatch.setenv("XDG_CACHE_HOME", str(file))
    trace_kept(parse_scene(SCENE, Path()))
    assert len(seen) == 3 and not list(place.iterdir())


def test_old_and_many_are_let_go(place: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(kept_traces, "MOST_FILES", 2)
    place.mkdir(parents=True, mode=0o700)
    for number, name in enumerate(("a", "b", "c")):
        (place / f"{name}.h5").write_bytes(b"-")
        os.utime(place / f"{name}.h5", (1e9 + number, 1e9 + number))
    monkeypatch.setattr(kept_traces, "MOST_DAYS", 1e9)
    trace_kept(parse_scene(SCENE, Path()))
    left = sorted(one.name for one in place.iterdir())
    assert len(left) == 2 and "c.h5" in left and "a.h5" not in left
    monkeypatch.setattr(kept_traces, "MOST_BYTES", 10)
    trace_kept(parse_scene(SCENE, Path()), order=2)
    assert not list(place.iterdir())
