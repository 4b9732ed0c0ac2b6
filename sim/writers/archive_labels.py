"""Units, axis names and dimension scales (HDF5 Dimension Scales specification) on what people look at first."""

from __future__ import annotations

from typing import Any, Final

import h5py
import numpy as np

from ..acoustics.materials import ABSORPTION_OCTAVES_HZ
from ..responses.results import Results

UNITS: Final[dict[str, str]] = {
    "_m_s": "m/s", "_m2": "m2", "_m3": "m3", "_m": "m", "_ms": "ms", "_s": "s", "_hz": "Hz", "_db": "dB",
    "_deg": "deg", "_rad": "rad", "_kg": "kg", "_kpa": "kPa", "_percent": "%", "_temperature_c": "C",
    "_db_per_octave": "dB/octave",
}  # fmt: skip
"""Unit by the end of a name."""
IN_METRES: Final = frozenset(
    {"points", "ears", "head_box", "triangles", "border", "rim", "ends", "boxes", "offset", "point",
     "axis_point", "driver_points", "mirror_points", "plane_coordinates"}
)  # fmt: skip
"""Names of lengths and places that do not end in a unit."""

LOUDSPEAKER, LISTENER, POINT = "/scales/loudspeaker", "/scales/listener", "/scales/coordinate"
OCTAVE, ABSORPTION_OCTAVE = "/responses/bands/nominal_hz", "/scales/absorption_octave_hz"
FREQUENCY, TIME = "/responses/response/frequencies_hz", "/responses/energy_time/time_ms"
SURFACE, FACET = "/responses/response/surfaces", "/stage/room/facets/name"
PIECE, PANEL = "/responses/response/pieces", "/responses/response/panels"
LEFT_OUT, THIRD = "/responses/response/levels/without", "/responses/response/levels/bands/nominal_hz"

AXES: Final[dict[str, tuple[tuple[str, str | None], ...]]] = {
    "/responses/response/direct": (
        ("loudspeaker", LOUDSPEAKER), ("listener", LISTENER), ("frequency in Hz", FREQUENCY),
    ),
    "/responses/response/total": (
        ("loudspeaker", LOUDSPEAKER), ("listener", LISTENER), ("frequency in Hz", FREQUENCY),
    ),
    "/responses/response/by_surface": (
        ("loudspeaker", LOUDSPEAKER), ("listener", LISTENER), ("surface", SURFACE), ("frequency in Hz", FREQUENCY),
    ),
    "/responses/response/by_driver": (
        ("loudspeaker", LOUDSPEAKER), ("driver", None), ("listener", LISTENER), ("frequency in Hz", FREQUENCY),
    ),
    "/responses/response/by_piece": (
        ("loudspeaker", LOUDSPEAKER), ("listener", LISTENER), ("piece", PIECE), ("frequency in Hz", FREQUENCY),
    ),
    "/responses/response/by_panel": (
        ("loudspeaker", LOUDSPEAKER), ("listener", LISTENER), ("panel", PANEL), ("frequency in Hz", FREQUENCY),
    ),
    "/responses/response/levels/whole_db": (
        ("loudspeaker", LOUDSPEAKER), ("listener", LISTENER), ("left out", LEFT_OUT), ("third-octave in Hz", THIRD),
    ),
    "/responses/response/levels/driver_db": (
        ("loudspeaker", LOUDSPEAKER), ("driver", None), ("listener", LISTENER), ("left out", LEFT_OUT),
        ("third-octave in Hz", THIRD),
    ),
    "/responses/energy_time/flight_ms": (("loudspeaker", LOUDSPEAKER), ("listener", LISTENER)),
    "/responses/energy_time/broadband_db": (
        ("loudspeaker", LOUDSPEAKER), ("listener", LISTENER), ("time after direct sound in ms", TIME),
    ),
    "/responses/energy_time/octave_db": (
        ("loudspeaker", LOUDSPEAKER), ("listener", LISTENER), ("octave in Hz", OCTAVE),
        ("time after direct sound in ms", TIME),
    ),
    "/responses/energy_time/impulse": (
        ("loudspeaker", LOUDSPEAKER), ("listener", LISTENER), ("time after direct sound in ms", TIME),
    ),
    "/responses/arrivals/level_db": (("arrival", None), ("octave in Hz", OCTAVE)),
    "/responses/arrivals/parts/items/level_db": (("part", None), ("octave in Hz", OCTAVE)),
    "/stage/ears": (("listener", LISTENER), ("coordinate", POINT)),
    "/stage/absorption": (("facet", FACET), ("octave in Hz", ABSORPTION_OCTAVE)),
    "/paths/points": (("path", None), ("surface in turn", None), ("coordinate", POINT)),
}  # fmt: skip
MAP_AXES: Final[dict[str, tuple[tuple[str, str | None], ...]]] = {
    "level_db": (("loudspeaker", LOUDSPEAKER), ("octave in Hz", OCTAVE), ("grid point", None)),
    "both_db": (("octave in Hz", OCTAVE), ("grid point", None)),
    "mirror_points": (("loudspeaker", LOUDSPEAKER), ("driver", None), ("coordinate", POINT)),
    "points": (("grid point", None), ("coordinate", POINT)),
}
"""Name of each axis, and the dataset that tells what its places mean."""


def add_labels(file: h5py.File, results: Results) -> None:
    """Name the axes of the principal arrays, attach their scales, and give every dataset its unit."""
    _make_scales(file, results)
    for path, axes in AXES.items():
        _label(file, file[path], axes)
    for surface_map in file["/responses/maps"].values():
        for name, axes in MAP_AXES.items():
            _label(file, surface_map[name], axes)
    file.visititems(_give_unit)


def _make_scales(file: h5py.File, results: Results) -> None:
    group = file.create_group("scales")
    texts = h5py.string_dtype()
    names = [loudspeaker.name for loudspeaker in results.stage.loudspeakers]
    group.create_dataset("loudspeaker", data=names, dtype=texts)
    group.create_dataset("listener", data=list(results.stage.listener_names), dtype=texts)
    group.create_dataset("coordinate", data=["from_front", "from_left", "up"], dtype=texts)
    group.create_dataset("absorption_octave_hz", data=np.array(ABSORPTION_OCTAVES_HZ, dtype=np.float64))
    for path, name in {
        LOUDSPEAKER: "loudspeaker", LISTENER: "listener", POINT: "coordinate", SURFACE: "surface", FACET: "facet",
        OCTAVE: "octave in Hz", ABSORPTION_OCTAVE: "octave in Hz", FREQUENCY: "frequency in Hz",
        TIME: "time after direct sound in ms", PIECE: "piece", PANEL: "panel", LEFT_OUT: "left out",
        THIRD: "third-octave in Hz",
    }.items():  # fmt: skip
        file[path].make_scale(name)


def _label(file: h5py.File, dataset: Any, axes: tuple[tuple[str, str | None], ...]) -> None:
    if dataset.ndim != len(axes):
        return  # an empty table has no axes to name
    for dimension, (label, scale) in zip(dataset.dims, axes, strict=True):
        dimension.label = label
        if scale is not None:
            dimension.attach_scale(file[scale])


def _give_unit(path: str, item: Any) -> None:
    if not isinstance(item, h5py.Dataset):
        return
    *groups, name = path.split("/")
    if name in ("items", "start") and groups:
        name = groups[-1] if name == "items" else name
    unit = next((unit for end, unit in UNITS.items() if f"_{name}".endswith(end)), None)
    unit = "m" if unit is None and name in IN_METRES else unit
    if unit is not None:
        item.attrs["units"] = unit
