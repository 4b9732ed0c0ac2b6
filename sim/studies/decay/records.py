"""What is known of the decay of one scene, as records: curves, figures with errors, the target, what to mind.

Axes: (loudspeaker, listener, octave, figure or time); octaves 125 Hz to 8 kHz; figures in the order of
`room_metrics.FIGURES`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, ClassVar, Final

import numpy as np

from sim.acoustics.bands import Bands
from sim.answers import Answer, Labelled, printable
from sim.arrays import BoolArray, FloatArray
from sim.blueprint.reader import SceneFile
from sim.placement.built_scene import BuiltScene
from sim.responses.records import Verdict
from sim.responses.statistical_decay import DiffuseRoom
from sim.showing.numbers import hertz
from sim.studies.decay.room_metrics import FIGURES

SURE: Final = 2.0
"""Standard errors within which a limit must not lie for an answer to count."""


@printable
@dataclass(frozen=True, slots=True)
class RoomDecay:
    """Decay times of the room: means of all loudspeakers and listeners.

    Attributes
    ----------
    t20_s, t20_error_s
        (octave,) T20 and its standard error in seconds.
    t30_s, t30_error_s
        (octave,) T30 and its standard error in seconds.
    """

    t20_s: FloatArray
    t20_error_s: FloatArray
    t30_s: FloatArray
    t30_error_s: FloatArray


@printable
@dataclass(frozen=True, slots=True)
class DecayAim:
    """Decay time of a monitoring room of this volume.

    Attributes
    ----------
    nominal_s
        Nominal time in seconds.
    lower_s, upper_s
        (octave,) what is tolerated, in seconds.
    """

    nominal_s: float
    lower_s: FloatArray
    upper_s: FloatArray


@printable
@dataclass(frozen=True, slots=True)
class OctaveVerdict:
    """T20 of the room in one octave against the tolerance.

    Attributes
    ----------
    octave_hz
        The octave.
    t20_s, error_s
        T20 and its standard error in seconds.
    lower_s, upper_s
        What is tolerated, in seconds.
    answer
        "within", "above", "below", "too close to call" (a limit lies within two standard errors), "not judged by
        rays" (the octave reaches below the transition frequency) or "not known" (the time could not be read).
    """

    octave_hz: float
    t20_s: float
    error_s: float
    lower_s: float
    upper_s: float
    answer: str


@printable
@dataclass(frozen=True, slots=True)
class InitialGap:
    """Time from direct sound to the first specular reflection at or above a level.

    Attributes
    ----------
    loudspeaker, listener
        Whose sound, and where.
    gap_ms
        Infinite if there is none.
    level_db, way
        Level re direct sound of that reflection, and the surfaces it comes via.
    """

    loudspeaker: str
    listener: str
    gap_ms: float
    level_db: float
    way: str


@dataclass(frozen=True, slots=True, repr=False)
class DecayStudy(Answer):
    """Everything about the decay of one scene.

    Attributes
    ----------
    scene, built
        What was asked, and what was built.
    octaves
        125 Hz to 8 kHz.
    seed, order, rays, batches, bin_s, length_s
        How it was traced: images up to `order` mirrors, rays for the rest; `rays` from each loudspeaker.
    wanted_percent, wanted_db
        Standard errors asked for, of T20 and of C50.
    transition_hz, judged
        2000 sqrt(T/V) with the T that the scene tells, else the nominal one, as all questions take it; octaves
        (octave,) that lie above it as a whole.
    figures, errors
        (loudspeaker, listener, octave, figure) and their standard errors; not a number where there is none.
    met
        (loudspeaker, listener, octave) whether both wanted errors were reached.
    time_s, level_db, level_error_db
        (t,) after the direct sound; (loudspeaker, listener, octave, t) what is still to come, re all of it.
    range_db
        (loudspeaker, listener, octave) how far down the curves were followed.
    room, aim, verdicts, diffuse
        Means over the room against the target, and what formulas of the diffuse field say.
    gaps, early, early_rule
        Initial time delay gaps; early mirrored reflections against the scene's target, and against the rule of
        listening rooms: 10 dB under direct sound for 15 ms, 1 to 8 kHz.
    cautions
        What to mind in reading the figures, in sentences.
    """

    question: ClassVar[str] = "decay"

    scene: SceneFile
    built: BuiltScene
    octaves: Bands
    seed: int
    order: int
    rays: int
    batches: int
    bin_s: float
    length_s: float
    wanted_percent: float
    wanted_db: float
    transition_hz: float
    judged: BoolArray
    figures: FloatArray
    errors: FloatArray
    met: BoolArray
    time_s: FloatArray
    level_db: FloatArray
    level_error_db: FloatArray
    range_db: FloatArray
    room: RoomDecay
    aim: DecayAim
    verdicts: tuple[OctaveVerdict, ...]
    diffuse: DiffuseRoom
    gaps: tuple[InitialGap, ...]
    early: tuple[Verdict, ...]
    early_rule: tuple[Verdict, ...]
    cautions: tuple[str, ...]

    def figure(self, name: str) -> tuple[FloatArray, FloatArray]:
        """Values and standard errors (loudspeaker, listener, octave) of one of `FIGURES`."""
        at = FIGURES.index(name)
        return self.figures[..., at], self.errors[..., at]

    def pairs(self) -> list[tuple[int, int, str, str]]:
        """Numbers and names of every loudspeaker and listener."""
        return [
            (s, place, one.name, listener)
            for s, one in enumerate(self.built.loudspeakers)
            for place, listener in enumerate(self.built.listener_names)
        ]

    def headline(self) -> str:
        """Decay time of the middle octaves against the target."""
        middle = [v for v in self.verdicts if 500.0 <= v.octave_hz <= 1000.0]
        reported = ", ".join(
            f"{hertz(v.octave_hz)} {v.t20_s:.2f} s ({v.answer}; {v.lower_s:.2f} to {v.upper_s:.2f} s wanted)"
            for v in middle
        )
        return f"{self.scene.blueprint.title}, T20: {reported}"

    def rows(self) -> list[dict[str, Any]]:
        """One row for each loudspeaker, listener and octave: every figure and its standard error."""
        return [
            {"loudspeaker": name, "listener": listener, "octave_hz": float(octave)}
            | {
                key: float(values[s, place, band, at])
                for at, figure in enumerate(FIGURES)
                for key, values in ((figure, self.figures), (f"{figure}_error", self.errors))
            }
            for s, place, name, listener in self.pairs()
            for band, octave in enumerate(self.octaves.nominal_hz)
        ]

    def _axes(self) -> Mapping[str, tuple[Any, str]]:
        return {
            "loudspeaker": ([one.name for one in self.built.loudspeakers], ""),
            "listener": (list(self.built.listener_names), ""),
            "octave": (self.octaves.nominal_hz, "Hz"),
            "figure": (list(FIGURES), ""),
            "time": (self.time_s, "s"),
        }

    def _arrays(self) -> Mapping[str, Labelled]:
        each = ("loudspeaker", "listener", "octave")
        return {
            "figures": ((*each, "figure"), self.figures, "as named"),
            "errors": ((*each, "figure"), self.errors, "as named"),
            "level_db": ((*each, "time"), self.level_db, "dB"),
            "level_error_db": ((*each, "time"), self.level_error_db, "dB"),
            "t20_s": (("octave",), self.room.t20_s, "s"),
            "t20_error_s": (("octave",), self.room.t20_error_s, "s"),
        }


def sure_above(value: FloatArray, error: FloatArray, limit: float) -> BoolArray:
    """Where a value is above a limit by more than two standard errors."""
    with np.errstate(invalid="ignore"):
        return np.asarray(value - SURE * error > limit)
