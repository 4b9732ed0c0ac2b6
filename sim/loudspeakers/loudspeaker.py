"""A loudspeaker: what it is made of and what each of its drivers radiates.

The frame of a loudspeaker is (forward, right, up), right-handed, its origin the acoustic axis point on the
baffle; forward is out of the baffle, right is to the right for someone who faces it.  Lengths are in metres.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final, Literal, TypeAlias, get_args

import numpy as np
from numpy.typing import ArrayLike

from sim.answers import Answer
from sim.arrays import ComplexArray, FloatArray
from sim.loudspeakers.directivity_data import DirectivityData
from sim.loudspeakers.driver import Driver
from sim.loudspeakers.drivers import driver_directivity, sphere_radius_of, waveguide_radius
from sim.loudspeakers.loudspeaker_checks import check
from sim.loudspeakers.shares import driver_shares

Kind: TypeAlias = Literal["two-way", "three-way", "coaxial", "point"]

KINDS: Final[tuple[Kind, ...]] = get_args(Kind)
"""Generic kinds: "point" radiates evenly in all directions."""


@dataclass(frozen=True, repr=False)
class Loudspeaker(Answer):
    """Drivers, crossover and cabinet.

    Attributes
    ----------
    name, kind
        What it is called; a generic kind, "measured" or "own drivers".
    drivers
        Its drivers.
    crossovers_hz, slope_db_per_octave
        Where one branch hands over to the next, low to high, and how steeply. Where all drivers have bands of their
        own, the first only tells where they hand over.
    cabinet_size_m
        Width, height, depth of the upright cabinet in metres, or None.
    axis_on_baffle_m
        Acoustic axis point, right and up from the centre of the baffle, in metres.
    flush
        Whether it is built into a wall: nothing is radiated behind.
    mass_kg
        Mass of the whole in kilograms, None where nobody told it.
    data
        What was measured of its drivers.
    notes
        What was assumed, in sentences.

    Raises
    ------
    ValueError
        With a sentence, when a driver does not lie on the baffle, belongs to no branch, has neither a cabinet nor a
        wall round it, or when drivers cancel each other.
    """

    name: str
    kind: str
    drivers: tuple[Driver, ...]
    crossovers_hz: tuple[float, ...] = ()
    slope_db_per_octave: int = 24
    cabinet_size_m: tuple[float, float, float] | None = None
    axis_on_baffle_m: tuple[float, float] = (0.0, 0.0)
    flush: bool = False
    mass_kg: float | None = None
    data: tuple[DirectivityData, ...] = ()
    notes: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        check(self)

    def headline(self) -> str:
        """What it is."""
        drivers = ", ".join(driver.name for driver in self.drivers)
        crossovers = ", ".join(f"{at:g} Hz" for at in self.crossovers_hz)
        return f"{self.name}: {drivers}" + (f"; crossover {crossovers}" if crossovers else "")

    def rows(self) -> list[dict[str, Any]]:
        """One row for each driver: place and size in metres."""
        return [
            {
                "driver": one.name,
                "radius_m": one.radius_m,
                "right_m": one.offset_m[1],
                "up_m": one.offset_m[2],
                "gain_db": one.gain_db,
                "delay_ms": one.delay_ms,
                "inverted": one.inverted,
            }
            for one in self.drivers
        ]

    @property
    def driver_offsets_m(self) -> tuple[tuple[float, float, float], ...]:
        """Place of each driver, (driver, 3), as (forward, right, up) from the acoustic axis point."""
        return tuple(driver.offset_m for driver in self.drivers)

    def radiation(self, directions: ArrayLike, frequencies_hz: ArrayLike, speed_of_sound_m_s: float) -> ComplexArray:
        """What each driver radiates toward each direction, complex, shape (driver, m, f).

        `directions` (m, 3) are unit vectors in the loudspeaker's frame, the same for every driver.  The result
        is share of the signal times directivity, for a loudspeaker that is flat on its axis; it holds no phase for
        the places of the drivers, which whoever adds them up knows from the distances.
        """
        return np.stack(
            [
                self.driver_radiation(index, directions, frequencies_hz, speed_of_sound_m_s)
                for index in range(len(self.drivers))
            ]
        )

    def driver_radiation(
        self, driver_index: int, directions: ArrayLike, frequencies_hz: ArrayLike, speed_of_sound_m_s: float
    ) -> ComplexArray:
        """What one driver radiates toward its own directions (m, 3), complex, shape (m, f)."""
        driver = self.drivers[driver_index]
        frequencies = np.atleast_1d(np.asarray(frequencies_hz, dtype=np.float64))
        ways = np.asarray(directions, dtype=np.float64).reshape(-1, 3)
        radiated: ComplexArray = self.shares(frequencies)[driver_index] * self._directivity(
            driver, ways, frequencies, speed_of_sound_m_s
        )
        return radiated

    def far_pressure(self, directions: ArrayLike, frequencies_hz: ArrayLike, speed_of_sound_m_s: float) -> ComplexArray:
        """Sum of all drivers far away, each with the phase of its place, complex, shape (m, f); 1 on the axis.

        The phase is that beside e^{-jkr} with r counted from the acoustic axis point.
        """
        frequencies = np.atleast_1d(np.asarray(frequencies_hz, dtype=np.float64))
        ways = np.asarray(directions, dtype=np.float64).reshape(-1, 3)
        nearer_m = np.array(self.driver_offsets_m) @ ways.T
        turned = np.exp(2j * np.pi / speed_of_sound_m_s * nearer_m[:, :, None] * frequencies)
        total: ComplexArray = (self.radiation(ways, frequencies, speed_of_sound_m_s) * turned).sum(axis=0)
        return total

    def shares(self, frequencies_hz: FloatArray) -> ComplexArray:
        """What the crossover sends to each driver, complex, shape (driver, f); on the axis they add up to 1 in size."""
        return driver_shares(self.drivers, self.crossovers_hz, self.slope_db_per_octave, frequencies_hz)

    def _directivity(
        self, driver: Driver, directions: FloatArray, frequencies_hz: FloatArray, speed_of_sound_m_s: float
    ) -> ComplexArray:
        if driver.data_number >= 0:
            measured = self.data[driver.data_number].pressure(directions, frequencies_hz)
            if self.flush:
                measured[directions[:, 0] < 0.0] = 0.0
            return measured
        if self.kind == "point" and not self.flush:
            return np.ones((len(directions), len(frequencies_hz)), dtype=np.complex128)
        radius: float | FloatArray = driver.radius_m
        if driver.mouth_radius_m > driver.radius_m:
            radius = waveguide_radius(
                driver.radius_m, driver.mouth_radius_m, driver.coverage_deg, frequencies_hz, speed_of_sound_m_s
            )
        sphere_m = None
        if not self.flush and self.cabinet_size_m is not None:
            sphere_m = sphere_radius_of(self.cabinet_size_m, max(each.reach_m for each in self.drivers))
        return driver_directivity(
            radius, directions[:, 0], frequencies_hz, speed_of_sound_m_s, sphere_radius_m=sphere_m
        )
