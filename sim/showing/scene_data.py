"""One layout as data for the picture that turns: surfaces, edges, boxes, panels, paths, hotspots."""

from __future__ import annotations

import base64
import zlib
from collections.abc import Sequence
from typing import Any, Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sim.arrays import FloatArray
from sim.blueprint.schema import Blueprint
from sim.placement.built_scene import BuiltScene
from sim.placement.panels import PlacedPanel
from sim.responses.records import Arrival, Results, SurfaceMap
from sim.showing.page import Look, loudspeaker_looks
from sim.showing.viewpoint import path_points

FLOOR_DB: Final = -60.0
STEPS_PER_DB: Final = 4.0
LOWEST_HZ: Final = 125.0
FIRST_SHOWN_HZ: Final = 2000.0
"""Octave that pages show at first: that of the PNGs."""


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
                "facet": surface_map.facet,
                "shape": [int(count) for count in surface_map.shape],
                "at": at,
                "cell": np.round(cell_of_point(surface_map), 5).tolist(),
            }
        )
        octets.append(whole.tobytes())
        at += whole.size
    target = results.scene.blueprint.target
    return {
        "bands": [float(nominal[band]) for band in bands],
        "judged": [bool(nominal[band] >= results.responses.transition_hz) for band in bands],
        "wanted": [bool(target.band_hz[0] <= nominal[band] <= target.band_hz[1]) for band in bands],
        "band": bands.index(first_band(results)),
        "maps": maps,
        "floor": FLOOR_DB,
        "stepsPerDb": STEPS_PER_DB,
        "levels": base64.b64encode(zlib.compress(b"".join(octets), 9)).decode("ascii"),
    }


def shown_bands(results: Results) -> list[int]:
    """Numbers of the octaves that the page offers."""
    return [band for band, hz in enumerate(results.responses.bands.nominal_hz) if hz >= LOWEST_HZ]


def first_band(results: Results) -> int:
    """Number of the octave that is shown at first."""
    nominal = results.responses.bands.nominal_hz
    return min(shown_bands(results), key=lambda band: (abs(np.log2(nominal[band] / FIRST_SHOWN_HZ)), band))


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


# One layout as data for the picture that turns: surfaces, edges, boxes, panels, seats, and the ways of sound.
#
# Coordinates are those of the room, in metres and in the order depth, across, up; the page turns them into a view.

MOST_ARRIVALS: Final = 30
"""Arrivals of each loudspeaker and listener that the page lists and can draw; the tables hold all."""


def scene_data(results: Results, look: Look) -> dict[str, Any]:
    """Everything the page draws of one layout; arrays of numbers as base64 of little-endian float32."""
    built = results.built
    names = [one.name for one in built.loudspeakers]
    lines = [(facet, ends) for facet in range(len(built.room.facets)) for ends in _border(results, facet)]
    order = np.argsort(built.room.facet_of_triangle, kind="stable")
    return {
        "title": look.name,
        "letter": look.letter,
        "speakers": [
            {
                "name": one.name,
                "letter": way.letter,
                "colour": way.colour,
                "dashes": bool(way.dashes),
                "body": one.body,
                "drivers": rounded(one.driver_points),
            }
            for one, way in zip(built.loudspeakers, loudspeaker_looks(names), strict=True)
        ],
        "seats": [
            {"name": name, "at": rounded(ear)} for name, ear in zip(built.listener_names, built.ears, strict=True)
        ],
        "headBox": rounded(built.head_box),
        "facets": _facets(results),
        "triangles": packed(built.room.triangles[order]),
        "lines": packed([ends for _, ends in lines]),
        "lineFacets": [facet for facet, _ in lines],
        "panels": [_panel(panel) for panel in built.panels],
        "arrivals": [_arrival(results, arrival) for arrival in listed(results)],
        **hotspot_data(results),
    }


def packed(values: ArrayLike) -> str:
    """Numbers as base64 of little-endian float32."""
    return base64.b64encode(np.ascontiguousarray(values, dtype="<f4").tobytes()).decode("ascii")


def rounded(values: FloatArray, decimals: int = 4) -> list[Any]:
    """Nested lists of numbers, a tenth of a millimetre being enough."""
    return list(np.round(np.asarray(values, dtype=np.float64), decimals).tolist())


def listed(results: Results) -> list[Arrival]:
    """Arrivals that the page shows: reflections by rank, at most `MOST_ARRIVALS` for each loudspeaker and listener."""
    return [arrival for arrival in results.responses.arrivals if 0 < arrival.number <= MOST_ARRIVALS and arrival.order]


def surface_kind(results: Results, name: str, owner: str) -> str:
    """What a surface is, for its colour: "room", "window", "door", "furniture" or "loudspeaker"."""
    return kind_of(results.scene.blueprint, results.built, name, owner)


def kind_of(blueprint: Blueprint, built: BuiltScene, name: str, owner: str) -> str:
    """As `surface_kind`, of a scene that was built and not traced."""
    if owner != built.room.owners[0]:
        bodies = {one.body for one in built.loudspeakers if one.corners is not None}
        return "loudspeaker" if owner in bodies else "furniture"
    for opening in blueprint.openings:
        if opening.name == name:
            return "window" if opening.kind == "window" else "door"
    return "room"


def _facets(results: Results) -> list[dict[str, Any]]:
    room = results.built.room
    counts = np.bincount(room.facet_of_triangle, minlength=len(room.facets))
    starts = np.concatenate([[0], np.cumsum(counts)[:-1]])
    return [
        {
            "name": facet.name,
            "owner": facet.owner,
            "kind": surface_kind(results, facet.name, facet.owner),
            "normal": rounded(facet.normal, 6),
            "offset": round(float(facet.offset_m), 5),
            "start": int(start),
            "count": int(count),
        }
        for facet, start, count in zip(room.facets, starts, counts, strict=True)
    ]


def _border(results: Results, number: int) -> FloatArray:
    """Sides (b, 2, 3) of a facet, also those of the union with whatever continues it."""
    facet = results.built.room.facets[number]
    return np.stack([facet.from_plane(facet.border[:, :2]), facet.from_plane(facet.border[:, 2:])], axis=1)


def panel_box(panel: PlacedPanel) -> FloatArray:
    """Corners (8, 3) of the panel itself: its back, the air behind it left free, then its face."""
    body = panel.body
    back = body[:4] + panel.normal * min(panel.air_behind_m, max(panel.depth_m - 0.002, 0.0))
    return np.concatenate([back, body[4:]])


def _panel(panel: PlacedPanel) -> dict[str, Any]:
    return {
        "name": panel.name,
        "surface": panel.surface,
        "corners": rounded(panel_box(panel)),
        "movable": panel.movable,
    }


def _arrival(results: Results, arrival: Arrival) -> dict[str, Any]:
    names: Sequence[str] = [one.name for one in results.built.loudspeakers]
    return {
        "speaker": names.index(arrival.loudspeaker),
        "seat": results.built.listener_names.index(arrival.listener),
        "number": arrival.number,
        "way": arrival.via,
        "delay": round(arrival.main.delay_ms, 2),
        "worst": round(arrival.worst_db, 1) if np.isfinite(arrival.worst_db) else None,
        "order": arrival.order,
        "diffracted": arrival.diffracted,
        "points": rounded(path_points(results, arrival), 3),
    }
