"""A panel or a rug tried at the reflection point of one arrival: where, how large, and what it would take off there.

The panel is hung into a copy of the built scene and the arrival's paths are worked out again with it, at their real
angle and with the panel's Fresnel share.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Any, Final

import numpy as np

from sim.acoustics.bands import Bands, sample_frequencies
from sim.acoustics.levels import level_db
from sim.acoustics.materials import find_material
from sim.acoustics.patches import first_zone_half_axes_m
from sim.answers import printable
from sim.arrays import FloatArray, IntArray, frozen
from sim.blueprint.schema import Blueprint
from sim.geometry.unions import united_polygon
from sim.placement.built_scene import BuiltScene
from sim.placement.finishes import layered_finishes
from sim.placement.panels import PlacedPanel
from sim.propagation.paths import PathTable
from sim.propagation.surfaces.factors import path_gains
from sim.propagation.surfaces.incidence import incidences_with
from sim.responses.arrivals import POINTS_PER_OCTAVE
from sim.responses.records import Arrival
from sim.studies.explain.mirror_trial import head_points, mirror_points

TRIED: Final = ("50 mm wool", "100 mm wool", "100 mm wool, 100 mm gap")
"""Build-ups of the library that are tried, thinnest first."""
RUG: Final = "carpet on felt"
ZONE_HZ: Final = 1000.0
SMALLEST_BEYOND: Final = 0.02
"""Share of a rectangle that may reach over the rim of a slanted surface before it is said."""
LEVEL: Final = 0.94
"""Cosine from which a surface counts as level, 20 degrees."""


@printable
@dataclass(frozen=True, slots=True)
class Trial:
    """One covering that was tried, and what the arrival would have left with it.

    Attributes
    ----------
    material
        What it is of.
    depth_m, gap_m
        Depth of the whole and of the gap behind it, in metres.
    left_db
        (band,) dB re direct sound.
    """

    material: str
    depth_m: float
    gap_m: float
    left_db: FloatArray


@printable
@dataclass(frozen=True, slots=True)
class PanelTrial:
    """Where a panel would go against one arrival, and what it would do.

    Attributes
    ----------
    turn, facet, surface
        Which surface along the way.
    kind
        "panel" on a bare place, "thicker" in place of panels that hang there, or "rug" on a floor.
    centre, corners
        (3,) and (4, 3) in metres, in the plane of the surface.
    size_m
        (2,) along the level direction of the surface (across, on level ones) and along the other.
    trials
        What was tried; empty where nothing can hang.
    suggested
        Number of the thinnest that brings the arrival to the target, else of the one that takes most; -1 without any.
    enough
        Whether it does.
    off_surface_m
        How much of the size it would need does not fit on the surface.
    in_the_way
        What shares its place: openings, zones to keep clear.
    overhead
        Whether it hangs over heads.
    """

    turn: int
    facet: int
    surface: str
    kind: str
    centre: FloatArray
    corners: FloatArray
    size_m: FloatArray
    trials: tuple[Trial, ...]
    suggested: int
    enough: bool
    off_surface_m: float
    in_the_way: tuple[str, ...]
    overhead: bool


def panel_trial(
    built: BuiltScene,
    blueprint: Blueprint,
    paths: PathTable,
    arrival: Arrival,
    turn: int,
    bands: Bands,
    judged: IntArray,
) -> PanelTrial:
    """Try coverings on surface number `turn` of a mirrored arrival; judged holds the numbers of octaves that count."""
    rows = np.array([part.path for part in arrival.parts])
    facet = int(paths.facets[rows[0], turn])
    surface = built.room.facets[facet]
    axes = _axes(surface.normal)
    corners, cut_m = _rectangle(built, paths, rows, turn, axes)
    low, high = corners[0], corners[2]
    size = np.array([float((high - low) @ axis) for axis in axes])
    floor = surface.normal[2] > LEVEL
    here = [
        panel for panel in built.panels if panel.plane == surface.plane and _overlap(panel.corners_m, corners, axes)
    ]
    kind = "rug" if floor else "thicker" if here else "panel"
    trials: list[Trial] = []
    reference = _octaves(built, _direct_of(paths, rows[0]), bands)
    if floor:
        trials.append(Trial(RUG, 0.0, 0.0, _left(_with_rug(built, facet), paths.chosen(rows), reference, bands)))
    else:
        for name in TRIED:
            tried = _with_panel(built, blueprint, name, facet, corners, here)
            gap = sum(row.thickness_m for row in tried.finishes[-1].layers if row.kind == "gap")
            depth = tried.panels[-1].depth_m
            trials.append(Trial(name, depth, gap, _left(tried, paths.chosen(rows), reference, bands)))
    limit = blueprint.target.level_db
    worst = [float(trial.left_db[judged].max()) for trial in trials]
    met = [place for place, level in enumerate(worst) if level <= limit]
    return PanelTrial(
        turn=turn,
        facet=facet,
        surface=surface.name,
        kind=kind,
        centre=frozen(0.5 * (low + high)),
        corners=frozen(corners),
        size_m=frozen(size),
        trials=tuple(trials),
        suggested=met[0] if met else int(np.argmin(worst)),
        enough=bool(met),
        off_surface_m=cut_m,
        in_the_way=tuple(_in_the_way(built, blueprint, facet, corners)),
        overhead=float(surface.normal[2]) < -0.3,
    )


def _axes(normal: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Two directions in a surface: level and up it, or across and along the depth where it is level itself."""
    if abs(normal[2]) > LEVEL:
        across = np.array([0.0, 1.0, 0.0])
        first = across - (across @ normal) * normal
    else:
        first = np.cross([0.0, 0.0, 1.0], normal)
        first = first * np.sign(first[0] if abs(first[0]) > abs(first[1]) else first[1])
    first = first / np.linalg.norm(first)
    second = np.cross(normal, first)
    lead = 0 if abs(normal[2]) > LEVEL else 2
    return np.asarray(first), np.asarray(second * (np.sign(second[lead]) or 1.0))


def _rectangle(
    built: BuiltScene, paths: PathTable, rows: IntArray, turn: int, axes: tuple[FloatArray, FloatArray]
) -> tuple[FloatArray, float]:
    """Corners (4, 3) of what every driver's first Fresnel zone at 1 kHz needs over the whole head box.

    Cut to the outermost lines of the surface and what continues it in its plane; also by how much.
    """
    room, speed = built.room, built.air.speed_of_sound_m_s
    facet = int(paths.facets[rows[0], turn])
    wanted = np.zeros(len(room.facets), dtype=np.bool_)
    wanted[facet] = True
    some = paths.chosen(rows)
    met = incidences_with(
        built, replace(some, facets=np.where(np.arange(some.facets.shape[1]) == turn, some.facets, -1)), wanted
    )
    s, place = int(some.loudspeaker[0]), int(some.listener[0])
    planes = room.arrays.normal, room.arrays.offset
    sequence = [int(f) for f in some.facets[0] if f >= 0]
    lows, highs = [], []
    for k in range(len(met)):
        along, across = first_zone_half_axes_m(ZONE_HZ, met.before_m[k], met.after_m[k], met.cosine[k], speed)
        normal = room.facets[facet].normal
        inward = met.arriving[k] - (met.arriving[k] @ normal) * normal
        inward = inward / max(float(np.linalg.norm(inward)), 1e-9)
        reach = [
            float(np.hypot(along[0] * (axis @ inward), across[0] * (axis @ np.cross(normal, inward)))) for axis in axes
        ]
        source = built.loudspeakers[s].driver_points[int(some.driver[k])]
        points = [
            found[turn]
            for ear in head_points(built, place)
            if (found := mirror_points(source, ear, [(planes[0][f], float(planes[1][f])) for f in sequence]))
            is not None
        ]
        spots = np.array(points) @ np.stack(axes).T
        lows.append(spots.min(axis=0) - reach)
        highs.append(spots.max(axis=0) + reach)
    low, high = np.min(lows, axis=0), np.max(highs, axis=0)
    piece = _piece(built, facet, some.points[0, turn])
    mates = room.facets[facet].from_plane(np.asarray(piece.exterior.coords)[:, :2]) @ np.stack(axes).T
    inside_low, inside_high = np.maximum(low, mates.min(axis=0)), np.minimum(high, mates.max(axis=0))
    cut = float(max((inside_low - low).max(), (high - inside_high).max(), 0.0))
    base = room.facets[facet].offset_m * room.facets[facet].normal
    spans = [
        (inside_low[0], inside_low[1]),
        (inside_high[0], inside_low[1]),
        tuple(inside_high),
        (inside_low[0], inside_high[1]),
    ]
    return np.array([base + a * axes[0] + b * axes[1] for a, b in spans]), cut


def _piece(built: BuiltScene, facet: int, point: FloatArray) -> Any:
    """The connected piece of surface (shapely, in the facet's own directions) at a point, with what continues it."""
    import shapely

    surface, room = built.room.facets[facet], built.room
    same = (room.plane_of_triangle == surface.plane) & (room.owner_of_triangle == room.owner_number(surface.owner))
    united: Any = united_polygon(surface.to_plane(room.triangles[same]))
    place = shapely.Point(surface.to_plane(point))
    return min(getattr(united, "geoms", [united]), key=lambda part: part.distance(place))


def _direct_of(paths: PathTable, row: int) -> PathTable:
    same = (paths.loudspeaker == paths.loudspeaker[row]) & (paths.listener == paths.listener[row])
    return paths.chosen(np.flatnonzero(same & (paths.order == 0)))


def _octaves(built: BuiltScene, some: PathTable, bands: Bands) -> FloatArray:
    """Mean energy (band,) of the complex sum of some paths."""
    frequencies = sample_frequencies(bands, POINTS_PER_OCTAVE)
    total = path_gains(built, some, frequencies.ravel()).sum(axis=0).reshape(frequencies.shape)
    return np.asarray(np.mean(np.abs(total) ** 2, axis=1), dtype=np.float64)


def _left(built: BuiltScene, some: PathTable, reference: FloatArray, bands: Bands) -> FloatArray:
    return frozen(level_db(_octaves(built, some, bands) / reference))


def _with_panel(
    built: BuiltScene, blueprint: Blueprint, name: str, facet: int, corners: FloatArray, here: list[PlacedPanel]
) -> BuiltScene:
    """The built scene with a panel of a build-up more, or with those that hang there already made of it."""
    (finish,) = layered_finishes(blueprint, [name])
    number, depth = len(built.finishes), finish.build_up.depth_m
    surface = built.room.facets[facet]
    made = [replace(panel, finish=number, depth_m=depth) for panel in here] or [
        PlacedPanel("tried", surface.name, name, "", number, surface.plane, corners, surface.normal, depth, False)
    ]
    of_facet = built.finish_of_facet if len(built.finish_of_facet) else np.full(len(built.room.facets), -1)
    others = tuple(panel for panel in built.panels if all(panel is not one for one in here))
    return replace(built, finishes=(*built.finishes, finish), finish_of_facet=of_facet, panels=(*others, *made))


def _with_rug(built: BuiltScene, facet: int) -> BuiltScene:
    """The built scene with a carpet on the whole of one facet."""
    absorption = built.absorption.copy()
    absorption[facet] = find_material(RUG).absorption
    of_facet = built.finish_of_facet.copy()
    if len(of_facet):
        of_facet[facet] = -1
    return replace(built, absorption=absorption, finish_of_facet=of_facet)


def _overlap(one: FloatArray, other: FloatArray, axes: tuple[FloatArray, FloatArray]) -> bool:
    """Whether two rectangles of one plane share area along two directions."""
    first, second = (corners @ np.stack(axes).T for corners in (one, other))
    return bool(
        np.all(
            np.minimum(first.max(axis=0), second.max(axis=0)) - np.maximum(first.min(axis=0), second.min(axis=0)) > 1e-3
        )
    )


def _in_the_way(built: BuiltScene, blueprint: Blueprint, facet: int, corners: FloatArray) -> Iterator[str]:
    """Openings under a rectangle and zones to keep clear that a panel of 0.2 m would reach; slopes as their boxes."""
    import shapely

    surface = built.room.facets[facet]
    flat = shapely.Polygon(surface.to_plane(corners))
    beyond = flat.difference(_piece(built, facet, corners.mean(axis=0))).area / flat.area
    if beyond > SMALLEST_BEYOND:
        yield f"the rim of the {surface.name}: {100.0 * beyond:.0f} % of it does not fit"
    for opening in blueprint.openings:
        for number in built.room.facet_numbers(opening.name):
            other = built.room.facets[number]
            hole: Any = united_polygon(surface.to_plane(built.room.triangles[built.room.facet_of_triangle == number]))
            if other.plane == surface.plane and hole.intersection(flat).area > 1e-3:
                yield f"the {opening.name}" + (", which is a way out" if opening.escape else "")
    body = np.concatenate([corners, corners + 0.2 * surface.normal])
    for zone in blueprint.keep_clear:
        spans = np.array([zone.from_front, zone.from_left, zone.up])
        low, high = spans[:, 0] - zone.clearance, spans[:, 1] + zone.clearance
        if np.all(np.minimum(high, body.max(axis=0)) - np.maximum(low, body.min(axis=0)) > 1e-3):
            yield f"the {zone.name}"
