"""Orientations to compare: by how much each loudspeaker is rolled, and where its acoustic axis then is.

One is given for the loudspeakers left of the seat; those on the right are its mirror images, so that "left" and
"right" mean top outward and top inward for a pair.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Final, Literal, TypeAlias

import numpy as np

from sim.answers import printable
from sim.blueprint.records import AxisPoint
from sim.blueprint.schema import Blueprint
from sim.blueprint.schema import Loudspeaker as LoudspeakerRecord
from sim.errors import SceneError
from sim.placement.poses import PlacedLoudspeaker, place
from sim.placement.supports import support_top_m

Keep: TypeAlias = Literal["axis", "support"]
NAMED: Final[dict[str, tuple[str, float]]] = {
    "upright": ("upright", 0.0),
    "inverted": ("inverted", 180.0),
    "left": ("on its left side", -90.0),
    "right": ("on its right side", 90.0),
    "out": ("top outward", -90.0),
    "in": ("top inward", 90.0),
}
USUAL: Final = "upright,inverted,left,right"
SETTLED_M: Final = 1e-10


@printable
@dataclass(frozen=True, slots=True)
class Orientation:
    """An orientation.

    Attributes
    ----------
    name
        What people call it.
    roll_deg
        Roll of the loudspeakers left of the seat; those on the right are their mirror images.
    """

    name: str
    roll_deg: float


def read_orientations(text: str = USUAL) -> tuple[Orientation, ...]:
    """Read "upright,inverted,left,right,out,in" or rolls in degrees ("30"), each once, the first being the reference.

    Raises
    ------
    SceneError
        If one is not understood, or there is none.
    """
    orientations: dict[float, Orientation] = {}
    for word in (part.strip() for part in text.split(",")):
        if not word:
            continue
        if word in NAMED:
            orientation = Orientation(*NAMED[word])
        else:
            try:
                roll = (float(word) + 180.0) % 360.0 - 180.0
            except ValueError:
                roll = float("nan")
            if not np.isfinite(roll):
                raise SceneError(
                    "--orientations",
                    f'"{word}" is no orientation',
                    f"choose from {', '.join(NAMED)}, or give a roll in degrees",
                )
            orientation = Orientation(f"rolled by {roll:g} degrees", roll)
        orientations.setdefault(orientation.roll_deg % 360.0, orientation)
    if not orientations:
        raise SceneError("--orientations", "there is none", f"write it like {USUAL}")
    return tuple(orientations.values())


def oriented(blueprint: Blueprint, orientation: Orientation, keep: Keep, folder: Path | None = None) -> Blueprint:
    """The scene with every loudspeaker in an orientation.

    With keep "axis" the acoustic axis point stays where it is.  With "support" the box stays on what it stands on: its
    lowest corner keeps its height and the middle of the box its place in plan; the axis point follows.  Aiming at the
    ear stays aiming.  A loudspeaker without a box of its own keeps its axis.  `folder` is the scene's.

    Raises
    ------
    SceneError
        If a loudspeaker stands on nothing.
    """
    turned = []
    for index, record in enumerate(blueprint.loudspeakers):
        now = place(blueprint, record, support_top_m(blueprint, index, record), folder)
        roll = -orientation.roll_deg if now.side == "right" else orientation.roll_deg
        there = _turned(record, roll, now.axis_point)
        if keep == "support":
            there = _on_its_support(blueprint, there, now, folder)
        turned.append(there)
    return blueprint.model_copy(update={"loudspeakers": tuple(turned)})


def _on_its_support(
    blueprint: Blueprint, record: LoudspeakerRecord, now: PlacedLoudspeaker, folder: Path | None
) -> LoudspeakerRecord:
    stood = now.corners
    if stood is None:
        return record
    wanted = np.array([*stood.mean(axis=0)[:2], stood[:, 2].min()])
    point = np.array(now.axis_point)
    for _ in range(50):  # the aim at the ear changes a little as the axis point moves
        corners = place(blueprint, record, 0.0, folder).corners
        if corners is None:
            return record
        off = wanted - np.array([*corners.mean(axis=0)[:2], corners[:, 2].min()])
        if float(np.abs(off).max()) < SETTLED_M:
            break
        point = point + off
        record = _turned(record, record.roll_deg, point)
    return record


def _turned(record: LoudspeakerRecord, roll_deg: float, point: np.ndarray) -> LoudspeakerRecord:
    depth, across, up = (float(value) for value in point)
    return record.model_copy(
        update={"roll": roll_deg, "acoustic_axis": AxisPoint(from_front=depth, from_left=across, up=up)}
    )
