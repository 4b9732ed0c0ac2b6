"""`bounceplan new` as a person types to it: three rooms, wrong answers, stopped and gone on with."""

from __future__ import annotations

import os
import signal
import sys
from pathlib import Path

import numpy as np
import pytest

from sim.blueprint.reader import read_scene
from sim.blueprint.schema import Blueprint
from sim.surveying.tape.kept_answers import answers_place, kept_answers

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="pseudo-terminals are of POSIX")
if sys.platform != "win32":
    from tests.surveying.tape.terminals import Terminal, flat

NO_MORE = [""] * 8
"""No beam, window, door, radiator; stands, usual monitors, where they fit, no screen; a second seat comes after."""


def made(folder: Path) -> Blueprint:
    return read_scene(folder / "room").blueprint


def test_a_box_with_wrong_answers_back_and_explanations(tmp_path: Path) -> None:
    with Terminal("new", "room", folder=tmp_path) as terminal:
        assert "is none of m, cm, mm, in, ft" in terminal.answer("yd")
        assert "The unit of bare numbers" in terminal.answer("?")
        terminal.answer("", "box")
        said = terminal.answer("wide")
        assert said.count("\n") == 2 and '"wide" is not a length; write 3.41' in said, "one sentence, and asked again"
        assert "give between 1.6 m and 60 m" in flat(terminal.answer("0.5"))
        assert "341 is taken as 341 cm, which is 3.410 m." in terminal.answer("341")
        assert terminal.question().startswith("Depth")
        assert terminal.answer("back").rstrip().endswith("Width, left wall to right wall:")
        drawn = terminal.answer("11' 2 1/4\"", "4,20 m")
        assert "front wall 3.41 m" in drawn and "4.20 m" in drawn
        terminal.answer("2.4", "")
        said = terminal.finish(*NO_MORE, "", "no", "yes")
    assert '"no" is neither yes nor "back"' in said
    assert "the same without questions: bounceplan new room --box" in said
    box = made(tmp_path).room.box
    assert box is not None and (box.width, box.depth, box.height) == pytest.approx((3.40995, 4.2, 2.4), abs=1e-3)
    assert [path.name for path in tmp_path.iterdir()] == ["room"], "the kept answers went"
    lines = [line for line in said.splitlines() if "bounceplan new" not in line and not line.endswith("back")]
    assert [line for line in lines if len(line) > 80] == []


def test_an_l_in_inches_with_slope_window_door_beam_and_measured_places(tmp_path: Path) -> None:
    with Terminal("new", "room", folder=tmp_path) as terminal:
        terminal.answer("in", "l", "14 ft", "16' 6", "96", "rear right", "4 ft", "60")
        assert "below a slope" in terminal.answer("left", "55", "40")
        terminal.answer("", "across", "80", "86", "84", "")
        assert "W window" in terminal.answer("left slope", "50", "80", "60", "80", "")
        terminal.answer("right", "90", "122", "78", "", "", "desk", "8")
        terminal.answer("measured", "66", "84", "47", "8", "38", "54", "114", "29", "20")
        assert "goes through the desk" not in terminal.answer("62")
        assert "Right monitor's tweeter, from the front wall (Enter: 20)" in terminal.said
        assert "from the left wall (Enter: 106 in)" in terminal.answer("")
        terminal.answer("")
        terminal.finish("yes", "24", "14", "34", "14", "", "yes", "110", "70", "44", "")
    scene = made(tmp_path)
    assert len(scene.room.outline or ()) == 6 and scene.room.slopes[0].name == "left slope"
    assert [(opening.kind, opening.surface) for opening in scene.openings] == [
        ("window", "left slope"),
        ("door", "right wall"),
    ]
    assert sorted(piece.kind for piece in scene.furniture) == ["beam", "desk", "screen"]
    assert [one.acoustic_axis.from_left for one in scene.loudspeakers] == pytest.approx([62 * 0.0254, 106 * 0.0254])
    assert scene.listener.second_seat is not None


def test_a_quadrilateral_with_six_distances_stopped_and_gone_on_with(tmp_path: Path) -> None:
    with Terminal("new", "room", folder=tmp_path) as terminal:
        terminal.answer("m", "other", "walls", "4", "")
        assert "settle it" in terminal.answer("3.41", "", "", "", "")
        terminal.answer("back", "back", "back", "4.20", "3.40", "4.22")
        assert terminal.interrupt() == 130
        assert "Your answers are kept. To go on: bounceplan new room" in terminal.said
        assert "Traceback" not in terminal.said
    assert not (tmp_path / "room").exists(), "nothing half-written"
    place = answers_place(tmp_path / "room")
    assert kept_answers(place) == ["m", "other", "walls", "4", "", "3.41", "4.20", "3.40", "4.22"]

    with Terminal("new", "room", folder=tmp_path) as terminal:  # the terminal is closed
        assert "9 answers of an earlier run are kept (m, other, walls, 4, Enter, 3.41, ...)" in terminal.question()
        assert "A----" in terminal.answer("yes"), "the plan is drawn again"
        terminal.answer("AC 5.37")
        terminal.hang_up()
        assert terminal.process.wait(60) != 0
    assert kept_answers(place)[-1] == "AC 5.37"

    with Terminal("new", "room", folder=tmp_path) as terminal:
        said = flat(terminal.answer("maybe", "", "BD=5.41", ""))
        assert "The two diagonals differ by 4 cm: one is wrong, or the corners are not square." in said
        assert "a single check cannot tell which" in said
        assert "If the corners are square it is AC: with 5.419 m all four would be." in said
        assert "names a corner that is not there" in flat(terminal.answer("AE 3"))
        assert "The six readings fit together" in flat(terminal.answer("ac 5,41 m", ""))
        terminal.finish("2.4", "", *NO_MORE, "", "yes")
    corners = np.array([(one.from_front, one.from_left) for one in made(tmp_path).room.outline or ()])
    for (a, b), length in {(0, 1): 3.41, (1, 2): 4.2, (2, 3): 3.4, (3, 0): 4.22, (0, 2): 5.41, (1, 3): 5.41}.items():
        assert float(np.linalg.norm(corners[a] - corners[b])) == pytest.approx(length, abs=0.006)
    assert not place.exists()


def test_killed_between_two_answers_the_first_is_kept_and_no_starts_anew(tmp_path: Path) -> None:
    with Terminal("new", "room", folder=tmp_path) as terminal:
        terminal.answer("cm", "box")
        os.kill(terminal.process.pid, signal.SIGKILL)
        terminal.process.wait(60)
    with Terminal("new", "room", folder=tmp_path) as terminal:
        assert "2 answers of an earlier run are kept (cm, box)" in terminal.question()
        assert "Unit of your tape" in terminal.answer("no")
        terminal.answer("m")
        assert terminal.interrupt() == 130
    assert kept_answers(answers_place(tmp_path / "room")) == ["m"]


def test_the_end_of_what_is_typed_is_said_and_kept(tmp_path: Path) -> None:
    with Terminal("new", "room", "--units", "cm", folder=tmp_path) as terminal:
        assert terminal.question().startswith("Shape of the floor"), "the unit is known"
        terminal.answer("box")
        os.write(terminal._side, b"\x04")  # Ctrl-D
        assert terminal.ended() == 2
        assert (
            "the answers ended before the questions; nothing was written; run the same command again" in terminal.said
        )
    assert kept_answers(answers_place(tmp_path / "room")) == ["cm", "box"]
