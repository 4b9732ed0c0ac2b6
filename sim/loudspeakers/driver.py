"""One driver of a loudspeaker: what it is sent, how large it is, and where in the box it sits."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..answers import printable


@printable
@dataclass(frozen=True)
class Driver:
    """One driver: its fraction of the signal, its size, and its place in the cabinet.

    Attributes
    ----------
    name
        What it is called, such as "tweeter".
    way
        Its branch of the loudspeaker's crossover (0 is the lowest), unless it has a band of its own.
    radius_m
        Of its cone or dome in metres; zero radiates like a point on the cabinet.
    offset_m
        (forward, right, up) from the acoustic axis point, in metres.
    own_band, from_hz, to_hz, slope_db_per_octave
        Whether it has a band of its own, from where (0 is an open end) to where (infinite is an open end), and how
        steeply it ends; drivers with the same band take equal fractions.
    gain_db, delay_ms, inverted
        What comes on top of its branch or band.
    mouth_radius_m, coverage_deg
        Of its waveguide: radius in metres (0 for none) and angle between the directions at -6 dB.
    data_number
        Number of the loudspeaker's data that replace the model by what was measured; -1 for none.
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
