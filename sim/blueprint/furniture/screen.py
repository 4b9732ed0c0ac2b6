"""A flat screen."""

from __future__ import annotations

from typing import ClassVar, Literal, final

import numpy as np
from pydantic import Field

from sim.arrays import FloatArray
from sim.blueprint.pieces import BearsNothing, Placed, Reading, Turn
from sim.blueprint.prisms import Solid, turned
from sim.blueprint.records import Point
from sim.blueprint.units import PositiveLength


@final
class Screen(Placed, BearsNothing):
    """A flat screen; `at` is the middle of the lower edge of its face."""

    rank: ClassVar[int] = 30
    kind: Literal["screen"]
    name: str = "screen"
    at: Point
    width: PositiveLength
    height: PositiveLength
    thickness: PositiveLength = 0.04
    tilt_deg: float = Field(default=0.0, ge=-45.0, le=45.0, description="positive: the face looks up")
    turn_deg: Turn = Field(default=0.0, description="positive: counter-clockwise from above")
    material: str = "heavy glass"

    def readings(self) -> tuple[Reading, ...]:
        """As `Piece.readings`."""
        return (
            Reading("from_front", "distance from the front wall", ("at", "from_front")),
            Reading("from_left", "distance from the left wall", ("at", "from_left")),
            Reading("up", "height", ("at", "up")),
        )

    def face_line(self) -> tuple[FloatArray, FloatArray]:
        """As `Piece.face_line`: the face leans back by its tilt, away from the listener, who is toward the rear."""
        tilt, turn = np.radians(self.tilt_deg), np.radians(self.turn_deg)
        along = np.array([-np.sin(tilt) * np.cos(turn), -np.sin(tilt) * np.sin(turn), np.cos(tilt)]) * self.height
        return np.array(self.at.coordinates), along

    @property
    def adjustable(self) -> bool:
        """As `Piece.adjustable`."""
        return True

    @property
    def cuttable(self) -> tuple[str, ...]:
        """As `Piece.cuttable`."""
        return ()

    def solids(self) -> tuple[Solid, ...]:
        """Build the slab behind the face; `at`, the middle of the face's lower edge, stays where it is."""
        tilt = np.radians(self.tilt_deg)
        facing = np.array([np.cos(tilt), 0.0, np.sin(tilt)])
        rising = np.array([-np.sin(tilt), 0.0, np.cos(tilt)])
        at = np.array(self.at.coordinates)
        half = np.array([0.0, 0.5 * self.width, 0.0])
        behind = -self.thickness * facing
        lower = np.stack([at - half + behind, at + half + behind, at + half, at - half])
        corners = np.concatenate([lower, lower + self.height * rising])
        sides = {"listener side": "face", "far side": "back"}
        return (Solid(self.name, turned(corners, at[:2], self.turn_deg), sides),)
