"""Layout of results.h5, first half: what was asked and what was built."""

from __future__ import annotations

from typing import Final

from sim.acoustics.air import Air
from sim.blueprint.reader import SceneFile
from sim.geometry.edges import Edges
from sim.geometry.facets import Facet
from sim.geometry.room import FacetArrays, Room
from sim.loudspeakers.directivity_data import DirectivityData
from sim.loudspeakers.loudspeaker import Loudspeaker
from sim.loudspeakers.signal import Driver
from sim.placement.built_scene import BuiltScene
from sim.placement.finishes import LayeredFinish, LayerRow
from sim.placement.panels import PlacedPanel
from sim.placement.poses import PlacedLoudspeaker
from sim.showing.archive.stored_kinds import Array, Axis, Fixed, Maybe, Several
from sim.showing.archive.stored_records import Column, Numbered, SceneText, record
from sim.showing.archive.words import (
    ABSORPTION_OCTAVE,
    BOOL,
    DRIVER,
    F8,
    FACET,
    FILE_NAME,
    I8,
    LISTENER,
    POINT,
    TEXT,
    c16,
    f8,
    fixed,
    i8,
    names,
    three,
)

SCENE: Final = record(
    SceneFile,
    Column("blueprint", SceneText()),
    Column("path", FILE_NAME),
    Column("folder", FILE_NAME),
    Column("digest", TEXT),
    Column("defaulted", names("key")),
    Column("warnings", names("warning")),
)

AIR: Final = record(
    Air,
    Column("temperature_c", F8, "C"),
    Column("relative_humidity_percent", F8, "%"),
    Column("pressure_kpa", F8, "kPa"),
)

_SIDE: Final = Axis("x0, y0, x1, y1", size=4)
_PLANE_AXES: Final = three("origin, first direction, second direction")
BORDER: Final = Array(F8, (Axis("side"), _SIDE), uneven=True)
FACETS: Final = record(
    Facet,
    Column("name", TEXT),
    Column("owner", TEXT),
    Column("material", TEXT),
    Column("normal", f8(POINT)),
    Column("offset_m", F8, "m"),
    Column("frame", f8(_PLANE_AXES, POINT)),
    Column("border", BORDER, "m"),
    Column("area_m2", F8, "m2"),
    Column("plane", I8),
)

FACET_ARRAYS: Final = record(
    FacetArrays,
    Column("normal", f8(FACET, POINT)),
    Column("offset_m", f8(FACET), "m", "offset"),
    Column("frame", f8(FACET, _PLANE_AXES, POINT)),
    Column("plane", i8(FACET)),
    Column("owner", i8(FACET)),
    Column("border", f8(Axis("side"), _SIDE), "m"),
    Column("border_start", i8(Axis("facet"))),
    Column("rim", f8(Axis("side"), _SIDE), "m"),
    Column("rim_start", i8(Axis("facet"))),
)

EDGES: Final = record(
    Edges,
    Column("ends", f8(Axis("edge"), Axis("end", size=2), POINT), "m"),
    Column("facets", i8(Axis("edge"), Axis("side", size=2))),
    Column("air_angle_rad", f8(Axis("edge")), "rad"),
)

ROOM: Final = record(
    Room,
    Column("triangles", f8(Axis("triangle"), three("corner"), POINT), "m"),
    Column("facet_of_triangle", i8(Axis("triangle"))),
    Column("plane_of_triangle", i8(Axis("triangle"))),
    Column("owner_of_triangle", i8(Axis("triangle"))),
    Column("facets", Several(FACETS, Axis("facet"))),
    Column("arrays", FACET_ARRAYS),
    Column("owners", names("owner")),
    Column("edges", EDGES),
)

DRIVERS: Final = record(
    Driver,
    Column("name", TEXT),
    Column("way", I8),
    Column("radius_m", F8, "m"),
    Column("offset_m", fixed("forward", "right", "up"), "m"),
    Column("own_band", BOOL),
    Column("from_hz", F8, "Hz"),
    Column("to_hz", F8, "Hz"),
    Column("slope_db_per_octave", I8, "dB/octave"),
    Column("gain_db", F8, "dB"),
    Column("delay_ms", F8, "ms"),
    Column("inverted", BOOL),
    Column("mouth_radius_m", F8, "m"),
    Column("coverage_deg", F8, "deg"),
    Column("data_number", I8),
)

_DIRECTION: Final = Axis("direction")
DIRECTIVITY: Final = record(
    DirectivityData,
    Column("layout", TEXT),
    Column("directions", f8(_DIRECTION, three("forward, right, up"))),
    Column("horizontal", f8(_DIRECTION)),
    Column("frequencies_hz", f8(Axis("frequency in Hz")), "Hz"),
    Column("values", c16(_DIRECTION, Axis("frequency in Hz"))),
    Column("has_phase", BOOL),
    Column("source", TEXT),
    Column("notes", names("note")),
)

MODEL: Final = record(
    Loudspeaker,
    Column("name", TEXT),
    Column("kind", TEXT),
    Column("drivers", Several(DRIVERS, DRIVER)),
    Column("crossovers_hz", Several(F8, Axis("crossover")), "Hz"),
    Column("slope_db_per_octave", I8, "dB/octave"),
    Column("cabinet_size_m", Maybe(fixed("width", "height", "depth")), "m"),
    Column("axis_on_baffle_m", fixed("right", "up"), "m"),
    Column("flush", BOOL),
    Column("mass_kg", Maybe(F8), "kg"),
    Column("data", Numbered(DIRECTIVITY)),
    Column("notes", names("note")),
    Column("wall_normal", fixed("forward", "right", "up"), lacking=lambda _: (1.0, 0.0, 0.0)),
)

LOUDSPEAKERS: Final = record(
    PlacedLoudspeaker,
    Column("name", TEXT),
    Column("cabinet", TEXT, attr="body"),
    Column("model", MODEL),
    Column("axis_point", f8(POINT), "m"),
    Column("rotation", f8(POINT, three("forward, right, up"))),
    Column("driver_points", f8(DRIVER, POINT), "m"),
    Column("toe_in_deg", F8, "deg"),
    Column("tilt_deg", F8, "deg"),
    Column("roll_deg", F8, "deg"),
    Column("side", TEXT),
    Column("built_into", names("surface")),
)

LAYERS: Final = record(
    LayerRow,
    Column("kind", TEXT),
    Column("thickness_m", F8, "m"),
    Column("flow_resistivity_pa_s_m2", F8, "Pa s/m2"),
    Column("resistance_pa_s_m", F8, "Pa s/m"),
    Column("mass_kg_m2", F8, "kg/m2"),
    Column("hole_diameter_m", F8, "m"),
    Column("open_area_fraction", F8, attr="open_share"),
    Column("model", TEXT),
    Column("divided", BOOL),
)

FINISHES: Final = record(
    LayeredFinish,
    Column("name", TEXT),
    Column("layers", Several(LAYERS, Axis("layer"))),
    Column("absorption_behind", f8(ABSORPTION_OCTAVE), attr="behind"),
    Column("mass_kg_m2", F8, "kg/m2"),
    Column("scattering", Fixed(F8, ABSORPTION_OCTAVE)),
)

PANELS: Final = record(
    PlacedPanel,
    Column("name", TEXT),
    Column("surface", TEXT),
    Column("material", TEXT),
    Column("note", TEXT),
    Column("finish", I8),
    Column("plane", I8),
    Column("corners_m", f8(Axis("corner", size=4), POINT), "m"),
    Column("normal", f8(POINT)),
    Column("depth_m", F8, "m"),
    Column("movable", BOOL),
    Column("air_behind_m", F8, "m"),
    Column("held_by", TEXT),
    Column("fixings", TEXT),
    Column("mass_kg", F8, "kg"),
    Column("mass_is_estimate", BOOL),
    Column("price", F8),
)

BUILT_SCENE: Final = record(
    BuiltScene,
    Column("room", ROOM),
    Column("loudspeakers", Numbered(LOUDSPEAKERS)),
    Column("ears", f8(LISTENER, POINT), "m"),
    Column("listener_names", names("listener")),
    Column("head_box", f8(three("depth, across, up")), "m"),
    Column("absorption", f8(FACET, ABSORPTION_OCTAVE)),
    Column("scattering", f8(FACET, ABSORPTION_OCTAVE)),
    Column("air", AIR),
    Column("volume_m3", F8, "m3"),
    Column("notes", names("note")),
    Column("finishes", Several(FINISHES, Axis("finish"))),
    Column("finish_of_facet", i8(FACET)),
    Column("panels", Several(PANELS, Axis("panel"))),
    Column("warnings", names("warning")),
)
