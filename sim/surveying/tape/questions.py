"""All questions for a room on the terminal, in order: shape, what is in its walls, what hangs and stands in it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Any

from sim.blueprint.first_layout import laid_out
from sim.blueprint.first_room import DIRECTIONS, MONITORS, PLACES
from sim.blueprint.units import length_words
from sim.errors import SceneError
from sim.surveying.tape.asking import Interview
from sim.surveying.tape.faces import refuse_outside
from sim.surveying.tape.given_room import GivenRoom
from sim.surveying.tape.shape_questions import Asking, ask_shape, ask_slopes, ask_unit

Check = Callable[[GivenRoom, str], object]
"""Builds a whole room, in the unit of its bare numbers; raises SceneError for what cannot be."""
_FREE = "where it fits"


def asked_room(interview: Interview, check: Check = lambda *_: None) -> tuple[GivenRoom, str]:
    """Ask for a room, and return it with the unit of its bare numbers.

    check: what a room has to pass, before the last question and wherever a window or door is placed.

    Raises
    ------
    SceneError
        If the answers end before the questions.
    """
    return interview.run(lambda interview: _asked(interview, check))


def _asked(interview: Interview, check: Check) -> tuple[GivenRoom, str]:
    interview.tell(
        'All lengths by tape, from wall to wall. "?" explains a question, "back" takes the last answer back.'
    )
    interview.tell("Stand facing the wall with the monitors: that is the front wall.")
    asking = Asking(interview, ask_unit(interview))
    ask_shape(asking)
    ask_slopes(asking)
    _ask_beams(asking)
    for kind in ("window", "door", "radiator"):
        _ask_on_walls(asking, kind)
    _ask_monitors(asking)
    _ask_places(asking)
    _ask_screen(asking)
    _ask_second_seat(asking)

    def whole(typed: str) -> None:
        if typed.lower() not in ("", "y", "yes"):
            raise ValueError(f'"{typed}" is neither yes nor "back"')
        check(asking.given, asking.units)

    asking.take(asking.given, layout=True)
    interview.question(
        'Is this the room? (Enter: yes, write it; "back": change the last answers)',
        whole,
        "Everything can still be changed in the file, which is a text with comments.",
    )
    return asking.given, asking.units


def _several(asking: Asking, group: str, first: str, parts: Sequence[tuple[str, str, str]]) -> list[str]:
    """Ask for the lengths of one more of a group, each checked with plausible ones in place of those to come.

    parts: question, explanation, and what stands for the answer until it is given: a text, or "+" and a length more
    than the answer before.
    """
    before = asking.given
    answers: list[str] = []

    def with_one(lengths: Sequence[str]) -> GivenRoom:
        changes: dict[str, Any] = {group: (*getattr(before, group), (first, *lengths))}
        return replace(before, **changes)

    for number, (words, explained, _) in enumerate(parts):

        def check(text: str, number: int = number) -> None:
            lengths = [*answers, text]
            if number + 1 == len(parts):
                refuse_outside(asking.checked(with_one(lengths)), asking.units)
                return
            try:
                asking.checked(with_one([*lengths, *(stand_in for _, _, stand_in in parts[number + 1 :])]))
            except SceneError as fault:
                if _blames(fault, parts, number):
                    raise

        answers.append(asking.length(words, explained, check))
    asking.take(with_one(answers))
    return answers


def _blames(fault: SceneError, parts: Sequence[tuple[str, str, str]], number: int) -> bool:
    """Whether a fault is sure before the rest is answered: what runs from here to there has both its ends."""
    spans = {"along the wall": 1, "from and to": 1, "up": 3}
    known = next((last for word, last in spans.items() if fault.where.endswith(word)), len(parts))
    return known <= number


def _ask_beams(asking: Asking) -> None:
    words = "A beam below the ceiling: which way does it run"
    while True:
        way = asking.interview.choice(
            words,
            DIRECTIONS,
            "",
            "across: from the left wall to the right wall. along: from the front wall to the rear wall.\n"
            "It runs as far as the room does at its height, and reaches up to the ceiling.",
        )
        if not way:
            return
        wall = "front" if way == "across" else "left"
        _several(
            asking,
            "beams",
            way,
            (
                (f"  its first face, from the {wall} wall", "Along the floor, below the beam.", "0.1 m"),
                ("  its second face, from the same wall", "Along the floor, below the beam.", "0.2 m"),
                ("  its underside above the floor", "From the floor to its lower face.", "2 m"),
            ),
        )
        words = "Another beam"


def _ask_on_walls(asking: Asking, kind: str) -> None:
    words = f"A {kind}: in which wall" if kind != "radiator" else "A radiator: on which wall"
    while True:
        sides, pairs = asking.sides()
        known = sides if kind != "window" else (*sides, *asking.given.room(asking.units).slope_sides)
        side = asking.interview.choice(
            words, known, "", f"The wall of the {kind}, by its name or by its corners, such as BC.", hidden=pairs
        )
        if not side:
            return
        start = _start(asking, side)
        explained = f"Along the wall, from {start}."
        parts = [
            (f"  along the wall, from {start}, to where it begins", explained, "0.1 m"),
            ("  and to where it ends", explained, "0.2 m"),
        ]
        if kind != "door":
            parts.append(("  its lower edge above the floor", "The lower edge of the glass or the radiator.", "0.1 m"))
        parts.append(("  its upper edge above the floor", "From the floor.", "0.2 m"))
        if kind == "radiator":
            parts.append(("  its face from the wall", "How far it sticks out into the room.", "0.1 m"))
        _several(asking, f"{kind}s", side, parts)
        words = f"Another {kind}"


def _start(asking: Asking, side: str) -> str:
    """Where lengths along a wall count from, in words."""
    room = asking.given.room(asking.units)
    _, pairs = asking.sides()
    name = side
    if side in pairs:
        name = [wall.replace(" wall", "", 1) for wall, _, _ in room.outline()][pairs.index(side)]
    _, start, end = room.wall(name)
    lengthwise = abs(end[0] - start[0]) > abs(end[1] - start[1])
    if not room.walls:
        return "the front wall" if lengthwise else "the left wall"
    return "its front end" if lengthwise else "its left end"


def _ask_monitors(asking: Asking) -> None:
    on = asking.interview.choice(
        "Monitors stand on",
        PLACES,
        PLACES[0],
        "stands: behind or beside the desk. desk: on the desk top.\n"
        "built in: their fronts lie in the front wall; measure the room to the face of that wall.",
    )
    model = asking.interview.choice(
        "Size of the monitors",
        tuple(MONITORS),
        "5-inch",
        "The nearest usual size; sizes of your own go into the file afterwards.",
    )
    asking.take(replace(asking.given, monitors_on=on, model=model), layout=True)


def _point(asking: Asking, what: str, explained: str, usual: Sequence[str] = ("", "", "")) -> tuple[str, str, str]:
    questions = (f"{what}, from the front wall", "  from the left wall", "  above the floor")
    found = [asking.length(words, explained, usual=one or None) for words, one in zip(questions, usual, strict=True)]
    return found[0], found[1], found[2]


def _ask_places(asking: Asking) -> None:
    """Ask where seat, monitors and desk are, or leave them where they fit."""
    measured = asking.interview.choice(
        "Seat, monitors and desk",
        ("fit", "measured"),
        "fit",
        "fit: they are put where they fit, as drawn, to be moved in the file later.  measured: you have tape readings.",
    )
    if measured == "fit":
        return
    seat = _point(asking, "Your ear", "The middle of the head at ear height, as you really sit.")
    asking.take(replace(asking.given, seat=seat))
    tweeter = "The tweeter, at the face of the cabinet (the acoustic axis, if the manual names another point)."
    left = _point(asking, "Left monitor's tweeter", tweeter)
    right = _point(asking, "Right monitor's tweeter", tweeter, (left[0], "", left[2]))
    asking.take(replace(asking.given, left_monitor=left, right_monitor=right))
    parts = (
        ("Desk: its far edge, from the front wall", "The edge away from you."),
        ("  its near edge, from the front wall", "The edge you sit at."),
        ("  its left end, from the left wall", "From the left wall to the left end of the desk."),
        ("  its right end, from the left wall", "From the left wall to the right end of the desk."),
        ("  height of its top", "From the floor, at the near edge."),
    )
    first = asking.length(*parts[0], usual=_FREE)
    if first != _FREE:
        desk = (first, *(asking.length(*part) for part in parts[1:]))
        asking.take(replace(asking.given, desk=desk))


def _ask_screen(asking: Asking) -> None:
    if asking.interview.choice("A screen", ("yes", "no"), "no", "A computer screen on the desk.") == "no":
        return
    room = asking.given.room(asking.units)
    layout = laid_out(room)
    middle = length_words(room.seat[1] if room.seat else layout.middle, asking.units)
    wide = asking.length("  width of its face", "From its left to its right edge.")
    high = asking.length("  height of its face", "From its lower to its upper edge.")
    up = asking.length("  its lower edge above the floor", "From the floor, not from the desk.")
    ahead = asking.length("  its face from the front wall", "From the front wall to the glass.")
    across = asking.length("  its middle from the left wall", "In front of you, as a rule.", usual=middle)
    asking.take(replace(asking.given, screen=(ahead, across, up, wide, high)))


def _ask_second_seat(asking: Asking) -> None:
    more = asking.interview.choice("A second seat", ("yes", "no"), "no", "A client's sofa, judged by itself.")
    if more == "yes":
        seat = _point(asking, "  its ear", "The middle of the second person's head.")
        asking.take(replace(asking.given, second_seat=seat))
