"""A loudspeaker: its drivers and what they radiate, its cabinet, and what makes one impossible."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, ClassVar, Final, Literal, TypeAlias, get_args

import numpy as np
from numpy.typing import ArrayLike

from sim.answers import Answer
from sim.arrays import ComplexArray, FloatArray, KeptFor, frozen
from sim.loudspeakers.box_directivity import box_directivity
from sim.loudspeakers.box_tables import TENTH_MM, BoxedDriver, ready
from sim.loudspeakers.directivity_data import DirectivityData
from sim.loudspeakers.pistons import driver_in_wall, waveguide_radius
from sim.loudspeakers.signal import MOST_LIFT_DB, Driver, adjusted_fractions, branch_responses, driver_fractions
from sim.progress import Report, say_nothing

FLAT_FROM_HZ: Final = 100.0
FLAT_TO_HZ: Final = 16000.0
"""Where drivers of one's own may not cancel each other on the axis."""
ON_WALL: Final = 1e-9
"""Cosine from the wall's normal up to which rounding may put a direction in the plane of the wall."""
DEEPEST_GAP_DB: Final = 18.0
"""Between the bands of neighbours at least one driver has to be this near to its full level."""


def check(loudspeaker: Loudspeaker) -> None:
    """Raise ValueError, with a sentence, when a loudspeaker could not be built."""
    _check_drivers(loudspeaker)
    _check_sum(loudspeaker)
    _check_baffle(loudspeaker)


def _check_drivers(loudspeaker: Loudspeaker) -> None:
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
        if 0.0 < driver.mouth_radius_m < driver.radius_m:
            raise ValueError(
                f"the waveguide of the {driver.name} of '{loudspeaker.name}' is {2000 * driver.mouth_radius_m:.0f} mm "
                f"wide, narrower than the driver ({2000 * driver.radius_m:.0f} mm); give the diameter of its mouth"
            )


def _check_baffle(loudspeaker: Loudspeaker) -> None:
    size_m = loudspeaker.cabinet_size_m
    if size_m is None:
        modelled = any(driver.data_number < 0 for driver in loudspeaker.drivers)
        if modelled and not loudspeaker.flush and loudspeaker.kind != "point":
            raise ValueError(f"'{loudspeaker.name}' has no cabinet; give its width, height and depth or mount it flush")
        return
    if not all(length > 0.0 for length in size_m):
        raise ValueError(f"the cabinet of '{loudspeaker.name}' has a side of zero or less; give sizes above zero")
    half_width, half_height = 0.5 * size_m[0], 0.5 * size_m[1]
    right, up = loudspeaker.axis_on_baffle_m
    outside_m = max(abs(right) - half_width, abs(up) - half_height)
    if outside_m > 1e-9:
        raise ValueError(
            f"the acoustic axis point of '{loudspeaker.name}' lies {1000.0 * outside_m:.0f} mm outside its front "
            f"({size_m[0]:g} m wide and {size_m[1]:g} m high); correct its place, or the cabinet"
        )
    for driver in loudspeaker.drivers:
        right = driver.offset_m[1] + loudspeaker.axis_on_baffle_m[0]
        up = driver.offset_m[2] + loudspeaker.axis_on_baffle_m[1]
        spare_m = min(half_width - abs(right), half_height - abs(up)) - driver.reach_m
        if spare_m < -1e-9:
            raise ValueError(
                f"the {driver.name} of '{loudspeaker.name}' sticks out of its baffle by "
                f"{-1000.0 * spare_m:.0f} mm (a baffle {size_m[0]:g} m wide and {size_m[1]:g} m high); "
                "make the driver smaller, bring the drivers closer together or the cabinet larger"
            )


def _check_sum(loudspeaker: Loudspeaker) -> None:
    """Refuse drivers that cancel each other on the axis, or leave a gap: no maker could equalise that."""
    if not any(driver.is_adjusted for driver in loudspeaker.drivers):
        return
    frequencies = np.geomspace(FLAT_FROM_HZ, FLAT_TO_HZ, 400)
    fractions = adjusted_fractions(
        loudspeaker.drivers, loudspeaker.crossovers_hz, loudspeaker.slope_db_per_octave, frequencies
    )
    alone, together = np.abs(fractions).max(axis=0), np.abs(fractions.sum(axis=0))
    missing = 20.0 * np.log10(np.maximum(together, 1e-9) / np.maximum(alone, 1e-9))
    worst = int(np.argmin(missing))
    if missing[worst] < -MOST_LIFT_DB:
        raise ValueError(
            f"the drivers of '{loudspeaker.name}' cancel each other on the axis at {frequencies[worst]:.0f} Hz; "
            "turn the polarity of one of them, or change its delay_ms or its band"
        )
    if not all(driver.own_band for driver in loudspeaker.drivers):
        return
    lowest = min(driver.from_hz for driver in loudspeaker.drivers)
    highest = max(driver.to_hz for driver in loudspeaker.drivers)
    within = (frequencies > lowest) & (frequencies < highest)  # a loudspeaker may end where its outer drivers end
    level = 20.0 * np.log10(np.maximum(np.where(within, alone, alone.max()), 1e-9) / alone.max())
    worst = int(np.argmin(level))
    if level[worst] < -DEEPEST_GAP_DB:
        raise ValueError(
            f"no driver of '{loudspeaker.name}' plays at {frequencies[worst]:.0f} Hz, the loudest is "
            f"{-level[worst]:.0f} dB down; let the bands of neighbours meet"
        )


# A loudspeaker: what it is made of and what each of its drivers radiates.
#
# The frame of a loudspeaker is (forward, right, up), right-handed, its origin the acoustic axis point on the
# baffle; forward is out of the baffle, right is to the right for someone who faces it.  Lengths are in metres.

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
        Whether it is built into a wall: nothing is radiated behind the wall.
    wall_normal
        Of one built into a wall: (forward, right, up) unit vector out of that wall, in the loudspeaker's own frame. A
        loudspeaker that is toed in or tilted faces elsewhere than its wall.
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

    question: ClassVar[str] = "loudspeaker"

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
    wall_normal: tuple[float, float, float] = (1.0, 0.0, 0.0)

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
        radiated: ComplexArray = self.fractions(frequencies)[driver_index] * self._directivity(
            driver, ways, frequencies, speed_of_sound_m_s
        )
        return radiated

    def directivity(self, directions: ArrayLike, frequencies_hz: ArrayLike, speed_of_sound_m_s: float) -> ComplexArray:
        """What each driver radiates toward each direction over what it does straight ahead, complex, (driver, m, f)."""
        frequencies = np.atleast_1d(np.asarray(frequencies_hz, dtype=np.float64))
        ways = np.asarray(directions, dtype=np.float64).reshape(-1, 3)
        return np.stack([self._directivity(driver, ways, frequencies, speed_of_sound_m_s) for driver in self.drivers])

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

    def fractions(self, frequencies_hz: FloatArray) -> ComplexArray:
        """What the crossover sends to each driver, complex, shape (driver, f); on the axis they add up to 1 in size."""
        packed, known = frequencies_hz.tobytes(), _fractions.find(self)
        if known is None or known[0] != packed:
            found = driver_fractions(self.drivers, self.crossovers_hz, self.slope_db_per_octave, frequencies_hz)
            known = _fractions.keep((packed, frozen(found)), self)
        return known[1]

    def _directivity(
        self, driver: Driver, directions: FloatArray, frequencies_hz: FloatArray, speed_of_sound_m_s: float
    ) -> ComplexArray:
        pressure = self._free_of_wall(driver, directions, frequencies_hz, speed_of_sound_m_s)
        if self.flush:
            pressure[directions @ np.array(self.wall_normal) < -ON_WALL] = 0.0
        return pressure

    def _free_of_wall(
        self, driver: Driver, directions: FloatArray, frequencies_hz: FloatArray, speed_of_sound_m_s: float
    ) -> ComplexArray:
        if driver.data_number >= 0:
            return self.data[driver.data_number].pressure(directions, frequencies_hz)
        if self.kind == "point" and not self.flush:
            return np.ones((len(directions), len(frequencies_hz)), dtype=np.complex128)
        if not self.flush and self.cabinet_size_m is not None:
            boxed, sides = self._boxed(driver)
            return box_directivity(boxed, sides, directions, frequencies_hz, speed_of_sound_m_s)
        radius: float | FloatArray = driver.radius_m
        if driver.mouth_radius_m > driver.radius_m:
            radius = waveguide_radius(
                driver.radius_m, driver.mouth_radius_m, driver.coverage_deg, frequencies_hz, speed_of_sound_m_s
            )
        return driver_in_wall(radius, directions[:, 0], frequencies_hz, speed_of_sound_m_s)

    def solve_cabinet(self, report: Report = say_nothing) -> None:
        """Have the cabinet's tables at hand: seconds, where nobody has solved one of these sizes before."""
        if self.flush or self.cabinet_size_m is None or self.kind == "point":
            return
        ready([self._boxed(driver)[0] for driver in self.drivers if driver.data_number < 0], report)

    def _boxed(self, driver: Driver) -> tuple[BoxedDriver, tuple[float, float]]:
        """One driver in the cabinet's upper right quarter, and the sides (right, up) on which it really is."""
        assert self.cabinet_size_m is not None
        width, height, depth = (round(length / TENTH_MM) for length in self.cabinet_size_m)
        right = round((driver.offset_m[1] + self.axis_on_baffle_m[0]) / TENTH_MM)
        up = round((driver.offset_m[2] + self.axis_on_baffle_m[1]) / TENTH_MM)
        mouth = round(driver.mouth_radius_m / TENTH_MM) if driver.mouth_radius_m > driver.radius_m else 0
        coverage = round(10.0 * driver.coverage_deg) if mouth else 900
        radius = round(driver.radius_m / TENTH_MM)
        boxed = BoxedDriver(width, height, depth, abs(right), abs(up), radius, mouth, coverage)
        return boxed, (-1.0 if right < 0 else 1.0, -1.0 if up < 0 else 1.0)


# The box of a loudspeaker: corners and faces in its own frame (forward, right, up), in metres.
#
# The origin is the acoustic axis point, which lies on the baffle; the box is behind it.  Grilles, chamfers,
# stands and ports are left out.

# Corner numbers: 0 to 3 on the baffle (low left, low right, high right, high left as seen from the seat),
# 4 to 7 behind them in the same order.  Each face runs counter-clockwise seen from outside.
_FACES: Final[tuple[tuple[str, tuple[int, int, int, int]], ...]] = (
    ("baffle", (0, 1, 2, 3)),
    ("back", (5, 4, 7, 6)),
    ("top", (3, 2, 6, 7)),
    ("underside", (4, 5, 1, 0)),
    ("left side", (4, 0, 3, 7)),
    ("right side", (1, 5, 6, 2)),
)

FACE_NAMES: Final = tuple(name for name, _ in _FACES)
"""Names of the faces in order; left and right as seen from the seat, with the box upright."""
FACE_CORNERS: Final = tuple(numbers for _, numbers in _FACES)
"""Numbers of the four corners of each face, of those that `cabinet_corners` gives."""


def cabinet_corners(loudspeaker: Loudspeaker) -> FloatArray | None:
    """Return the corners of the box, (8, 3), relative to the axis point, or None without a box of its own.

    Order: the baffle's low left, low right, high right and high left as seen from the seat, then the four
    behind them.  A loudspeaker mounted flush has no box in the room.
    """
    if loudspeaker.cabinet_size_m is None or loudspeaker.flush:
        return None
    known = _corners.find(loudspeaker)
    if known is not None:
        return known
    width, height, depth = loudspeaker.cabinet_size_m
    axis_right, axis_up = loudspeaker.axis_on_baffle_m
    left, right = -0.5 * width - axis_right, 0.5 * width - axis_right
    low, high = -0.5 * height - axis_up, 0.5 * height - axis_up
    outline = [(left, low), (right, low), (right, high), (left, high)]
    corners = frozen(np.array([(forward, *place) for forward in (0.0, -depth) for place in outline]))
    return _corners.keep(corners, loudspeaker)


_corners: KeptFor[FloatArray] = KeptFor(64)
_fractions: KeptFor[tuple[bytes, ComplexArray]] = KeptFor(64)  # of a loudspeaker, at the frequencies asked for last
