"""A loudspeaker: what it is made of and what each of its drivers radiates.

The frame of a loudspeaker is (forward, right, up), right-handed, its origin the acoustic axis point on the
baffle; forward is out of the baffle, right is to the right for someone who faces it.  Lengths are in metres.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal, TypeAlias, get_args

import numpy as np
from numpy.typing import ArrayLike

from sim.arrays import ComplexArray, FloatArray
from sim.loudspeakers.crossover import branch_responses
from sim.loudspeakers.drivers import driver_directivity

Kind: TypeAlias = Literal["two-way", "three-way", "coaxial", "point"]

KINDS: Final[tuple[Kind, ...]] = get_args(Kind)
"""Generic kinds: "point" radiates evenly in all directions."""


@dataclass(frozen=True)
class Driver:
    """One driver: its branch of the crossover (0 is the lowest), piston radius, and place in the box.

    `offset_m` is (forward, right, up) from the acoustic axis point.  A radius of zero radiates evenly.
    """

    name: str
    way: int
    radius_m: float
    offset_m: tuple[float, float, float]


@dataclass(frozen=True)
class Loudspeaker:
    """Drivers, crossover and box.

    `cabinet_size_m` is (width, height, depth) of the upright box or None; `axis_on_baffle_m` is (right, up) of
    the acoustic axis point from the centre of the baffle.  `flush` means built into a wall: nothing is radiated
    behind.  Raises ValueError, with a sentence, when a driver does not lie on the baffle, belongs to no branch,
    or has neither a box nor a wall round it.
    """

    name: str
    kind: Kind
    drivers: tuple[Driver, ...]
    crossovers_hz: tuple[float, ...] = ()
    slope_db_per_octave: int = 24
    cabinet_size_m: tuple[float, float, float] | None = None
    axis_on_baffle_m: tuple[float, float] = (0.0, 0.0)
    flush: bool = False
    mass_kg: float | None = None

    def __post_init__(self) -> None:
        check(self)

    @property
    def driver_offsets_m(self) -> tuple[tuple[float, float, float], ...]:
        """Place of each driver, (driver, 3), as (forward, right, up) from the acoustic axis point."""
        return tuple(driver.offset_m for driver in self.drivers)

    def radiation(self, directions: ArrayLike, frequencies_hz: ArrayLike, speed_of_sound_m_s: float) -> ComplexArray:
        """What each driver radiates toward each direction, complex, shape (driver, m, f).

        `directions` (m, 3) are unit vectors in the loudspeaker's frame, the same for every driver.  The result
        is crossover branch times directivity, for a loudspeaker that is flat on its axis; it holds no phase for
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
        cosines = np.asarray(directions, dtype=np.float64).reshape(-1, 3)[:, 0]
        branch = branch_responses(self.crossovers_hz, self.slope_db_per_octave, frequencies)[driver.way]
        radiated: ComplexArray = branch * self._directivity(driver, cosines, frequencies, speed_of_sound_m_s)
        return radiated

    def _directivity(
        self, driver: Driver, cosines: FloatArray, frequencies_hz: FloatArray, speed_of_sound_m_s: float
    ) -> FloatArray:
        if self.kind == "point" and not self.flush:
            return np.ones((len(cosines), len(frequencies_hz)))
        width_m = None if self.flush or self.cabinet_size_m is None else self.cabinet_size_m[0]
        return driver_directivity(
            driver.radius_m,
            cosines,
            frequencies_hz,
            speed_of_sound_m_s,
            sphere_radius_m=None if width_m is None else 0.5 * width_m,
        )


def check(loudspeaker: Loudspeaker) -> None:
    """Raise ValueError, with a sentence, when a loudspeaker could not be built."""
    ways = len(loudspeaker.crossovers_hz) + 1
    # The crossover itself is checked by asking it for one frequency.
    branch_responses(loudspeaker.crossovers_hz, loudspeaker.slope_db_per_octave, [1000.0])
    if not loudspeaker.drivers:
        raise ValueError(f"'{loudspeaker.name}' has no driver; give it at least one")
    for driver in loudspeaker.drivers:
        if not 0 <= driver.way < ways:
            raise ValueError(
                f"the {driver.name} of '{loudspeaker.name}' is on branch {driver.way}; "
                f"its crossover has {ways}, counted from 0"
            )
        if not driver.radius_m >= 0.0:
            raise ValueError(
                f"the {driver.name} of '{loudspeaker.name}' has a radius of {driver.radius_m:g} m; give zero or more"
            )
    size_m = loudspeaker.cabinet_size_m
    if size_m is None:
        if not loudspeaker.flush and loudspeaker.kind != "point":
            raise ValueError(f"'{loudspeaker.name}' has no box; give its width, height and depth or mount it flush")
        return
    if not all(length > 0.0 for length in size_m):
        raise ValueError(f"the box of '{loudspeaker.name}' has a side of zero or less; give sizes above zero")
    half_width, half_height = 0.5 * size_m[0], 0.5 * size_m[1]
    for driver in loudspeaker.drivers:
        right = driver.offset_m[1] + loudspeaker.axis_on_baffle_m[0]
        up = driver.offset_m[2] + loudspeaker.axis_on_baffle_m[1]
        spare_m = min(half_width - abs(right), half_height - abs(up)) - driver.radius_m
        if spare_m < -1e-9:
            raise ValueError(
                f"the {driver.name} of '{loudspeaker.name}' sticks out of its baffle by "
                f"{-1000.0 * spare_m:.0f} mm (a baffle {size_m[0]:g} m wide and {size_m[1]:g} m high); "
                "make the driver smaller, bring the drivers closer together or the box larger"
            )
