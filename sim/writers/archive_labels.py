"""Dimension scales (HDF5 Dimension Scales specification) of results.h5: what the places along an axis mean."""

from __future__ import annotations

import h5py
import numpy as np

from ..acoustics.materials import ABSORPTION_OCTAVES_HZ
from ..responses.results import Results
from .layout_words import ABSORPTION_OCTAVE, LISTENER, LOUDSPEAKER, POINT, SCALES


def make_scales(file: h5py.File, results: Results) -> None:
    """Store scales that have no other place, and declare all of them as such."""
    loudspeakers = [loudspeaker.name for loudspeaker in results.stage.loudspeakers]
    for axis, texts in (
        (LOUDSPEAKER, loudspeakers),
        (LISTENER, list(results.stage.listener_names)),
        (POINT, ["from_front", "from_left", "up"]),
    ):
        file.create_dataset(axis.scale, data=texts, dtype=h5py.string_dtype())
    octaves = np.array(ABSORPTION_OCTAVES_HZ, dtype=np.float64)
    file.create_dataset(ABSORPTION_OCTAVE.scale, data=octaves).attrs["units"] = "Hz"
    for axis in SCALES:
        file[axis.scale].make_scale(axis.label)
