"""Questions for the shape of a room: a box, an L, or any outline by walls and diagonals or corner by corner."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Final

from sim.blueprint.first_room import CORNERS, MOST_SLOPES
from sim.blueprint.units import UNIT_M
from sim.errors import SceneError
from sim.surveying.tape.asking import Interview
from sim.surveying.tape.balance import open_pair
from sim.surveying.tape.balance_words import LETTERS, balance_lines
from sim.surveying.tape.faces import refuse_outside
from sim.surveying.tape.given_room import GivenRoom
from sim.surveying.tape.readings import likely_reading
from sim.surveying.tape.text_plan import plan_lines, section_lines
from sim.surveying.tape.typed_lengths import corner_letters, floor_of, metres, tape_reading

SHAPES: Final = ("box", "L", "other")
LENGTH: Final = (
    "A length by tape: 3.41 in the unit of your tape, or with its own unit in any mixture,\n"
    "such as 341 cm, 3,41 m, 11 ft 2 1/4 in, 11' 2 1/4\"."
)
ROUND: Final = (
    "Corners are lettered clockwise as seen from above, the wall at your left hand as you go round:\n"
    "A is the left end of the front wall, B its right end, C the next, and so on back to A."
)


class Asking:
    """Asks for a room piece by piece; `given` is what is known so far."""

    def __init__(self, interview: Interview, units: str) -> None:
        self.interview, self.units = interview, units
        self.given = GivenRoom()
        self._layout = False

    def length(
        self, words: str, explained: str, check: Callable[[str], object] = lambda _: None, usual: str | None = None
    ) -> str:
        """Ask for a length that `check` takes; Enter gives `usual` where there is one."""

        def read(typed: str) -> str:
            if not typed:
                if usual is None:
                    raise ValueError("a length is needed here, such as 3.41 or 11 ft 2 in")
                if usual:
                    check(usual)
                return usual
            text, said = likely_reading(typed, self.units)
            metres("", text, self.units)
            check(text)
            if said:
                self.interview.tell(f"  {said}")
            return text

        ending = "" if usual is None else f" (Enter: {usual or 'not measured'})"
        return self.interview.question(words + ending, read, f"{explained}\n{LENGTH}")

    def checked(self, given: GivenRoom) -> GivenRoom:
        """Return a room after refusing what cannot be."""
        given.room(self.units)
        return given

    def take(self, given: GivenRoom, *, layout: bool = False) -> None:
        """Go on with what is given now, and have it drawn."""
        self.given = given
        self._layout = self._layout or layout
        try:
            room = given.room(self.units)
        except SceneError:
            return
        letters = not given.box
        lines = plan_lines(room, self.units, letters=letters, layout=self._layout)
        self.interview.picture(lines, section_lines(room, self.units))

    def sides(self) -> tuple[tuple[str, ...], tuple[str, ...]]:
        """What walls are called in short, and by their corners where they have letters."""
        room = self.given.room(self.units)
        count = len(room.walls)
        pairs = tuple(f"{LETTERS[one]}{LETTERS[(one + 1) % count]}".lower() for one in range(count))
        return room.sides, pairs


def ask_shape(asking: Asking) -> None:
    """Ask for the outline and the height."""
    shape = asking.interview.choice(
        "Shape of the floor",
        SHAPES,
        "box",
        "box: four walls, all corners square.  L: a box with one corner missing.\n"
        "other: any floor, given by its walls and diagonals, or corner by corner. Take it as well for a box\n"
        "whose corners you do not trust: four walls and both diagonals are balanced, and a wrong one shows.",
    )
    if shape == "other":
        by = asking.interview.choice(
            "Given by",
            ("walls", "corners"),
            "walls",
            "walls: the length of each wall, and distances between corners (diagonals); what is too much is balanced.\n"
            "corners: for each corner how far it is from the front wall and from the left wall.",
        )
        (_ask_walls if by == "walls" else _ask_corners)(asking)
        return
    _ask_box(asking)
    if shape == "L":
        which = asking.interview.choice(
            "Which corner is missing",
            CORNERS,
            CORNERS[3],
            "The corner of the box round the room that is not part of it.",
        )
        asking.take(asking.given)
        like = replace(asking.given, cut_corner=(which, "0.5 m", "0.5 m"))
        wide = asking.length(
            "  its width, left to right",
            "How wide the missing corner is.",
            lambda text: asking.checked(replace(like, cut_corner=(which, text, "0.5 m"))),
        )
        deep = asking.length(
            "  its depth, front to rear",
            "How deep the missing corner is.",
            lambda text: asking.checked(replace(like, cut_corner=(which, wide, text))),
        )
        asking.take(replace(like, cut_corner=(which, wide, deep)))


def _ask_box(asking: Asking) -> None:
    def box(*sizes: str) -> GivenRoom:
        return GivenRoom(box=(*sizes, *("4 m", "4 m", "2.4 m")[len(sizes) :]))

    explained = "Inside, from wall to wall, along the floor. The front wall is the one you face; left is as you sit."
    wide = asking.length("Width, left wall to right wall", explained, lambda text: asking.checked(box(text)))
    deep = asking.length("Depth, front wall to rear wall", explained, lambda text: asking.checked(box(wide, text)))
    asking.take(box(wide, deep))
    high = asking.length(
        "Height of the ceiling, where it is highest",
        "From the floor to the ceiling; below a ridge, to the ridge.",
        lambda text: asking.checked(box(wide, deep, text)),
    )
    asking.take(box(wide, deep, high))


def _ask_height(asking: Asking) -> None:
    high = asking.length(
        "Height of the ceiling, where it is highest",
        "From the floor to the ceiling; below a ridge, to the ridge.",
        lambda text: asking.checked(replace(asking.given, height=text)),
    )
    asking.take(replace(asking.given, height=high))


def _ask_corners(asking: Asking) -> None:
    asking.interview.tell(f"{ROUND}\nThe first is usually 0 and 0. Enter in place of a length closes the floor.")
    corners: list[tuple[str, str]] = []
    explained = "How far it is from the front wall (the foremost one), then from the left wall (the leftmost one)."

    def closing(text: str) -> None:
        metres("", text, asking.units)

    while len(corners) < len(LETTERS):
        letter = LETTERS[len(corners)]
        usual = "" if len(corners) >= 3 else None
        words = f"Corner {letter}, from the front wall"
        ahead = (
            _closing_length(asking, words, explained, corners) if usual is not None else asking.length(words, explained)
        )
        if not ahead:
            break
        across = asking.length("  from the left wall", explained, closing)
        corners.append((ahead, across))
        if len(corners) >= 3:
            asking.take(GivenRoom(corners=tuple(corners), height="2.4 m"))
    asking.given = GivenRoom(corners=tuple(corners))
    _ask_height(asking)


def _closing_length(asking: Asking, words: str, explained: str, corners: list[tuple[str, str]]) -> str:
    """A length, or nothing where the corners so far are a floor."""

    def read(typed: str) -> str:
        if not typed:
            asking.checked(GivenRoom(corners=tuple(corners), height="2.4 m"))
            return ""
        text, said = likely_reading(typed, asking.units)
        metres("", text, asking.units)
        if said:
            asking.interview.tell(f"  {said}")
        return text

    return asking.interview.question(f"{words} (Enter: that was all)", read, f"{explained}\n{LENGTH}")


def _ask_walls(asking: Asking) -> None:
    asking.interview.tell(ROUND)

    def number(typed: str) -> int:
        if not typed:
            return 4
        if not typed.isdecimal() or not 3 <= int(typed) <= len(LETTERS):
            raise ValueError(f'"{typed}" is no number of corners, give 3 to {len(LETTERS)}')
        return int(typed)

    count = asking.interview.question("How many corners has the floor (Enter: 4)", number, ROUND)
    inward = ""
    if count > 4:
        inward = asking.interview.question(
            "Corners that jut into the room, such as D (Enter: none)",
            lambda typed: _letters(typed, count),
            "Where you turn left as you go round, as at the inner corner of an L: its letters, such as D or C F.",
        )
    skew = asking.interview.question(
        "Corners that are surely not square, such as C (Enter: none)",
        lambda typed: _letters(typed, count),
        "All others are taken as square, but only where the tape leaves the shape open: diagonals always count more.",
    )
    tape: list[str] = []
    for corner in range(count):
        pair = LETTERS[corner] + LETTERS[(corner + 1) % count]
        place = {0: ", the front wall", count - 1: ", the last, back to A"}.get(corner, "")
        length = asking.length(f"Wall {pair}{place}", "From corner to corner, along the floor.", usual="")
        if length:
            tape.append(f"{pair}={length}")
            asking.take(GivenRoom(tape=tuple(tape), inward=inward, skew=skew, height="2.4 m"))
    tape = _ask_diagonals(asking, GivenRoom(tape=tuple(tape), inward=inward, skew=skew, height="2.4 m"), count)
    asking.given = GivenRoom(tape=tuple(tape), inward=inward, skew=skew)
    _ask_height(asking)


def _letters(typed: str, count: int) -> str:
    return "".join(LETTERS[corner] for corner in sorted(corner_letters("corner", typed, count)))


def _ask_diagonals(asking: Asking, given: GivenRoom, count: int) -> list[str]:
    """Ask for distances between corners until the shape is settled and the person keeps the readings."""
    tape, said = list(given.tape), False
    explained = (
        "Any distance between two corners, such as AC 5.41: diagonals show whether corners are square.\n"
        "One that was given before is replaced. Two diagonals of a room with four corners check all six readings."
    )

    def replaced(typed: str) -> list[str]:
        text = typed.replace("=", " ")
        distance = tape_reading(text, asking.units)
        if max(distance.start, distance.end) >= count:
            raise ValueError(f'"{typed}" names a corner that is not there, corners are A to {LETTERS[count - 1]}')
        pair = {distance.start, distance.end}
        written, words = likely_reading(text.lstrip()[2:].strip(), asking.units)
        if words:
            asking.interview.tell(f"  {words}")
        made = f"{LETTERS[distance.start]}{LETTERS[distance.end]}={written}"
        known = [{one.start, one.end} for one in (tape_reading(text, asking.units) for text in tape)]
        if pair in known:
            return [made if other == pair else text for other, text in zip(known, tape, strict=True)]
        return [*tape, made]

    def read(typed: str) -> list[str] | None:
        if typed:
            return replaced(typed)
        floor = floor_of(count, given.inward, given.skew)
        pair = open_pair(floor, tuple(tape_reading(text, asking.units) for text in tape))
        if pair is not None:
            raise ValueError(f"the shape is still open, {LETTERS[pair[0]]}{LETTERS[pair[1]]} would settle it")
        asking.checked(replace(given, tape=tuple(tape)))
        return None

    while True:
        more = "keep them" if said else "no more"
        found = asking.interview.question(
            f"A distance between two corners, such as AC 5.41 (Enter: {more})", read, explained
        )
        if found is not None:
            tape, said = found, False
            asking.take(replace(given, tape=tuple(tape)))
            continue
        balance = replace(given, tape=tuple(tape)).balance(asking.units)
        if balance is None or said or balance.fits:
            for line in () if balance is None or said else balance_lines(balance, asking.units):
                asking.interview.tell(line)
            return tape
        for line in balance_lines(balance, asking.units):
            asking.interview.tell(line)
        asking.interview.tell("Type a reading again, or one more, such as AC 5.41.")
        said = True


def ask_slopes(asking: Asking) -> None:
    """Ask for sloped ceilings."""
    for ordinal in ("Sloped ceiling: over which wall", "A second slope: over which wall")[:MOST_SLOPES]:
        sides, pairs = asking.sides()
        taken = [str(slope[0]) for slope in asking.given.slopes]
        side = asking.interview.choice(
            ordinal,
            [one for one in sides if one not in taken],
            "",
            "The wall where the ceiling is lowest, from which it rises into the room.",
            hidden=pairs,
        )
        if not side:
            return
        before = asking.given

        def sloped(*lengths: str, before: GivenRoom = before, side: str = side) -> GivenRoom:
            return replace(before, slopes=(*before.slopes, (side, *lengths)))

        knee = asking.length(
            "  height of that wall, where the slope begins",
            "The upright part of the wall below the slope (the knee wall).",
            lambda text, sloped=sloped: asking.checked(sloped(text, "0.5 m")),  # type: ignore[misc]
        )
        run = asking.length(
            "  how far in, along the floor, it is level again or meets the other slope",
            "Hang a weight from where the slope ends, and measure along the floor from the wall to it.",
            lambda text, sloped=sloped, knee=knee: refuse_outside(  # type: ignore[misc]
                asking.checked(sloped(knee, text)), asking.units
            ),
        )
        asking.take(sloped(knee, run))


def ask_unit(interview: Interview) -> str:
    """Ask for the unit of bare numbers."""
    return interview.choice(
        "Unit of your tape",
        tuple(UNIT_M),
        "m",
        "The unit of bare numbers, and of the file. Any length may carry its own, such as 11 ft 2 in.",
    )
