"""Reflection points for the sheets: which loudspeaker, on which plane, when and how loud."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from ..arrays import FloatArray
from ..responses.results import Results
from .records import Shape

SHAPES: tuple[Shape, ...] = ("circle", "square", "triangle", "diamond")


@dataclass(frozen=True, slots=True, eq=False)
class ReflectionPoint:
    """Where a surface mirrors one driver of a loudspeaker to the ear, once.

    main says that it is the driver that matters most in the target band; delay_ms counts from the direct sound,
    level_db is re direct in the octave band_hz, the worst of the target's.
    """

    loudspeaker: str
    letter: str
    shape: Shape
    driver: str
    main: bool
    facet: int
    plane: int
    surface: str
    place: FloatArray
    delay_ms: float
    level_db: float
    band_hz: float
    fragile: bool


def letters_of(names: Sequence[str]) -> dict[str, str]:
    """First letters ("left" is L) where these differ, else A, B, C."""
    letters = [name[:1].upper() for name in names]
    if len(set(letters)) < len(letters) or not all(letter.isalpha() for letter in letters):
        letters = [chr(ord("A") + number % 26) for number in range(len(names))]
    return dict(zip(names, letters, strict=True))


def reflection_points(results: Results) -> tuple[ReflectionPoint, ...]:
    """All first-order points for the ear; other seats have theirs in the tables."""
    stage = results.stage
    names = [loudspeaker.name for loudspeaker in stage.loudspeakers]
    letters = letters_of(names)
    made = []
    for arrival in results.responses.arrivals:
        if arrival.order != 1 or arrival.bent or arrival.listener != stage.listener_names[0]:
            continue
        for part in arrival.parts:
            facet = int(results.paths.facets[part.path, 0])
            made.append(
                ReflectionPoint(
                    arrival.loudspeaker, letters[arrival.loudspeaker],
                    SHAPES[names.index(arrival.loudspeaker) % len(SHAPES)], part.driver, part is arrival.main, facet,
                    stage.room.facets[facet].plane, stage.room.facets[facet].name, part.points[0], part.delay_ms,
                    arrival.worst_db, arrival.worst_band_hz, part.margin_m < 0.05,
                )
            )  # fmt: skip
    return tuple(made)
