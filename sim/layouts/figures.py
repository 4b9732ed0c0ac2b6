"""The figures of one layout that a sweep keeps: what each surface sends back at first order, and where its point lies.

First order only, mirrors only: edges and second bounces are left out, so that a thousand layouts take seconds.
`sim.trace` of a layout that looks good gives the whole.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from sim.acoustics.bands import Bands
from sim.acoustics.levels import level_db
from sim.answers import printable
from sim.arrays import FloatArray, frozen
from sim.blueprint.treatment import Target
from sim.placement.built_scene import BuiltScene
from sim.propagation.mirrors.image_sources import STATUS, survey_table, trace_paths
from sim.responses.arrivals import in_target_band
from sim.responses.first_arrivals import first_arrivals

SILENT_DB: Final = -np.inf
"""Level of what does not arrive."""


@printable
@dataclass(frozen=True, slots=True)
class LayoutFigures:
    """Figures of one layout at its first seat; surfaces and loudspeakers in the order of `surface_names`.

    Attributes
    ----------
    level_db
        (loudspeaker, surface, band) re direct; minus infinity where nothing arrives.
    worst_db
        (loudspeaker, surface) highest level among the target's octaves.
    delay_ms
        (loudspeaker, surface) after the direct sound, of the driver that matters most; nan where nothing arrives.
    point_m
        (loudspeaker, driver, surface, 3) reflection point, also where it misses the surface; nan where there is none.
    clear_m
        (loudspeaker, driver, surface) how far inside the surface that point lies, negative outside; continuous, so
        that the setting at which a reflection appears or leaves is where it crosses zero.
    hidden
        (loudspeaker, driver, surface) 1 where something blocks it although the point lies on the surface.
    early_db
        (loudspeaker,) all first-order arrivals inside the target's window, as energy, mean over its octaves.
    over_target_db
        (loudspeaker,) highest arrival inside the window less the target's level.
    """

    level_db: FloatArray
    worst_db: FloatArray
    delay_ms: FloatArray
    point_m: FloatArray
    clear_m: FloatArray
    hidden: FloatArray
    early_db: FloatArray
    over_target_db: FloatArray


def surface_names(built: BuiltScene) -> tuple[str, ...]:
    """Names of everything that could mirror once in a layout, in the order of the room's facets."""
    return tuple(dict.fromkeys(facet.name for facet in built.room.facets))


def layout_figures(built: BuiltScene, target: Target, bands: Bands, surfaces: Sequence[str]) -> LayoutFigures:
    """Work out the figures of a built scene for the named surfaces (those it does not have stay empty)."""
    number = {name: i for i, name in enumerate(surfaces)}
    names = [one.name for one in built.loudspeakers]
    shape = (len(names), len(surfaces))
    level = np.full((*shape, len(bands)), SILENT_DB)
    worst, delay = np.full(shape, SILENT_DB), np.full(shape, np.nan)
    judged = in_target_band(bands, target)
    early, highest = np.zeros((len(names), len(bands))), np.full(len(names), SILENT_DB)
    low, high = target.window_ms
    first = first_arrivals(built, trace_paths(built, 1), bands, target)
    for row in np.flatnonzero((first.facet >= 0) & (first.listener == 0)).tolist():
        s, f, harm = int(first.loudspeaker[row]), number.get(first.surface[row]), float(first.worst_db[row])
        if low <= first.delay_ms[row] <= high:
            early[s] += 10.0 ** (first.level_db[row] / 10.0)
            highest[s] = max(highest[s], harm)
        if f is None or harm <= worst[s, f]:
            continue  # facets of one name: the louder one stands for both
        level[s, f], worst[s, f], delay[s, f] = first.level_db[row], harm, first.delay_ms[row]
    point, clear, hidden = mirror_points(built, surfaces)
    return LayoutFigures(
        frozen(level),
        frozen(worst),
        frozen(delay),
        point,
        clear,
        hidden,
        frozen(level_db(early[:, judged].mean(axis=1))),
        frozen(highest - target.level_db),
    )


def mirror_points(built: BuiltScene, surfaces: Sequence[str]) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Reflection points, how far inside their surfaces they lie, and whether they are hidden, as in `LayoutFigures`."""
    number = {name: i for i, name in enumerate(surfaces)}
    drivers = max(len(one.driver_points) for one in built.loudspeakers)
    shape = (len(built.loudspeakers), drivers, len(surfaces))
    point, clear, hidden = np.full((*shape, 3), np.nan), np.full(shape, np.nan), np.zeros(shape)
    table, own, blocked = survey_table(built), STATUS.index("own"), STATUS.index("blocked")
    columns = (table.loudspeaker, table.driver, table.listener, table.facet, table.status, table.rim_m)
    rows = zip(*(column.tolist() for column in columns), strict=True)
    nearest: dict[tuple[int, int, int], tuple[float, int]] = {}
    for row, (s, d, place, facet, status, rim) in enumerate(rows):
        f = number.get(built.room.facets[facet].name)
        if f is None or place != 0 or status == own:
            continue
        known = nearest.get((s, d, f))
        if known is None or rim > known[0]:  # of facets of one name the one that is met, or nearest to it
            nearest[s, d, f] = (rim, row)
    if nearest:
        where, kept = tuple(np.array(list(nearest)).T), [row for _, row in nearest.values()]
        point[where], clear[where], hidden[where] = table.point[kept], table.rim_m[kept], table.status[kept] == blocked
    return frozen(point), frozen(clear), frozen(hidden)
