"""What a loudspeaker stands on, and how high that is."""

from __future__ import annotations

from pathlib import Path
from typing import Final

import numpy as np

from sim.arrays import FloatArray
from sim.blueprint.furniture import Furniture
from sim.blueprint.schema import Blueprint, Loudspeaker
from sim.blueprint.sets import whole
from sim.blueprint.units import length_words, small_words
from sim.errors import SceneError
from sim.placement.poses import PlacedLoudspeaker, place

REACH_M = 0.05
"""A desk counts as below a loudspeaker whose axis point is up to this far beyond its edge: boxes lean over edges."""


HEIGHTS_AGREE_M, WEDGE_M = 0.03, 0.15
"""Up to so much between box and stand is not worth a word, and what a wedge of this length lifts when it is tilted (our
choice)."""


OVERHEAD_M: Final = 1.9
"""Beams, lamps and what else is higher than this carries a monitor only where the scene names it (our choice)."""


def support_top_m(blueprint: Blueprint, index: int, record: Loudspeaker) -> float:
    """Height in metres of the surface below a loudspeaker; its own height for one given by position.

    Raises
    ------
    SceneError
        If it is said to stand on a desk, but none is below its acoustic axis point.
    """
    if record.standing == "stand":
        return record.stand_height or 0.0
    if record.standing != "desk":
        return 0.0
    plan = np.array([record.acoustic_axis.from_front, record.acoustic_axis.from_left])
    tables = [item for item in blueprint.furniture if record.stands_on in (None, item.name)]
    tops = [item.top_at(float(plan[0]), float(plan[1])) for item in tables if covers(item, plan)]
    if record.stands_on is None:
        tops = [top for top in tops if top <= OVERHEAD_M]
    if not tops:
        named = f'"{record.stands_on}"' if record.stands_on else "a desk, shelf or bridge"
        raise SceneError(
            f"loudspeakers[{index}].standing",
            f'"{record.name}" stands on {named}, but nothing of the kind is below'
            f" from_front {length_words(float(plan[0]), blueprint.units)},"
            f" from_left {length_words(float(plan[1]), blueprint.units)}",
            'move one of them, or write standing = "stand" with stand_height',
        )
    return max(tops)


def tilt_at_the_ear_deg(blueprint: Blueprint, index: int, folder: Path | None = None) -> float:
    """Tilt at which a loudspeaker points at the ear, positive down.

    A box that stands on something is tilted about its lower edge, which lifts its axis: the angle is then less than
    that of the line from where its axis is now.

    Raises
    ------
    SceneError
        As `support_top_m`, and if the data of its model cannot be read.
    """
    aimed = blueprint.loudspeakers[index].model_copy(update={"tilt_deg": "ear"})
    return place(blueprint, aimed, support_top_m(blueprint, index, aimed), folder).tilt_deg


def covers(item: Furniture, plan: FloatArray) -> bool:
    """Whether the top of a piece of furniture reaches under a plan point (2,), or within 5 cm of it."""
    return item.beyond_m(float(plan[0]), float(plan[1])) <= REACH_M


def overhang_m(blueprint: Blueprint, record: Loudspeaker, middle: FloatArray) -> tuple[float, str]:
    """How far in metres the middle (3,) of a box is beyond what it stands on, and what that is; negative over it."""
    axis = np.array([record.acoustic_axis.from_front, record.acoustic_axis.from_left])
    tables = [item for item in blueprint.furniture if covers(item, axis) and record.stands_on in (None, item.name)]
    return min(((item.beyond_m(float(middle[0]), float(middle[1])), item.name) for item in tables), default=(0.0, ""))


def hovers(blueprint: Blueprint, index: int, corners: FloatArray | None, tilt_deg: float) -> str:
    """Say when a box (8, 3) neither rests on nor is near what it is said to stand on; empty when it does.

    Its height follows from the acoustic axis; stand or desk have their own, and one of the two must be wrong.
    """
    record = blueprint.loudspeakers[index]
    if corners is None or record.standing not in ("stand", "desk"):
        return ""
    lowest, below = float(corners[:, 2].min()), support_top_m(blueprint, index, record) + record.pad
    if abs(lowest - below) <= HEIGHTS_AGREE_M + WEDGE_M * abs(np.sin(np.radians(tilt_deg))):
        return ""
    unit = blueprint.units
    under = "its stand ends" if record.standing == "stand" else "what it stands on ends"
    way = "in the air above it" if lowest > below else "inside it"
    remedy = f"stand_height = {lowest - record.pad:.2f}" if record.standing == "stand" else "the right pad or top"
    return (
        f"{record.name}: by its acoustic axis the cabinet begins at {length_words(lowest, unit)}, but {under} at "
        f"{length_words(below, unit)}, so it would be {small_words(abs(lowest - below), unit)} {way}. Measure "
        f"again: write {remedy} (lengths here in metres), "
        "or another up for acoustic_axis; left out, up follows from what it stands on."
    )


# Loudspeakers in their places.


def placed_loudspeakers(blueprint: Blueprint, folder: Path) -> list[PlacedLoudspeaker]:
    """Place every loudspeaker that plays; data files are looked for in `folder`.

    Raises
    ------
    SceneError
        If one has nothing below it to stand on, or its model cannot be built.
    """
    placed = []
    for index, record in enumerate(blueprint.loudspeakers):
        try:
            placed.append(place(blueprint, record, support_top_m(blueprint, index, record), folder))
        except ValueError as fault:
            found, _, remedy = str(fault).rstrip(".").partition("; ")
            raise SceneError(f"loudspeakers[{index}]", found, remedy or "change the sizes in [models]") from None
    return placed


def silent_loudspeakers(blueprint: Blueprint, folder: Path) -> list[PlacedLoudspeaker]:
    """Place those of other sets, which stand in the room as cabinets and do not play."""
    return placed_loudspeakers(whole(blueprint), folder)[len(blueprint.loudspeakers) :] if blueprint.silent else []
