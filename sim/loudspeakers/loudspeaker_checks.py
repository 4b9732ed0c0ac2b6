"""What makes a loudspeaker impossible: drivers off the baffle or on no branch, a sum on the axis with holes in it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from sim.loudspeakers.crossover import branch_responses
from sim.loudspeakers.shares import MOST_LIFT_DB, adjusted_shares

if TYPE_CHECKING:
    from sim.loudspeakers.loudspeaker import Loudspeaker

FLAT_FROM_HZ: Final = 100.0
FLAT_TO_HZ: Final = 16000.0
"""Where drivers of one's own may not cancel each other on the axis."""
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
            raise ValueError(f"'{loudspeaker.name}' has no box; give its width, height and depth or mount it flush")
        return
    if not all(length > 0.0 for length in size_m):
        raise ValueError(f"the box of '{loudspeaker.name}' has a side of zero or less; give sizes above zero")
    half_width, half_height = 0.5 * size_m[0], 0.5 * size_m[1]
    right, up = loudspeaker.axis_on_baffle_m
    outside_m = max(abs(right) - half_width, abs(up) - half_height)
    if outside_m > 1e-9:
        raise ValueError(
            f"the acoustic axis point of '{loudspeaker.name}' lies {1000.0 * outside_m:.0f} mm outside its front "
            f"({size_m[0]:g} m wide and {size_m[1]:g} m high); correct its place, or the box"
        )
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
    """Refuse drivers that cancel each other on the axis, or leave a gap: no maker could equalise that."""
    if not any(driver.is_adjusted for driver in loudspeaker.drivers):
        return
    frequencies = np.geomspace(FLAT_FROM_HZ, FLAT_TO_HZ, 400)
    shares = adjusted_shares(
        loudspeaker.drivers, loudspeaker.crossovers_hz, loudspeaker.slope_db_per_octave, frequencies
    )
    alone, together = np.abs(shares).max(axis=0), np.abs(shares.sum(axis=0))
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
