"""Surface maps as data for the page: levels in quarter decibels, one byte each, squeezed, with where they lie."""

from __future__ import annotations

import base64
import zlib
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from ..arrays import FloatArray
from ..responses.records import SurfaceMap
from ..responses.results import Results

FLOOR_DB: Final = -60.0
STEPS_PER_DB: Final = 4.0
LOWEST_HZ: Final = 125.0


def hotspot_data(results: Results) -> dict[str, Any]:
    """Maps of all surfaces, octave by octave: all loudspeakers together first, then each.

    "maps" says for each facet where its grid lies: cell number = `cell` (2, 4) times (depth, across, up, 1).  "levels"
    is base64 of a zlib stream of bytes, in the order map, octave, loudspeaker, cell row, cell: FLOOR_DB + byte /
    STEPS_PER_DB, 0 for nothing.  Cells outside the surface hold the level of the nearest cell inside.
    """
    bands = shown_bands(results)
    nominal = results.responses.bands.nominal_hz
    octets: list[bytes] = []
    maps, at = [], 0
    for surface_map in results.responses.maps:
        whole = _bytes_of(surface_map, bands)
        maps.append(
            {
                "facet": surface_map.facet, "shape": [int(count) for count in surface_map.shape], "at": at,
                "cell": np.round(cell_of_point(surface_map), 5).tolist(),
            }
        )  # fmt: skip
        octets.append(whole.tobytes())
        at += whole.size
    target = results.scene.blueprint.target
    chosen = min(bands, key=lambda band: (abs(np.log2(nominal[band] / 1000.0)), band))
    return {
        "bands": [float(nominal[band]) for band in bands],
        "judged": [bool(nominal[band] >= results.responses.transition_hz) for band in bands],
        "wanted": [bool(target.band_hz[0] <= nominal[band] <= target.band_hz[1]) for band in bands],
        "band": bands.index(chosen),
        "maps": maps,
        "floor": FLOOR_DB,
        "stepsPerDb": STEPS_PER_DB,
        "levels": base64.b64encode(zlib.compress(b"".join(octets), 9)).decode("ascii"),
    }


def shown_bands(results: Results) -> list[int]:
    """Numbers of the octaves that the page offers."""
    return [band for band, hz in enumerate(results.responses.bands.nominal_hz) if hz >= LOWEST_HZ]


def _bytes_of(surface_map: SurfaceMap, bands: list[int]) -> NDArray[np.uint8]:
    """Levels (octave, loudspeaker + 1, rows, cells) of one map as bytes."""
    from scipy.ndimage import distance_transform_edt

    known = np.zeros(surface_map.shape, dtype=bool)
    place = tuple(surface_map.cell.T)
    known[place] = True
    nearest = tuple(distance_transform_edt(~known, return_distances=False, return_indices=True))
    levels = np.concatenate([surface_map.both_db[None], surface_map.level_db])[:, bands].swapaxes(0, 1)
    steps = np.clip(np.round((np.maximum(levels, FLOOR_DB) - FLOOR_DB) * STEPS_PER_DB), 0, 255).astype(np.uint8)
    grid = np.zeros((*levels.shape[:2], *surface_map.shape), dtype=np.uint8)
    grid[(..., *place)] = steps
    return np.ascontiguousarray(grid[(..., *nearest)])


def cell_of_point(surface_map: SurfaceMap) -> FloatArray:
    """Matrix (2, 4) from a point (depth, across, up, 1) in metres to its cell number, not rounded.

    Least squares over the grid's own points; a map that is one cell wide has a zero row in that direction.
    """
    middle = surface_map.points.mean(axis=0)
    away = surface_map.points - middle
    # Points lie in a plane, so of all matrices that fit the smallest one is taken: it does not look across the plane.
    slopes = np.linalg.lstsq(away, surface_map.cell - surface_map.cell.mean(axis=0), rcond=1e-9)[0]
    start = surface_map.cell.mean(axis=0) - middle @ slopes
    return np.column_stack([slopes.T, start])
