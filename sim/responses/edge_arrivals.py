"""Arrivals that came round an edge, as rows of the same table as mirrored ones."""

from __future__ import annotations

import numpy as np

from sim.acoustics.bands import Bands, sample_frequencies
from sim.acoustics.levels import level_db
from sim.arrays import FloatArray, IntArray, frozen
from sim.blueprint.targets import Target
from sim.placement.stage import Stage
from sim.propagation.edges.table import BendTable, bend_gains, bend_name
from sim.propagation.paths import PathTable
from sim.propagation.surfaces.factors import path_gains
from sim.responses.arrivals import NOTCH_GRID_HZ, POINTS_PER_OCTAVE, first_notches_hz, in_target_band
from sim.responses.records import Arrival, Part


def list_bends(stage: Stage, paths: PathTable, bends: BendTable, bands: Bands, target: Target) -> tuple[Arrival, ...]:
    """Group diffracted paths (one a driver) into arrivals (one an edge and mirror), levels per octave; not yet ranked.

    An edge does not vanish at once when something moves, so its margin is infinite.  `Part.path` is the row of the
    bend table.
    """
    frequencies = sample_frequencies(bands, POINTS_PER_OCTAVE)
    gains = bend_gains(stage, bends, frequencies.ravel()).reshape(len(bends), *frequencies.shape)
    fine = bend_gains(stage, bends, NOTCH_GRID_HZ)
    straight = np.flatnonzero(paths.order == 0)
    direct_paths = paths.chosen(straight)
    direct = path_gains(stage, direct_paths, frequencies.ravel()).reshape(-1, *frequencies.shape)
    direct_fine = path_gains(stage, direct_paths, NOTCH_GRID_HZ)
    judged = in_target_band(bands, target)
    listed: list[Arrival] = []
    for (s, place), rows in _pairs(bends).items():
        mine = (paths.loudspeaker[straight] == s) & (paths.listener[straight] == place)
        reference = np.mean(np.abs(direct[mine].sum(axis=0)) ** 2, axis=-1)
        lengths = {int(paths.driver[row]): float(paths.length_m[row]) for row in straight[mine]}
        for ways in _same_way(bends, rows):
            energy = np.mean(np.abs(gains[ways].sum(axis=0)) ** 2, axis=-1) / reference
            shares = np.mean(np.abs(gains[ways]) ** 2, axis=-1) / reference
            order = np.argsort(-shares[:, judged].sum(axis=1), kind="stable")
            parts = tuple(_part(stage, bends, int(ways[k]), lengths, level_db(shares[k])) for k in order)
            levels = level_db(energy)
            worst = int(np.flatnonzero(judged)[np.argmax(levels[judged])])
            names = bend_name(stage, bends, int(ways[0]))
            notches = first_notches_hz(fine[ways].sum(axis=0) / direct_fine[mine].sum(axis=0))
            listed.append(
                Arrival(
                    loudspeaker=stage.loudspeakers[s].name, listener=stage.listener_names[place], number=0,
                    kind="edge", order=len(names), surfaces=names, owners=_owners(stage, bends, int(ways[0])),
                    materials=(), parts=parts, level_db=frozen(levels), worst_db=float(levels[worst]),
                    worst_band_hz=float(bands.nominal_hz[worst]), notches_hz=notches,
                )
            )  # fmt: skip
    return tuple(listed)


def _pairs(bends: BendTable) -> dict[tuple[int, int], IntArray]:
    keys = dict.fromkeys(zip(bends.loudspeaker.tolist(), bends.listener.tolist(), strict=True))
    return {(s, place): np.flatnonzero((bends.loudspeaker == s) & (bends.listener == place)) for s, place in keys}


def _same_way(bends: BendTable, rows: IntArray) -> list[IntArray]:
    groups: dict[tuple[int, ...], list[int]] = {}
    for row in rows:
        key = (bends.owner[row], bends.edge[row], bends.before[row], bends.after[row])
        groups.setdefault(tuple(int(k) for k in key), []).append(int(row))
    return [np.array(group) for group in groups.values()]


def _owners(stage: Stage, bends: BendTable, row: int) -> tuple[str, ...]:
    facets = [stage.room.facets[f].owner if f >= 0 else "" for f in (bends.before[row], bends.after[row])]
    return tuple(name for name in (facets[0], stage.room.owners[bends.owner[row]], facets[1]) if name)


def _part(stage: Stage, bends: BendTable, row: int, direct_m: dict[int, float], levels: FloatArray) -> Part:
    speed, driver = stage.air.speed_of_sound_m_s, int(bends.driver[row])
    loudspeaker = stage.loudspeakers[bends.loudspeaker[row]]
    source, ear = loudspeaker.driver_points[driver], stage.ears[bends.listener[row]]
    points = bends.points[row][~np.isnan(bends.points[row, :, 0])]
    vertices = points if len(points) else 0.5 * (source + ear)[None]
    leaving, arriving = vertices[0] - source, vertices[-1] - ear
    depth, across, up = arriving / np.linalg.norm(arriving)
    length = float(bends.length_m[row])
    extra = length - direct_m[driver]
    return Part(
        path=row,
        driver=loudspeaker.model.drivers[driver].name,
        points=frozen(points.copy()),
        length_m=length,
        extra_path_m=extra,
        delay_ms=1000.0 * extra / speed,
        flight_time_ms=1000.0 * length / speed,
        departure_deg=float(loudspeaker.off_axis_deg(leaving / np.linalg.norm(leaving))),
        arrival_azimuth_deg=float(np.degrees(np.arctan2(across, -depth))),
        arrival_elevation_deg=float(np.degrees(np.arcsin(np.clip(up, -1.0, 1.0)))),
        margin_m=float("inf"),
        margin_cause="an edge fades, it does not switch",
        level_db=frozen(levels),
    )
