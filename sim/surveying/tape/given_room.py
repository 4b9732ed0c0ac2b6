"""A room as typed, by options or in answer to questions: every length a text, checked and made metres in one place."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import chain
from typing import Final

from sim.blueprint.first_room import (
    FirstBeam,
    FirstDesk,
    FirstOpening,
    FirstRadiator,
    FirstRoom,
    FirstScreen,
    FirstSlope,
    refuse_impossible,
)
from sim.errors import SceneError
from sim.surveying.tape.balance import Balance, balanced
from sim.surveying.tape.balance_words import LETTERS, balance_lines, exact_words, reading_names
from sim.surveying.tape.typed_lengths import POINT, LengthReader, Text, floor_of, tape_reading
from sim.surveying.tape.wall_names import named_walls

SIZES: Final = ("width", "depth", "height")
_WIDEST: Final = 110
"""Characters in a comment of a scene file."""


@dataclass(frozen=True, slots=True)
class GivenRoom:
    """A room as typed, every length a text: a bare number is in the unit of the file, "11 ft 2 in" has its own.

    One of `box`, `tape` and `corners` gives the shape; the last two need `height`.

    Attributes
    ----------
    box
        Width, depth and height.
    cut_corner
        For an L-shape: which corner of the box is missing, its width and its depth.
    slopes
        Sloped ceilings: side, height of the wall below, and how far in the ceiling is level again.
    windows
        Each side, along the wall from and to, lower and upper edge.
    doors
        Each side, along the wall from and to, and its height.
    second_seat
        Its ear: from_front, from_left, up.
    monitors_on, model
        "stands", "desk" or "built in"; a usual size of loudspeaker.
    tape
        Distances between corners, "AB=3.41": corners are lettered clockwise, A and B are the ends of the front wall.
        More than needed are balanced.
    inward, skew
        Letters of corners that jut into the room, and of those that are not square.
    corners
        Corners in order, each from_front and from_left.
    height
        Of the ceiling, where it is highest.
    beams
        Each "across" or "along", its faces from and to, its underside, and if it does not reach the ceiling its top.
    radiators
        Each side, along the wall from and to, lower and upper edge, and its face from the wall.
    seat, left_monitor, right_monitor
        Ear and acoustic axes: from_front, from_left, up; on a desk the height of the axes may be left out.
    desk
        Far and near edge from the front wall, left and right end from the left wall, height of its top.
    screen
        The middle of the lower edge of its face, from_front, from_left, up, then width and height.
    """

    box: Sequence[Text] = ()
    cut_corner: Sequence[Text] | None = None
    slopes: Sequence[Sequence[Text]] = ()
    windows: Sequence[Sequence[Text]] = ()
    doors: Sequence[Sequence[Text]] = ()
    second_seat: Sequence[Text] | None = None
    monitors_on: str = "stands"
    model: str = "5-inch"
    tape: Sequence[str] = ()
    inward: str = ""
    skew: str = ""
    corners: Sequence[Sequence[Text]] = ()
    height: Text = ""
    beams: Sequence[Sequence[Text]] = ()
    radiators: Sequence[Sequence[Text]] = ()
    seat: Sequence[Text] | None = None
    left_monitor: Sequence[Text] | None = None
    right_monitor: Sequence[Text] | None = None
    desk: Sequence[Text] | None = None
    screen: Sequence[Text] | None = None

    def balance(self, units: str) -> Balance | None:
        """The balanced outline of a room given by tape distances; None for any other."""
        return _balance(tuple(self.tape), self.inward, self.skew, units) if self.tape else None

    def room(self, units: str) -> FirstRoom:
        """The same in metres; raises SceneError for what is no length, and for what no room can be."""
        read = LengthReader(units)
        walls, (width, depth, height), tape = self._shape(read)
        letters = len(walls)
        corner = None
        if self.cut_corner is not None:
            which, (wide, deep) = read.sided("--cut-corner", self.cut_corner, ("width", "depth"), 0)
            corner = (which, wide, deep)
        slopes = []
        for given in self.slopes:
            side, (knee, run) = read.sided("--slope", given, ("height of its wall", "how far in it is level"), letters)
            slopes.append(FirstSlope(_side(side, walls), knee, run))
        openings, radiators, beams = [], [], []
        along = ("from", "to")
        for given in self.windows:
            side, (low, high, sill, head) = read.sided("--window", given, (*along, "lower edge", "upper edge"), letters)
            openings.append(FirstOpening("window", _side(side, walls), (low, high), (sill, head)))
        for given in self.doors:
            side, (low, high, head) = read.sided("--door", given, (*along, "height"), letters)
            openings.append(FirstOpening("door", _side(side, walls), (low, high), (0.0, head)))
        for given in self.radiators:
            names = (*along, "lower edge", "upper edge", "face from the wall")
            side, (low, high, sill, head, face) = read.sided("--radiator", given, names, letters)
            radiators.append(FirstRadiator(_side(side, walls), (low, high), (sill, head), face))
        for given in self.beams:
            parts = (*along, "underside", "top")[: max(3, len(given) - 1)]
            way, (low, high, under, *top) = read.sided("--beam", given, parts, 0)
            beams.append(FirstBeam(way, (low, high), under, top[0] if top else None))
        if (self.left_monitor is None) != (self.right_monitor is None):
            one, other = ("--left-monitor", "--right-monitor")[:: 1 if self.left_monitor is not None else -1]
            raise SceneError(one, "the other monitor is not given", f"give {other} as well")
        monitors: tuple[tuple[float, float, float | None], ...] | None = None
        if self.left_monitor is not None and self.right_monitor is not None:
            monitors = tuple(
                read.axis(option, given, on_desk=self.monitors_on == "desk")
                for option, given in (("--left-monitor", self.left_monitor), ("--right-monitor", self.right_monitor))
            )
        room = FirstRoom(
            width,
            depth,
            height,
            corner,
            tuple(slopes),
            self.monitors_on.replace("-", " "),
            self.model,
            tuple(openings),
            None if self.second_seat is None else read.point("--second-seat", self.second_seat),
            walls,
            tuple(beams),
            tuple(radiators),
            None if self.seat is None else read.point("--seat", self.seat),
            monitors,
            self._desk(read),
            self._screen(read),
            tape,
        )
        refuse_impossible(room)
        return room

    def _shape(
        self, read: LengthReader
    ) -> tuple[tuple[tuple[str, float, float], ...], tuple[float, float, float], tuple[str, ...]]:
        """Walls of any other outline than a box or L, width, depth and height, and what the tape says of it."""
        ways = {"--box": self.box, "--tape": self.tape, "--corner": self.corners}
        given = [name for name, parts in ways.items() if len(parts)]
        if len(given) != 1:
            found = f"{' and '.join(given)} are given" if given else "nothing gives the shape"
            raise SceneError("the room", found, "give one of --box, --tape and --corner")
        if given != ["--box"] and self.cut_corner is not None:
            raise SceneError("--cut-corner", "it belongs to --box", "leave it out, the outline has all its corners")
        if given == ["--box"]:
            width, depth, height = read.many("--box", self.box, SIZES)
            return (), (width, depth, height), ()
        if not str(self.height).strip():
            raise SceneError("--height", f"it is missing beside {given[0]}", "give the height of the ceiling")
        (height,) = read.many("--height", (self.height,), ("ceiling",))
        balance, lines = self.balance(read.units), list[str]()
        if balance is not None:
            corners = [(float(ahead), float(across)) for ahead, across in balance.corners_m]
            lines = _comment(balance, read.units)
        else:
            corners = []
            for number, one in enumerate(self.corners):
                ahead, across = read.many(f"--corner {LETTERS[number % 26]}", one, POINT[:2])
                corners.append((ahead, across))
        walls = named_walls(corners)
        size = (max(across for _, across in corners), max(ahead for ahead, _ in corners))
        return walls, (size[0], size[1], height), tuple(lines)

    def _desk(self, read: LengthReader) -> FirstDesk | None:
        if self.desk is None:
            return None
        far, near, left, right, top = read.many("--desk", self.desk, ("far edge", "near edge", "left", "right", "top"))
        return FirstDesk((far, near), (left, right), top)

    def _screen(self, read: LengthReader) -> FirstScreen | None:
        if self.screen is None:
            return None
        ahead, across, up, wide, high = read.many("--screen", self.screen, (*POINT, "width", "height"))
        if not (0.1 <= wide <= 3.0 and 0.1 <= high <= 2.0):
            raise SceneError(
                "--screen", f"it is {wide:g} m wide and {high:g} m high", "give width and height of its face"
            )
        return FirstScreen((ahead, across, up), wide, high)

    def options(self, units: str) -> list[str]:
        """The same as words for a command line, for who wants to do it again without being asked."""
        found: list[str] = ["--units", units] * (units != "m")
        for option, parts in (
            ("--box", self.box),
            ("--cut-corner", self.cut_corner),
            ("--tape", self.tape),
            ("--inward", self.inward),
            ("--not-square", self.skew),
            ("--height", (self.height,) if self.height else ()),
        ):
            if parts:
                found += [option, *map(_word, parts)]
        for option, many in (
            ("--corner", self.corners),
            ("--slope", self.slopes),
            ("--beam", self.beams),
            ("--window", self.windows),
            ("--door", self.doors),
            ("--radiator", self.radiators),
            *((name, () if one is None else (one,)) for name, one in self._measured()),
        ):
            found += chain.from_iterable((option, *map(_word, one)) for one in many)
        found += ["--monitors-on", _word(self.monitors_on)] * (self.monitors_on != "stands")
        return found + ["--model", self.model] * (self.model != "5-inch")

    def _measured(self) -> list[tuple[str, Sequence[Text] | None]]:
        return [
            ("--seat", self.seat),
            ("--left-monitor", self.left_monitor),
            ("--right-monitor", self.right_monitor),
            ("--desk", self.desk),
            ("--screen", self.screen),
            ("--second-seat", self.second_seat),
        ]


@lru_cache(maxsize=64)
def _balance(tape: tuple[str, ...], inward: str, skew: str, units: str) -> Balance:
    distances = tuple(tape_reading(text, units) for text in tape)
    count = 1 + max(max(one.start, one.end) for one in distances)
    if count < 3:
        raise SceneError("--tape", "it names fewer than three corners", "give AB=3.41 BC=4.20 CD=3.40 DA=4.22 AC=5.41")
    for corner in range(count):
        if not any(corner in (one.start, one.end) for one in distances):
            raise SceneError(
                "--tape", f"corner {LETTERS[corner]} is in no distance", "letter the corners in order, none left out"
            )
    return balanced(floor_of(count, inward, skew), distances)


def _comment(balance: Balance, units: str) -> list[str]:
    """What was measured and how well it fits, as lines for a scene file."""
    names = reading_names(balance)
    words = [f"{name} {exact_words(one.metres, units)}," for name, one in zip(names, balance.distances, strict=True)]
    lines = ["Measured, corners clockwise from the left end of the front wall:"]
    for word in [*words[:-1], words[-1].removesuffix(",") + "."]:
        if len(lines) > 1 and len(lines[-1]) + len(word) < _WIDEST:
            lines[-1] += f" {word}"
        else:
            lines.append(word)
    return [*lines, *balance_lines(balance, units)]


def _side(side: str, walls: Sequence[tuple[str, float, float]]) -> str:
    """The short name of a wall, whichever way it was given: "left", "right 2", or "cd" from corner C to D."""
    if len(side) == 2 and walls:
        for number, (name, _, _) in enumerate(walls):
            if side.upper() == LETTERS[number % 26] + LETTERS[(number + 1) % len(walls) % 26]:
                return name.replace(" wall", "", 1)
    return side


def _word(text: Text) -> str:
    return str(text).replace(" ", "-") if re.fullmatch(r"[a-z]+ [a-z]+", str(text)) else str(text)
