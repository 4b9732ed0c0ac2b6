"""Layout of results.h5, second half: paths and responses, and the whole.

Names, types, axes and units here are those of the file, and part of its version: whoever changes one raises LAYOUT,
says in `old_layouts` how the old one is read, and adds a file of the old one to the tests.  An attribute of a record
that is renamed in Python changes only its `attr` here, never the file.
"""

from __future__ import annotations

from typing import Any, Final

import numpy as np

from sim.acoustics.bands import Bands
from sim.arrays import frozen
from sim.propagation.edges.table import EdgePathTable
from sim.propagation.paths import Candidate, PathTable
from sim.responses.ear_records import EarLevels, EarResponse, EarWindow, EnergyTimeCurve, Notch, Peak
from sim.responses.records import Arrival, Part, Responses, Results, SurfaceMap, Verdict
from sim.showing.archive.scene_layout import BUILT_SCENE, SCENE
from sim.showing.archive.stored_kinds import Array, Axis, Fixed, Several, Text
from sim.showing.archive.stored_records import Column, Numbered, record
from sim.showing.archive.words import (
    BOOL,
    DIFFRACTION_FREQUENCY,
    DRIVER,
    F8,
    FREQUENCY,
    GRID_POINT,
    I8,
    LEFT_OUT,
    LISTENER,
    LOUDSPEAKER,
    OCTAVE,
    PANEL,
    PATH,
    PIECE,
    POINT,
    SURFACE,
    TEXT,
    THIRD_OCTAVE,
    TIME,
    c16,
    f8,
    flags,
    i8,
    names,
    three,
)

LAYOUT: Final = 5

PATHS: Final = record(
    PathTable,
    Column("loudspeaker", i8(PATH)),
    Column("driver", i8(PATH)),
    Column("listener", i8(PATH)),
    Column("order", i8(PATH)),
    Column("facets", i8(PATH, Axis("surface in turn"))),
    Column("points", f8(PATH, Axis("surface in turn"), POINT), "m"),
    Column("length_m", f8(PATH), "m"),
    Column("departure", f8(PATH, POINT)),
    Column("arrival", f8(PATH, POINT)),
    Column("blocked", flags(PATH)),
    Column("margin_m", f8(PATH), "m"),
    Column("margin_facet", i8(PATH)),
    Column("margin_edge", i8(PATH)),
)

STATUS: Final = Text(words={"reaches": "reaches", "misses": "misses", "blocked": "blocked", "own": "own"})
FIRST_ORDER_IMAGES: Final = record(
    Candidate,
    Column("loudspeaker", TEXT),
    Column("driver", TEXT),
    Column("listener", I8),
    Column("facet", I8),
    Column("surface", TEXT),
    Column("owner", TEXT),
    Column("status", STATUS),
    Column("reflection_point", f8(POINT), "m", "point"),
    Column("rim_m", F8, "m"),
    Column("blocked_by", TEXT),
    Column("shadow_depth_m", F8, "m", "shade_m"),
    Column("delay_ms", F8, "ms"),
    Column("level_db", F8, "dB"),
)

EDGE_DIFFRACTION: Final = record(
    EdgePathTable,
    Column("loudspeaker", i8(PATH)),
    Column("driver", i8(PATH)),
    Column("listener", i8(PATH)),
    Column("owner", i8(PATH)),
    Column("edge", i8(PATH)),
    Column("facet_before", i8(PATH), attr="before"),
    Column("facet_after", i8(PATH), attr="after"),
    Column("points", f8(PATH, three("reflection before, edge, reflection after"), POINT), "m"),
    Column("length_m", f8(PATH), "m"),
    Column("frequencies_hz", f8(Axis("frequency in Hz")), "Hz"),
    Column("gains", c16(PATH, DIFFRACTION_FREQUENCY)),
    Column("dropped", I8, attr="left_out"),
)

BANDS: Final = record(
    Bands,
    Column("nominal_hz", f8(Axis("band")), "Hz"),
    Column("exact_hz", f8(Axis("band")), "Hz"),
    Column("lower_hz", f8(Axis("band")), "Hz"),
    Column("upper_hz", f8(Axis("band")), "Hz"),
)

PARTS: Final = record(
    Part,
    Column("path", I8),
    Column("driver", TEXT),
    Column("points", Array(F8, (Axis("surface in turn"), POINT), uneven=True), "m"),
    Column("length_m", F8, "m"),
    Column("extra_path_m", F8, "m"),
    Column("delay_ms", F8, "ms"),
    Column("flight_time_ms", F8, "ms"),
    Column("departure_deg", F8, "deg"),
    Column("arrival_azimuth_deg", F8, "deg"),
    Column("arrival_elevation_deg", F8, "deg"),
    Column("margin_m", F8, "m"),
    Column("margin_cause", TEXT),
    Column("level_db", f8(OCTAVE), "dB"),
)

KIND_OF_ARRIVAL: Final = Text(words={"direct": "direct", "specular": "mirrored", "diffracted": "edge"})
ARRIVALS: Final = record(
    Arrival,
    Column("loudspeaker", TEXT),
    Column("listener", TEXT),
    Column("number", I8),
    Column("kind", KIND_OF_ARRIVAL),
    Column("order", I8),
    Column("surfaces", names("surface in turn")),
    Column("owners", names("surface in turn")),
    Column("materials", names("surface in turn")),
    Column("panels", names("surface in turn")),
    Column("parts", Several(PARTS, Axis("part"))),
    Column("level_db", f8(OCTAVE), "dB"),
    Column("worst_db", F8, "dB"),
    Column("worst_band_hz", F8, "Hz"),
    Column("notches_hz", Fixed(F8, three("notch")), "Hz"),
    Column("blocked", BOOL),
)

WHAT_IS_LEFT_OUT: Final = Text(
    words={"everything": "everything", "surface": "surface", "piece": "piece", "panel": "panel"}
)
LEVELS: Final = record(
    EarLevels,
    Column("bands", BANDS),
    Column("without_kind", Several(WHAT_IS_LEFT_OUT, Axis("left out")), attr="kinds"),
    Column("without", names("left out")),
    Column("whole_db", f8(LOUDSPEAKER, LISTENER, LEFT_OUT, THIRD_OCTAVE), "dB"),
    Column("driver_db", f8(LOUDSPEAKER, DRIVER, LISTENER, LEFT_OUT, THIRD_OCTAVE), "dB"),
)

WINDOW: Final = record(
    EarWindow,
    Column("window_ms", F8, "ms"),
    Column("paths", I8),
    Column("most_mirrors", I8),
    Column("searched_mirrors", I8),
    Column("complete", BOOL),
    Column("left_out_db", F8, "dB"),
    Column("octave_hz", f8(Axis("octave 63 Hz to 8 kHz")), "Hz"),
    Column("late_db", f8(LOUDSPEAKER, LISTENER, Axis("octave 63 Hz to 8 kHz")), "dB"),
    Column("with_room_db", f8(LOUDSPEAKER, LISTENER, THIRD_OCTAVE), "dB"),
)


def window_of_old(response: dict[str, Any]) -> EarWindow:
    """The window of a file of layout 4 or older: all paths of its order to 60 ms; the rest is not known."""
    loudspeakers, listeners, _ = response["total"].shape
    nothing = frozen(np.zeros(0))
    late = frozen(np.zeros((loudspeakers, listeners, 0)))
    bands = len(response["levels"].bands) if "levels" in response else 0
    room = frozen(np.full((loudspeakers, listeners, bands), np.nan))
    return EarWindow(60.0, 0, 0, 0, False, float("nan"), nothing, late, room)


FREQUENCY_RESPONSE: Final = record(
    EarResponse,
    Column("frequencies_hz", f8(Axis("frequency in Hz")), "Hz"),
    Column("direct", c16(LOUDSPEAKER, LISTENER, FREQUENCY)),
    Column("total", c16(LOUDSPEAKER, LISTENER, FREQUENCY)),
    Column("by_driver", c16(LOUDSPEAKER, DRIVER, LISTENER, FREQUENCY)),
    Column("surfaces", names("surface")),
    Column("by_surface", c16(LOUDSPEAKER, LISTENER, SURFACE, FREQUENCY)),
    Column("pieces", names("piece")),
    Column("by_piece", c16(LOUDSPEAKER, LISTENER, PIECE, FREQUENCY)),
    Column("panels", names("panel")),
    Column("by_panel", c16(LOUDSPEAKER, LISTENER, PANEL, FREQUENCY)),
    Column("levels", LEVELS),
    Column("window", WINDOW, lacking=window_of_old),
)

NOTCHES: Final = record(
    Notch,
    Column("loudspeaker", TEXT),
    Column("listener", TEXT),
    Column("frequency_hz", F8, "Hz"),
    Column("depth_db", F8, "dB"),
    Column("driver", TEXT),
    Column("surface", TEXT),
    Column("rise_db", F8, "dB"),
    Column("panel", TEXT),
    Column("panel_rise_db", F8, "dB"),
    Column("present", BOOL),
)

PEAKS: Final = record(
    Peak,
    Column("time_ms", F8, "ms"),
    Column("level_db", F8, "dB"),
    Column("arrivals", Several(I8, Axis("arrival"))),
    Column("label", TEXT),
)

ENERGY_TIME: Final = record(
    EnergyTimeCurve,
    Column("time_ms", f8(Axis("time after direct sound in ms")), "ms"),
    Column("flight_time_ms", f8(LOUDSPEAKER, LISTENER), "ms", "flight_ms"),
    Column("broadband_db", f8(LOUDSPEAKER, LISTENER, TIME), "dB"),
    Column("octave_db", f8(LOUDSPEAKER, LISTENER, OCTAVE, TIME), "dB"),
    Column("impulse_response", f8(LOUDSPEAKER, LISTENER, TIME), attr="impulse"),
    Column("bands", BANDS),
    Column("peaks", Several(Several(Several(PEAKS, Axis("peak")), Axis("listener")), Axis("loudspeaker"))),
)

EARLY_REFLECTION_MAPS: Final = record(
    SurfaceMap,
    Column("facet", I8),
    Column("surface", TEXT),
    Column("owner", TEXT),
    Column("points", f8(GRID_POINT, POINT), "m"),
    Column("cell", i8(GRID_POINT, Axis("row, column", size=2))),
    Column("shape", Fixed(I8, Axis("rows, columns", size=2))),
    Column("plane_coordinates", f8(GRID_POINT, Axis("first, second direction", size=2)), "m"),
    Column("grid_m", F8, "m"),
    Column("level_db", f8(LOUDSPEAKER, OCTAVE, GRID_POINT), "dB"),
    Column("all_loudspeakers_db", f8(OCTAVE, GRID_POINT), "dB", "both_db"),
    Column("reflection_points", f8(LOUDSPEAKER, DRIVER, POINT), "m", "mirror_points"),
)

VERDICTS: Final = record(
    Verdict,
    Column("loudspeaker", TEXT),
    Column("listener", TEXT),
    Column("met", BOOL),
    Column("above_target", Several(I8, Axis("arrival")), attr="offenders"),
    Column("outside_window", Several(I8, Axis("arrival"))),
)

RESPONSES: Final = record(
    Responses,
    Column("bands", BANDS),
    Column("arrivals", Several(ARRIVALS, Axis("arrival"))),
    Column("frequency_response", FREQUENCY_RESPONSE, attr="response"),
    Column("energy_time", ENERGY_TIME),
    Column("early_reflection_maps", Numbered(EARLY_REFLECTION_MAPS), attr="maps"),
    Column("verdicts", Several(VERDICTS, Axis("verdict"))),
    Column("transition_hz", F8, "Hz"),
    Column("notches", Several(NOTCHES, Axis("notch"))),
)

RESULTS: Final = record(
    Results,
    Column("scene", SCENE),
    Column("built_scene", BUILT_SCENE, attr="built"),
    Column("paths", PATHS),
    Column("first_order_images", Several(FIRST_ORDER_IMAGES, Axis("image")), attr="candidates"),
    Column("edge_diffraction", EDGE_DIFFRACTION, attr="edge_paths"),
    Column("responses", RESPONSES),
)
