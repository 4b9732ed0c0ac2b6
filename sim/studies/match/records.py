"""What was measured, peak by peak, and what the prediction says of each."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, ClassVar

import numpy as np

from sim.answers import Answer, printable
from sim.arrays import FloatArray
from sim.measuring.curves import MeasuredCurves
from sim.responses.records import Results
from sim.studies.match.fitted_records import Correction, SurfaceLevel


@printable
@dataclass(frozen=True, slots=True)
class PeakCandidate:
    """One reflection of the scene that could have made a measured peak.

    Attributes
    ----------
    number, via
        The arrival as in arrivals.csv, and its surfaces in words.
    delay_ms, level_db
        As predicted for the scene as it is drawn: after the direct sound, and broadband re direct.
    misfit_ms, misfit_m, misfit_db
        Measured less predicted: time, the same as length of path, and level.
    left_ms
        What is left of the misfit when the seat is where the measurement puts it.
    cost
        Squares of the misfits in time and level over their errors, added; the least fits best.
    """

    number: int
    via: str
    delay_ms: float
    level_db: float
    misfit_ms: float
    misfit_m: float
    misfit_db: float
    left_ms: float
    cost: float


@printable
@dataclass(frozen=True, slots=True)
class PossibleSpot:
    """A surface on which a reflection of a peak's delay could lie.

    Attributes
    ----------
    surface, owner
        Its name and that of its body.
    points
        (n, 3) in metres: points of the surface for which the way over them is as long as was measured.
    """

    surface: str
    owner: str
    points: FloatArray


@printable
@dataclass(frozen=True, slots=True)
class MeasuredPeak:
    """One peak of a measured energy-time curve.

    Attributes
    ----------
    time_ms, level_db, prominence_db
        After the direct sound, re direct, and over the dips beside it.
    length_m
        Whole length of its way from the loudspeaker to the microphone.
    named
        Whether a reflection of the scene explains it: the first candidate.
    candidates
        The best first.  Empty where nothing is near; those of a peak that is not named do not explain it.
    tied
        How many candidates, from the first, cannot be told apart; 0 where it is not named.
    curve_db
        Highest level of the calculated curve at its time, all that arrives there added up.
    together
        No single reflection names it, but the calculated curve has the same peak: several things together.
    spots
        For a peak that is not named: the surfaces where such a reflection could lie, most points first.
    """

    time_ms: float
    level_db: float
    prominence_db: float
    length_m: float
    named: bool
    candidates: tuple[PeakCandidate, ...]
    tied: int
    curve_db: float
    together: bool
    spots: tuple[PossibleSpot, ...]


@printable
@dataclass(frozen=True, slots=True)
class MissingPeak:
    """A reflection that was predicted and not measured.

    Attributes
    ----------
    number, via
        The arrival as in arrivals.csv, and its surfaces in words.
    delay_ms, level_db
        As predicted.
    highest_db
        Highest level that was measured at its time.
    """

    number: int
    via: str
    delay_ms: float
    level_db: float
    highest_db: float


@printable
@dataclass(frozen=True, slots=True)
class MeasuredDip:
    """A dip of the measured response.

    Attributes
    ----------
    frequency_hz, depth_db
        Where, and how far the twelfth-octave mean lies under the one-octave mean.
    predicted_hz, surface
        The dip of the calculated response next to it, nan where there is none within a sixth of an octave; and the
        surface that makes that, empty for no single cause.
    """

    frequency_hz: float
    depth_db: float
    predicted_hz: float
    surface: str


@printable
@dataclass(frozen=True, slots=True)
class MatchedResponse:
    """One loudspeaker: its measured response against the predicted one.

    Attributes
    ----------
    loudspeaker, listener, file
        Whose sound, where, and the file it was read from.
    curves
        What was measured.
    peaks
        In order of time.
    missing
        Predicted and not measured, the strongest first.
    dips
        Dips of the measured response, the deepest first.
    inverted
        Whether the direct sound begins negative.
    expected
        Numbers of the predicted reflections, and when each arrives in ms if the fit of the scene's numbers is right.
    """

    loudspeaker: str
    listener: str
    file: str
    curves: MeasuredCurves
    peaks: tuple[MeasuredPeak, ...]
    missing: tuple[MissingPeak, ...]
    dips: tuple[MeasuredDip, ...]
    inverted: bool
    expected: tuple[tuple[int, float], ...]


@printable
@dataclass(frozen=True, slots=True)
class SeatShift:
    """Where the microphone was, against the ear of the scene, by the delays of the peaks that are named.

    Attributes
    ----------
    shift_m
        (3,) from the front, from the left, up.
    error_m
        (3,) half of the interval that holds it with 95 %; infinite where the peaks do not tell.
    peaks
        How many peaks it rests on.
    before_ms, after_ms
        Root mean square of their misfits, as drawn and with the shift; those that do not fit count less.
    """

    shift_m: FloatArray
    error_m: FloatArray
    peaks: int
    before_ms: float
    after_ms: float


@dataclass(frozen=True, slots=True, repr=False)
class Match(Answer):
    """Measured responses against a scene.

    Attributes
    ----------
    responses
        One for each file.
    seat
        Where the microphone was.
    correction
        The numbers of the scene as the measured delays have them.
    levels
        What surfaces and panels reflect, as the measured levels have it.
    swapped
        Whether the files fit clearly better the other way round.
    strong_db, strong_ms
        Peaks above this level and no later are what the verdict speaks of.
    results
        The traced scene.
    """

    question: ClassVar[str] = "match"

    responses: tuple[MatchedResponse, ...]
    seat: SeatShift
    correction: Correction
    levels: tuple[SurfaceLevel, ...]
    swapped: bool
    strong_db: float
    strong_ms: float
    results: Results

    def explained(self, response: MatchedResponse) -> int:
        """How many of the peaks that the verdict speaks of are the scene's."""
        return sum(peak.named or peak.together for peak in self.strong(response))

    def strong(self, response: MatchedResponse) -> list[MeasuredPeak]:
        """Peaks that the verdict speaks of."""
        return [one for one in response.peaks if one.level_db >= self.strong_db and one.time_ms <= self.strong_ms]

    def numbers(self, response: MatchedResponse) -> tuple[int, int]:
        """Numbers of the loudspeaker and the listener of a response, as the arrays of the results have them."""
        built = self.results.built
        names = [one.name for one in built.loudspeakers]
        return names.index(response.loudspeaker), built.listener_names.index(response.listener)

    def headline(self) -> str:
        """How many of the strong peaks are as predicted."""
        strong = sum(len(self.strong(one)) for one in self.responses)
        named = sum(self.explained(one) for one in self.responses)
        swapped = "; left and right look swapped" if self.swapped else ""
        return f"{named} of {strong} strong peaks are reflections of the scene{swapped}"

    def rows(self) -> list[dict[str, Any]]:
        """One row for each measured peak: time in ms, level in dB, what it is, misfits in ms, m and dB."""
        found = []
        for one in self.responses:
            for peak in one.peaks:
                best = peak.candidates[0] if peak.named else None
                found.append(
                    {
                        "loudspeaker": one.loudspeaker,
                        "time_ms": peak.time_ms,
                        "level_db": peak.level_db,
                        "prominence_db": peak.prominence_db,
                        "named": peak.named,
                        "number": best.number if best else -1,
                        "via": best.via if best else "",
                        "misfit_ms": best.misfit_ms if best else np.nan,
                        "misfit_m": best.misfit_m if best else np.nan,
                        "misfit_db": best.misfit_db if best else np.nan,
                        "tied": peak.tied,
                        "together": peak.together,
                    }
                )
        return found
