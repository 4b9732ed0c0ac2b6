"""The scene's numbers before and after a measurement, and what surfaces reflect: given, fitted, and how sure."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy.stats import chi2

from sim.answers import printable
from sim.arrays import BoolArray, FloatArray
from sim.layouts.fields import Path as FieldPath

LEAST_M, LEAST_K = 0.01, 1.0
"""Less is not worth a change of the scene (common practice, no source)."""
OUTWARD: Final = ", outward"
"""Ends the name of a surface that lies along no axis; it is off by how far it has to move away from the air."""
TEMPERATURE_K: Final = 5.0
"""Tolerance of the temperature, as a standard deviation (common practice, no source)."""


@printable
@dataclass(frozen=True, slots=True)
class Quantity:
    """One number of the scene that may be off.

    Attributes
    ----------
    name
        In words: "left, from front", "rear wall", "temperature".
    kind
        "seat", "temperature", "loudspeaker" or "surface".
    path
        Where it stands in the scene; empty where it has no number of its own there.
    given
        In m from where the scene measures, or in degrees Celsius.
    off
        Fitted less given, by as few numbers as explain the delays; 0 for one that is as given.
    likeliest_off
        The same with every number free within its tolerance.
    error
        Half of the interval of 95 % about that.
    tolerance
        Standard deviation of what was known beforehand.
    told
        Whether the data say more of it than was known beforehand.
    """

    name: str
    kind: str
    path: FieldPath
    given: float
    off: float
    likeliest_off: float
    error: float
    tolerance: float
    told: bool

    @property
    def fitted(self) -> float:
        """Its value by the delays."""
        return self.given + self.off

    @property
    def sure_to(self) -> float:
        """Half of an interval about the fitted value that holds all of the one of 95 %."""
        return self.error + abs(self.off - self.likeliest_off)

    @property
    def off_enough(self) -> bool:
        """Whether it is further off than is worth a change; but for the seat, also further than its error."""
        least = LEAST_K if self.kind == "temperature" else LEAST_M
        return abs(self.off) >= (least if self.kind == "seat" else max(least, self.error))


@printable
@dataclass(frozen=True, slots=True)
class Together:
    """Two lengths of which the data tell the sum or the difference better than either.

    Attributes
    ----------
    first, second
        Their names.
    sign
        1.0 for the sum, -1.0 for the difference.
    off, error
        How far that is off, in m, and half of its interval of 95 %.
    """

    first: str
    second: str
    sign: float
    off: float
    error: float


@printable
@dataclass(frozen=True, slots=True)
class Correction:
    """The scene's numbers as the measured delays have them.

    Attributes
    ----------
    quantities
        All that may be off.
    together
        Pairs of which the data tell rather a sum or a difference.
    peaks
        How many named peaks it rests on; 0 where there were too few, and nothing is fitted.
    before_ms, after_ms
        Root mean square of the misfits of their delays as given, and with all fitted.
    written_ms
        The same with only what moved, which is what the corrected scene says.
    delay_error_ms
        Standard error of one delay, by what is left.
    seat_tolerance_m, tape_tolerance_m, temperature_tolerance_k
        Standard deviations of what was known beforehand.
    """

    quantities: tuple[Quantity, ...]
    together: tuple[Together, ...]
    peaks: int
    before_ms: float
    after_ms: float
    written_ms: float
    delay_error_ms: float
    seat_tolerance_m: float
    tape_tolerance_m: float
    temperature_tolerance_k: float = TEMPERATURE_K

    @property
    def moved(self) -> tuple[Quantity, ...]:
        """What the delays put elsewhere; nothing where that brings the delays no nearer than chance does.

        Squares of misfits over their error fall by the number of quantities by chance (chi-squared at 1 %).
        """
        some = tuple(one for one in self.quantities if one.off_enough)
        gained = self.peaks * (self.before_ms**2 - self.written_ms**2) / self.delay_error_ms**2
        return some if some and gained > chi2.ppf(0.99, len(some)) else ()


@printable
@dataclass(frozen=True, slots=True)
class SurfaceLevel:
    """How much more, or less, one surface or panel reflects than the scene says.

    Attributes
    ----------
    surface
        Its name, or that of the panel.
    panel
        Whether it is a panel.
    frequency_hz
        (band,) middles of the octaves.
    more_db, error_db
        (band,) how much more it reflects, in dB for each time it is touched, and half of the interval of 95 %; nan
        where the data do not tell.
    absorption_given, absorption_low, absorption_high
        (band,) as the scene has it, and the ends of the interval by the data; nan for panels, for surfaces in layers,
        whose absorption depends on the angle, and where the data do not tell.
    readings
        (band,) how many levels bear on it.
    """

    surface: str
    panel: bool
    frequency_hz: FloatArray
    more_db: FloatArray
    error_db: FloatArray
    absorption_given: FloatArray
    absorption_low: FloatArray
    absorption_high: FloatArray
    readings: FloatArray

    @property
    def told(self) -> BoolArray:
        """(band,) whether the data tell."""
        return np.asarray(np.isfinite(self.more_db))
