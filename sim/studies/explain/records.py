"""What an explanation of one arrival holds; `sim.studies.explain.explanation` makes it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, ClassVar

from sim.acoustics.bands import Bands
from sim.answers import Answer, Labelled, printable
from sim.arrays import BoolArray, FloatArray
from sim.responses.records import Arrival, Results
from sim.showing.numbers import db_words, hertz
from sim.studies.explain.edge_trial import EdgeTrial
from sim.studies.explain.losses import Loss
from sim.studies.explain.mirror_trial import Remedy
from sim.studies.explain.panel_trial import PanelTrial


@printable
@dataclass(frozen=True, slots=True)
class Aim:
    """A direction against a loudspeaker's axis.

    Attributes
    ----------
    off_axis_deg
        Angle between the two.
    sideways_deg, upward_deg
        Its parts: positive to the seat's right, and upward.
    """

    off_axis_deg: float
    sideways_deg: float
    upward_deg: float


@printable
@dataclass(frozen=True, slots=True)
class MetPanel:
    """A panel that takes part at one surface.

    Attributes
    ----------
    name, material
        What it is called, and what it is of.
    fraction
        (band,) absolute value of its Fresnel fraction at the octaves' middles.
    """

    name: str
    material: str
    fraction: FloatArray


@printable
@dataclass(frozen=True, slots=True)
class Touch:
    """One surface or edge on the way.

    Attributes
    ----------
    kind
        "surface" or "edge".
    name, owner, material
        What it is; an edge has no material.
    facet
        Number of the facet, -1 for an edge.
    point
        (3,) where, for the driver that matters most; for a chain of edges about where.
    angle_deg
        Of a surface: from its normal.  Of an edge: how far the way turns there; 0 goes straight on.
    panels
        Panels that take part.
    """

    kind: str
    name: str
    owner: str
    material: str
    facet: int
    point: FloatArray
    angle_deg: float
    panels: tuple[MetPanel, ...] = ()


@printable
@dataclass(frozen=True, slots=True)
class Furnishing:
    """What would end the path at a piece of furniture: changes by the mirror formula, and what stands on the piece.

    Attributes
    ----------
    turn, surface, owner
        Which surface along the path, its name and that of the piece.
    ways
        The changes.
    carried
        Names of what stands on the piece and would move along.
    edges_now_db
        (band,) level of all edges of the piece together as it stands, dB re direct.
    edges_db
        (change, band) the same after each change, nan where that was not worked out.
    refused
        For each change why it cannot be made, or an empty text.
    """

    turn: int
    surface: str
    owner: str
    ways: tuple[Remedy, ...]
    carried: tuple[str, ...]
    edges_now_db: FloatArray
    edges_db: FloatArray
    refused: tuple[str, ...]


@dataclass(frozen=True, slots=True, repr=False)
class Explanation(Answer):
    """One arrival, told whole.

    Attributes
    ----------
    arrival
        As in the table of arrivals.
    bands, judged
        Octaves, and which of them (band,) the target speaks of above the transition frequency.
    worst
        Number of the octave that is told in full.
    drivers
        (band,) names of the driver that carries each octave of this arrival.
    silent
        Drivers that have no such way.
    points
        (k + 2, 3) corners of the way: driver, touches, ear; dashed through two edges for a chain.
    touches
        What it meets, in order.
    toward_ear, departing
        Where the ear and the way lie off the loudspeaker's axis, for the driver that matters most.
    direct_m
        Length of the direct sound of that driver.
    losses
        Steps from the direct sound to the arrival; they add up to `arrival.level_db`.
    inside_window
        Whether it arrives within the target's window.
    panels, furnishings, edge
        What would remove it, for each kind of thing it meets.
    hidden_by
        Bodies in the way, for a direct sound that is hidden.
    results
        The traced scene that it belongs to.
    """

    question: ClassVar[str] = "explain"

    arrival: Arrival
    bands: Bands
    judged: BoolArray
    worst: int
    drivers: tuple[str, ...]
    silent: tuple[str, ...]
    points: FloatArray
    touches: tuple[Touch, ...]
    toward_ear: Aim
    departing: Aim
    direct_m: float
    losses: tuple[Loss, ...]
    inside_window: bool
    panels: tuple[PanelTrial, ...]
    furnishings: tuple[Furnishing, ...]
    edge: EdgeTrial | None
    hidden_by: tuple[str, ...]
    results: Results

    def headline(self) -> str:
        """Which path it is, how loud, and when."""
        one = self.arrival
        return (
            f"{one.loudspeaker} at the {one.listener}, number {one.number}: {one.via}, {db_words(one.worst_db)} at"
            f" {hertz(one.worst_band_hz)}, {one.main.delay_ms:.1f} ms after the direct sound"
        )

    def rows(self) -> list[dict[str, Any]]:
        """One row for each loss from the direct sound to the arrival, in dB octave by octave; they add up."""
        return [
            {"loss": self.name_of(loss), "kind": loss.kind}
            | {
                f"level_{octave:g}_hz_db": float(level)
                for octave, level in zip(self.bands.nominal_hz, loss.level_db, strict=True)
            }
            for loss in self.losses
        ]

    def _axes(self) -> Mapping[str, tuple[Any, str]]:
        return {"octave": (self.bands.nominal_hz, "Hz"), "direction": (["from_front", "from_left", "up"], "")}

    def _arrays(self) -> Mapping[str, Labelled]:
        return {
            "loss_db": (("loss", "octave"), [loss.level_db for loss in self.losses], "dB"),
            "level_db": (("octave",), self.arrival.level_db, "dB"),
            "corner_m": (("corner", "direction"), self.points, "m"),
        }

    def name_of(self, loss: Loss) -> str:
        """What a step of the ledger is called."""
        if loss.turn >= 0:
            touch = self.touches[loss.turn]
            if loss.kind == "panels":
                return " and ".join(panel.name for panel in touch.panels) or "panels"
            return touch.name if loss.kind == "surface" else f"diffracted at {touch.name}"
        return _STEPS[loss.kind]


_STEPS = {
    "distance": "longer path",
    "radiation": "radiation that way",
    "air": "air",
    "rim": "rim and image together",
    "drivers": "drivers together",
}
