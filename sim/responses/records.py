"""What reaches the ear, as records: arrivals, curves, maps, the verdict, and everything known of one scene."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import zip_longest
from typing import Any, ClassVar

from sim.acoustics.bands import Bands
from sim.answers import Answer, Labelled, printable
from sim.arrays import FloatArray, IntArray
from sim.blueprint.reader import SceneFile
from sim.placement.built_scene import BuiltScene
from sim.propagation.edges.table import EdgePathTable
from sim.propagation.paths import Candidate, PathTable
from sim.responses.ear_records import EarResponse, EnergyTimeCurve, Notch


@printable
@dataclass(frozen=True, slots=True)
class Part:
    """One driver's part of an arrival: every driver has a reflection point of its own.

    Attributes
    ----------
    path
        Row of the path in the table of paths, or of edge paths.
    driver
        Its name.
    points
        (k, 3) where it meets surfaces and edges, in metres.
    length_m, extra_path_m
        Length of the path, and by how much it is longer than the direct one.
    delay_ms, flight_time_ms
        Time after the direct sound, and from the loudspeaker.
    departure_deg
        Angle from the loudspeaker's axis.
    arrival_azimuth_deg, arrival_elevation_deg
        Direction from which it reaches the ear: from straight ahead, positive to the right; and upward.
    margin_m, margin_cause
        How far this path is from vanishing, and what would end it.
    level_db
        (band,) dB re the whole loudspeaker's direct sound.
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


@printable
@dataclass(frozen=True, slots=True)
class Arrival:
    """Sound of one loudspeaker that came by one path, all its drivers together.

    Attributes
    ----------
    loudspeaker, listener
        Whose sound, and where it arrives.
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
    def diffracted(self) -> bool:
        """Whether it came round an edge."""
        return self.kind == "edge"

    @property
    def fragile(self) -> bool:
        """Within 5 cm of vanishing."""
        return self.main.margin_m < 0.05

    @property
    def via(self) -> str:
        """The surfaces as words: "desk top", or "left wall (side panel) > ceiling"."""
        met = zip_longest(self.surfaces, self.panels, fillvalue="")
        return " > ".join(f"{one} ({panel})" if panel else one for one, panel in met) or "direct"


@printable
@dataclass(frozen=True, slots=True)
class SurfaceMap:
    """How much early sound reaches the head box via each patch of one facet.

    Attributes
    ----------
    facet, surface, owner
        Number of the facet in the room, its name and that of its body.
    points
        (g, 3) grid points in the room, in metres.
    cell, shape
        (g, 2) their place in the grid, and the size of the grid.
    plane_coordinates
        (g, 2) in metres along the facet's own two directions.
    grid_m
        Distance of neighbouring points.
    level_db
        (loudspeaker, band, g) dB re direct sound; -inf where nothing comes via the patch.
    both_db
        (band, g) energy of all loudspeakers, dB re all their direct sound.
    mirror_points
        (loudspeaker, driver, 3) nominal reflection points in metres, nan where there is none.
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


@printable
@dataclass(frozen=True, slots=True)
class Verdict:
    """Arrivals of one loudspeaker at one listener against the target.

    Attributes
    ----------
    loudspeaker, listener
        Whose sound, and where.
    met
        Whether every arrival inside the window is under the target.
    offenders
        Numbers of those above it, worst first.
    outside_window
        Numbers of those above its level that arrive outside the window.
    """

    loudspeaker: str
    listener: str
    met: bool
    offenders: tuple[int, ...]
    outside_window: tuple[int, ...]


@printable
@dataclass(frozen=True, slots=True)
class Responses:
    """Everything that is known about what arrives in one scene.

    Attributes
    ----------
    bands
        Octaves 63 Hz to 16 kHz.
    arrivals
        Direct sound, reflections and sound round edges.
    response
        Complex response at the listeners.
    energy_time
        Energy-time curves.
    maps
        Early-reflection map of each surface.
    verdicts
        Against the target, one for each loudspeaker and listener.
    transition_hz
        Octaves below this are "not judged".
    notches
        Dips of the response, and what makes them.
    """

    bands: Bands
    arrivals: tuple[Arrival, ...]
    response: EarResponse
    energy_time: EnergyTimeCurve
    maps: tuple[SurfaceMap, ...]
    verdicts: tuple[Verdict, ...]
    transition_hz: float
    notches: tuple[Notch, ...]


# Everything known about one scene: what was asked, what was built, which ways sound takes, what it adds up to.


@dataclass(frozen=True, slots=True, repr=False)
class Results(Answer):
    """One traced scene.

    Attributes
    ----------
    scene
        What was asked.
    built
        What was built of it.
    paths
        Direct and mirrored paths, a row each.
    candidates
        Every surface that could reflect once, and why it does or does not.
    responses
        What arrives: arrivals, curves, maps, verdicts.
    edge_paths
        Paths round edges, a row each.
    """

    question: ClassVar[str] = "trace"

    scene: SceneFile
    built: BuiltScene
    paths: PathTable
    candidates: tuple[Candidate, ...]
    responses: Responses
    edge_paths: EdgePathTable

    def headline(self) -> str:
        """The strongest reflection of each loudspeaker at the first listener, against the target."""
        target, first = self.scene.blueprint.target, self.built.listener_names[0]
        reported = []
        for one in self.built.loudspeakers:
            mine = [each for each in self.responses.arrivals if (each.loudspeaker, each.listener) == (one.name, first)]
            strongest = min((each for each in mine if each.number > 0), key=lambda each: each.number, default=None)
            if strongest is not None:
                reported.append(
                    f"{one.name}: {strongest.via} {strongest.worst_db:.1f} dB, {strongest.main.delay_ms:.1f} ms after"
                    " the direct sound"
                )
        return (
            f"{self.scene.blueprint.title} (target {target.level_db:g} dB): {'; '.join(reported) or 'no reflections'}"
        )

    def rows(self) -> list[dict[str, Any]]:
        """One row for each arrival, as in arrivals.csv: levels in dB re the direct sound, octave by octave."""
        octaves = self.responses.bands.nominal_hz
        return [
            {
                "loudspeaker": one.loudspeaker,
                "listener": one.listener,
                "number": one.number,
                "kind": one.kind,
                "path": one.via,
                "delay_ms": one.main.delay_ms,
                "extra_path_m": one.main.extra_path_m,
                "worst_db": one.worst_db,
                "worst_band_hz": one.worst_band_hz,
                "margin_m": one.main.margin_m,
            }
            | {f"level_{octave:g}_hz_db": float(level) for octave, level in zip(octaves, one.level_db, strict=True)}
            for one in self.responses.arrivals
        ]

    def _axes(self) -> Mapping[str, tuple[Any, str]]:
        found = self.responses
        return {
            "loudspeaker": ([one.name for one in self.built.loudspeakers], ""),
            "listener": (list(self.built.listener_names), ""),
            "time": (found.energy_time.time_ms, "ms"),
            "octave": (found.bands.nominal_hz, "Hz"),
            "frequency": (found.response.frequencies_hz, "Hz"),
            "third_octave": (found.response.levels.bands.nominal_hz, "Hz"),
        }

    def _arrays(self) -> Mapping[str, Labelled]:
        curve, response = self.responses.energy_time, self.responses.response
        pair = ("loudspeaker", "listener")
        return {
            "energy_time_db": ((*pair, "time"), curve.broadband_db, "dB"),
            "octave_energy_time_db": ((*pair, "octave", "time"), curve.octave_db, "dB"),
            "response": ((*pair, "frequency"), response.total, "re direct sound on axis"),
            "direct": ((*pair, "frequency"), response.direct, "re direct sound on axis"),
            "level_db": ((*pair, "third_octave"), response.levels.whole_db[:, :, 0], "dB"),
        }
