"""One driver of a loudspeaker: what it is sent, how large it is, and where in the box it sits."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np


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
