"""What the surfaces along each path leave of the pressure."""

from __future__ import annotations

import numpy as np

from ..acoustics.materials import reflection_factor
from ..arrays import ComplexArray, FloatArray
from ..placement.stage import Stage
from .paths import PathTable


def surface_factors(stage: Stage, paths: PathTable, frequencies_hz: FloatArray) -> ComplexArray:
    """Product of the reflection factors along each path, complex, shape (path, f)."""
    per_facet = reflection_factor(stage.absorption, frequencies_hz)
    hard = np.vstack([per_facet, np.ones((1, len(frequencies_hz)))])  # row -1: no surface
    return np.asarray(hard[np.maximum(paths.facets, -1)].prod(axis=1), dtype=np.complex128)
