"""From a scan to a scene: upright, walls, ceiling, held against the tape, furnished, and what was not seen."""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path

import numpy as np

from sim.arrays import FloatArray
from sim.blueprint.reader import parse_scene
from sim.blueprint.units import UNIT_M
from sim.errors import SceneError
from sim.placement.built_scene import build_scene
from sim.progress import Report, say_nothing
from sim.surveying.scan.blocks import find_blocks
from sim.surveying.scan.ceilings import distance_into, find_ceiling, refuse_open_sky
from sim.surveying.scan.cloud import Cloud
from sim.surveying.scan.coverage import (
    FAR_M,
    distances_to_scene,
    level_map,
    not_seen,
    plan_middles,
    seen_fraction,
    wall_map,
)
from sim.surveying.scan.laying import LaidRoom, lay
from sim.surveying.scan.lines import wall_lines
from sim.surveying.scan.outline import OutlineSide, corners_of, outline_sides
from sim.surveying.scan.plan_cells import plan_grid, room_cells
from sim.surveying.scan.reading import read_scan
from sim.surveying.scan.records import (
    NotSeen,
    ScannedBlock,
    ScannedRoom,
    ScannedSlope,
    ScannedWall,
    SurfaceDistances,
)
from sim.surveying.scan.scene_text import scene_text
from sim.surveying.scan.taping import Tape, taped
from sim.surveying.scan.upright import UPS, Upright, upright

MOST_DRAWN = 8000


def scan(
    file: Path | str,
    *,
    unit: str | None = None,
    up: str | None = None,
    front: str | None = None,
    tape: Tape = (),
    units: str = "m",
    title: str = "",
    report: Report = say_nothing,
) -> ScannedRoom:
    """Make a scene of a phone's scan of a room.

    Parameters
    ----------
    file
        OBJ, PLY (faces or points) or GLB.
    unit, up
        Unit of the file ("m", "cm", "mm", "in", "ft") and its axis that is up ("+z"); left out, found and said.
    front
        The wall you face, by the name it has when this is left out.
    tape
        Distances by tape, each what it lies between ("left wall to right wall", "floor to ceiling", "depth") and the
        length, in metres or with its own unit.
    units
        Unit of the scene file.
    title
        What the room is called; left out, as the file.
    report
        Called with a few words at the start of each stage.

    Raises
    ------
    MeshError
        If the file cannot be read, is no scan of one room, or a tape says otherwise.
    SceneError
        If an option is unknown, or monitors, desk and seat do not fit.
    """
    path = Path(os.fspath(file))
    for option, value, known in (("--unit", unit, tuple(UNIT_M)), ("--up", up, UPS), ("--units", units, tuple(UNIT_M))):
        if value is not None and value not in known:
            raise SceneError(option, f'it is "{value}"', f"choose one of {', '.join(known)}")
    where = path.name
    report("reading the scan")
    points = read_scan(path)
    report("turning it upright")
    stood = upright(points, where, unit, up, units)
    report("finding walls, ceiling and slopes")
    grid = plan_grid(stood.cloud)
    refuse_open_sky(grid, where)
    lines = wall_lines(stood.cloud)
    sides = outline_sides(room_cells(stood.cloud, grid, lines), stood.cloud, lines, where)
    corners = corners_of(sides, where)
    ceiling = find_ceiling(stood.cloud, corners, where)
    room, readings, factor = taped(lay(sides, corners, ceiling, stood.cloud, front), tape, stood.unit, units, where)
    report("finding what stands in it")
    blocks = find_blocks(room.cloud, room.corners, room.ceiling)
    report("holding the scan against it")
    maps, hidden = _seen(room, blocks)
    near = np.ptp(room.corners, axis=0).max()
    around = room.cloud.chosen((np.abs(room.cloud.points[:, :2] - room.corners.mean(axis=0)) < 0.75 * near).all(axis=1))
    away = distances_to_scene(around, room.corners, room.ceiling, blocks)
    explained = away <= FAR_M
    away_95 = _quantile(away[explained], around.weights[explained], 0.95)
    called = title or path.stem

    def text(all_behind: bool) -> str:
        return scene_text(
            room,
            blocks,
            hidden,
            readings,
            title=called,
            units=units,
            file=where,
            away_95_m=away_95,
            all_behind=all_behind,
        )

    return ScannedRoom(
        title=called,
        file=where,
        count=points.count,
        faces=points.faces,
        unit=stood.unit,
        up=stood.up,
        assumed=stood.assumed,
        walls=_walls(room, sides, maps),
        slopes=_slopes(room),
        blocks=tuple(blocks),
        height_m=room.ceiling.height_m,
        height_error_m=room.ceiling.error_m,
        flat=room.ceiling.flat,
        not_seen=tuple(hidden),
        maps=tuple(maps),
        away_95_m=away_95,
        unexplained=float(around.weights[~explained].sum() / around.weights.sum()),
        tape=readings,
        factor=factor,
        turn=room.turn @ stood.turn,
        shift_m=_shift(room, stood),
        front=room.front,
        slice_m=_slice(around),
        units=units,
        text=_buildable(text),
    )


def _shift(room: LaidRoom, stood: Upright) -> np.ndarray:
    return np.asarray(room.turn @ stood.shift * stood.unit_m + room.shift)


def _slice(cloud: Cloud) -> FloatArray:
    """Some of the points about a metre up, in the plan."""
    level = np.flatnonzero((cloud.points[:, 2] > 0.5) & (cloud.points[:, 2] < 1.3))
    chosen = level[:: max(-(-len(level) // MOST_DRAWN), 1)]
    return np.asarray(cloud.points[chosen, :2])


def _buildable(text: Callable[[bool], str]) -> str:
    """The text with its blocks; where one of them cannot stand, all of them stand behind "#"."""
    try:
        found = text(False)
        scene = parse_scene(found, Path())
        build_scene(scene.blueprint, scene.folder)
    except SceneError:
        found = text(True)
        scene = parse_scene(found, Path())
        build_scene(scene.blueprint, scene.folder)
    return found


def _seen(room: LaidRoom, blocks: list[ScannedBlock]) -> tuple[list[SurfaceDistances], list[NotSeen]]:
    """Maps of all surfaces, walls first, and what was not seen of the walls."""
    cloud, corners, ceiling = room.cloud, room.corners, room.ceiling
    maps, hidden = [], []
    for wall, name in enumerate(room.names):
        maps.append(wall_map(name, wall, cloud, corners, ceiling))
        hidden += not_seen(wall, maps[-1], cloud, corners, blocks)
    plan, height = cloud.points[:, :2], cloud.points[:, 2]
    maps.append(level_map("floor", height, cloud, corners))
    middles = plan_middles(corners)
    tops = ceiling.heights(corners, middles)
    if ceiling.flat:
        maps.append(level_map("ceiling", ceiling.height_m - height, cloud, corners, tops >= ceiling.height_m - 1e-9))
    for slope in ceiling.slopes:
        under = (slope.heights(distance_into(corners, slope.wall, plan)) - height) * np.cos(slope.angle)
        own = slope.heights(distance_into(corners, slope.wall, middles)) <= tops + 1e-9
        maps.append(level_map(slope_name(room, slope.wall), under, cloud, corners, own, level=False))
    return maps, hidden


def slope_name(room: LaidRoom, wall: int) -> str:
    """What the scene calls the slope over a wall."""
    return f"{room.names[wall].replace(' wall', '')} slope"


def _walls(room: LaidRoom, sides: list[OutlineSide], maps: list[SurfaceDistances]) -> tuple[ScannedWall, ...]:
    following = np.roll(room.corners, -1, axis=0)
    return tuple(
        ScannedWall(
            name,
            (float(start[0]), float(start[1])),
            (float(end[0]), float(end[1])),
            side.offset_error_m,
            float(np.degrees(side.angle_error_rad)),
            seen_fraction(found),
            side.doubled_m,
            float(np.degrees(side.off_square_rad)),
            side.direction,
            float(np.degrees(side.turned_rad)),
        )
        for name, start, end, side, found in zip(
            room.names, room.corners, following, sides, maps[: len(sides)], strict=True
        )
    )


def _slopes(room: LaidRoom) -> tuple[ScannedSlope, ...]:
    return tuple(
        ScannedSlope(
            slope_name(room, slope.wall),
            room.names[slope.wall],
            slope.knee_m,
            float(np.degrees(slope.angle)),
            slope.error_m,
            float(np.degrees(slope.angle_error)),
            slope.area_m2,
        )
        for slope in room.ceiling.slopes
    )


def _quantile(values: np.ndarray, weights: np.ndarray, fraction: float) -> float:
    order = np.argsort(values, kind="stable")
    summed = np.cumsum(weights[order])
    return float(values[order][min(int(np.searchsorted(summed, fraction * summed[-1])), len(values) - 1)])
