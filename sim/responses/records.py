"""What reaches the ear, as records: arrivals, curves, maps and the verdict against the target.

Batch axes: (loudspeaker, listener, band or frequency, time).  Levels are dB re the direct sound of the same
loudspeaker in the same band, as it would be if nothing hid it.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import zip_longest

from ..acoustics.bands import Bands
from ..arrays import FloatArray, IntArray
from .ear_records import EarResponse, Notch


@dataclass(frozen=True, slots=True)
class Part:
    """One driver's share of an arrival: every driver has a mirror point of its own.

    points (k, 3) in metres; margin_m is how far this path is from vanishing, margin_cause says what would end it;
    departure_deg is the angle from the loudspeaker's axis; level_db (band,) re the whole loudspeaker's direct.
    """

    path: int
    driver: str
    points: FloatArray
    length_m: float
    extra_path_m: float
    delay_ms: float
    flight_time_ms: float
    departure_deg: float
    arrival_azimuth_deg: float
    arrival_elevation_deg: float
    margin_m: float
    margin_cause: str
    level_db: FloatArray


@dataclass(frozen=True, slots=True)
class Arrival:
    """Sound of one loudspeaker that came one way, all its drivers together.

    Attributes
    ----------
    number
        Rank by harm among the arrivals of its loudspeaker and listener, 1 first; 0 is the direct sound.
    kind, order
        "direct" (0), "mirrored" or "edge"; how many surfaces and edges it touches.
    surfaces, owners, materials
        What it touched, in order; empty for direct sound.
    parts
        One for each driver, the one that matters most in the target band first.
    level_db
        (band,) energy of all drivers together.
    worst_db, worst_band_hz
        Highest level among the octaves of the target band, and that octave; direct sound: 0.
    notches_hz
        First three frequencies at which it cancels most against the direct sound (equal polarity).
    blocked
        Only for direct sound: something stands in the way of at least one driver.
    panels
        For each surface the panel that is met there, or an empty text; empty for bent and direct sound.
    """

    loudspeaker: str
    listener: str
    number: int
    kind: str
    order: int
    surfaces: tuple[str, ...]
    owners: tuple[str, ...]
    materials: tuple[str, ...]
    parts: tuple[Part, ...]
    level_db: FloatArray
    worst_db: float
    worst_band_hz: float
    notches_hz: tuple[float, float, float]
    blocked: bool = False
    panels: tuple[str, ...] = ()

    @property
    def main(self) -> Part:
        """The driver that matters most in the target band."""
        return self.parts[0]

    @property
    def bent(self) -> bool:
        """Whether it came round an edge."""
        return self.kind == "edge"

    @property
    def fragile(self) -> bool:
        """Within 5 cm of vanishing."""
        return self.main.margin_m < 0.05

    @property
    def way(self) -> str:
        """The surfaces as words: "desk top", or "left wall (side panel) > ceiling"."""
        met = zip_longest(self.surfaces, self.panels, fillvalue="")
        return " > ".join(f"{one} ({panel})" if panel else one for one, panel in met) or "direct"


@dataclass(frozen=True, slots=True)
class Peak:
    """A local maximum of an energy-time curve, with the arrivals that can have made it (most likely first)."""

    time_ms: float
    level_db: float
    arrivals: tuple[int, ...]
    label: str


@dataclass(frozen=True, slots=True)
class EnergyTimeCurve:
    """Level of the impulse response's envelope over time.

    time_ms (t,) counts from the direct sound (negative before it); flight_ms (loudspeaker, listener) is to be
    added to count from the loudspeaker.  broadband_db (loudspeaker, listener, t); octave_db (loudspeaker, listener,
    band, t), each re its own direct peak.  peaks[loudspeaker][listener]: named maxima of the broadband curve.
    impulse (loudspeaker, listener, t) is the response itself, direct peak 1.
    """

    time_ms: FloatArray
    flight_ms: FloatArray
    broadband_db: FloatArray
    octave_db: FloatArray
    impulse: FloatArray
    bands: Bands
    peaks: tuple[tuple[tuple[Peak, ...], ...], ...]


@dataclass(frozen=True, slots=True)
class SurfaceMap:
    """How much early sound reaches the head box by way of each patch of one facet.

    Attributes
    ----------
    facet, surface, owner
        Which facet.
    points
        (g, 3) grid points in the room; cell (g, 2) their place in the grid; shape (2,) grid size;
        plane_coordinates (g, 2) in the facet's own two directions.
    level_db
        (loudspeaker, band, g); -inf where nothing comes by way of the patch.
    both_db
        (band, g) energy of all loudspeakers, re all their direct sound.
    mirror_points
        (loudspeaker, driver, 3) nominal mirror points, nan where there is none.
    """

    facet: int
    surface: str
    owner: str
    points: FloatArray
    cell: IntArray
    shape: tuple[int, int]
    plane_coordinates: FloatArray
    grid_m: float
    level_db: FloatArray
    both_db: FloatArray
    mirror_points: FloatArray


@dataclass(frozen=True, slots=True)
class Verdict:
    """Arrivals of one loudspeaker at one listener against the target; offenders are arrival numbers, worst first."""

    loudspeaker: str
    listener: str
    met: bool
    offenders: tuple[int, ...]
    outside_window: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Responses:
    """Everything that is known about one scene.

    bands are octaves 63 Hz to 16 kHz; octaves below transition_hz are "not judged".
    """

    bands: Bands
    arrivals: tuple[Arrival, ...]
    response: EarResponse
    energy_time: EnergyTimeCurve
    maps: tuple[SurfaceMap, ...]
    verdicts: tuple[Verdict, ...]
    transition_hz: float
    notches: tuple[Notch, ...]
