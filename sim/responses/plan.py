"""A treatment plan as records: the panels, what each buys, what is not reached and why."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, ClassVar

from sim.answers import Answer, Labelled, printable
from sim.arrays import FloatArray
from sim.blueprint.treatment import Panel
from sim.responses.measure import COMPONENTS, Measure
from sim.responses.records import Results


@printable
@dataclass(frozen=True, slots=True)
class PlannedPanel:
    """One panel of a plan.

    Attributes
    ----------
    panel
        As it would be written in a scene file: the plan's scene holds it.
    stock
        Name of the stock panel it is.
    step
        Panels hung together, such as a left and a right one, share a step; steps count from 1 in order of worth.
    gain_db
        By how much its step, after those before it, lowers the measure (`sim.responses.measure`).
    covers
        Words on what it takes care of, such as "left at 4.9 ms: -7 to -18 dB".
    works_from_hz
        Lowest octave from which it takes 6 dB or more off the reflection it is there for; nan when in none.
    """

    panel: Panel
    stock: str
    step: int
    gain_db: float
    covers: tuple[str, ...]
    works_from_hz: float


@printable
@dataclass(frozen=True, slots=True)
class Decay:
    """What a plan does to the decay of the room, by Eyring's formula as `sim.studies.treat.stock` says.

    Attributes
    ----------
    mid_hz
        (band,) middles of the octaves.
    before_s, after_s
        (band,) decay time without and with the panels.
    aim_s
        Nominal mid-band time for the room's volume.
    warnings
        What to mind, in sentences.
    """

    mid_hz: FloatArray
    before_s: FloatArray
    after_s: FloatArray
    aim_s: float
    warnings: tuple[str, ...]


@dataclass(frozen=True, slots=True, repr=False)
class Plan(Answer):
    """Where panels go in one scene, and what that buys; everything was traced again with them.

    Attributes
    ----------
    before
        The scene as it is.
    working
        The scene with every panel in place; its scene file can be written out and traced by itself.
    parked
        The same with movable panels away; None when none is movable.
    panels
        In order of worth.
    measures
        (step + 1) what the bare room is judged by, the room with the first step, with the first two, and so on.
    decay
        Decay before and after.
    no_cure
        One sentence on what no panel can cure.
    equal
        Other plans that are the same within the uncertainty, in words.
    reached
        Sentences on what meets the target now and did not before.
    not_reached
        Sentences on what does not, each with its reason.
    advice
        Where a porous panel works and where a pressure absorber would; left-right differences; what to confirm.
    stopped
        Why there are no more panels.
    cautions
        What to mind when it is built.
    """

    question: ClassVar[str] = "treat"

    before: Results
    working: Results
    parked: Results | None
    panels: tuple[PlannedPanel, ...]
    measures: tuple[Measure, ...]
    decay: Decay
    no_cure: str
    equal: tuple[str, ...]
    reached: tuple[str, ...]
    not_reached: tuple[str, ...]
    advice: tuple[str, ...]
    stopped: str
    cautions: tuple[str, ...]

    def headline(self) -> str:
        """How many panels, and what they do to the measure."""
        number = len(self.panels)
        if not number:
            return f"no panel helps: {self.stopped}"
        before, after = (one.total_db for one in (self.measures[0], self.measures[-1]))
        return (
            f"{number} panel{'s' * (number != 1)}: measure {before:.1f} dB before, {after:.1f} dB with them;"
            f" {len(self.not_reached)} not reached"
        )

    def rows(self) -> list[dict[str, Any]]:
        """One row for each panel, in the order in which they help: spans in metres, reduction in dB."""
        return [
            {
                "step": one.step,
                "panel": one.panel.name,
                "surface": one.panel.surface,
                "stock": one.stock,
                "material": one.panel.material,
                "from_front_m": one.panel.from_front,
                "from_left_m": one.panel.from_left,
                "up_m": one.panel.up,
                "gain_db": one.gain_db,
                "works_from_hz": one.works_from_hz,
            }
            for one in self.panels
        ]

    def _axes(self) -> Mapping[str, tuple[Any, str]]:
        return {
            "loudspeaker": ([one.name for one in self.before.built.loudspeakers], ""),
            "octave": (self.decay.mid_hz, "Hz"),
            "component": (list(COMPONENTS), ""),
        }

    def _arrays(self) -> Mapping[str, Labelled]:
        found = [[one.components[name] for name in COMPONENTS] for one in self.measures]
        return {
            "component_value": (("step", "component"), found, "dB; slope in dB per octave"),
            "measure_db": (("step",), [one.total_db for one in self.measures], "dB"),
            "decay_before_s": (("octave",), self.decay.before_s, "s"),
            "decay_after_s": (("octave",), self.decay.after_s, "s"),
        }
