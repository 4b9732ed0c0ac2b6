"""All pictures of a folder, and what is said when drawing kills its process."""

from __future__ import annotations

import subprocess
import sys
import threading
import time

import pytest

from sim.errors import OutputError, PictureError
from sim.showing import child_drawing
from sim.showing.child_drawing import PACKAGES, drawn_beside, file_name, probe_solid, run_child
from sim.showing.folder import adding_to
from sim.studies.draw.drawn import draw_folders
from sim.studies.draw.pictures import draw_all, draw_comparison_flat, draw_comparison_solid, draw_octaves

KILLED = "import os, signal; print('drawing the room', flush=True); os.kill(os.getpid(), signal.SIGSEGV)"


@pytest.mark.solid
def test_everything_is_drawn_and_told(invented, other_invented, tmp_path):
    reported: list[str] = []
    made = draw_all(invented, tmp_path, reported.append)
    names = {path.name for path in made}
    assert {"plan.png", "energy_time.png", "energy_time_octaves.png", "ear_response.png"} <= names
    assert {"map_desk_top.png", "map_ceiling.png"} <= names
    assert {"room_from_left.png", "room_from_right.png", "room_from_below.png"} <= names
    assert len(names) == len(made) and {path.name for path in tmp_path.iterdir()} == names
    assert "drawing the plan" in reported and "drawing the map of the desk top" in reported
    both = [invented, other_invented]
    compared = draw_comparison_flat(both, tmp_path) + draw_comparison_solid(both, tmp_path)
    assert [path.name for path in compared] == [
        "differences.png",
        "rooms_from_left.png",
        "rooms_from_right.png",
        "rooms_from_below.png",
    ]


def test_a_killed_child_becomes_a_sentence_that_names_the_packages():
    reported: list[str] = []
    with pytest.raises(PictureError) as caught:
        run_child([sys.executable, "-c", KILLED], report=reported.append)
    assert reported == ["drawing the room"]
    sentence = str(caught.value)
    assert "SIGSEGV" in sentence and PACKAGES in sentence and "numbers" in sentence and "\n" not in sentence


def test_a_failing_child_is_quoted():
    with pytest.raises(PictureError, match=r"could not be drawn \(ValueError: no such wall\)"):
        run_child([sys.executable, "-c", "raise ValueError('no such wall')"])
    with pytest.raises(PictureError, match=r"\(exit code 3\)"):
        run_child([sys.executable, "-c", "raise SystemExit(3)"])


def test_a_child_that_hangs_is_stopped():
    with pytest.raises(PictureError, match=r"longer than 0\.5 s"):
        run_child([sys.executable, "-c", "import time; time.sleep(60)"], timeout_s=0.5)


def test_a_talkative_child_does_not_block():
    run_child([sys.executable, "-c", "import sys; sys.stderr.write('x' * 10**6); print('y' * 10**6)"])


@pytest.mark.solid
def test_this_machine_draws_and_a_broken_one_is_found_out(monkeypatch):
    probe_solid()
    monkeypatch.setattr("sim.showing.child_drawing.PROBE", KILLED)
    with pytest.raises(PictureError, match=PACKAGES):
        probe_solid()


def test_flat_pictures_need_no_graphics_libraries():
    code = "import sys, sim.showing.plan_picture, sim.studies.draw.side_by_side_picture\n"
    code += "import sim.studies.draw.pictures, sim.studies.draw.curve_picture\n"
    code += "print(sorted(m for m in sys.modules if m in ('pyvista', 'vtkmodules', 'matplotlib.pyplot')))"
    child = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert child.stdout.strip() == "[]"


def test_names_become_plain_file_names():
    assert file_name("left wall") == "left_wall"
    assert file_name("../Ätna/x") == "tna_x"
    assert file_name("…") == "surface"


def test_octave_maps_are_drawn_when_asked(invented, tmp_path):
    made = draw_octaves(invented, tmp_path)
    names = [path.name for path in made]
    assert names[0] == "map_desk_top_octaves.png" and "map_ceiling_octaves.png" in names
    assert sorted(names) == sorted(path.name for path in tmp_path.iterdir())


def test_two_kinds_are_drawn_at_the_same_time_and_moved_in_together(tmp_path, monkeypatch):
    both = threading.Barrier(2, timeout=20.0)

    def drawn(module, kind, place, sources, report, children):
        both.wait()
        (place / f"{kind}.png").write_bytes(b"whole")
        report(f"drawing {kind}")
        return "no graphics" if kind == "solid" else ""

    monkeypatch.setattr(child_drawing, "draw_in_child", drawn)
    said: list[str] = []
    with adding_to(tmp_path) as additions:
        trouble = drawn_beside("m", ["flat", "solid"], additions, tmp_path, "", [], said.append)
    assert trouble == "no graphics" and sorted(said) == ["drawing flat", "drawing solid"]
    assert {"flat.png", "solid.png"} <= {path.name for path in tmp_path.iterdir()}


def test_one_that_cannot_write_ends_the_other(tmp_path, monkeypatch):
    started = threading.Event()

    def command(module, kind, *_):
        if kind == "full":
            return [sys.executable, "-c", "import sys; sys.stderr.write('the disk is full'); raise SystemExit(64)"]
        started.set()
        return [sys.executable, "-c", "import time; time.sleep(60)"]

    monkeypatch.setattr(child_drawing, "own_python", command)
    begin = time.monotonic()
    with adding_to(tmp_path) as additions, pytest.raises(OutputError, match="the disk is full"):
        drawn_beside("m", ["slow", "full"], additions, tmp_path, "", [], lambda _: None)
    assert started.is_set() and time.monotonic() - begin < 30.0


def test_without_graphics_libraries_every_folder_gets_its_flat_pictures(tmp_path, monkeypatch):
    drawn: list[tuple[str, str]] = []

    def draw(module, kind, place, sources, report, children):
        drawn.append((kind, place.name))
        (place / f"{kind}.png").write_bytes(b"whole")
        return "no graphics" if kind == "solid" else ""

    monkeypatch.setattr(child_drawing, "draw_in_child", draw)
    folders = [tmp_path / name for name in ("one", "two", "three")]
    for folder in folders:
        folder.mkdir()
    assert draw_folders(folders, tmp_path, lambda _: None) == "no graphics"
    assert all((folder / "flat.png").is_file() for folder in (*folders, tmp_path))
    assert [kind for kind, _ in drawn].count("solid") == 1  # what cannot be is tried once
