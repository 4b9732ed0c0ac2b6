"""A scene with another seat than its file has, for a question that is asked once."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from pydantic import ValidationError

from sim.blueprint.reader import SceneFile
from sim.blueprint.records import Point
from sim.blueprint.room import SecondSeat
from sim.errors import SceneError


def with_second_seat(scene: SceneFile, place: Sequence[str]) -> SceneFile:
    """Return the scene with its second seat at a place: from_front, from_left and up as a scene file writes them.

    Bare numbers are in the unit of the scene.  Whether the place is in the air is found when the stage is set.

    Raises
    ------
    SceneError
        If one of the three is no length.
    """
    given = dict(zip(("from_front", "from_left", "up"), (_number(text) for text in place), strict=True))
    try:
        ear = Point.model_validate(given, context={"unit": scene.blueprint.units})
    except ValidationError as fault:
        first = fault.errors()[0]
        key = ".".join(str(part) for part in first["loc"])
        found, _, remedy = str(first["msg"]).removeprefix("Value error, ").partition("; ")
        raise SceneError(f"second seat, {key}", found, remedy or 'give a length such as 2.40 or "240 cm"') from None
    seat = SecondSeat(ear=ear)
    listener = scene.blueprint.listener.model_copy(update={"second_seat": seat})
    where = ", ".join(f"{key} {value:g} m" for key, value in zip(given, ear.coordinates, strict=True))
    return replace(
        scene,
        blueprint=scene.blueprint.model_copy(update={"listener": listener}),
        warnings=(*scene.warnings, f"The second seat ({where}) was given with the command; it is not in the file."),
    )


def _number(text: str) -> float | str:
    try:
        return float(text)
    except ValueError:
        return text
