"""Words and axes of the layout of results.h5, and the labels written from them."""

from __future__ import annotations

from pathlib import Path
from typing import Final

import h5py
import numpy as np

from sim.acoustics.materials import ABSORPTION_OCTAVES_HZ
from sim.responses.records import Results
from sim.showing.archive.stored_kinds import Array, Axis, Fixed, Number, Several, Text

F8: Final = Number("<f8", float)
I8: Final = Number("<i8", int)
BOOL: Final = Number("?", bool)
C16: Final = Number("<c16", complex)
TEXT: Final = Text()
FILE_NAME: Final = Text(Path)

LOUDSPEAKER: Final = Axis("loudspeaker", "/scales/loudspeaker")
DRIVER: Final = Axis("driver")
LISTENER: Final = Axis("listener", "/scales/listener")
POINT: Final = Axis("coordinate", "/scales/coordinate", 3)
FREQUENCY: Final = Axis("frequency in Hz", "/responses/frequency_response/frequencies_hz")
OCTAVE: Final = Axis("octave in Hz", "/responses/bands/nominal_hz")
ABSORPTION_OCTAVE: Final = Axis("octave in Hz", "/scales/absorption_octave_hz", 8)
THIRD_OCTAVE: Final = Axis("third-octave in Hz", "/responses/frequency_response/levels/bands/nominal_hz")
TIME: Final = Axis("time after direct sound in ms", "/responses/energy_time/time_ms")
SURFACE: Final = Axis("surface", "/responses/frequency_response/surfaces")
PIECE: Final = Axis("piece", "/responses/frequency_response/pieces")
PANEL: Final = Axis("panel", "/responses/frequency_response/panels")
LEFT_OUT: Final = Axis("left out", "/responses/frequency_response/levels/without")
FACET: Final = Axis("facet", "/built_scene/room/facets/name")
PATH: Final = Axis("path")
GRID_POINT: Final = Axis("grid point")

DIFFRACTION_FREQUENCY: Final = Axis("frequency in Hz", "/edge_diffraction/frequencies_hz")

SCALES: Final = (
    *(LOUDSPEAKER, LISTENER, POINT, FREQUENCY, OCTAVE, ABSORPTION_OCTAVE, THIRD_OCTAVE, TIME),
    *(SURFACE, PIECE, PANEL, LEFT_OUT, FACET, DIFFRACTION_FREQUENCY),
)
"""Axes whose places have a meaning of their own."""


def f8(*axes: Axis) -> Array:
    """Floating-point numbers."""
    return Array(F8, axes)


def i8(*axes: Axis) -> Array:
    """Whole numbers."""
    return Array(I8, axes)


def c16(*axes: Axis) -> Array:
    """Complex numbers."""
    return Array(C16, axes)


def flags(*axes: Axis) -> Array:
    """Yes or no."""
    return Array(BOOL, axes)


def three(label: str) -> Axis:
    """An axis of three that are no coordinates of the room."""
    return Axis(label, size=3)


def names(row: str) -> Several:
    """Texts, one for each of what `row` says."""
    return Several(TEXT, Axis(row))


def fixed(*labels: str) -> Fixed:
    """A tuple of numbers, one for each label."""
    return Fixed(F8, Axis(", ".join(labels), size=len(labels)))


# Dimension scales (HDF5 Dimension Scales specification) of results.h5: what the places along an axis mean.


def make_scales(file: h5py.File, results: Results) -> None:
    """Store scales that have no other place, and declare all of them as such."""
    loudspeakers = [loudspeaker.name for loudspeaker in results.built.loudspeakers]
    for axis, texts in (
        (LOUDSPEAKER, loudspeakers),
        (LISTENER, list(results.built.listener_names)),
        (POINT, ["from_front", "from_left", "up"]),
    ):
        file.create_dataset(axis.scale, data=texts, dtype=h5py.string_dtype())
    octaves = np.array(ABSORPTION_OCTAVES_HZ, dtype=np.float64)
    file.create_dataset(ABSORPTION_OCTAVE.scale, data=octaves).attrs["units"] = "Hz"
    for axis in SCALES:
        file[axis.scale].make_scale(axis.label)
