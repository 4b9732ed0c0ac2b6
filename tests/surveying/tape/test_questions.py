"""Questions for a room: what answers come to, what is asked again, taken back and gone on with."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import pytest

from sim.blueprint.reader import parse_scene
from sim.blueprint.template import first_scene
from sim.errors import OutputError, SceneError
from sim.surveying.tape.asking import Interview
from sim.surveying.tape.given_room import GivenRoom
from sim.surveying.tape.kept_answers import answers_place, forget_answers, keep_answers, kept_answers
from sim.surveying.tape.questions import asked_room


class Person:
    """Who answers one question after the other, and remembers what was asked and said."""

    def __init__(self, answers: Sequence[str], kept: Sequence[str] = ()) -> None:
        self.left, self.asked, self.said = list(answers), list[str](), list[str]()
        self.kept: list[str] = []
        self.interview = Interview(self.ask, self.said.append, self.keep, kept)

    def ask(self, question: str) -> str:
        self.asked.append(question)
        if not self.left:
            raise EOFError
        return self.left.pop(0)

    def keep(self, answers: Sequence[str]) -> None:
        self.kept = list(answers)

    def room(self) -> tuple[GivenRoom, str]:
        found = asked_room(self.interview)
        assert not self.left
        return found

    @property
    def words(self) -> str:
        return " ".join(" ".join(self.said).split())


def answered(*answers: str) -> tuple[GivenRoom, str, Person]:
    person = Person(answers)
    given, unit = person.room()
    parse_scene(first_scene(given.room(unit), title="t", units=unit), Path("nowhere"))
    return given, unit, person


NO_MORE = [""] * 10
"""No beam, window, door, radiator; on stands, usual monitors, where they fit; no screen, no second seat; yes."""


def test_a_box_needs_three_lengths_and_enter_for_all_else() -> None:
    given, unit, _ = answered("cm", "", "340", "420", "240", "", *NO_MORE)
    assert unit == "cm"
    assert given.room(unit) == GivenRoom(["340", "420", "240"]).room("cm")


def test_everything_can_be_answered_and_short_words_do() -> None:
    given, _, _ = answered(
        *["", "L", "4.4", "5", "2.4", "rear r", "1.2", "1.5"],
        *["left", "1.4", "1", ""],
        *["along", "3", "3.2", "2.1", ""],
        *["right", "1", "2", "0.9", "2", "left s", "1", "2", "1.6", "2.2", ""],
        *["front", "3", "3.8", "2", "", "right", "2.2", "3", "0.1", "0.7", "0.1", ""],
        *["built", "8", "measured", "1.7", "2.3", "1.2", "0.02", "1.4", "1.2", "", "3.2", "", ""],
        *["yes", "0.6", "0.35", "0.9", "1", "", "yes", "3", "2.2", "1.2", "y"],
    )
    assert given == GivenRoom(
        ("4.4", "5", "2.4"),
        ("rear right", "1.2", "1.5"),
        (("left", "1.4", "1"),),
        (("right", "1", "2", "0.9", "2"), ("left slope", "1", "2", "1.6", "2.2")),
        (("front", "3", "3.8", "2"),),
        ("3", "2.2", "1.2"),
        "built in",
        "8-inch",
        beams=(("along", "3", "3.2", "2.1"),),
        radiators=(("right", "2.2", "3", "0.1", "0.7", "0.1"),),
        seat=("1.7", "2.3", "1.2"),
        left_monitor=("0.02", "1.4", "1.2"),
        right_monitor=("0.02", "3.2", "1.2"),
        screen=("1", "2.30 m", "0.9", "0.6", "0.35"),
    )


def test_an_l_by_its_walls_with_one_that_nobody_measured() -> None:
    walls = ["4", "3.5", "1.2", "1.5", "", "5"]
    given, unit, person = answered(
        "", "other", "walls", "6", "D", "", *walls, "", "2.4", "ef", "1.2", "0.6", "", *NO_MORE
    )
    room = given.room(unit)
    assert [(round(ahead, 6), round(across, 6)) for _, ahead, across in room.walls] == [
        (0, 0),
        (0, 4),
        (3.5, 4),
        (3.5, 2.8),
        (5, 2.8),
        (5, 0),
    ]
    assert [(slope.side, slope.knee_m, slope.run_m) for slope in room.slopes] == [("rear", 1.2, 0.6)]
    assert "The corners are taken as square; diagonals would check that." in person.words


def test_an_outline_corner_by_corner() -> None:
    corners = ["0", "0.8", "0", "3.2", "80 cm", "4", "4.5", "4", "4.5", "0", "0.8", "0", ""]
    given, unit, person = answered("", "other", "corners", *corners, "2.5", "", *NO_MORE)
    assert given.corners[2] == ("80 cm", "4") and len(given.room(unit).walls) == 6
    assert any(line.strip().startswith("A-") or "A----" in line for line in person.said)


def test_a_wrong_reading_is_said_and_can_be_replaced_or_kept() -> None:
    walls = ["4", "4", "4", "4"]
    diagonal = 4 * 2**0.5
    start = ["", "other", "", "", "", *walls, f"AC {diagonal:.3f}", f"BD {diagonal - 0.06:.3f}", ""]
    given, unit, person = answered(*start, f"DB={diagonal:.3f}", "", "2.4", "", *NO_MORE)
    assert "The two diagonals differ by 6 cm: one is wrong, or the corners are not square." in person.words
    assert "If the corners are square it is BD: with 5.657 m all four would be." in person.words
    assert given.tape[-1] == f"DB={diagonal:.3f}" and len(given.tape) == 6
    balance = given.balance(unit)
    assert balance is not None and balance.fits
    kept, _, _ = answered(*start, "", "2.4", "", *NO_MORE)
    assert kept.tape[-1] == f"BD={diagonal - 0.06:.3f}"


@pytest.mark.parametrize(
    ("answers", "sentence"),
    [
        (["yd"], '"yd" is none of m, cm, mm, in, ft.'),
        (["m", "round"], '"round" is none of box, L, other.'),
        (["m", "", "wide"], '"wide" is not a length; write 3.41, "340 cm" or "11 ft 2 1/4 in".'),
        (["m", "", ""], "a length is needed here, such as 3.41 or 11 ft 2 in."),
        (["m", "", "3 yd"], '"3 yd" is not a length;'),
        (["m", "", "0.4"], "box, width: it is 0.4 m; give between 1.6 m and 60 m"),
        (["m", "", "3.4", "4.2", "2.4", "top"], '"top" is none of front, rear, left, right.'),
        (["m", "", "3.4", "4.2", "2.4", "left", "2.6"], "slope left, knee: it is 2.6 m; give 0.05 m to 2.35 m."),
        (["m", "", "3.4", "4.2", "2.4", "", "across", "1", "0.5"], "from and to: it runs from 1 m to 0.5 m"),
        (["m", "", "3.4", "4.2", "2.4", "", "across", "1", "1.2", "2.5"], "beam, underside: it is 2.5 m"),
        (["m", "", "3.4", "4.2", "2.4", "", "", "left", "1", "5"], "give at most 4.20 m, where the wall ends."),
        (
            ["m", "", "3.4", "4.2", "2.4", "left", "1", "1", "", "", "", "rear", "0.2", "0.9", "2"],
            "door rear: the slope over it leaves 1.28 m where it begins",
        ),
        (["m", "other", "", "2"], '"2" is no number of corners, give 3 to 26.'),
        (["m", "other", "", "5", "Q"], 'corner: "Q" is no corner; corners are A to E.'),
        (["m", "other", "", "", "", "4", "", "", "", ""], "the shape is still open, BC would settle it."),
        (["m", "other", "", "", "", "4", "4", "4", "4", "AC"], '"AC" is not a distance between two corners'),
        (
            ["m", "other", "", "", "", "4", "4", "4", "4", "AF 4"],
            "names a corner that is not there",
        ),
        (["m", "other", "", "", "", "4", "4", "4", "4", "AC 9", ""], "AC is 9.00 m, longer than 8.00 m round it"),
        (["m", "other", "c", "0", "0", "0", "3", "0", "2", ""], "the walls cross each other, or enclose no floor"),
    ],
)
def test_a_wrong_answer_gets_one_sentence_and_is_asked_again(answers: list[str], sentence: str) -> None:
    person = Person(answers)
    with pytest.raises(SceneError, match="the answers ended before the questions; nothing was written"):
        person.room()
    assert sentence in person.words
    assert person.asked[-1] == person.asked[-2], "the same question again"
    assert person.kept == answers[:-1], "only what was right is kept"


def test_the_second_wrong_answer_is_told_of_back() -> None:
    person = Person(["m", "", "wide", "wide"])
    with pytest.raises(SceneError):
        person.room()
    assert person.words.count('Or type "back", if an answer before was wrong.') == 1


def test_back_takes_back_one_answer_after_the_other() -> None:
    given, _, person = answered(
        "back", "", "", "3.4", "4.2", "2.4", "back", "back", "back", "3.6", "4.4", "2.5", "", *NO_MORE
    )
    assert given.box == ("3.6", "4.4", "2.5")
    assert "This is the first question; there is nothing to take back." in person.words
    with pytest.raises(SceneError):
        (stopped := Person(["m", "", "3.4", "back"])).room()
    assert stopped.kept == ["m", ""]


def test_a_run_goes_on_where_another_stopped_and_says_the_same() -> None:
    answers = ["", "L", "4.4", "5", "2.4", "", "1.2", "1.5", "left", "1.4", "1", "", *NO_MORE]
    whole, unit, _ = answered(*answers)
    for stopped in range(1, len(answers)):
        person = Person(answers[stopped:], answers[:stopped])
        assert person.room() == (whole, unit)
        assert person.interview.answers == answers
        assert len(person.asked) == len(answers) - stopped, "nothing is asked again"


def test_kept_answers_that_fit_no_more_are_asked_again_from_there() -> None:
    person = Person(["3.4", "4.2", "2.4", "", *NO_MORE], ["m", "box", "of another version", "4.2"])
    given, _ = person.room()
    assert given.box == ("3.4", "4.2", "2.4")


def test_a_drawing_is_shown_when_it_changed_and_only_then() -> None:
    _, _, person = answered("", "", "3.4", "4.2", "2.4", "", *NO_MORE)
    plans = [number for number, line in enumerate(person.said) if "front wall 3.40 m" in line]
    assert len(plans) == 2, "after the depth, and with monitors, desk and seat"
    assert max(len(line) for line in person.said) <= 80


# Where answers are kept.


def test_answers_are_kept_beside_the_folder_and_forgotten(tmp_path: Path) -> None:
    place = answers_place(tmp_path / "studios" / "attic")
    assert place.parent == tmp_path and place.name == ".studios-attic.bounceplan-answers"
    assert kept_answers(place) == []
    for answers in (["m", "", "11' 2 1/4\""], ["m"], []):
        keep_answers(place, answers)
        assert kept_answers(place) == answers
    assert [path.name for path in tmp_path.iterdir()] == [place.name]
    forget_answers(place)
    forget_answers(place)
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    "text",
    ["", "{", "[]", '{"layout": 1}', '{"layout": 2, "answers": []}', '{"layout": 1, "answers": [1]}', "[" * 100_000],
)
def test_a_damaged_file_of_answers_is_one_sentence(text: str, tmp_path: Path) -> None:
    place = answers_place(tmp_path / "room")
    place.write_text(text, encoding="utf-8")
    with pytest.raises(OutputError, match="holds no answers of an earlier run; take it away to start anew") as fault:
        kept_answers(place)
    assert "\n" not in str(fault.value)
    place.write_bytes(b"\xff\xfe")
    with pytest.raises(OutputError, match="holds no answers"):
        kept_answers(place)
