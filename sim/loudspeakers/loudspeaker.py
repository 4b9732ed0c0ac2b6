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
from sim.loudspeakers.crossover import band_response, branch_responses
from sim.loudspeakers.directivity_data import DirectivityData
from sim.loudspeakers.drivers import driver_directivity, sphere_radius_of, waveguide_radius

Kind: TypeAlias = Literal["two-way", "three-way", "coaxial", "point"]

KINDS: Final[tuple[Kind, ...]] = get_args(Kind)
"""Generic kinds: "point" radiates evenly in all directions."""

MOST_LIFT_DB: Final = 12.0
"""What drivers of one's own leave on the axis is made flat, but lifted by no more than this."""
FLAT_FROM_HZ: Final = 100.0
FLAT_TO_HZ: Final = 16000.0
"""Where drivers of one's own may not cancel each other on the axis."""


@dataclass(frozen=True)
class Driver:
    """One driver: its share of the signal, its size, and its place in the box.

    `way` is its branch of the loudspeaker's crossover (0 is the lowest), unless it has a band of its own: with
    `own_band`, `from_hz` (0 is an open end) to `to_hz` (infinite is an open end) at `slope_db_per_octave`; drivers with
    the same band share it evenly.
    `gain_db`, `delay_ms` and `inverted` come on top.  `offset_m` is (forward, right, up) from the acoustic axis
    point.  A radius of zero radiates like a point on the box.  With a waveguide, `mouth_radius_m` and `coverage_deg`
    (between the directions at -6 dB) say how it beams.  Data replace the model by what was measured: number
    `data_number` of the loudspeaker's data, -1 for none.
    """

    name: str
    way: int
    radius_m: float
    offset_m: tuple[float, float, float]
    own_band: bool = False
    from_hz: float = 0.0
    to_hz: float = np.inf
    slope_db_per_octave: int = 24
    gain_db: float = 0.0
    delay_ms: float = 0.0
    inverted: bool = False
    mouth_radius_m: float = 0.0
    coverage_deg: float = 90.0
    data_number: int = -1

    @property
    def reach_m(self) -> float:
        """Radius of what it takes up on the baffle."""
        return max(self.radius_m, self.mouth_radius_m)

    @property
    def is_adjusted(self) -> bool:
        """Whether its share is anything else than a branch of the loudspeaker's crossover."""
        return self.own_band or self.gain_db != 0.0 or self.delay_ms != 0.0 or self.inverted


@dataclass(frozen=True)
class Loudspeaker:
    """Drivers, crossover and box.

    Where all drivers have bands of their own, `crossovers_hz` only tells where one hands over to the next.
    `cabinet_size_m` is (width, height, depth) of the upright box or None; `axis_on_baffle_m` is (right, up) of
    the acoustic axis point from the centre of the baffle.  `flush` means built into a wall: nothing is radiated
    behind.  `data` holds what was measured of its drivers, `notes` what was assumed.  Raises ValueError, with a
    sentence, when a driver does not lie on the baffle, belongs to no branch, has neither a box nor a wall round it,
    or when drivers cancel each other.
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
        if not any(driver.is_adjusted for driver in self.drivers):
            branches = branch_responses(self.crossovers_hz, self.slope_db_per_octave, frequencies_hz)
            return branches[[driver.way for driver in self.drivers]]
        shares = _adjusted_shares(self, frequencies_hz)
        on_axis = np.maximum(np.abs(shares.sum(axis=0)), 10.0 ** (-MOST_LIFT_DB / 20.0))
        flat: ComplexArray = shares / on_axis
        return flat

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


def _adjusted_shares(loudspeaker: Loudspeaker, frequencies_hz: FloatArray) -> ComplexArray:
    """What each driver is sent before the sum on the axis is made flat, complex, shape (driver, f)."""
    branches = None
    if not all(driver.own_band for driver in loudspeaker.drivers):
        branches = branch_responses(loudspeaker.crossovers_hz, loudspeaker.slope_db_per_octave, frequencies_hz)
    bands = [(each.from_hz, each.to_hz, each.slope_db_per_octave) for each in loudspeaker.drivers if each.own_band]
    rows = []
    for driver in loudspeaker.drivers:
        if branches is None or driver.own_band:
            band = (driver.from_hz, driver.to_hz, driver.slope_db_per_octave)
            share = band_response(*band, frequencies_hz) / bands.count(band)
        else:
            share = branches[driver.way]
        turned = -2j * np.pi * frequencies_hz * driver.delay_ms * 1e-3
        gain = 10.0 ** (driver.gain_db / 20.0) * (-1.0 if driver.inverted else 1.0)
        rows.append(gain * share * np.exp(turned))
    return np.stack(rows)


def check(loudspeaker: Loudspeaker) -> None:
    """Raise ValueError, with a sentence, when a loudspeaker could not be built."""
    ways = len(loudspeaker.crossovers_hz) + 1
    if not all(driver.own_band for driver in loudspeaker.drivers):
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
    _check_sum(loudspeaker)
    size_m = loudspeaker.cabinet_size_m
    if size_m is None:
        modelled = any(driver.data_number < 0 for driver in loudspeaker.drivers)
        if modelled and not loudspeaker.flush and loudspeaker.kind != "point":
            raise ValueError(f"'{loudspeaker.name}' has no box; give its width, height and depth or mount it flush")
        return
    if not all(length > 0.0 for length in size_m):
        raise ValueError(f"the box of '{loudspeaker.name}' has a side of zero or less; give sizes above zero")
    half_width, half_height = 0.5 * size_m[0], 0.5 * size_m[1]
    for driver in loudspeaker.drivers:
        right = driver.offset_m[1] + loudspeaker.axis_on_baffle_m[0]
        up = driver.offset_m[2] + loudspeaker.axis_on_baffle_m[1]
        spare_m = min(half_width - abs(right), half_height - abs(up)) - driver.reach_m
        if spare_m < -1e-9:
            raise ValueError(
                f"the {driver.name} of '{loudspeaker.name}' sticks out of its baffle by "
                f"{-1000.0 * spare_m:.0f} mm (a baffle {size_m[0]:g} m wide and {size_m[1]:g} m high); "
                "make the driver smaller, bring the drivers closer together or the box larger"
            )


def _check_sum(loudspeaker: Loudspeaker) -> None:
    """Refuse drivers that cancel each other on the axis: no maker could equalise that."""
    if not any(driver.is_adjusted for driver in loudspeaker.drivers):
        return
    frequencies = np.geomspace(FLAT_FROM_HZ, FLAT_TO_HZ, 400)
    shares = _adjusted_shares(loudspeaker, frequencies)
    alone, together = np.abs(shares).max(axis=0), np.abs(shares.sum(axis=0))
    missing = 20.0 * np.log10(np.maximum(together, 1e-9) / np.maximum(alone, 1e-9))
    worst = int(np.argmin(missing))
    if missing[worst] < -MOST_LIFT_DB:
        raise ValueError(
            f"the drivers of '{loudspeaker.name}' cancel each other on the axis at {frequencies[worst]:.0f} Hz; "
            "turn the polarity of one of them, or change its delay_ms"
        )
