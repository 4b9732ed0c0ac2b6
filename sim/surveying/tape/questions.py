"""All questions for a room on the terminal, in order: shape, what is in its walls, what hangs and stands in it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Any

from sim.blueprint.first_layout import laid_out
from sim.blueprint.first_room import DIRECTIONS, MONITORS, PLACES
from sim.blueprint.units import UNIT_M
from sim.errors import SceneError
from sim.surveying.tape.asking import Interview
from sim.surveying.tape.balance_words import exact_words
from sim.surveying.tape.faces import refuse_outside
from sim.surveying.tape.given_room import GivenRoom
from sim.surveying.tape.shape_questions import Asking, ask_shape, ask_slopes, ask_unit
from sim.surveying.tape.typed_lengths import metres

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

    def whole(given: GivenRoom) -> None:
        check(given, asking.units)

    _ask_places(asking, whole)
    _ask_screen(asking, whole)
    _ask_second_seat(asking, whole)

    def confirmed(typed: str) -> None:
        if typed.lower() not in ("", "y", "yes"):
            raise ValueError(f'"{typed}" is neither yes nor "back"')
        whole(asking.given)

    asking.take(asking.given, layout=True)
    interview.question(
        'Is this the room? (Enter: yes, write it; "back": change the last answers)',
        confirmed,
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


Whole = Callable[[GivenRoom], object]
"""Builds a room; raises SceneError for what cannot be."""


def _point(
    asking: Asking,
    what: str,
    explained: str,
    made: Callable[[Sequence[str]], GivenRoom],
    whole: Whole,
    usual: Sequence[str] = ("", "", ""),
) -> None:
    """Ask for a point of as many lengths as there are usual ones, and take the room with it once it can be built."""
    questions = (f"{what}, from the front wall", "  from the left wall", "  above the floor")[: len(usual)]
    found: list[str] = []
    for words, one in zip(questions, usual, strict=True):
        last = len(found) + 1 == len(usual)

        def check(text: str, last: bool = last) -> None:
            if last:
                whole(made([*found, text]))

        found.append(asking.length(words, explained, check, one or None))
    asking.take(made(found))


def _ask_places(asking: Asking, whole: Whole) -> None:
    """Ask where seat, monitors and desk are, or leave them where they fit."""
    measured = asking.interview.choice(
        "Seat, monitors and desk",
        ("fit", "measured"),
        "fit",
        "fit: they are put where they fit, as drawn, to be moved in the file later.  measured: you have tape readings.",
    )
    if measured == "fit":
        return
    _point(
        asking,
        "Your ear",
        "The middle of the head at ear height, as you really sit.",
        lambda found: replace(asking.given, seat=tuple(found)),
        asking.checked,
    )
    on_desk = asking.given.monitors_on == "desk"
    if on_desk:
        _ask_desk(asking)
    tweeter = "The tweeter, at the face of the cabinet (the acoustic axis, if the manual names another point)."
    if on_desk:
        tweeter += "\nIts height follows from the desk and the size of the cabinet."
    lengths = ("", "", "")[: 2 if on_desk else 3]
    seated = asking.given

    def left(found: Sequence[str]) -> GivenRoom:
        room = asking.checked(seated).room(asking.units)
        other = 2.0 * laid_out(room).middle
        across = (other - metres("", found[1], asking.units)) / UNIT_M[asking.units]
        mirrored = f"{across:.3f}".rstrip("0").rstrip(".") + f" {asking.units}"
        return replace(seated, left_monitor=tuple(found), right_monitor=(found[0], mirrored, *found[2:]))

    _point(asking, "Left monitor's tweeter", tweeter, left, asking.checked, lengths)
    first = tuple(str(one) for one in asking.given.left_monitor or ())
    mirrored = str((asking.given.right_monitor or ("", ""))[1])
    _point(
        asking,
        "Right monitor's tweeter",
        tweeter + "\nEnter takes the mirror image of the left one.",
        lambda found: replace(asking.given, right_monitor=tuple(found)),
        whole if on_desk else asking.checked,
        (first[0], mirrored, *first[2:]),
    )
    if not on_desk:
        _ask_desk(asking, whole)


def _ask_desk(asking: Asking, whole: Whole = lambda _: None) -> None:
    parts = (
        ("Desk: its far edge, from the front wall", "The edge away from you."),
        ("  its near edge, from the front wall", "The edge you sit at."),
        ("  its left end, from the left wall", "From the left wall to the left end of the desk."),
        ("  its right end, from the left wall", "From the left wall to the right end of the desk."),
        ("  height of its top", "From the floor, at the near edge."),
    )
    first = asking.length(*parts[0], usual=_FREE)
    if first == _FREE:
        return
    desk = [first, *(asking.length(*part) for part in parts[1:4])]

    def made(text: str) -> GivenRoom:
        return asking.checked(replace(asking.given, desk=(*desk, text)))

    asking.take(made(asking.length(*parts[4], lambda text: whole(made(text)))))


def _ask_screen(asking: Asking, whole: Whole) -> None:
    if asking.interview.choice("A screen", ("yes", "no"), "no", "A computer screen on the desk.") == "no":
        return
    room = asking.given.room(asking.units)
    middle = exact_words(room.seat[1] if room.seat else laid_out(room).middle, asking.units)
    wide = asking.length("  width of its face", "From its left to its right edge.")
    high = asking.length("  height of its face", "From its lower to its upper edge.")
    up = asking.length("  its lower edge above the floor", "From the floor, not from the desk.")
    ahead = asking.length("  its face from the front wall", "From the front wall to the glass.")

    def made(text: str) -> GivenRoom:
        return replace(asking.given, screen=(ahead, text, up, wide, high))

    words = "  its middle from the left wall"
    asking.take(made(asking.length(words, "In front of you, as a rule.", lambda text: whole(made(text)), middle)))


def _ask_second_seat(asking: Asking, whole: Whole) -> None:
    more = asking.interview.choice("A second seat", ("yes", "no"), "no", "A client's sofa, judged by itself.")
    if more == "yes":
        _point(
            asking,
            "  its ear",
            "The middle of the second person's head.",
            lambda found: replace(asking.given, second_seat=tuple(found)),
            whole,
        )
