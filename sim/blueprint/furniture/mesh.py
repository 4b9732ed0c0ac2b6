"""A closed mesh of one's own."""

from __future__ import annotations

from typing import ClassVar, Literal, final

from sim.blueprint.pieces import BearsNothing, MeshFile, Placed, Reading
from sim.blueprint.prisms import Solid
from sim.blueprint.records import MeshFrame, Point


@final
class MeshFurniture(Placed, BearsNothing):
    """A closed mesh of your own; `at` is where its front-left-floor corner stands."""

    rank: ClassVar[int] = 50
    kind: Literal["mesh"]
    name: str
    file: str
    frame: MeshFrame
    at: Point
    repair: bool = False
    material: str = "mdf or veneered board"

    @property
    def mesh(self) -> MeshFile:
        """As `Piece.mesh`."""
        return MeshFile(self.file, self.frame, self.at.coordinates, self.repair)

    def solids(self) -> tuple[Solid, ...]:
        """None: it is a mesh."""
        return ()

    def readings(self) -> tuple[Reading, ...]:
        """As `Piece.readings`; it stands on the floor."""
        return (
            Reading("from_front", "distance from the front wall", ("at", "from_front")),
            Reading("from_left", "distance from the left wall", ("at", "from_left")),
        )

    @property
    def adjustable(self) -> bool:
        """As `Piece.adjustable`."""
        return False

    @property
    def cuttable(self) -> tuple[str, ...]:
        """As `Piece.cuttable`."""
        return ()
