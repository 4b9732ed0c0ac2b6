"""What a page is shown of one setting: reflections, maps, the curve at the ear and the room, as plain numbers."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from sim.acoustics.bands import octave_bands
from sim.arrays import ComplexArray, FloatArray, KeptFor
from sim.blueprint.schema import Blueprint
from sim.geometry.facets import Facet
from sim.placement.built_scene import BuiltScene
from sim.responses.records import Arrival, Results, SurfaceMap
from sim.showing.page import loudspeaker_looks
from sim.showing.scene_data import FLOOR_DB, LOWEST_HZ, STEPS_PER_DB, cell_of_point, kind_of, panel_box
from sim.showing.viewpoint import path_points

MOST_LISTED: Final = 12
"""Reflections of each loudspeaker that the page is told of."""
MOST_ADDED_DB: Final = 6.0
"""Where edges change a reflection by more it is in the shadow or beside its surface, and does not stay so nearby."""
TIME_FROM_MS, TIME_STEP_MS, LEAST_TIME_MS = -0.5, 0.1, 15.0
"""The energy-time curve of the page: where it begins, its steps, and how far it goes at least."""
NOW, OLD, NONE = "now", "old", "none"
"""How fresh a part is: of this setting, of an earlier one, or not worked out."""


@dataclass(frozen=True, slots=True)
class Listed:
    """One reflection as the page shows it.

    Attributes
    ----------
    loudspeaker
        Number of the loudspeaker.
    key
        What it touches and how: the same in every setting.
    via
        The same in words.
    delay_ms, worst_db, worst_band_hz, margin_m
        As in the table of arrivals; the margin is nan for sound round edges.
    level_db
        (band,) levels by octave.
    in_window, order, diffracted
        Whether the target speaks of it, how many surfaces it touches, whether it came round an edge.
    points
        (k, 3) its path, driver first, ear last.
    surfaces
        Names of what it touches.
    cure
        The cheapest thing that acts on it, in words.
    fresh
        Of this setting or an earlier one.
    """

    loudspeaker: int
    key: str
    via: str
    delay_ms: float
    worst_db: float
    worst_band_hz: float
    margin_m: float
    level_db: FloatArray
    in_window: bool
    order: int
    diffracted: bool
    points: FloatArray
    surfaces: tuple[str, ...]
    cure: str = ""
    fresh: str = NOW


@dataclass(frozen=True, slots=True)
class ShownMap:
    """The early-reflection map of one surface.

    Attributes
    ----------
    facet, surface
        Number and name of the surface.
    shape
        Rows and cells of the grid.
    cell
        (2, 4) from a point (depth, across, up, 1) to its cell.
    start_m, row_m, column_m
        (3,) middle of cell (0, 0), and the steps to the next row and the next cell.
    known
        (rows, cells) 1 where a cell lies on the surface.
    levels
        (band, loudspeaker + 1, rows, cells) all together first: FLOOR_DB + byte / STEPS_PER_DB, 0 for nothing.
    """

    facet: int
    surface: str
    shape: tuple[int, int]
    cell: FloatArray
    start_m: FloatArray
    row_m: FloatArray
    column_m: FloatArray
    known: NDArray[np.uint8]
    levels: NDArray[np.uint8]


@dataclass(frozen=True, slots=True)
class Snapshot:
    """Everything the page shows of one setting.

    Attributes
    ----------
    number
        Of the setting; a later one is newer.
    reflections
        By rank, loudspeaker by loudspeaker.
    hidden
        Numbers of loudspeakers whose direct sound is blocked.
    curve_db
        (loudspeaker, third-octave) level at the ear, dB re direct; without rows where not worked out.
    third_octaves_hz
        (third-octave,) nominal middles.
    without_db
        Name of a thing: the same curve (loudspeaker, third-octave) without it.
    maps
        Of the surfaces that are mapped.
    fresh
        "reflections", "curve" and "maps": of this setting, an earlier one, or none; "edges" likewise.
    warnings
        What has to be settled first.
    judged_from_hz
        Octaves below are not judged.
    beyond
        (loudspeaker, f) complex: what the whole response holds beyond first reflections; empty where not known.
    over_time
        (loudspeaker, step) energy-time curve, TIME_STEP_MS apart from TIME_FROM_MS on, its highest level in each step:
        FLOOR_DB + byte / STEPS_PER_DB, dB re the direct peak; empty where not worked out.
    """

    number: int
    reflections: tuple[Listed, ...]
    hidden: tuple[int, ...]
    curve_db: FloatArray
    third_octaves_hz: FloatArray
    maps: tuple[ShownMap, ...]
    fresh: Mapping[str, str]
    warnings: tuple[str, ...]
    judged_from_hz: float
    without_db: Mapping[str, FloatArray] = field(default_factory=dict)
    beyond: ComplexArray = field(default_factory=lambda: np.zeros((0, 0), np.complex128))
    over_time: NDArray[np.uint8] = field(default_factory=lambda: np.zeros((0, 0), np.uint8))


def comparable(one: Snapshot, other: Snapshot) -> bool:
    """Whether levels of two snapshots hold the same kinds of sound: both with edge diffraction, or both without."""
    return (one.fresh["curve"] == NONE) == (other.fresh["curve"] == NONE)


def shifted(now: Snapshot, by_db: Mapping[str, float]) -> Snapshot:
    """A snapshot of first reflections with what edges added to each of them when things last stood still."""
    reflections = tuple(
        replace(one, worst_db=one.worst_db + by_db[one.key]) if one.key in by_db else one for one in now.reflections
    )
    return replace(now, reflections=reflections)


def added_db(whole: Snapshot, first: Snapshot) -> dict[str, float]:
    """What edges add to each first reflection in dB, by its key: of the whole against first reflections alone."""
    alone = {one.key: one.worst_db for one in first.reflections}
    found = {
        one.key: one.worst_db - alone[one.key]
        for one in whole.reflections
        if one.order == 1 and not one.diffracted and one.key in alone
    }
    return {key: by for key, by in found.items() if abs(by) < MOST_ADDED_DB}


def shown_arrivals(results: Results) -> list[Arrival]:
    """Reflections at the first seat that the page lists, at most `MOST_LISTED` of each loudspeaker."""
    ear = results.built.listener_names[0]
    return [
        one
        for one in results.responses.arrivals
        if one.listener == ear and 0 < one.number <= MOST_LISTED and one.order > 0 and np.isfinite(one.worst_db)
    ]


def listed_arrivals(results: Results, cures: Sequence[str] = ()) -> tuple[Listed, ...]:
    """Return these reflections as the page shows them; `cures` in the same order."""
    names = [one.name for one in results.built.loudspeakers]
    found = shown_arrivals(results)
    cured = list(cures) or [""] * len(found)
    window = results.scene.blueprint.target.window_ms
    return tuple(
        Listed(
            loudspeaker=names.index(one.loudspeaker),
            key=key_of(one),
            via=one.via,
            delay_ms=one.main.delay_ms,
            worst_db=one.worst_db,
            worst_band_hz=one.worst_band_hz,
            margin_m=one.main.margin_m,
            level_db=np.asarray(one.level_db),
            in_window=window[0] <= one.main.delay_ms <= window[1],
            order=one.order,
            diffracted=one.diffracted,
            points=path_points(results, one),
            surfaces=one.surfaces,
            cure=words,
        )
        for one, words in zip(found, cured, strict=True)
    )


def key_of(arrival: Arrival) -> str:
    """What an arrival touches and how: the same name for the same reflection in every setting."""
    return f"{arrival.loudspeaker}|{arrival.kind}|{' > '.join(arrival.surfaces)}"


def over_time(results: Results) -> NDArray[np.uint8]:
    """The energy-time curve of each loudspeaker at the first seat as the page shows it (see `Snapshot.over_time`)."""
    curve = results.responses.energy_time
    end_ms = max(1.2 * results.scene.blueprint.target.window_ms[1], LEAST_TIME_MS)
    place = np.floor((curve.time_ms - TIME_FROM_MS) / TIME_STEP_MS + 1e-9).astype(int)
    count = round((end_ms - TIME_FROM_MS) / TIME_STEP_MS)
    shown = np.flatnonzero((place >= 0) & (place < count))
    starts = np.searchsorted(place[shown], np.arange(place[shown][-1] + 1))
    highest = np.maximum.reduceat(curve.broadband_db[:, 0, shown], starts, axis=1)
    steps = np.round((np.maximum(highest, FLOOR_DB) - FLOOR_DB) * STEPS_PER_DB)
    return np.clip(steps, 0, 255).astype(np.uint8)


def hidden_loudspeakers(results: Results) -> tuple[int, ...]:
    """Numbers of the loudspeakers whose direct sound something blocks."""
    names = [one.name for one in results.built.loudspeakers]
    ear = results.built.listener_names[0]
    return tuple(
        names.index(one.loudspeaker) for one in results.responses.arrivals if one.blocked and one.listener == ear
    )


def shown_maps(maps: Sequence[SurfaceMap], bands: list[int]) -> tuple[ShownMap, ...]:
    """Return maps of the octaves that pages show, as bytes."""
    return tuple(_shown(one, bands) for one in maps)


def _shown(surface_map: SurfaceMap, bands: list[int]) -> ShownMap:
    place = tuple(surface_map.cell.T)
    levels = np.concatenate([surface_map.both_db[None], surface_map.level_db])[:, bands].swapaxes(0, 1)
    steps = np.clip(np.round((np.maximum(levels, FLOOR_DB) - FLOOR_DB) * STEPS_PER_DB), 0, 255).astype(np.uint8)
    grid = np.zeros((*levels.shape[:2], *surface_map.shape), dtype=np.uint8)
    grid[(..., *place)] = steps
    known = np.zeros(surface_map.shape, dtype=np.uint8)
    known[place] = 1
    cells = np.column_stack([np.ones(len(surface_map.cell)), surface_map.cell])
    start, row, column = np.linalg.lstsq(cells, surface_map.points, rcond=1e-9)[0]
    return ShownMap(
        facet=surface_map.facet,
        surface=surface_map.surface,
        shape=surface_map.shape,
        cell=cell_of_point(surface_map),
        start_m=start,
        row_m=row if surface_map.shape[0] > 1 else _across(surface_map, column),
        column_m=column if surface_map.shape[1] > 1 else _across(surface_map, row),
        known=known,
        levels=grid,
    )


def _across(surface_map: SurfaceMap, along: FloatArray) -> FloatArray:
    """A step of the grid across a strip that is one cell wide: as long as the other, level."""
    length = float(np.linalg.norm(along)) or 1.0
    turned = np.array([-along[1], along[0], 0.0]) / length * surface_map.grid_m
    return np.asarray(turned if float(np.linalg.norm(turned)) > 0.0 else np.array([0.0, surface_map.grid_m, 0.0]))


# The room itself, for plan, section and the picture that turns.


def octaves() -> list[int]:
    """Numbers of the octaves that pages show."""
    return [band for band, hz in enumerate(octave_bands().nominal_hz) if hz >= LOWEST_HZ]


def scheme_of(blueprint: Blueprint, built: BuiltScene) -> dict[str, Any]:
    """Return what stays while things move: names, looks, surfaces, which triangles are whose."""
    room = built.room
    counts = np.bincount(room.facet_of_triangle, minlength=len(room.facets))
    starts = np.concatenate([[0], np.cumsum(counts)[:-1]])
    names = [one.name for one in built.loudspeakers]
    return {
        "speakers": [
            {
                "name": one.name,
                "letter": look.letter,
                "colour": look.colour,
                "dashes": look.dashes,
                "body": one.body,
                "drivers": len(one.driver_points),
            }
            for one, look in zip(built.loudspeakers, loudspeaker_looks(names), strict=True)
        ],
        "seats": list(built.listener_names),
        "facets": [
            {
                "name": facet.name,
                "owner": facet.owner,
                "kind": kind_of(blueprint, built, facet.name, facet.owner),
                "start": int(start),
                "count": int(count),
            }
            for facet, start, count in zip(room.facets, starts, counts, strict=True)
        ],
        "lineFacets": [n for n, facet in enumerate(room.facets) for _ in range(len(facet.border))],
        "panels": [{"name": one.name, "surface": one.surface, "movable": one.movable} for one in built.panels],
        "bands": [float(octave_bands().nominal_hz[band]) for band in octaves()],
    }


_lines: KeptFor[FloatArray] = KeptFor(4096)


def _lines_of(facet: Facet) -> FloatArray:
    """Ends (k, 2, 3) of the lines round a facet; kept, since most facets stay from frame to frame."""
    known = _lines.find(facet)
    if known is not None:
        return known
    ends = [facet.from_plane(facet.border[:, :2]), facet.from_plane(facet.border[:, 2:])]
    return _lines.keep(np.stack(ends, axis=1), facet)


def places_of(built: BuiltScene) -> dict[str, FloatArray]:
    """Return where everything of a scheme is: arrays of metres, (..., 3)."""
    room = built.room
    order = np.argsort(room.facet_of_triangle, kind="stable")
    lines = [_lines_of(facet) for facet in room.facets]
    return {
        "triangles": room.triangles[order],
        "lines": np.concatenate(lines),
        "normals": np.array([[*facet.normal, facet.offset_m] for facet in room.facets]),
        "drivers": np.concatenate([one.driver_points for one in built.loudspeakers]),
        "seats": built.ears,
        "headBox": built.head_box,
        "panels": np.array([panel_box(one) for one in built.panels]).reshape(-1, 8, 3),
    }
