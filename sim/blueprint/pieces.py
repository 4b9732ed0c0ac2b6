"""What every piece of furniture answers for itself, so that nobody else has to know which kinds there are.

The abstract methods of `Piece` are questions that a kind cannot leave open: mypy refuses a final record that does, and
so does `sim.blueprint.furniture` when it is loaded.  `Spanned`, `Placed`, `Top` and `BearsNothing` answer what many
kinds answer alike.
"""

from __future__ import annotations

import math
from abc import ABC, abstractmethod
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Annotated, ClassVar, Final, Self, final

from pydantic import Field

from sim.acoustics.layers import PerforatedSheet
from sim.arrays import FloatArray
from sim.blueprint.prisms import Solid
from sim.blueprint.records import MeshFrame, Point, Record, Span

Turn = Annotated[float, Field(ge=-180.0, le=180.0, description="turned about its middle, counter-clockwise from above")]

LEAST_LEFT_M: Final = 0.05
"""No piece is cut to less than this (our choice)."""


@dataclass(frozen=True, slots=True)
class Reading:
    """One length of a piece that a tape measures, and that may be a little off.

    Attributes
    ----------
    name, words
        "listener_edge", and for people "listener-side edge".
    place
        Where it stands in the record: ("from_front", 1).
    lifts
        Whether loudspeakers on the piece rise with it.
    """

    name: str
    words: str
    place: tuple[str | int, ...]
    lifts: bool = False


@dataclass(frozen=True, slots=True)
class Hinge:
    """A top that can be tilted about its listener-side edge, by the key `tilt_deg` of its record.

    Attributes
    ----------
    surface
        Name of the face that tilts.
    tilt_deg, turn_deg
        As it is now.
    height_m
        Of the edge that stays.
    rise_at
        How much higher than that edge the top would be at (from_front, from_left), tilted by a third number in degrees.
    """

    surface: str
    tilt_deg: float
    turn_deg: float
    height_m: float
    rise_at: Callable[[float, float, float], float]


@dataclass(frozen=True, slots=True)
class MeshFile:
    """A mesh that gives a piece its shape.

    Attributes
    ----------
    file
        Its name in the scene's folder.
    frame
        Its unit and axes.
    at_m
        Where its zero point comes to stand: from the front, from the left, up.
    repair
        Whether flipped faces are turned instead of refused.
    """

    file: str
    frame: MeshFrame
    at_m: tuple[float, float, float]
    repair: bool


class Piece(Record, ABC):
    """A piece of furniture, and what is asked of any.

    `mesh`, `face_line`, `stays` and `hinge` have an answer that fits most kinds, which the others replace.
    """

    rank: ClassVar[int] = 100
    """Where the kind stands in lists of kinds: low numbers first."""
    if TYPE_CHECKING:  # each kind says them where they belong among its own keys
        kind: str
        name: str
        material: str

    # its shape

    @abstractmethod
    def solids(self) -> tuple[Solid, ...]:
        """Convex solids that it is made of, closed each, which may touch; none for what is a mesh.

        Raises SceneError where its numbers contradict each other.
        """

    @property
    def mesh(self) -> MeshFile | None:
        """The mesh that it is instead of solids."""
        return None

    @property
    def also_of(self) -> Mapping[str, str]:
        """Materials of single faces besides its own, by the key of the record that says so."""
        return {}

    @property
    def sheets(self) -> Mapping[str, PerforatedSheet]:
        """Perforated sheets with air on both sides among its faces, by the name their material has there."""
        return {}

    # its top: a kind is a `Top` or `BearsNothing`

    @property
    @abstractmethod
    def bears(self) -> bool:
        """Whether loudspeakers may stand on its top."""

    @abstractmethod
    def top_at(self, from_front: float, from_left: float) -> float:
        """Height in metres of its top at the place of the top nearest to a plan point; nan for what bears nothing."""

    @abstractmethod
    def beyond_m(self, from_front: float, from_left: float) -> float:
        """How far in metres a plan point is beyond the nearest edge of its top: negative on it, inf without a top."""

    @property
    @abstractmethod
    def worked_at(self) -> bool:
        """Whether one sits and works at its top: drawings dimension it, a search keeps it within reach."""

    @abstractmethod
    def reach_m(self, from_front: float, from_left: float) -> float:
        """How far in metres an ear in plan is behind the edge of a top it works at; nan where it works at none."""

    # what people measure and look at

    @abstractmethod
    def readings(self) -> tuple[Reading, ...]:
        """What of it a tape measures, in the order of its keys."""

    def face_line(self) -> tuple[FloatArray, FloatArray] | None:
        """Middle of the lower edge (3,) of a face that one looks at, and the way (3,) up to its upper edge."""
        return None

    # what may be changed

    @property
    @abstractmethod
    def adjustable(self) -> bool:
        """Whether one can be told to move, tilt, lower or shrink it against a reflection."""

    @property
    def stays(self) -> str:
        """Why it can neither be moved nor cut, such as "it is a beam"; empty when it can."""
        return ""

    @abstractmethod
    def moved(self, step_m: tuple[float, float, float]) -> Self | None:
        """The piece moved toward the rear, to the right and up; None where its keys cannot tell of that."""

    @property
    @abstractmethod
    def cuttable(self) -> tuple[str, ...]:
        """The spans of it that can be cut shorter."""

    def cut(self, span: str, end: int, by_m: float) -> Self | None:
        """The piece with the lower (0) or upper (1) end of a span cut off; None where that cannot be."""
        if span not in self.cuttable:
            return None
        ends = list(getattr(self, span))
        ends[end] += -by_m if end == 1 else by_m
        return self.model_copy(update={span: tuple(ends)}) if ends[1] - ends[0] > LEAST_LEFT_M else None

    def hinge(self) -> Hinge | None:
        """How its top tilts; None for what has no such top."""
        return None

    def tilted(self, by_deg: float) -> Self | None:
        """The piece with its top tilted further, positive: far edge up; None for what has no hinge."""
        hinge = self.hinge()
        return None if hinge is None else self.model_copy(update={"tilt_deg": hinge.tilt_deg + by_deg})


class BearsNothing(Piece):
    """A piece without a top for loudspeakers or work."""

    @property
    @final
    def bears(self) -> bool:
        """As `Piece.bears`."""
        return False

    def top_at(self, from_front: float, from_left: float) -> float:
        """As `Piece.top_at`."""
        return math.nan

    def beyond_m(self, from_front: float, from_left: float) -> float:
        """As `Piece.beyond_m`."""
        return math.inf

    @property
    def worked_at(self) -> bool:
        """As `Piece.worked_at`."""
        return False

    def reach_m(self, from_front: float, from_left: float) -> float:
        """As `Piece.reach_m`."""
        return math.nan


class Placed(Piece):
    """A piece told by one point, `at`, and sizes of its own."""

    if TYPE_CHECKING:
        at: Point

    def moved(self, step_m: tuple[float, float, float]) -> Self | None:
        """As `Piece.moved`."""
        depth, across, up = step_m
        place = {
            "from_front": self.at.from_front + depth,
            "from_left": self.at.from_left + across,
            "up": self.at.up + up,
        }
        return self.model_copy(update={"at": self.at.model_copy(update=place)})


class Spanned(Piece):
    """A piece told by where it begins and ends in plan."""

    if TYPE_CHECKING:
        from_front: Span
        from_left: Span

    @property
    def edges(self) -> tuple[Reading, ...]:
        """What a tape measures of it in plan; how high it is, each kind adds in its `readings`."""
        return (
            Reading("far_edge", "far edge", ("from_front", 0)),
            Reading("listener_edge", "listener-side edge", ("from_front", 1)),
            Reading("left_end", "left end", ("from_left", 0)),
            Reading("right_end", "right end", ("from_left", 1)),
        )

    def moved(self, step_m: tuple[float, float, float]) -> Self | None:
        """As `Piece.moved`, along the floor: what stands on the floor is not lifted."""
        depth, across, up = step_m
        if up:
            return None
        return self.model_copy(
            update={
                "from_front": tuple(end + depth for end in self.from_front),
                "from_left": tuple(end + across for end in self.from_left),
            }
        )


class Top(Spanned):
    """A piece with a flat top, a rectangle in plan that may be turned about its middle."""

    if TYPE_CHECKING:
        turn_deg: Turn

    @property
    @final
    def bears(self) -> bool:
        """As `Piece.bears`."""
        return True

    def own_plan(self, from_front: float, from_left: float) -> tuple[float, float]:
        """A plan point as it would be from_front and from_left if the piece were turned back."""
        middle = (0.5 * sum(self.from_front), 0.5 * sum(self.from_left))
        depth, across = from_front - middle[0], from_left - middle[1]
        cosine, sine = math.cos(math.radians(self.turn_deg)), math.sin(math.radians(self.turn_deg))
        return middle[0] + cosine * depth + sine * across, middle[1] - sine * depth + cosine * across

    def beyond_m(self, from_front: float, from_left: float) -> float:
        """As `Piece.beyond_m`."""
        depth, across = self.own_plan(from_front, from_left)
        (far, near), (left, right) = self.from_front, self.from_left
        return max(far - depth, depth - near, left - across, across - right)

    def reach_m(self, from_front: float, from_left: float) -> float:
        """As `Piece.reach_m`: the ear is behind its middle and between its ends; nan also for a turned piece."""
        before = self.from_left[0] <= from_left <= self.from_left[1] and 0.5 * sum(self.from_front) < from_front
        return from_front - self.from_front[1] if self.worked_at and not self.turn_deg and before else math.nan
