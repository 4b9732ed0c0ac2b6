"""Colours of the report: the same as in the pictures, and told apart by letters and line styles as well."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

LOWEST_DB: Final = -30.0
STEP_DB: Final = 2.5
LEVEL_COLOURS: Final = (
    "#fdebac", "#fec88c", "#fea571", "#fa815f", "#f05f5e", "#d9466b", "#bc3978", "#9c2e7f", "#7e2482", "#601880",
    "#400f74", "#21114e", "#12000f",
)  # fmt: skip
"""Classes of level from -30 dB in steps of 2.5 dB, pale to dark, even in lightness; the last is above 0 dB."""

_LOUDSPEAKERS: Final = (("#0072b2", ""), ("#d55e00", "7 3"), ("#009e73", "2 2"), ("#8c4a79", "9 2 2 2"))
"""Colours that people with any common colour blindness can tell apart (Okabe and Ito, "Color universal design", 2008),
each with the dashes that say the same again."""
_LAYOUTS: Final = (("#1a1a1a", ""), ("#009e73", "7 3"), ("#8c4a79", "2 2"), ("#b07d00", "9 2 2 2"))


@dataclass(frozen=True, slots=True)
class Look:
    """How one loudspeaker or one layout is told from the others, with and without colour."""

    name: str
    letter: str
    colour: str
    dashes: str


def loudspeaker_looks(names: Sequence[str]) -> tuple[Look, ...]:
    """A look for each loudspeaker; letters are first letters where these differ, else A, B, C."""
    letters = [name[:1].upper() for name in names]
    if len(set(letters)) < len(letters) or not all(letter.isalpha() for letter in letters):
        letters = [chr(ord("A") + place % 26) for place in range(len(names))]
    return tuple(
        Look(name, letter, *_LOUDSPEAKERS[place % len(_LOUDSPEAKERS)])
        for place, (name, letter) in enumerate(zip(names, letters, strict=True))
    )


def layout_looks(titles: Sequence[str]) -> tuple[Look, ...]:
    """A look for each layout: A, B, C in the order given."""
    return tuple(
        Look(title, chr(ord("A") + place % 26), *_LAYOUTS[place % len(_LAYOUTS)]) for place, title in enumerate(titles)
    )


def level_colour(level_db: float) -> str:
    """Colour of a level; an empty text below the scale."""
    place = int((level_db - LOWEST_DB) // STEP_DB)
    return LEVEL_COLOURS[min(place, len(LEVEL_COLOURS) - 1)] if place >= 0 else ""
