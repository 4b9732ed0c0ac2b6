"""Texts that a person typed as options or answers, made lengths and corners; complaints name the option."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Final, TypeAlias

from sim.blueprint.units import UNIT_M
from sim.errors import SceneError
from sim.surveying.tape.balance_words import LETTERS
from sim.surveying.tape.equations import Distance, Floor
from sim.surveying.tape.readings import reading_to_metres

Text: TypeAlias = str | float
POINT: Final = ("from_front", "from_left", "up")
_PAIR: Final = re.compile(r"\s*([a-zA-Z])\s*-?\s*([a-zA-Z])\s*[=:\s]\s*(.+)")


class LengthReader:
    """Reads typed lengths; its complaints name the option."""

    def __init__(self, units: str) -> None:
        self.units = units

    def many(self, option: str, texts: Sequence[Text], names: Sequence[str]) -> list[float]:
        """Several lengths, each with its name."""
        if len(texts) != len(names):
            raise SceneError(option, f"it has {len(texts)} parts", f"give {len(names)}: {', '.join(names)}")
        return [metres(f"{option}, {name}", text, self.units) for name, text in zip(names, texts, strict=True)]

    def point(self, option: str, texts: Sequence[Text]) -> tuple[float, float, float]:
        """A point: from_front, from_left, up."""
        ahead, across, up = self.many(option, texts, POINT)
        return ahead, across, up

    def axis(self, option: str, texts: Sequence[Text], *, on_desk: bool) -> tuple[float, float, float | None]:
        """A point, whose height may be left out on a desk."""
        if on_desk and len(texts) == 2:
            ahead, across = self.many(option, texts, POINT[:2])
            return ahead, across, None
        return self.point(option, texts)

    def sided(self, option: str, texts: Sequence[Text], names: Sequence[str], letters: int) -> tuple[str, list[float]]:
        """A word and lengths; with letters, "cd" is the wall from C to D."""
        if len(texts) != len(names) + 1:
            parts = ", ".join(("side", *names))
            raise SceneError(option, f"it has {len(texts)} parts", f"give {len(names) + 1}: {parts}")
        side = " ".join(str(texts[0]).lower().replace("-", " ").split()).replace(" wall", "", 1)
        return side, self.many(f"{option} {side}", texts[1:], names)


def metres(name: str, text: Text, units: str) -> float:
    """A typed length in metres; raises SceneError that says whose it is."""
    try:
        return float(text) * UNIT_M[units]
    except ValueError:
        pass
    try:
        return reading_to_metres(str(text), units)
    except ValueError as fault:
        found, _, remedy = str(fault).partition("; ")
        raise SceneError(name, found, remedy) from fault


def tape_reading(text: str, units: str) -> Distance:
    """Return a distance between two corners as typed: "AC=5.41", "AC 5.41", "a-c 17 ft 9 in".

    Raises
    ------
    SceneError
        If it is none.
    """
    parts = _PAIR.fullmatch(text)
    if parts is None or parts[1].upper() == parts[2].upper():
        raise SceneError("--tape", f'"{text}" is not a distance between two corners', "write AC=5.41, or AC 5.41")
    start, end = (LETTERS.index(parts[number].upper()) for number in (1, 2))
    length = metres(f"--tape {parts[1]}{parts[2]}".upper().replace("--TAPE", "--tape"), parts[3], units)
    if not 0.05 <= length <= 60.0:
        raise SceneError("--tape", f"{parts[1]}{parts[2]} is {length:g} m", "give 0.05 m to 60 m, and check the unit")
    return Distance(start, end, length)


def named_reading(text: str) -> tuple[str, str]:
    """Return what was measured and its length, as typed: "width=3.40", "left wall to right wall=12 ft 1 in".

    Raises
    ------
    SceneError
        If either is missing.
    """
    what, _, length = (part.strip() for part in text.rpartition("="))
    if not what or not length:
        raise SceneError("--tape", f'"{text}" is no reading', 'write what was measured and its length: "width=3.40"')
    return what, length


def corner_letters(option: str, text: str, count: int) -> frozenset[int]:
    """Return corners by their letters: "D", "C D", "c,d"; raises SceneError for what is none of the first `count`."""
    found = set()
    for letter in re.sub(r"[\s,]+", "", text).upper():
        if letter not in LETTERS[:count]:
            raise SceneError(option, f'"{letter}" is no corner', f"corners are {LETTERS[0]} to {LETTERS[count - 1]}")
        found.add(LETTERS.index(letter))
    return frozenset(found)


def floor_of(count: int, inward: str, skew: str) -> Floor:
    """Return what is known of an outline besides distances; raises SceneError for what is no corner."""
    return Floor(count, corner_letters("--inward", inward, count), corner_letters("--not-square", skew, count))
