"""The command as a person meets it: what is written, what is said, and one sentence for every fault."""

from __future__ import annotations

import csv
import json
import os
import re
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from sim.__main__ import STOPPED, main
from sim.blueprint.reader import read_scene
from tests.blueprint.scene_texts import changed, with_mesh
from tests.room_texts import desk_text
from tests.studies.little_room import TEXT as BARE

HOME = Path(__file__).resolve().parent.parent
ON_DESK = HOME / "scenes" / "bedroom-on-desk"
ON_STANDS = HOME / "scenes" / "bedroom-on-stands"
BEDROOM = (ON_DESK / "scene.toml").read_text(encoding="utf-8")
STANDS = (ON_STANDS / "scene.toml").read_text(encoding="utf-8")
Screen = pytest.CaptureFixture[str]


@pytest.fixture
def bare(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A bare room of two points, where what is asked is the command and not the sound."""
    return small_room(tmp_path_factory.mktemp("bare"))


def small_room(folder: Path, more: str = "", ear: str = "ear = { from_front = 1.6") -> Path:
    text = changed("ear = { from_front = 1.6", ear, BARE)
    (folder / "scene.toml").write_text(text + more, encoding="utf-8")
    return folder


def error_messages(error_stream: str) -> list[str]:
    """What the error stream holds besides words on progress."""
    return [line for line in error_stream.splitlines() if not line.startswith("  ... ")]


# --- every command does its job -------------------------------------------------------------------------------


def test_check_prints_the_sheet_and_nothing_else(capsys: Screen) -> None:
    assert main(["check", str(ON_DESK)]) == 0
    said = capsys.readouterr()
    assert said.out.startswith("Bedroom, loudspeakers on the desk")
    assert "Listening triangle left - right: base 1.150 m, angle at the seat 60.0 degrees" in said.out
    assert error_messages(said.err) == []


def test_a_scene_may_be_named_by_its_file_or_its_folder(capsys: Screen) -> None:
    main(["check", str(ON_DESK)])
    by_folder = capsys.readouterr().out
    main(["check", str(ON_DESK / "scene.toml")])
    assert capsys.readouterr().out == by_folder


def test_trace_writes_numbers_and_lists_them(tmp_path: Path, capsys: Screen) -> None:
    out = tmp_path / "out"
    assert main(["trace", str(ON_DESK), "-o", str(out), "--no-pictures"]) == 0
    said = capsys.readouterr()
    files = {"README.txt", "arrivals.csv", "contents.txt", "reflection_points.csv", "notches.csv", "results.h5"}
    files |= {"ear_response.csv"}
    assert {path.name for path in out.iterdir()} == files
    listed = said.out.split(f"written to {out}:")[1]
    assert {line.split()[0] for line in listed.strip().splitlines()} == files
    assert "arrivals.csv           Every path to a listener, ranked by harm." in listed
    with (out / "arrivals.csv").open(encoding="utf-8") as file:
        found = [row for row in csv.DictReader(file) if (row["loudspeaker"], row["driver"]) == ("left", "all")]
    found = [row for row in found if row["kind"] != "direct" and row["worst_db"] and float(row["delay_ms"]) < 20.0]
    loud = [row for row in found if float(row["worst_db"]) > -15.0]
    assert len(loud) > 5
    assert f"left at the ear: {len(loud)} arrivals are above -15 dB" in said.out
    assert error_messages(said.err) == []
    assert list(tmp_path.iterdir()) == [out]


def test_trace_goes_no_further_than_it_is_told(tmp_path: Path) -> None:
    out = tmp_path / "out"
    main(["trace", str(ON_DESK), "-o", str(out), "--no-pictures", "--order", "1"])
    with (out / "arrivals.csv").open(encoding="utf-8") as file:
        ways = {row["via"] for row in csv.DictReader(file)}
    assert "desk top" in ways
    assert not any(" > " in way for way in ways)


def test_replace_takes_the_place_of_older_results(bare: Path, tmp_path: Path) -> None:
    out = tmp_path / "out"
    command = ["trace", str(bare), "-o", str(out), "--no-pictures"]
    assert main(command) == 0
    (out / "arrivals.csv").write_text("old", encoding="utf-8")
    assert main([*command, "--replace"]) == 0
    assert (out / "arrivals.csv").read_text(encoding="utf-8").startswith("loudspeaker,")
    assert list(tmp_path.iterdir()) == [out]


def test_pictures_go_with_their_results_and_a_photograph_stays(
    bare: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A map of a surface that no longer mirrors must not stay among newer results; what others put there must."""

    def draw(module: str, kind: str, place: Path, *_: object) -> str:
        (place / "map_of_old.png").write_bytes(b"picture")
        return ""

    out = tmp_path / "out"
    monkeypatch.setattr("sim.showing.child_drawing.draw_in_child", draw)
    trace = ["trace", str(bare), "-o", str(out), "--order", "1"]
    assert main([*trace, "--no-pictures"]) == 0
    (out / "photograph.png").write_bytes(b"mine")
    assert main(["draw", str(out)]) == 0
    assert main([*trace, "--replace", "--no-pictures"]) == 0
    assert {path.name for path in out.glob("*.png")} == {"photograph.png"}
    assert main([*trace, "--replace"]) == 0
    assert (out / "map_of_old.png").exists()
    assert main([*trace, "--replace", "--no-pictures"]) == 0
    assert {path.name for path in out.glob("*.png")} == {"photograph.png"}


def test_missing_pictures_are_no_failure(
    bare: Path, tmp_path: Path, capsys: Screen, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("sim.studies.draw.drawn.draw_folders", lambda *_: "a library is missing.")
    assert main(["trace", str(bare), "-o", str(tmp_path / "out")]) == 0
    assert "all numbers are there. a library is missing." in capsys.readouterr().out
    assert (tmp_path / "out" / "results.h5").exists()


def test_compare_writes_words_a_table_and_each_layout(bare: Path, tmp_path: Path, capsys: Screen) -> None:
    out = tmp_path / "out"
    (bare / "farther").mkdir()
    farther = small_room(bare / "farther", ear="ear = { from_front = 1.9")
    assert main(["compare", str(bare), str(farther), "-o", str(out), "--no-pictures"]) == 0
    said = capsys.readouterr()
    for name in ("comparison.txt", "comparison.csv", "A/results.h5", "A/arrivals.csv", "B/results.h5", "B/README.txt"):
        assert (out / name).is_file(), name
    assert said.out.startswith((out / "comparison.txt").read_text(encoding="utf-8"))
    assert error_messages(said.err) == []


def test_new_writes_a_scene_that_check_and_trace_take(
    tmp_path: Path, capsys: Screen, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("sim.studies.check.draw_plan_of", lambda *_: "")
    room = tmp_path / "room"
    assert main(["new", str(room), "--box", "11 ft 2 in", "13.78", "7.87", "--units", "ft", "--title", "My den"]) == 0
    assert "next: put your own tape measurements in" in capsys.readouterr().out
    box = read_scene(room).blueprint.room.box
    assert box is not None
    assert (box.width, box.depth) == pytest.approx((3.4036, 4.2001), abs=1e-3)
    assert main(["check", str(room)]) == 0
    assert capsys.readouterr().out.startswith("My den")
    assert main(["trace", str(room), "-o", str(tmp_path / "out"), "--no-pictures", "--order", "1"]) == 0


def test_new_says_when_no_plan_could_be_drawn(tmp_path: Path, capsys: Screen, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("sim.studies.check.draw_plan_of", lambda *_: "no library")
    assert main(["new", str(tmp_path / "room"), "--box", "3.4", "4.2", "2.4"]) == 0
    assert "no plan was drawn: no library" in capsys.readouterr().out


def test_schema_prints_a_json_schema(capsys: Screen) -> None:
    assert main(["schema"]) == 0
    assert {"room", "listener", "loudspeakers"} <= set(json.loads(capsys.readouterr().out)["properties"])


def test_version_and_help(capsys: Screen) -> None:
    for option, words in (("--version", "bounceplan "), ("--help", "usage: bounceplan")):
        with pytest.raises(SystemExit) as end:
            main([option])
        assert end.value.code == 0
        assert capsys.readouterr().out.startswith(words)


# --- every fault is one sentence ------------------------------------------------------------------------------


def text(old: str, new: str, scene: str = BEDROOM) -> Callable[[Path], Path]:
    """A bedroom with one place changed."""

    def write(folder: Path) -> Path:
        (folder / "scene.toml").write_text(changed(old, new, scene), encoding="utf-8")
        return folder

    return write


CORNERS = [(x, y, z) for x in (0.0, 4.2) for y in (0.0, 3.4) for z in (0.0, 2.4)]
WALLS = {
    "front wall": (1, 3, 4, 2),
    "rear wall": (5, 6, 8, 7),
    "left wall": (1, 2, 6, 5),
    "right wall": (3, 7, 8, 4),
    "floor": (1, 5, 7, 3),
    "ceiling": (2, 4, 8, 6),
}
"""Corners of each wall of a box, counted from 1 and counter-clockwise seen from inside."""


def mesh(edit: Callable[[str], str] = lambda obj: obj) -> Callable[[Path], Path]:
    """A box room given as a mesh, its OBJ text edited."""

    def write(folder: Path) -> Path:
        lines = [f"v {x} {y} {z}" for x, y, z in CORNERS]
        for name, ring in WALLS.items():
            lines += [f"g {name}", "f " + " ".join(map(str, ring))]
        (folder / "room.obj").write_text(edit("\n".join(lines) + "\n"), encoding="utf-8")
        (folder / "scene.toml").write_text(with_mesh("room.obj"), encoding="utf-8")
        return folder

    return write


def named_mesh(name: str) -> Callable[[Path], Path]:
    def write(folder: Path) -> Path:
        (folder / "scene.toml").write_text(with_mesh(name), encoding="utf-8")
        return folder

    return write


def junk(folder: Path) -> Path:
    (folder / "scene.toml").write_bytes(bytes(range(256)) * 40)
    return folder


def empty_folder(folder: Path) -> Path:
    (folder / "nothing").mkdir()
    return folder / "nothing"


EAR = "ear = { from_front = 1.60, from_left = 1.70, up = 1.20 }"
BLOCK = '\n[[furniture]]\nkind = "block"\nfrom_front = [0.50, 0.80]\nfrom_left = [1.00, 1.25]\nup = [0.95, 1.10]\n'

FAULTS: dict[str, tuple[Callable[[Path], Path], tuple[str, ...]]] = {
    "unknown key": (text("top = 0.74", "tpo = 0.74"), ("line", "furniture[0].tpo", 'perhaps you mean "top"')),
    "missing section": (text(f"[listener]\n{EAR}\nhead_box", "#"), ("section [listener] is missing", "add", "ear =")),
    "negative size": (text("width = 3.40", "width = -3.40"), ("room.box.width", "-3.4", "must be more than 0")),
    "size not a number": (text("width = 3.40", "width = nan"), ("room.box.width", "nan", "write a finite length")),
    "angle not a number": (text("tilt_deg = 0", "tilt_deg = inf"), ("tilt_deg", "must be a finite number")),
    "wall of 4200 m": (text("depth = 4.20", "depth = 4200"), ("room.box.depth", "4200 m", '"4200 mm"')),
    "listener inside the desk": (
        text(EAR, "ear = { from_front = 1.00, from_left = 1.70, up = 0.73 }"),
        ("listener.ear", "inside the desk", "give a point in the air"),
    ),
    "ear outside the room": (
        text(EAR, "ear = { from_front = 5.00, from_left = 1.70, up = 1.20 }"),
        ("listener.ear", "outside the room", "give a point in the air"),
    ),
    "driver inside furniture": (
        text("\n[[furniture]]", f"{BLOCK}\n[[furniture]]"),
        ("loudspeakers[0].acoustic_axis", 'of "left"', "inside the block", "move or lift the monitor"),
    ),
    "loudspeaker through a wall": (
        text("from_left = 1.08", "from_left = 0.05", STANDS),
        ("loudspeakers[0].acoustic_axis", "goes through the left wall", "move, lift or turn it"),
    ),
    "loudspeaker through the desk": (
        text("from_left = 1.125, up = 1.02", "from_left = 1.125, up = 0.90"),
        ("loudspeakers[0].acoustic_axis", "goes through the desk", "move, lift or turn it"),
    ),
    "open mesh": (
        mesh(lambda obj: obj.replace("g ceiling\nf 2 4 8 6\n", "")),
        ('room.mesh "room.obj"', "not closed: 4 edges", "close the gap"),
    ),
    "flipped face": (
        mesh(lambda obj: obj.replace("f 2 4 8 6", "f 6 8 4 2")),
        ('room.mesh "room.obj"', "flipped", "repair = true"),
    ),
    "triangle without area": (
        mesh(lambda obj: obj + "f 1 2 1\n"),
        ('room.mesh "room.obj"', "1 of 13 triangles have no area", "repair = true"),
    ),
    "mesh in another unit": (
        mesh(lambda obj: re.sub(r"^v (\S+) (\S+) (\S+)$", r"v \g<1>e3 \g<2>e3 \g<3>e3", obj, flags=re.MULTILINE)),
        ("frame.unit", "4200", 'unit = "mm"'),
    ),
    "no such mesh": (named_mesh("elsewhere.obj"), ("room.mesh", 'no file "elsewhere.obj"', "copy it to")),
    "mesh outside the folder": (named_mesh("../other/room.obj"), ("room.mesh", "leads out", "put the file into")),
    "mesh by absolute path": (named_mesh("/etc/room.obj"), ("room.mesh", "absolute path", "write its name only")),
    "binary junk": (junk, ("scene.toml", "it holds a zero byte", "save the file as UTF-8")),
    "folder without a scene": (empty_folder, ("nothing", "holds no scene.toml", "bounceplan new")),
    "no such file": (lambda folder: folder / "gone.toml", ("gone.toml", "no such file", "name a scene file")),
    "not TOML": (text("top = 0.74", "top : 0.74"), ("line", "top : 0.74", 'write "="')),
}


@pytest.mark.parametrize("fault", FAULTS)
def test_a_fault_is_one_sentence_and_leaves_nothing(fault: str, tmp_path: Path, capsys: Screen) -> None:
    write, words = FAULTS[fault]
    home = tmp_path / "scene"
    home.mkdir()
    scene = write(home)
    out = tmp_path / "new" / "out"
    for command in (["check", str(scene)], ["trace", str(scene), "-o", str(out), "--no-pictures"]):
        assert main(command) == 2
        said = capsys.readouterr()
        assert said.out == ""
        (sentence,) = error_messages(said.err)
        assert sentence.startswith("bounceplan: ")
        assert sentence.endswith(".")
        assert "Traceback" not in said.err
        for word in words:
            assert word in sentence, sentence
    assert list(tmp_path.iterdir()) == [home]


def test_the_mesh_room_itself_is_sound(tmp_path: Path, capsys: Screen) -> None:
    """What the mesh faults above are made from has no fault."""
    assert main(["check", str(mesh()(tmp_path))]) == 0
    assert "volume 34.3 m3" in capsys.readouterr().out


@pytest.mark.parametrize("command", [["trace", str(ON_DESK)], ["compare", str(ON_DESK), str(ON_STANDS)]])
def test_an_output_that_cannot_be_is_refused_before_any_work(
    command: list[str], tmp_path: Path, capsys: Screen
) -> None:
    there = tmp_path / "there"
    there.mkdir()
    (there / "letter.txt").write_text("mine", encoding="utf-8")
    in_the_way = tmp_path / "file"
    in_the_way.write_text("mine", encoding="utf-8")
    for place, options, words in (
        (there, [], "--replace"),
        (there, ["--replace"], "no results of bounceplan"),
        (in_the_way, [], "this is a file"),
        (in_the_way / "out", [], "is a file, not a folder"),
    ):
        assert main([*command, "-o", str(place), "--no-pictures", *options]) == 2
        said = capsys.readouterr()
        (sentence,) = said.err.splitlines()
        assert str(place) in sentence
        assert words in sentence
    assert (there / "letter.txt").read_text(encoding="utf-8") == "mine"
    assert in_the_way.read_text(encoding="utf-8") == "mine"
    assert sorted(tmp_path.iterdir()) == [in_the_way, there]


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["--box", "3.4", "4.2", "a lot"], ("--box, height", '"a lot" is not a length', "340 cm")),
        (["--box", "0.5", "4.2", "2.4"], ("--box, width", "give between")),
        (["--box", "nan", "4.2", "2.4"], ("--box, width", "give between")),
        (["--box", "3.4", "4200", "2.4"], ("--box, depth", "4200 m", "check the unit")),
        (["--box", "-3.4", "4.2", "2.4"], ("--box, width", "give between")),
    ],
)
def test_new_refuses_sizes_of_no_room(
    arguments: list[str], words: tuple[str, ...], tmp_path: Path, capsys: Screen
) -> None:
    assert main(["new", str(tmp_path / "room"), *arguments]) == 2
    (sentence,) = capsys.readouterr().err.splitlines()
    for word in words:
        assert word in sentence, sentence
    assert list(tmp_path.iterdir()) == []


def test_draw_wants_results(tmp_path: Path, capsys: Screen) -> None:
    assert main(["draw", str(tmp_path)]) == 2
    assert "holds no results.h5" in capsys.readouterr().err


def test_draw_makes_its_output_or_says_why_not(tmp_path: Path, capsys: Screen, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("sim.studies.draw.drawn.draw_folders", lambda *_: "")
    (tmp_path / "results").mkdir()
    (tmp_path / "results" / "results.h5").write_bytes(b"")
    assert main(["draw", str(tmp_path / "results"), "-o", str(tmp_path / "new" / "place")]) == 0
    assert (tmp_path / "new" / "place").is_dir()
    (tmp_path / "file").write_text("mine", encoding="utf-8")
    assert main(["draw", str(tmp_path / "results"), "-o", str(tmp_path / "file")]) == 2
    assert "no folder can be made here" in capsys.readouterr().err


def test_compare_takes_two_scenes_or_more(tmp_path: Path, capsys: Screen) -> None:
    assert main(["compare", str(ON_DESK), "-o", str(tmp_path / "out")]) == 2
    assert "2 or more scenes" in capsys.readouterr().err


def test_compare_of_three_adds_a_table_and_a_picture(
    bare: Path, tmp_path: Path, capsys: Screen, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("sim.studies.draw.drawn.draw_folders", lambda *_: "")
    out = tmp_path / "out"
    assert main(["compare", str(bare), str(bare), str(bare), "-o", str(out)]) == 0
    said = capsys.readouterr()
    assert said.out.startswith((out / "many.txt").read_text(encoding="utf-8"))
    assert (out / "comparison.txt").read_text(encoding="utf-8") in said.out
    for name in ("many.csv", "pareto.png", "C/results.h5"):
        assert (out / name).is_file(), name
        assert f"  {name}" in said.out
        assert name in (out / "contents.txt").read_text(encoding="utf-8").splitlines()
    assert error_messages(said.err) == []


def test_compare_goes_on_after_z(bare: Path, tmp_path: Path, capsys: Screen, monkeypatch: pytest.MonkeyPatch) -> None:
    from sim.pipeline import trace

    once = trace(bare)
    monkeypatch.setattr("sim.studies.compare.comparison.trace_kept", lambda *_, **__: once)
    monkeypatch.setattr("sim.showing.tables.write_traced", lambda _, folder: (folder / "results.h5").write_bytes(b""))
    out = tmp_path / "out"
    assert main(["compare", *[str(bare)] * 28, "-o", str(out), "--no-pictures"]) == 0
    assert sorted(path.name for path in out.iterdir() if path.is_dir())[:4] == ["A", "AA", "AB", "B"]
    for name in ("many.txt", "comparison.txt", "comparison.csv"):
        assert "AB" in (out / name).read_text(encoding="utf-8")
    assert "AB less A" not in capsys.readouterr().out  # of so many only the table is shown


def test_compare_leaves_nothing_when_the_second_scene_is_at_fault(tmp_path: Path, capsys: Screen) -> None:
    out = tmp_path / "out"
    assert main(["compare", str(ON_DESK), str(tmp_path / "gone"), "-o", str(out), "--no-pictures"]) == 2
    assert len(error_messages(capsys.readouterr().err)) == 1
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    "arguments",
    [
        [],
        ["paint"],
        ["check"],
        ["trace", "x"],
        ["trace", "x", "-o", "y", "--loud"],
        ["trace", "x", "-o", "y", "--order", "9"],
        ["new", "x", "--box", "3", "4"],
        ["new", "x", "--box", "3", "4", "2", "--units", "yd"],
    ],
)
def test_unknown_commands_and_options_are_explained(arguments: list[str], capsys: Screen) -> None:
    with pytest.raises(SystemExit) as end:
        main(arguments)
    assert end.value.code == 2
    assert "usage: bounceplan" in capsys.readouterr().err


def test_stopping_leaves_nothing(bare: Path, tmp_path: Path, capsys: Screen, monkeypatch: pytest.MonkeyPatch) -> None:
    def stop(*_: object, **__: object) -> None:
        assert any(path.name.endswith(".bounceplan-part") for path in tmp_path.iterdir())
        raise KeyboardInterrupt

    monkeypatch.setenv("BOUNCEPLAN_FRESH", "1")
    monkeypatch.setattr("sim.pipeline.survey_first_order", stop)
    for command in (["trace", str(bare)], ["compare", str(bare), str(bare)]):
        assert main([*command, "-o", str(tmp_path / "out"), "--no-pictures"]) == 130
        assert error_messages(capsys.readouterr().err) == [STOPPED]
        assert list(tmp_path.iterdir()) == []


def test_faults_of_the_program_keep_their_traceback(monkeypatch: pytest.MonkeyPatch) -> None:
    def fail(*_: object) -> None:
        raise ZeroDivisionError

    monkeypatch.setattr("sim.studies.check.text.build_scene", fail)
    with pytest.raises(ZeroDivisionError):
        main(["check", str(ON_DESK)])


def test_odd_but_possible_is_said_and_goes_on(tmp_path: Path, capsys: Screen) -> None:
    """The ear 28 cm from the right wall, and the right loudspeaker 5 cm further back than the left one."""
    odd = changed(EAR, "ear = { from_front = 1.60, from_left = 3.12, up = 1.20 }", BEDROOM)
    odd = changed("from_front = 0.62, from_left = 2.275", "from_front = 0.67, from_left = 2.275", odd)
    (tmp_path / "scene.toml").write_text(odd, encoding="utf-8")
    assert main(["check", str(tmp_path)]) == 0
    sheet = capsys.readouterr().out.split("Look at this")[1]
    assert "only 0.28 m from the right wall" in sheet
    assert main(["trace", str(tmp_path), "-o", str(tmp_path / "out"), "--no-pictures", "--order", "1"]) == 0
    assert "only 0.28 m from the right wall" in (tmp_path / "out" / "README.txt").read_text(encoding="utf-8")


def test_unequal_loudspeakers_are_named(tmp_path: Path, capsys: Screen) -> None:
    odd = changed("from_front = 0.62, from_left = 2.275", "from_front = 0.67, from_left = 2.275", BEDROOM)
    (tmp_path / "scene.toml").write_text(odd, encoding="utf-8")
    assert main(["check", str(tmp_path)]) == 0
    sheet = capsys.readouterr().out
    assert "not symmetric: right is 42 mm nearer to the ear" in sheet
    assert "left and right are unequal: right is 42 mm nearer to the ear" in sheet.split("Look at this")[1]


# --- as a process ---------------------------------------------------------------------------------------------


def process(*arguments: str, **environment: str) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "-m", "sim", *arguments]
    return subprocess.run(
        command, cwd=HOME, env={**os.environ, **environment}, capture_output=True, text=True, check=False, timeout=120
    )


def test_a_fault_ends_the_process_with_code_2(tmp_path: Path) -> None:
    done = process("trace", str(tmp_path), "-o", str(tmp_path / "out"))
    assert done.returncode == 2
    assert done.stdout == ""
    (sentence,) = error_messages(done.stderr)
    assert sentence.startswith(f"bounceplan: {tmp_path}: this folder holds no scene.toml")


def test_numbers_do_not_depend_on_the_run_or_the_number_of_threads(tmp_path: Path) -> None:
    desk = desk_text((0.9, 1.3), (1.3, 2.1), 0.74, 'material = "hard"')
    scene = small_room(tmp_path, desk)  # which sound waves are solved round
    for name, threads in (("one", "1"), ("two", "2"), ("again", "2")):
        done = process("trace", str(scene), "-o", str(tmp_path / name), "--no-pictures", NUMBA_NUM_THREADS=threads)
        assert done.returncode == 0, done.stderr
    for table in ("arrivals.csv", "reflection_points.csv"):
        first = (tmp_path / "one" / table).read_bytes()
        assert first.count(b"\n") > 14
        assert (tmp_path / "two" / table).read_bytes() == first
        assert (tmp_path / "again" / table).read_bytes() == first


@pytest.mark.parametrize("arguments", [["schema"], ["--version"], ["check", "scenes/bedroom-on-desk"]], ids=" ".join)
def test_a_reader_who_has_seen_enough_is_no_fault(arguments: list[str]) -> None:
    """As in `bounceplan schema | head -1`, with Python's usual buffers, which are flushed last of all."""
    buffered = {name: value for name, value in os.environ.items() if name != "PYTHONUNBUFFERED"}
    with subprocess.Popen(
        [sys.executable, "-m", "sim", *arguments],
        cwd=HOME,
        env=buffered,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    ) as child:
        assert child.stdout is not None
        assert child.stderr is not None
        child.stdout.close()
        assert child.stderr.read() == ""
    assert child.returncode == 0


def test_absorber_prints_levels_and_draws(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """100 mm of wool and 100 mm of gap take about 13 to 14 dB at 500 Hz (Miki model, worked value)."""
    assert main(["absorber", "100 mm wool, 100 mm gap", "--picture", str(tmp_path / "a.png")]) == 0
    shown = capsys.readouterr().out
    assert "500" in shown
    assert (tmp_path / "a.png").stat().st_size > 10_000


def test_absorber_refuses_in_one_sentence(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["absorber", "100 mm cheese"]) == 2
    reported = capsys.readouterr().err.strip()
    assert reported.startswith("bounceplan: absorber: ")
    assert "cheese" in reported
    assert len(reported.splitlines()) == 1
