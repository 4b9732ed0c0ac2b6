"""What two measurements of one room say of its panels and of the person's target."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, ClassVar, Final, Literal

import numpy as np

from sim.answers import Answer, printable
from sim.arrays import FloatArray
from sim.responses.records import Results
from sim.studies.match.records import Match

Judged = Literal["as promised", "less than promised", "nothing", "cannot be told"]
Met = Literal["pass", "fail", "borderline"]
AS_PROMISED: Final = "as promised"
LESS: Final = "less than promised"
NOTHING: Final = "nothing"
UNTOLD: Final = "cannot be told"


@printable
@dataclass(frozen=True, slots=True)
class PanelOctave:
    """What one panel did in one octave.

    Attributes
    ----------
    frequency_hz
        Middle of the octave.
    promised_db
        By how much the scene with the panels has the reflections at it lower than the scene without.
    visible_db
        What is left of that at the microphone, where other reflections arrive while the pulse lasts.
    measured_db, error_db
        By how much they became lower, and half of the interval of 95 %; nan where nothing could be read.
    readings
        How many reflections it rests on.
    verdict
        Measured against visible.
    """

    frequency_hz: float
    promised_db: float
    visible_db: float
    measured_db: float
    error_db: float
    readings: int
    verdict: Judged


@printable
@dataclass(frozen=True, slots=True)
class PanelProof:
    """What one panel did.

    Attributes
    ----------
    panel, surface
        Its name, and the surface it hangs on.
    octaves
        One for each octave of the target band.
    promised_db, visible_db, measured_db, error_db
        Means over the octaves that can be told, weighted by how sure they are; nan where there are none.
    verdict
        Measured against visible.
    """

    panel: str
    surface: str
    octaves: tuple[PanelOctave, ...]
    promised_db: float
    visible_db: float
    measured_db: float
    error_db: float
    verdict: Judged


@printable
@dataclass(frozen=True, slots=True)
class Highest:
    """Highest level inside the window of the target.

    Attributes
    ----------
    level_db, frequency_hz, time_ms
        Re direct sound in its octave, and when; nan where nothing stands out of the direct sound's own pulse.
    via
        The reflection that has its time, or an empty text.
    """

    level_db: float
    frequency_hz: float
    time_ms: float
    via: str


@printable
@dataclass(frozen=True, slots=True)
class TargetProof:
    """One loudspeaker against the target.

    Attributes
    ----------
    loudspeaker, listener
        Whose sound, and where.
    before, after, promised
        Highest levels as measured before and after, and as the scene with the panels has it.
    met
        "borderline" where it is nearer to the target than a level can be read.
    """

    loudspeaker: str
    listener: str
    before: Highest
    after: Highest
    promised: Highest
    met: Met


@dataclass(frozen=True, slots=True, repr=False)
class Proof(Answer):
    """Two measurements of one room against what its panels promised.

    Attributes
    ----------
    panels
        What each did.
    targets
        Each loudspeaker against the target of the scene.
    before, after
        Both measurements against the scene without and with its panels.
    turned_db
        (loudspeaker, band) by how much the direct sound itself changed between the two, octave against octave.
    reading_db
        How well a level is read off.
    """

    question: ClassVar[str] = "proof"

    panels: tuple[PanelProof, ...]
    targets: tuple[TargetProof, ...]
    before: Match
    after: Match
    turned_db: FloatArray
    reading_db: float

    @property
    def results(self) -> Results:
        """The traced scene with its panels."""
        return self.after.results

    @property
    def met(self) -> Met:
        """Whether all loudspeakers meet the target."""
        found = [one.met for one in self.targets]
        return "fail" if "fail" in found else "borderline" if "borderline" in found else "pass"

    def headline(self) -> str:
        """How many panels do what was promised, and whether the target is met."""
        good = sum(one.verdict == AS_PROMISED for one in self.panels)
        return f"{good} of {len(self.panels)} panels do as promised; target: {self.met}"

    def rows(self) -> list[dict[str, Any]]:
        """One row for each panel and octave: promised, visible at the microphone and measured, in dB."""
        return [
            {
                "panel": one.panel,
                "surface": one.surface,
                "octave_hz": each.frequency_hz,
                "promised_db": each.promised_db,
                "visible_db": each.visible_db,
                "measured_db": each.measured_db,
                "error_db": each.error_db,
                "readings": each.readings,
                "verdict": each.verdict,
            }
            for one in self.panels
            for each in one.octaves
        ]

    def strangest_turn(self) -> tuple[str, float, float]:
        """Loudspeaker, octave and dB of the largest change of the direct sound itself."""
        s, band = np.unravel_index(int(np.argmax(np.abs(self.turned_db))), self.turned_db.shape)
        hz = float(self.results.responses.bands.nominal_hz[band])
        return self.after.responses[int(s)].loudspeaker, hz, float(self.turned_db[s, band])
